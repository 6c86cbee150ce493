"""The claim box of the demonstration against its own estimates and tables."""

from dataclasses import replace

import pytest
from reportlab.platypus import Paragraph

from qualify.criteria.estimate import Estimates
from qualify.demo.study_files import study_files
from qualify.dossier.chapters_left_out import left_out
from qualify.dossier.claims import claim_of, grade_of
from qualify.dossier.lookup import worst_reader
from qualify.dossier.style import register_fonts
from qualify.files import write_folder
from qualify.study.load import load_study
from tests.quick import run_quickly

HOLES, MODE = "side_drilled_hole", "coherence"


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "study"
    write_folder(folder, study_files(), mark="plan.toml")
    return run_quickly(load_study(folder), 199, 10, quick=True)


SIZES = {
    "after_remedy": {"R1": 1.21, "R2": 1.34, "R3": 1.58},
    "as_found": {"R1": 1.62, "R2": 1.35, "R3": 1.44},
    "examined_only": {"R1": 1.20, "R2": 1.17, "R3": 1.31},
}


@pytest.fixture(scope="module")
def sized(result):
    """Return the study with these a90/95 of holes; its own curves are too flat to have any."""
    return with_sizes(result, SIZES)


def with_sizes(result, sizes):
    """Return a result whose bounds of holes, in print and unrounded, are `sizes` by basis."""
    items, fits = [], dict(result.fits)
    for one in result.estimates.items:
        of_holes = (one.statistic, one.population, one.mode) == ("a90_95", HOLES, MODE)
        size = sizes.get(one.basis, {}).get(one.reader) if of_holes else None
        items.append(one if size is None else replace(one, value=size, reason=None, in_range=True))
        where = (one.basis, HOLES, MODE, one.reader)
        if size is not None and where in fits:
            fits[where] = replace(fits[where], a90_95=size - 0.001)
    return replace(result, estimates=Estimates(tuple(items)), fits=fits)


def by_reader(result, statistic, population, basis):
    get = result.estimates.value
    return {r: get(basis, statistic, population, MODE, r) for r in result.readers}


def test_the_worst_caller_is_named_with_its_count(result):
    upper = by_reader(result, "false_call_rate_upper", "blank_units", result.headline)
    called = by_reader(result, "units_called", "blank_units", result.headline)
    worst = max(upper, key=upper.get)
    assert f"Worst, {worst}: {called[worst]} of 152" in claim_of(result, HOLES, MODE).false_calls


def test_nobody_has_a_size_where_none_is_told(result):
    told = claim_of(result, HOLES, MODE).false_calls
    assert "whose size this is" not in told
    assert f"{worst_reader(result, HOLES, MODE)}, who finds least: " in told


def test_calls_beside_targets_stand_on_the_face(result):
    away = by_reader(result, "false_calls", "flawed_units", result.headline)
    most = max(away, key=away.get)
    assert f"up to {away[most]} more ({most})" in claim_of(result, HOLES, MODE).false_calls


def test_the_other_result_stands_beside(sized):
    """Of the reader who was worst on that basis, who need not be the worst of the headline."""
    assert sized.headline == "after_remedy"
    told = claim_of(sized, HOLES, MODE).beside
    assert told.startswith("As found: a90/95 1.62 mm (R1;")


def test_readers_of_the_custodians_body_lower_the_grade(result):
    links = grade_of(result, HOLES, MODE).links
    assert ("B", "the readers belong to the body that held the truth") in links
    assert grade_of(result, HOLES, MODE).letter == "F"


def test_every_call_that_does_not_count_is_counted(result):
    """Calls of all sheets less those of the headline: told in chapter 8."""
    gone = len(result.tables.calls) - len(result.views[result.headline].calls)
    register_fonts()
    told = " ".join(f.getPlainText() for f in left_out(result) if isinstance(f, Paragraph))
    assert gone > 0
    assert f"{gone} calls stand in the sheets and do not count" in told
    frame = result.tables.opportunities
    twice = frame[(frame["reading"] == "re-reading") & (frame["kind"] != "blank")]
    assert f"of {len(twice)} targets read alike" in told


def test_readers_whose_sizes_read_the_same_are_ordered_by_the_unrounded_bound(result):
    """The bound in print is rounded; the worst reader is the one whose own is larger."""
    level = with_sizes(result, {"after_remedy": dict.fromkeys(result.readers, 2.0)})
    where = ("after_remedy", HOLES, MODE, "R2")
    fits = {**level.fits, where: replace(level.fits[where], a90_95=1.9999)}
    level = replace(level, fits=fits)
    assert worst_reader(level, HOLES, MODE) == "R2"
    assert "the worst readers, R2, R1 and R3" in claim_of(level, HOLES, MODE).how_big


def test_the_size_without_units_not_examined_stands_beside(sized):
    assert "Examined only: a90/95 1.31 mm" in claim_of(sized, HOLES, MODE).beside


def test_of_readers_equal_in_print_the_least_favourable_number_is_told(result):
    """All with one a90/95: its sureness and false calls are the worst of all three."""
    tied = with_sizes(result, {result.headline: dict.fromkeys(result.readers, 1.58)})
    held = {"R1": 0.951, "R2": 0.937, "R3": 0.944}
    items = tuple(
        replace(e, value=0.006 if e.statistic.endswith("_error") else held.get(e.reader))
        if e.statistic.startswith("holds_") and (e.population, e.mode) == (HOLES, MODE)
        else e
        for e in tied.estimates.items
    )
    claim = claim_of(replace(tied, estimates=Estimates(items)), HOLES, MODE)
    assert all(reader in claim.how_big.split("):")[0] for reader in result.readers)
    assert "93.7 ±" in claim.how_sure
    assert "whose size this is" not in claim.false_calls
