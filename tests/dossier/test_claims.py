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
    return run_quickly(load_study(folder))


def by_reader(result, statistic, population, basis):
    get = result.estimates.value
    return {r: get(basis, statistic, population, MODE, r) for r in result.readers}


def test_the_worst_caller_is_named_with_its_count(result):
    upper = by_reader(result, "false_call_rate_upper", "blank_units", result.headline)
    called = by_reader(result, "units_called", "blank_units", result.headline)
    worst = max(upper, key=upper.get)
    assert f"Worst, {worst}: {called[worst]} of 152" in claim_of(result, HOLES, MODE).false_calls


def test_calls_beside_targets_stand_on_the_face(result):
    away = by_reader(result, "false_calls", "flawed_units", result.headline)
    most = max(away, key=away.get)
    assert f"up to {away[most]} more ({most})" in claim_of(result, HOLES, MODE).false_calls


def test_the_other_result_stands_beside(result):
    bounds = by_reader(result, "a90_95", HOLES, "as_found")
    worst = max(bounds, key=bounds.get)
    told = claim_of(result, HOLES, MODE).beside
    assert told.startswith(f"As found: a90/95 {bounds[worst]:.2f} mm ({worst};")


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
    same = Estimates(
        tuple(
            replace(e, value=2.0) if (e.statistic, e.population) == ("a90_95", HOLES) else e
            for e in result.estimates.items
        )
    )
    level = replace(result, estimates=same)
    exact = {r: result.fits[(result.headline, HOLES, MODE, r)].a90_95 for r in result.readers}
    worst = max(exact, key=exact.get)
    assert worst_reader(level, HOLES, MODE) == worst
    told = claim_of(level, HOLES, MODE).how_big
    others = [r for r in result.readers if r != worst]
    assert f"the worst readers, {', '.join([worst, *others[:-1]])} and {others[-1]}" in told


def test_the_size_without_units_not_examined_stands_beside(result):
    sizes = by_reader(result, "a90_95", HOLES, "examined_only")
    largest = max(sizes.values())
    assert largest < max(by_reader(result, "a90_95", HOLES, result.headline).values())
    assert f"Examined only: a90/95 {largest:.2f} mm" in claim_of(result, HOLES, MODE).beside


def test_of_readers_equal_in_print_the_least_favourable_number_is_told(result):
    """All with the a90/95 of the worst: its sureness and false calls are the worst of all three."""
    sizes = by_reader(result, "a90_95", HOLES, result.headline)
    top = max(sizes.values())
    items = tuple(
        replace(e, value=top)
        if (e.basis, e.statistic, e.population, e.mode)
        == (result.headline, "a90_95", HOLES, MODE) and e.reader in sizes
        else e
        for e in result.estimates.items
    )  # fmt: skip
    tied = claim_of(replace(result, estimates=Estimates(items)), HOLES, MODE)
    assert all(reader in tied.how_big.split("):")[0] for reader in result.readers)
    cases = ("fit", "steeper", "shallower", "probit", "cloglog", "loglog", "plateau")
    shares = [
        share for case in cases
        for share in by_reader(result, f"holds_{case}", HOLES, result.headline).values()
    ]  # fmt: skip
    assert f"{100 * min(shares):.1f} ±" in tied.how_sure
    assert "whose size this is" not in tied.false_calls
