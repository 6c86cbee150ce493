"""Scoring of a plate small enough to reconcile by hand."""

import itertools

import pytest

from qualify.errors import InputError
from qualify.reading.call_sheet import check_looks
from qualify.reading.key import KeyRow
from qualify.reading.scoring import score
from qualify.reading.tables import to_csv
from tests.reading.plate import make_block, make_call, make_hole, make_scheme


def scored(calls, key, sets, *, block=None, scheme=None):
    return score([block or make_block()], key, sets, calls, scheme or make_scheme())


def test_hand_count(key, sets):
    """One hit, one miss, one false call on a blank, one blank found empty."""
    calls = [
        make_call(1, x_mm=61, z_mm=21, size_mm=0.7, size_method="6 dB drop"),
        make_call(2, x_mm=115, z_mm=40, cause="grain", number=3),
        make_call(3, "nothing_found", number=4),
        make_call(4, "nothing_found", number=5),
    ]
    tables = scored(calls, key, sets)
    frame = tables.opportunities.set_index("grading_unit")
    assert dict(frame["hit"]) == {"U1": 1, "U2": 1, "U3": 0, "U4": 0}
    assert dict(frame["kind"]) == {
        "U1": "side_drilled_hole",
        "U2": "blank",
        "U3": "side_drilled_hole",
        "U4": "blank",
    }
    assert list(frame["examined"]) == [1, 1, 1, 1]
    assert frame.loc["U1", "size_u_mm"] == pytest.approx(0.01)
    assert list(tables.calls["match"]) == ["hit", "false_call_blank"]
    assert list(tables.calls["row"]) == [2, 3]
    assert tables.calls["distance_mm"][0] == pytest.approx(2**0.5)
    sizes = tables.measurements.set_index("target")
    assert sizes.loc["H1", "reported"] == 0.7
    assert sizes.loc["H2", "found"] == 0


def test_a_false_call_in_a_flawed_unit_is_one_too(key, sets):
    calls = [
        make_call(1, x_mm=60, z_mm=20),
        make_call(1, x_mm=75, z_mm=50, number=3),
        *(make_call(u, "nothing_found", number=u + 2) for u in (2, 3, 4)),
    ]
    tables = scored(calls, key, sets)
    assert sorted(tables.calls["match"]) == ["false_call_flawed", "hit"]
    assert int(tables.opportunities["hit"].sum()) == 1


def test_units_without_a_row_and_units_not_examined(key, sets):
    """Both count as not examined; neither can be a hit."""
    calls = [
        make_call(1, "not_examined"),
        make_call(2, "nothing_found", number=3),
        make_call(3, x_mm=180, z_mm=30, number=4),
    ]
    frame = scored(calls, key, sets).opportunities.set_index("grading_unit")
    assert dict(frame["examined"]) == {"U1": 0, "U2": 1, "U3": 1, "U4": 0}
    assert frame.loc["U1", "hit"] == 0


def test_a_turned_piece_with_a_shifted_datum(sets):
    """Turned end for end, unit 1 is U4 and x runs back; the offset moves the datum."""
    key = [KeyRow(code="QKZT", block="plate", flipped=True, datum_offset_mm=5)]
    calls = [
        make_call(4, x_mm=300 - 60 - 5, z_mm=20),
        make_call(2, x_mm=300 - 180 - 5, z_mm=30, number=3),
        make_call(1, "nothing_found", number=4),
        make_call(3, "nothing_found", number=5),
    ]
    tables = scored(calls, key, sets)
    assert list(tables.calls["match"]) == ["hit", "hit"]
    assert list(tables.calls["x_mm"]) == [60, 180]
    assert list(tables.calls["grading_unit"]) == ["U1", "U3"]


def test_a_smear_over_two_units_counts_once(key, sets):
    """A 34 mm smear centred in the guard touches U1 and U2 and is one indication."""
    calls = [
        make_call(1, x_mm=90, z_mm=40, length_x_mm=34),
        *(make_call(u, "nothing_found", number=u + 1) for u in (2, 3, 4)),
    ]
    tables = scored(calls, key, sets)
    assert list(tables.calls["units_touched"]) == ["U1 U2"]
    assert list(tables.calls["match"]) == ["false_call_flawed"]
    assert int(tables.opportunities["hit"].sum()) == 0


def test_matching_by_unit_needs_no_position(key, sets):
    calls = [
        make_call(1),
        make_call(1, number=3, comment="second"),
        make_call(2, number=4),
        make_call(3, "nothing_found", number=5),
        make_call(4, "nothing_found", number=6),
    ]
    tables = scored(calls, key, sets, scheme=make_scheme(box=False))
    assert sorted(tables.calls["match"]) == ["false_call_blank", "false_call_flawed", "hit"]
    two = make_block(targets=[make_hole("H1", 60, 20, 0.5), make_hole("H2", 65, 40, 0.5)])
    with pytest.raises(InputError, match="unit U1: holds 2 targets"):
        scored(calls, key, sets, block=two, scheme=make_scheme(box=False))


def test_a_correction_takes_the_place_of_a_row_and_keeps_it(key, sets):
    calls = [
        make_call(1, x_mm=60, z_mm=50, call_id="a"),
        make_call(1, x_mm=60, z_mm=20, corrects="a", call_id="b", number=3),
        *(make_call(u, "nothing_found", number=u + 2) for u in (2, 3, 4)),
    ]
    check_looks(calls, needs_position=True)
    tables = scored(calls, key, sets)
    assert sorted(tables.calls["match"]) == ["corrected", "hit"]


def test_the_order_of_rows_and_blocks_does_not_matter(sets):
    key = [
        KeyRow(code="QKZT", block="plate", flipped=False),
        KeyRow(code="BXWD", block="other", flipped=True),
    ]
    blocks = [make_block(), make_block("other", [make_hole("H9", 120, 20, 2.0)])]
    calls = [
        make_call(1, x_mm=60, z_mm=20),
        make_call(2, "nothing_found", number=3),
        make_call(3, x_mm=181, z_mm=31, number=4),
        make_call(3, x_mm=120.5, z_mm=44, number=5, code="BXWD", mode="coherence"),
        make_call(3, x_mm=179, z_mm=31, number=6, reader="R2"),
    ]
    seen = set()
    for order in itertools.islice(itertools.permutations(calls), 0, 120, 7):
        tables = score(blocks[::-1], key[::-1], sets[::-1], list(order), make_scheme())
        seen.add(b"".join(map(to_csv, (tables.opportunities, tables.calls, tables.measurements))))
    assert len(seen) == 1


@pytest.mark.parametrize(
    ("calls", "words"),
    [
        ([make_call(1, code="ZZZZ", x_mm=1, z_mm=1)], "'ZZZZ' is not in the key"),
        ([make_call(5, "nothing_found")], "it has units 1 to 4"),
    ],
)
def test_unknown_code_or_unit(calls, words, key, sets):
    with pytest.raises(InputError, match=words):
        scored(calls, key, sets)


def test_a_key_to_a_block_that_is_not_there(sets):
    with pytest.raises(InputError, match="block 'gone' is not there"):
        scored([], [KeyRow(code="QKZT", block="gone", flipped=False)], sets)


@pytest.mark.parametrize(
    ("calls", "words"),
    [
        (
            [make_call(1, x_mm=60, z_mm=20), make_call(1, "nothing_found", number=3)],
            "keep one, or mark the later one as a correction",
        ),
        (
            [make_call(1, x_mm=60, z_mm=20), make_call(1, x_mm=60, z_mm=20, number=3)],
            "row 3: the same indication as in calls.csv: row 2",
        ),
        ([make_call(1, "nothing_found"), make_call(1, "nothing_found", number=3)], "row 3"),
        ([make_call(1, "nothing_found", corrects="x")], "corrects 'x', which is not there"),
        ([make_call(1)], "matching by box needs both"),
    ],
)
def test_rows_that_contradict_each_other(calls, words):
    with pytest.raises(InputError, match=words):
        check_looks(calls, needs_position=True)
