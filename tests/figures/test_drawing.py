"""The drawing of a block is to scale: what is measured on paper is the block divided by n."""

import math

import pytest
from matplotlib.patches import Circle, Rectangle

from qualify.figures.drawing import block_alt_text, chosen_scale, draw_block
from tests.figures.examples import CLUSTER, LADDER, MIXED, NEAR, coupon

BLOCKS = (LADDER, NEAR, MIXED, CLUSTER, coupon(10))


def paper_mm(figure, artist, points):
    """Points of an artist in millimetres on paper, from the top left corner."""
    pixels = artist.get_transform().transform(points)
    high = figure.bbox.y1
    return [(x / figure.dpi * 25.4, (high - y) / figure.dpi * 25.4) for x, y in pixels]


def by_gid(figure, gid):
    return figure.findobj(lambda artist: artist.get_gid() == gid)[0]


def size_on_paper(figure, gid):
    box = by_gid(figure, gid).get_window_extent()
    return tuple(side / figure.dpi * 25.4 for side in (box.width, box.height))


@pytest.mark.parametrize("compact", [False, True])
@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: block.id)
def test_outlines_have_the_size_of_the_block_over_the_printed_scale(block, compact):
    figure = draw_block(block, compact=compact)
    n = chosen_scale(block, compact=compact)
    assert f"scale 1 : {n}" in {text.get_text() for text in figure.axes[0].texts}
    sides = {
        "plan": (block.length_mm, block.width_mm),
        "side": (block.length_mm, block.thickness_mm),
    }
    if not compact:
        sides["end"] = (block.width_mm, block.thickness_mm)
    for name, (across, down) in sides.items():
        assert size_on_paper(figure, name) == pytest.approx((across / n, down / n), abs=1e-6)
    assert isinstance(by_gid(figure, "plan"), Rectangle)


def test_scale_is_the_largest_of_the_ladder_that_fits_the_width():
    assert chosen_scale(LADDER) == 2  # 300 mm at 1 : 2 are 150 mm of 170
    assert chosen_scale(coupon(10)) == 10  # 900 mm at 1 : 5 would be 180 mm
    assert chosen_scale(coupon(10), compact=True) == 10
    assert chosen_scale(coupon(10), width_mm=80) == 20


@pytest.mark.parametrize("compact", [False, True])
def test_holes_stand_at_their_place_and_have_their_diameter(compact):
    figure, n = draw_block(LADDER, compact=compact), chosen_scale(LADDER, compact=compact)
    corner = by_gid(figure, "side")
    ((left, top),) = paper_mm(figure, corner, [(0.0, 0.0)])
    for target in LADDER.targets:
        circle = by_gid(figure, f"side-target-{target.id}")
        assert isinstance(circle, Circle)
        ((x, z),) = paper_mm(figure, circle, [(0.0, 0.0)])
        at = (left + target.x_mm / n, top + target.z_mm / n)
        assert (x, z) == pytest.approx(at, abs=1e-6)
        across = size_on_paper(figure, f"side-target-{target.id}")[0]
        assert across == pytest.approx(1.5 / n, abs=1e-6)


def test_a_tilted_slot_has_its_extent_and_its_tilt_from_the_scan_face():
    figure, n = draw_block(MIXED), chosen_scale(MIXED)
    line = by_gid(figure, "side-target-E1")
    (x0, z0), (x1, z1) = paper_mm(figure, line, line.get_xydata())
    assert math.hypot(x1 - x0, z1 - z0) == pytest.approx(8.0 / n, abs=1e-6)
    assert math.degrees(math.atan2(z1 - z0, x1 - x0)) == pytest.approx(30.0, abs=1e-6)


def test_a_notch_stands_on_its_face_with_its_height():
    figure, n = draw_block(MIXED), chosen_scale(MIXED)
    ((_, top),) = paper_mm(figure, by_gid(figure, "side"), [(0.0, 0.0)])
    line = by_gid(figure, "side-target-F2")
    depths = [z - top for _, z in paper_mm(figure, line, line.get_xydata())]
    assert depths == pytest.approx([0.0, 6.0 / n], abs=1e-6)
    assert size_on_paper(figure, "side-target-F1") == pytest.approx((20 / n, 4 / n), abs=1e-6)


@pytest.mark.parametrize("targets", [0, 1, 10])
def test_every_target_and_grading_unit_is_named_once_in_the_views(targets):
    block = coupon(targets)
    written = [text.get_text() for text in draw_block(block, compact=True).axes[0].texts]
    for name in (*(t.id for t in block.targets), *(u.id for u in block.grading_units)):
        assert written.count(name) == 1
    assert any("holds no targets" in text for text in written) == (targets == 0)
    sheet = " ".join(t.get_text() for t in draw_block(block).axes[0].texts)
    assert ("a cross marks a target" in sheet) == (targets > 0)


def test_the_table_gives_every_target_with_its_uncertainty():
    written = [text.get_text() for text in draw_block(NEAR, table=True).axes[0].texts]
    assert written.count("Ø1.00 ± 0.03") == len(NEAR.targets)
    assert any("method: pin gauge" in text for text in written)


def test_ids_that_do_not_fit_are_counted_and_still_stand_in_the_table():
    written = [text.get_text() for text in draw_block(CLUSTER, table=True).axes[0].texts]
    beside = sum(written.count(target.id) for target in CLUSTER.targets) - len(CLUSTER.targets)
    assert f"{180 - beside} of 180 ids did not fit beside the view." in written
    assert 0 < beside < 180


def test_a_block_too_long_for_the_smallest_scale_is_refused():
    import dataclasses

    with pytest.raises(ValueError, match="do not fit"):
        draw_block(dataclasses.replace(LADDER, length_mm=20000))


def test_alternative_text_tells_size_scale_and_targets():
    words = block_alt_text(LADDER)
    assert "300 × 60 × 100 mm" in words
    assert "scale 1 : 2" in words
    assert "L10: side-drilled hole, Ø1.50, x 267, z 90." in words
    assert "No targets." in block_alt_text(coupon(0))
    assert "14 grading units, 4 of them blank." in block_alt_text(coupon(10))
