"""The order of events as the dossier tells it: recorded beats declared, and faults stop it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from matplotlib.colors import to_hex

from qualify.dossier.claims import _order_link
from qualify.dossier.missing import missing
from qualify.dossier.order_views import event_views, log_words, order_faults, order_stop
from qualify.dossier.questions import RECORDED, _order
from qualify.evidence.commitment import commitment, file_marks
from qualify.evidence.events import append_entry, read_log
from qualify.figures.events import order_of_events_figure
from qualify.figures.palette import LIMIT
from qualify.files import digest
from qualify.study.frozen_parts import plan_parts
from qualify.study.order_log import Program, Recorded, Standing, order_log
from qualify.study.run import run_study
from tests.quick import few_simulations, readers_apart
from tests.study.small import make_declaration, make_inputs, make_plan, whole_look

SALT, BEGIN = bytes(32), datetime(2026, 3, 2, 9, tzinfo=UTC)
PROGRAM = Program(version="1", sha256="1" * 64)
TRUTH, SHEETS = {"key.csv": digest(b"key")}, {"r1.csv": digest(b"calls")}
PLAN = make_plan()
FREEZING = "§13 Record of freezing"


def recorded(*, now=None, days=(0, 2, 30), given=SALT):
    """A log with freeze, seal and opening on these days after 2026-03-02."""
    parts = plan_parts(PLAN)
    entries = {
        "freeze": {"parts": parts, "software": PROGRAM.model_dump()},
        "seal": {
            "commitment": commitment(SALT, TRUTH),
            "files": file_marks(SALT, TRUTH),
            "salt_sha256": digest(SALT),
        },
        "unseal": {"salt": given.hex(), "call_sheets": SHEETS},
    }
    log, numbers = b"", {}
    for day, kind in sorted(zip(days, entries, strict=True)):
        what = {"study": "small", **entries[kind]}
        if kind == "unseal":
            what["seal"] = numbers["seal"]
        numbers[kind] = len(numbers) + 1
        at = BEGIN + timedelta(days=day)
        log = append_entry(log, kind=kind, at=at, by=["C-1"], what=what)
    standing = Standing(parts, PROGRAM, TRUTH, SHEETS)
    return Recorded(order_log(log, "small"), replace(standing, **(now or {})))


def result_of(log, events=()):
    declaration = make_declaration(events=list(events))
    inputs = make_inputs(whole_look({1: {"x_mm": 60, "z_mm": 20}}), declaration=declaration)
    with few_simulations(199, 10), readers_apart():
        return run_study(replace(inputs, log=log))


@pytest.fixture(scope="module")
def whole():
    return result_of(recorded())


def freezing(result):
    return dict(missing(result))[FREEZING]


def test_a_whole_log_shows_the_order(whole):
    assert whole.deviations == ()
    assert order_stop(whole) is None
    assert order_faults(whole) == ()
    assert _order_link(whole) == ("A", "the order of events is recorded")
    assert _order(whole) == ("partly", RECORDED)  # a log kept by those it speaks of
    assert freezing(whole) == "present"
    log = whole.inputs.log.log
    assert read_log(log.content).head in log_words(log)


def test_declared_alone_is_not_proven():
    days = {"plan_frozen": 2, "calls_committed": 20, "truth_opened": 30}
    events = [{"kind": k, "on": f"2026-03-{d:02}", "by": "C-1"} for k, d in days.items()]
    result = result_of(None, events)
    assert order_stop(result) is None
    assert _order_link(result)[0] == "B"
    assert _order(result)[0] == "partly"
    assert _order(result) != ("partly", RECORDED)


CASES = {
    "changed_after_freezing": {"now": {"parts": {**plan_parts(PLAN), "matching": "0" * 64}}},
    "seal_broken": {"now": {"truth": {"key.csv": digest(b"other")}}},
    "changed_after_opening": {"now": {"sheets": {"r1.csv": digest(b"other")}}},
    "not_frozen_before_opening": {"days": (31, 2, 30)},
    "sealed_after_start": {"days": (0, 12, 30)},
}


@pytest.mark.parametrize("kind", CASES)
def test_what_speaks_against_the_order_stops_it(kind):
    result = result_of(recorded(**CASES[kind]))
    assert [d.kind for d in result.deviations] == [kind]
    stop = "the log of events speaks against the order (D1)"
    assert order_stop(result) == stop
    if kind != "not_frozen_before_opening":
        assert freezing(result) == f"thin: {stop}"
    assert _order_link(result)[0] == "D"
    assert _order(result)[0] == "open"
    (fault,) = order_faults(result)
    assert fault.startswith("D1: ")


def test_a_salt_that_was_not_sealed_breaks_the_seal_itself():
    result = result_of(recorded(given=b"s" * 32))
    (deviation,) = result.deviations
    assert (deviation.kind, deviation.subject) == ("seal_broken", "truth")
    assert "is not that of the seal" in deviation.text


def test_other_software_alone_lowers_the_grade_by_one():
    program = Program(version="2", sha256="2" * 64)
    result = result_of(recorded(now={"software": program}))
    assert [(d.kind, d.subject) for d in result.deviations] == [
        ("changed_after_freezing", "software")
    ]
    assert order_stop(result) is None
    assert _order_link(result)[0] == "B"
    assert _order(result)[0] == "partly"
    assert _order(result) != ("partly", RECORDED)


def test_the_figure_marks_the_opening_and_writes_faults_in_red():
    result = result_of(recorded(days=(31, 2, 30)))
    views = event_views(result)
    figure = order_of_events_figure(views, order_faults(result), dense=True)
    page = figure.axes[0]
    marks = {a.get_gid(): a for a in page.lines if a.get_gid() and a.get_gid().startswith("event-")}
    (line,) = [a for a in page.lines if a.get_gid() == "opened"]
    heights = [marks[f"event-{k}"].get_ydata()[0] for k in range(len(views))]
    opened = [v.opens for v in views].index(True)
    assert heights[opened] < line.get_ydata()[0] < heights[opened + 1]
    assert [v.label.split(":")[0] for v in views if v.late] == ["plan and thresholds frozen"]
    red = [t.get_text() for t in page.texts if to_hex(t.get_color()) == LIMIT]
    assert "D1: Nothing frozen before truth was opened." in red
    assert any(words.startswith("plan and thresholds frozen: TOO LATE") for words in red)
    assert "truth opened, by C-1" not in red
