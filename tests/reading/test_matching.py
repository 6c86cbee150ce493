"""Matching by box: who may match whom, and the best one-to-one assignment."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.blocks.targets import EmbeddedSlot, SideDrilledHole
from qualify.reading.matching import BoxRule, match_by_box

RULE = BoxRule(x_mm=3.0, y_mm=None, z_mm=3.0, add_target_extent=True)


def size(value: float, unit: str = "x") -> dict:
    return {"nominal": value, "measured": value, "u": 0.01, "method": "m", "certificate": "c"}


def hole(name: str, x: float, z: float, diameter: float = 1.0) -> SideDrilledHole:
    return SideDrilledHole.model_validate(
        {
            "kind": "side_drilled_hole",
            "id": name,
            "x_mm": x,
            "z_mm": z,
            "position_u_mm": 0.05,
            "y_from_mm": 0,
            "y_to_mm": 30,
            "diameter_mm": size(diameter),
        }
    )


def test_box_is_half_width_plus_half_extent():
    """A call matches up to 3 mm plus the hole's radius away, and no further."""
    target = [hole("H", 100, 20)]
    assert match_by_box([(103.5, None, 20)], target, RULE)
    assert not match_by_box([(103.51, None, 20)], target, RULE)
    assert match_by_box([(100, None, 23.5)], target, RULE)
    assert not match_by_box([(100, None, 23.51)], target, RULE)
    bare = BoxRule(3.0, None, 3.0, add_target_extent=False)
    assert not match_by_box([(103.1, None, 20)], target, bare)


def test_slot_widens_the_box_along_its_face():
    """An 8 mm slot at 0° is 4 mm wide each way in x and flat in z; tilt turns it."""
    slot = EmbeddedSlot.model_validate(
        {
            "kind": "embedded_slot",
            "id": "S",
            "x_mm": 100,
            "z_mm": 20,
            "position_u_mm": 0.05,
            "y_from_mm": 0,
            "y_to_mm": 30,
            "width_mm": 0.2,
            "extent_mm": size(8.0),
            "tilt_deg": size(30.0),
        }
    )
    half_x, half_z = slot.half_extent_mm
    assert half_x == pytest.approx(4 * 3**0.5 / 2)
    assert half_z == pytest.approx(2.0)
    assert match_by_box([(100 + 3 + half_x - 1e-9, None, 20)], [slot], RULE)
    assert not match_by_box([(100, None, 20 + 3 + half_z + 1e-6)], [slot], RULE)


def test_depth_counts():
    """A call above the flaw by more than the box is a miss, wherever it lies along x."""
    assert not match_by_box([(100, None, 30)], [hole("H", 100, 20)], RULE)


def test_y_counts_where_both_know_it():
    rule = BoxRule(3.0, 2.0, 3.0, add_target_extent=True)
    assert match_by_box([(100, 31.9, 20)], [hole("H", 100, 20)], rule)
    assert not match_by_box([(100, 32.1, 20)], [hole("H", 100, 20)], rule)
    assert match_by_box([(100, None, 20)], [hole("H", 100, 20)], rule)


def test_smear_over_three_targets_is_one_hit():
    targets = [hole("A", 98, 20), hole("B", 100, 20), hole("C", 102, 20)]
    pairs = match_by_box([(100.2, None, 20)], targets, RULE)
    assert [(p.call, p.target) for p in pairs] == [(0, 1)]


def test_two_calls_on_one_target_are_one_hit():
    pairs = match_by_box([(101, None, 20), (100, None, 20)], [hole("A", 100, 20)], RULE)
    assert [(p.call, p.target) for p in pairs] == [(1, 0)]


def test_more_matches_beat_nearer_ones():
    """The nearest pairing would strand the second call; the best assignment keeps both."""
    targets = [hole("A", 100, 20), hole("B", 104, 20)]
    calls = [(101.9, None, 20), (98.0, None, 20)]
    pairs = match_by_box(calls, targets, RULE)
    assert {(p.call, p.target) for p in pairs} == {(0, 1), (1, 0)}


spots = st.lists(
    st.tuples(st.floats(0, 20).map(lambda v: round(v, 2)), st.floats(0, 8)), max_size=4
)


@settings(max_examples=60, deadline=None)
@given(spots, spots)
def test_assignment_is_the_best_of_all(calls, places):
    """Against brute force: as many pairs as possible, then the smallest sum of distances."""
    targets = [hole(f"T{i}", x, z + 10) for i, (x, z) in enumerate(places)]
    spots_ = [(x, None, z + 10) for x, z in calls]
    pairs = match_by_box(spots_, targets, RULE)
    possible = {
        (i, j): match_by_box([spots_[i]], [targets[j]], RULE)
        for i in range(len(spots_))
        for j in range(len(targets))
    }
    distance = {key: found[0].distance_mm for key, found in possible.items() if found}
    best = (0, 0.0)
    for n in range(min(len(spots_), len(targets)), 0, -1):
        sums = [
            sum(distance[p] for p in zip(chosen, places_, strict=True))
            for chosen in itertools.combinations(range(len(spots_)), n)
            for places_ in itertools.permutations(range(len(targets)), n)
            if all(p in distance for p in zip(chosen, places_, strict=True))
        ]
        if sums:
            best = (n, min(sums))
            break
    assert len(pairs) == best[0]
    assert sum(p.distance_mm for p in pairs) == pytest.approx(best[1], abs=1e-9)
