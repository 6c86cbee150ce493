"""Targets in images stand where the drawing of the block has them."""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from qualify.blocks.definition import Block
from qualify.dossier.truth_views import true_targets
from qualify.dossier.views import block_view
from qualify.errors import InputError
from qualify.figures.block_view import side_shape
from qualify.recording.points import record_points
from qualify.recording.probe import Probe

GOOD = tomllib.loads((Path(__file__).parents[1] / "blocks/good.toml").read_text(encoding="utf-8"))
POSITION_MM = 7.0
TILT = next(t["tilt_deg"] for t in GOOD["targets"] if t["kind"] == "embedded_slot")


def notch(face, z_mm, tilt):
    size = {"nominal": 4.0, "measured": 4.0, "u": 0.05, "method": "replica", "certificate": "X"}
    return {
        "id": f"N{face}", "kind": "notch", "x_mm": 40.0, "z_mm": z_mm, "position_u_mm": 0.05,
        "y_centre_mm": 20.0, "face": face, "along": "y", "length_mm": size, "height_mm": size,
        "tilt_deg": {**TILT, "nominal": tilt, "measured": tilt}, "width_mm": 0.2,
    }  # fmt: skip


def block_of(face="A", tilt=0.0, **changes):
    data = {**GOOD, "scan_surface": face}
    targets = [{**t, **changes.get(t["kind"], {})} for t in data["targets"]]
    targets += [notch("A", 2.0, tilt), notch("B", data["outline"]["thickness_mm"] - 2.0, tilt)]
    return Block.model_validate({**data, "targets": targets})


def recording_of(block):
    probe = Probe(
        name="invented", elements=2, pitch_mm=0.6, element_width_mm=0.5, passive_width_mm=10,
        centre_mhz=5, bandwidth_fraction=0.7,
    )  # fmt: skip
    made = record_points(probe, [[0.0, 10.0]], samples=8)
    return replace(made, block=block.id, position_mm=POSITION_MM)


def ends(target):
    """Return the two ends of a slot as an image draws it, left one first."""
    turn = -1.0 if target.rising else 1.0
    return [
        (target.x_mm - target.half_x_mm, target.z_mm - turn * target.half_z_mm),
        (target.x_mm + target.half_x_mm, target.z_mm + turn * target.half_z_mm),
    ]


@pytest.mark.parametrize("face", ["A", "B"])
@pytest.mark.parametrize("tilt", [20.0, -20.0])
def test_targets_stand_where_the_drawing_has_them(face, tilt):
    slots = {"embedded_slot": {"tilt_deg": {**TILT, "nominal": tilt, "measured": tilt}}}
    block = block_of(face, tilt, **slots)
    view, thickness = block_view(block), block.outline.thickness_mm
    shown = true_targets(block, recording_of(block), "r.h5")
    for found, drawn in zip(shown, view.targets, strict=True):
        shape = side_shape(drawn, view)
        places = [(x - POSITION_MM, thickness - z if face == "B" else z) for x, z in shape.points]
        if found.shape == "hole":
            assert places == [pytest.approx((found.x_mm, found.z_mm))]
            assert found.half_x_mm == pytest.approx(shape.radius)
        else:
            assert ends(found) == [pytest.approx(place) for place in sorted(places)]


def test_the_recording_has_to_be_of_the_block_and_say_where():
    block = block_of()
    made = replace(recording_of(block), block="another", position_mm=None)
    with pytest.raises(InputError) as told:
        true_targets(block, made, "r.h5")
    assert "r.h5: is of block another" in str(told.value)
    assert "does not say where the array stood" in str(told.value)
