"""The two set-up blocks as text: depth ladder and near-surface block."""

from dataclasses import replace

from qualify.demo.block_text import Head, head, target
from qualify.demo.design import Drawn
from qualify.demo.toml_text import inline, text

LADDER_DEPTHS_MM = (5, 10, 15, 20, 30, 40, 50, 60, 75, 90)
NEAR_DEPTHS_MM = (1.5, 2, 3, 4, 5, 7, 10, 15)
LADDER_DIAMETER_MM = 1.5
NEAR_DIAMETER_MM = 1.0
ON_DRAWING = {
    "L10": "Gauging report lost; set-up only, this hole enters no detection or sizing figure",
}

DEPTH_LADDER = Head(
    id="depth_ladder",
    comment="""
Depth ladder: ten holes of 1.5 mm through the width, centres 5 to 90 mm below face A. They
stand 26 mm apart along the length, more than half the aperture of 37.2 mm, so that none lies
in front of another. Read from face B the depths are 95 to 10 mm. Shows the time zero, the
velocity, the depth scale and how the echo falls with depth. Set-up only: never a probability
of detection.
""",
    title="Depth ladder",
    purpose="Set-up: time zero, velocity, depth scale, echo against depth",
    finish="Ground, Ra 0.8 µm or better",
    outline_mm=(300.0, 60.0, 100.0),
    tolerance_mm=0.1,
    grain_noise="No echo above grain noise, which was set to 10 % of the screen at 10 MHz",
)
NEAR_SURFACE = Head(
    id="near_surface",
    comment="""
Near-surface block: eight holes of 1.0 mm, centres 1.5 to 15 mm below face A, blind from edge
L, 30 mm deep, scanned along y = 15 mm. From face A it shows each mode's dead zone, from face
B the ligament that is still told apart from the far face.
""",
    title="Near-surface block",
    purpose="Set-up: dead zone of each mode below the scan face and above the far face",
    finish="Ground, Ra 0.8 µm or better",
    outline_mm=(252.0, 60.0, 50.0),
    tolerance_mm=0.1,
    grain_noise="No echo above grain noise, which was set to 10 % of the screen at 10 MHz",
)


def _ladder_hole(number: int, depth_mm: float) -> str:
    id_ = f"L{number:02d}"
    drawn = Drawn(id_, LADDER_DIAMETER_MM, depth_mm, 33.0 + 26.0 * (number - 1))
    whole = target(drawn, DEPTH_LADDER.id, "MC-DL", (0.0, 60.0))
    if id_ not in ON_DRAWING:
        return whole
    on_drawing = inline(
        [
            ("nominal", f"{LADDER_DIAMETER_MM:.2f}"),
            ("tolerance", "0.03"),
            ("waiver", text(ON_DRAWING[id_])),
        ]
    )
    lines = whole.splitlines()
    lines = [f"diameter_mm = {on_drawing}" if x.startswith("diameter_mm") else x for x in lines]
    return "\n".join(lines) + "\n"


def setup_texts() -> dict[str, str]:
    """Return the text of each set-up block by block id."""
    ladder = head(DEPTH_LADDER)
    for number, depth in enumerate(LADDER_DEPTHS_MM, start=1):
        ladder += _ladder_hole(number, float(depth))
    near, hole = head(NEAR_SURFACE), Drawn("N1", NEAR_DIAMETER_MM, 0.0)
    for number, near_mm in enumerate(NEAR_DEPTHS_MM, start=1):
        x = 35.0 + 26.0 * (number - 1)
        placed = replace(hole, id=f"N{number}", z_mm=float(near_mm), x_mm=x)
        near += target(placed, NEAR_SURFACE.id, "MC-NS", (0.0, 30.0))
    return {DEPTH_LADDER.id: ladder, NEAR_SURFACE.id: near}
