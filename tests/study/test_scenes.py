"""Blocks as scenes: every target of every block stands where its sheet says."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.signal

import qualify
from qualify.blocks.definition import Block
from qualify.recording.probe import Probe
from qualify.simulation.band import to_time
from qualify.simulation.reflectors import add_scene
from qualify.simulation.scene import Scene
from qualify.simulation.simulate import bench_of
from qualify.study.scenes import place_on, scene_of, solid_of

SHEETS = sorted((Path(qualify.__file__).parents[1] / "reference_blocks").glob("*.toml"))
ARRAY = Probe(
    name="invented array",
    elements=3,
    pitch_mm=0.62,
    element_width_mm=0.52,
    passive_width_mm=11.0,
    centre_mhz=5.0,
    bandwidth_fraction=0.7,
)
Q = {"method": "m", "certificate": "c"}


def block_of(path):
    return Block.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", SHEETS, ids=lambda p: p.stem)
def test_every_target_arrives_when_its_place_on_the_block_says(path):
    """The array over each target in turn, the target alone: the first peak of the middle
    element's own signal comes at twice the way to its nearest point, within .12 µs (a small
    hole's pulse changes its form; slots tilted by 15° and more are seen at an end or in the
    middle, so that any time between both ends will do)."""
    block = block_of(path)
    bench = bench_of(ARRAY, solid_of(block), 50.0, 2048)
    for target in block.targets:
        alone = block.model_copy(update={"targets": (target,)})
        section = scene_of(alone, place_on(block, target.x_mm, 15.0), ARRAY, 1)
        assert not section.left_out
        out = np.zeros((2, len(bench.one), len(bench.k_per_mm)), np.float32)
        add_scene(bench, replace(section.scene, wall_mm=None), out)
        own = (bench.one == 1) & (bench.other == 1)
        signal = to_time(out[:, own] * bench.band.pulse.astype(np.float32), bench.band)[0]
        found = np.argmax(np.abs(scipy.signal.hilbert(signal))) / 50.0 * bench.solid.speed / 2
        half_x, half_z = target.half_extent_mm
        high = target.z_mm - half_z
        low = target.z_mm + (half_z if target.kind_name != "side_drilled_hole" else -half_z)
        assert high - 0.36 < found < np.hypot(low, half_x) + 0.36, target.id


def test_a_place_moves_the_scene(tmp_path):
    """The array 7 mm further along the block: the target 7 mm nearer to its end 0."""
    block = block_of(SHEETS[0])
    target = block.targets[0]
    here = scene_of(block, place_on(block, target.x_mm, 15.0), ARRAY, 1).scene
    there = scene_of(block, place_on(block, target.x_mm + 7.0, 15.0), ARRAY, 1).scene
    assert here.holes[0].x_mm == pytest.approx(0.0)
    assert there.holes[0].x_mm == pytest.approx(-7.0)
    assert there.holes[0].z_mm == pytest.approx(target.z_mm)
    place = place_on(block, 40.0, 15.0)
    assert (place.x_from_mm, place.x_to_mm) == (-40.0, block.outline.length_mm - 40.0)


def test_from_the_other_face_depth_is_counted_from_there():
    """Face B: z → thickness − z, x as it is; a slot's tilt turns with it."""
    path = next(p for p in SHEETS if "blind_01" in p.stem)
    block = block_of(path)
    turned = block.model_copy(update={"scan_surface": "B"})
    for x_mm in (716.0, 779.0):
        a, b = (scene_of(one, place_on(one, x_mm, 15.0), ARRAY, 1).scene for one in (block, turned))
        for here, there in zip(a.holes, b.holes[-len(a.holes) :], strict=False):
            assert there.z_mm == pytest.approx(60.0 - here.z_mm)
        for here, there in zip(a.faces, b.faces, strict=False):
            assert there.z1_mm == pytest.approx(60.0 - here.z1_mm)
            assert there.x1_mm == pytest.approx(here.x1_mm)
        assert a.holes or a.faces


def with_target(**target):
    base = block_of(SHEETS[0])
    given = {"position_u_mm": 0.03, **target}
    return Block.model_validate(base.model_dump() | {"targets": [given]})


def size(value, u=0.02):
    return {"nominal": value, "measured": value, "u": u, **Q}


def section_of(block, x=100.0, y=30.0, pore=None):
    return scene_of(block, place_on(block, x, y), ARRAY, 1, pore)


def test_a_notch_from_the_far_face_breaks_the_wall():
    """Height projected on z; the mouth at x on the wall, also where the middle of the height was
    measured 0.1 mm off; the tip leaning by h·tan(tilt)."""
    thick = block_of(SHEETS[0]).outline.thickness_mm
    notch = {
        "id": "F1", "kind": "notch", "x_mm": 100.0, "z_mm": thick - 2.1, "y_centre_mm": 30.0,
        "face": "B", "along": "y", "length_mm": size(20.0), "height_mm": size(4.0),
        "tilt_deg": size(10.0), "width_mm": 0.2,
    }  # fmt: skip
    (face,) = section_of(with_target(**notch)).scene.faces
    assert face.breaks_wall
    assert (face.x2_mm, face.z2_mm) == pytest.approx((0.0, thick))
    assert (face.x1_mm, face.z1_mm) == pytest.approx((4 * np.tan(np.radians(10)), thick - 4))
    for change, word in (({"along": "x"}, "along the array"), ({"face": "A", "z_mm": 2.0}, "scan")):
        (remark,) = section_of(with_target(**(notch | change))).left_out
        assert remark.refused
        assert word in remark.text


def test_a_slot_of_positive_tilt_goes_down_along_x():
    """As it is drawn: its end at the larger x is the deeper one. Extent 4.0 mm along its face,
    15° from the scan face: ends at ∓ 2 cos 15° and 30 ∓ 2 sin 15°; seen from B the other way."""
    slot = {
        "id": "S1", "kind": "embedded_slot", "x_mm": 100.0, "z_mm": 30.0, "y_from_mm": 10.0,
        "y_to_mm": 50.0, "extent_mm": size(4.0), "tilt_deg": size(15.0), "width_mm": 0.15,
    }  # fmt: skip
    block = with_target(**slot)
    half_x, half_z = 2.0 * np.cos(np.radians(15.0)), 2.0 * np.sin(np.radians(15.0))
    (face,) = section_of(block).scene.faces
    assert (face.x1_mm, face.z1_mm) == pytest.approx((-half_x, 30.0 - half_z))
    assert (face.x2_mm, face.z2_mm) == pytest.approx((half_x, 30.0 + half_z))
    assert not face.breaks_wall
    thick = block.outline.thickness_mm
    (behind,) = section_of(block.model_copy(update={"scan_surface": "B"})).scene.faces
    assert (behind.x2_mm, behind.z2_mm) == pytest.approx((half_x, thick - 30.0 - half_z))


def test_a_flat_bottomed_hole_is_in_the_section_or_left_out():
    """On the scan line its end is a disc where it stands; a quarter of its diameter off is the
    most; farther off it is told and left out; from its own side it is refused."""
    hole = {
        "id": "P1", "kind": "flat_bottomed_hole", "x_mm": 100.0, "z_mm": 25.0,
        "y_centre_mm": 30.0, "diameter_mm": size(4.0),
    }  # fmt: skip
    block = with_target(**hole)
    for y in (30.0, 30.9):
        (disc,) = section_of(block, x=97.0, y=y).scene.discs
        assert (disc.x_mm, disc.z_mm, disc.diameter_mm) == pytest.approx((3.0, 25.0, 4.0))
    beside = section_of(block, y=31.1)
    assert not beside.scene.discs
    assert [remark.refused for remark in beside.left_out] == [False]
    turned = section_of(block.model_copy(update={"scan_surface": "B"}))
    assert not turned.scene.discs
    assert [remark.refused for remark in turned.left_out] == [True]


def test_pores_fill_their_declared_share_and_are_drawn_from_the_seed():
    """Area of all pores over that of the band: the share, within one pore; twice the same."""
    cluster = {
        "id": "P1", "kind": "pore_cluster", "x_mm": 100.0, "z_mm": 40.0, "y_from_mm": 10.0,
        "y_to_mm": 50.0, "band_thickness_mm": size(4.0), "areal_fraction": size(0.02, 0.001),
        "length_mm": size(20.0),
    }  # fmt: skip
    block = with_target(**cluster)
    pores = section_of(block, pore=0.3).scene.pores
    assert len(pores) * np.pi * 0.15**2 == pytest.approx(0.02 * 80.0, abs=np.pi * 0.15**2)
    assert pores == section_of(block, pore=0.3).scene.pores
    assert pores != scene_of(block, place_on(block, 100.0, 30.0), ARRAY, 2, 0.3).scene.pores
    assert all(abs(p.x_mm) <= 10.0 and abs(p.z_mm - 40.0) <= 2.0 for p in pores)


def test_what_lies_beside_the_beam_is_left_out_and_what_ends_in_it_refused():
    """A hole from y = 0 to 30: line at 15 in the model, at 50 beside it, at 30 it ends there."""
    hole = {
        "id": "H1", "kind": "side_drilled_hole", "x_mm": 100.0, "z_mm": 30.0, "y_from_mm": 0.0,
        "y_to_mm": 30.0, "diameter_mm": size(1.0),
    }  # fmt: skip
    block = with_target(**hole)
    assert section_of(block, y=15.0).scene.holes
    for y, refused in ((50.0, False), (30.0, True)):
        section = section_of(block, y=y)
        assert section.scene == Scene(wall_mm=block.outline.thickness_mm)
        assert section.left_out[0].refused is refused
