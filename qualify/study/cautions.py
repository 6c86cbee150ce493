"""Notices about the study as a whole: what was not counted, and readers who agree too well."""

from collections import defaultdict

from qualify.reading.tables import BLANK, Tables
from qualify.study.notice import StudyNotice
from qualify.study.plan import Plan


def study_notices(tables: Tables, view: Tables, plan: Plan) -> list[StudyNotice]:
    """Return the notices that no single cell gives; `view` holds the rows after remedy."""
    return [*_not_counted(tables, plan), *_identical(view, plan)]


def _not_counted(tables: Tables, plan: Plan) -> list[StudyNotice]:
    frame, notices = tables.opportunities, []
    foreign = frame[(frame["signal"] != plan.signal) | (frame["read_by"] != plan.read_by)]
    if len(foreign):
        text = (
            f"{len(foreign)} rows are of another kind of signal or reader than the plan's "
            f"({plan.signal}, read by {plan.read_by}) and are not counted."
        )
        notices.append(StudyNotice("not_counted", text, "study"))
    repeats = int((frame["repeat"] > 1).sum())
    if repeats:
        text = (
            f"{repeats} repeated readings are not counted as targets: the same flaw read again "
            "is no further flaw."
        )
        notices.append(StudyNotice("repeats_not_counted", text, "study"))
    return notices


def _identical(view: Tables, plan: Plan) -> list[StudyNotice]:
    """Say where readers hit and missed exactly the same targets."""
    frame = view.opportunities[view.opportunities["kind"] != BLANK]
    notices = []
    for population in plan.populations:
        for mode in plan.modes:
            rows = frame[(frame["kind"] == population.kind) & (frame["mode"] == mode.id)]
            alike: dict[frozenset[str], list[str]] = defaultdict(list)
            for reader, part in rows.groupby("reader", sort=True):
                alike[frozenset(part.loc[part["hit"] == 1, "target"])].append(str(reader))
            notices += [
                StudyNotice(
                    "identical_readers",
                    f"Readers {', '.join(readers)} found exactly the same {len(found)} targets: "
                    "nothing is learnt here of the scatter between readers, and an examiner "
                    "should ask whether they read apart.",
                    f"after_remedy/{population.kind}/{mode.id}/{', '.join(readers)}",
                )
                for found, readers in alike.items()
                if len(readers) > 1
            ]
    return notices
