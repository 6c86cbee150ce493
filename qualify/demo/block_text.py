"""Block files as text: the head, the material and the lug coupons of the demonstration."""

from collections.abc import Sequence
from dataclasses import dataclass

from qualify.demo.design import (
    BLIND,
    FIRST_CENTRE_MM,
    HALF_UNIT_MM,
    OPEN,
    PITCH_MM,
    UNITS,
    Drawn,
    SetDesign,
    coupons_of,
)
from qualify.demo.machining import (
    POSITION_U_MM,
    SLOT_WIDTH_MM,
    mass_kg,
    of_extent,
    of_hole,
    of_tilt,
    positions,
    quantity,
)
from qualify.demo.toml_text import array, comment, inline, keys, text

FRAME = """
Frame: x along the length from the end engraved 0, y across from edge L, z depth from scan
face A, all in millimetres. Positions are centres, as built. Everything in this file is
invented for a demonstration: the piece, the measurements and the certificates.
"""
PROVENANCE = "Own design; as-built values, certificates and reports are invented"
MATERIAL = {
    "name": text("Normalised carbon-manganese steel, fine grain"),
    "density_kg_per_m3": "7850",
    "density_u_kg_per_m3": "15",
    "longitudinal_m_per_s": "5920",
    "longitudinal_u_m_per_s": "15",
    "shear_m_per_s": "3255",
    "shear_u_m_per_s": "8",
    "attenuation_db_per_mm": "0.01",
    "attenuation_at_mhz": "5",
}


@dataclass(frozen=True, slots=True)
class Head:
    """What stands at the head of a block file."""

    id: str
    comment: str
    title: str
    purpose: str
    finish: str
    outline_mm: tuple[float, float, float]
    tolerance_mm: float
    grain_noise: str


def head(block: Head, units: Sequence[str] = ()) -> str:
    """Return the text of a block file down to the datum; `units` are grading units."""
    length, width, thickness = block.outline_mm
    pairs = [
        ("format", "1"),
        ("id", text(block.id)),
        ("revision", text("A")),
        ("title", text(block.title)),
        ("purpose", text(block.purpose)),
        ("provenance", text(PROVENANCE)),
        ("mass_kg", f"{mass_kg(*block.outline_mm)}  # outline × density, holes neglected"),
        ("scan_surface", text("A")),
        ("finish", text(block.finish)),
    ]
    outline = [
        ("shape", text("flat")),
        ("length_mm", f"{length:g}"),
        ("width_mm", f"{width:g}"),
        ("thickness_mm", f"{thickness:g}"),
        ("tolerance_mm", f"{block.tolerance_mm:g}"),
    ]
    datum = [
        ("corner", text("corner of end 0, edge L and face A")),
        ("x_along", text("from the end engraved 0, along edge L")),
        ("y_across", text("from the edge engraved L, over face A")),
    ]
    material = [*MATERIAL.items(), ("grain_noise", text(block.grain_noise))]
    return (
        comment(block.comment.strip() + "\n" + FRAME.strip())
        + "\n"
        + keys(pairs)
        + (f"grading_units = {array(units)}\n" if units else "")
        + f"\n[material]\n{keys(material)}\n[outline]\n{keys(outline)}\n[datum]\n{keys(datum)}"
    )


def target(drawn: Drawn, block: str, certificate: str, y_mm: tuple[float, float]) -> str:
    """Return one target as a `[[targets]]` table with its as-built values."""
    name = f"as-built/{block}/{drawn.id}"
    kind = "side_drilled_hole" if drawn.tilt_deg is None else "embedded_slot"
    x, z = positions(drawn.x_mm, drawn.z_mm, f"{name}/position")
    pairs = [
        ("id", text(drawn.id)),
        ("kind", text(kind)),
        ("x_mm", x),
        ("z_mm", z),
        ("y_from_mm", f"{y_mm[0]:.1f}"),
        ("y_to_mm", f"{y_mm[1]:.1f}"),
        ("position_u_mm", f"{POSITION_U_MM[kind]:.2f}"),
    ]
    size = drawn.size_mm
    if drawn.tilt_deg is None:
        bore = quantity(size, 2, of_hole(size), certificate, f"{name}/diameter")
        pairs.append(("diameter_mm", bore))
    else:
        extent = quantity(size, 2, of_extent(size), certificate, f"{name}/extent")
        tilt = quantity(drawn.tilt_deg, 1, of_tilt(size), certificate, f"{name}/tilt")
        pairs += [("extent_mm", extent), ("tilt_deg", tilt), ("width_mm", f"{SLOT_WIDTH_MM:.2f}")]
    if drawn.note:
        pairs.append(("note", text(drawn.note)))
    return f"\n[[targets]]\n{keys(pairs)}"


def _grading_units() -> list[str]:
    units = []
    for number in range(UNITS):
        centre = FIRST_CENTRE_MM + PITCH_MM * number
        units.append(
            inline(
                [
                    ("id", text(f"G{number + 1:02d}")),
                    ("x_from_mm", f"{centre - HALF_UNIT_MM:g}"),
                    ("x_to_mm", f"{centre + HALF_UNIT_MM:g}"),
                ]
            )
        )
    return units


COUPON_COMMENT = """
Lug coupon {number:02d} of the {set} set: a slice of a forged hinge lug, 900 x 60 x 60 mm, with
fourteen grading units of 40 mm and guards of 20 mm between them. Holes and slots go in from
edge L, 30 mm deep, across the scan line at y = 15 mm: slots and small holes are eroded, holes
from 1.5 mm on are drilled and reamed; every mouth is sealed with thin tape. At 25 kg a coupon
takes two persons or a hoist.
"""


def _coupon(design: SetDesign, number: int, drawn: Sequence[Drawn]) -> str:
    id_ = f"lug_coupon_{design.name}_{number:02d}"
    serial = f"{design.name[0].upper()}{number:02d}"
    use = {
        "blind": "Blind trial: truth sealed until the calls were committed",
        "open": "Practice and agreement on the reading rule; truth known to the readers",
    }
    top = Head(
        id=id_,
        comment=COUPON_COMMENT.format(number=number, set=design.name),
        title=f"Lug coupon, {design.name} set, {number:02d}",
        purpose=use[design.name],
        finish="As on the component: ground, Ra 3.2 to 6.3 µm",
        outline_mm=(900.0, 60.0, 60.0),
        tolerance_mm=0.1,
        grain_noise="Uneven fine grain of a forging; level taken over from the open coupons",
    )
    check = [
        (
            "method",
            text(
                "Before machining: immersion raster from A and B at 15 MHz, focused; "
                "magnetic particles on all faces. Detectable size as a flat-bottomed hole"
            ),
        ),
        ("report", text(f"BC-{serial}")),
        ("smallest_detectable_mm", "0.3"),
        ("checked_on", "2026-01-12"),
    ]
    body = head(top, _grading_units()) + f"\n[blank_check]\n{keys(check)}"
    return body + "".join(target(item, id_, f"MC-{serial}", (0.0, 30.0)) for item in drawn)


def coupon_texts() -> dict[str, str]:
    """Return the text of each coupon file by block id, open set first."""
    return {
        f"lug_coupon_{design.name}_{number:02d}": _coupon(design, number, drawn)
        for design in (OPEN, BLIND)
        for number, drawn in enumerate(coupons_of(design), start=1)
    }
