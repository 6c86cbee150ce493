"""The events that a log records, in the words of the trial."""

from collections.abc import Mapping

from qualify.evidence.events import Entry
from qualify.study.order_log import OrderLog, Recorded
from qualify.study.result import StudyEvent

EVENT_WORDS = {
    "plan_frozen": "plan, matching rule and criteria frozen",
    "threshold_frozen": "reading rules and reporting thresholds frozen",
    "truth_sealed": "truth sealed by its custodian",
    "trial_started": "blind trial started",
    "calls_committed": "calls of all readers handed in",
    "trial_ended": "blind trial ended",
    "truth_opened": "truth opened",
    "analysis_run": "analysis run",
}


def moment_words(at: str) -> str:
    """Return a moment of the log in words; a date alone stays as it is."""
    return f"{at[:10]} {at[11:16]} UTC" if "T" in at else at


def recorded_events(recorded: Recorded | None) -> list[StudyEvent]:
    """Return the events of the log; those of a broken log are only declared by whoever wrote it."""
    if recorded is None:
        return []
    log = recorded.log
    out = [event for entry, frozen in log.freezes for event in _freezing(log, entry)]
    out += [_event(log, "truth_sealed", entry) for entry, _ in log.seals]
    for entry, opened in log.openings:
        sheets = opened.call_sheets
        if sheets:
            words = f"calls of all readers handed in ({_sheet_words(sheets)} recorded)"
            out.append(_event(log, "calls_committed", entry, words))
        out.append(_event(log, "truth_opened", entry))
    return out + [_other(entry) for entry in log.others]


def _sheet_words(sheets: Mapping[str, str]) -> str:
    return "1 call sheet" if len(sheets) == 1 else f"{len(sheets)} call sheets"


def _freezing(log: OrderLog, entry: Entry) -> list[StudyEvent]:
    if log.freeze is not None and entry.number == log.freeze[0].number:
        return [_event(log, kind, entry) for kind in ("plan_frozen", "threshold_frozen")]
    if log.opening is not None and entry.number > log.opening[0].number:
        words = "plan and thresholds frozen: TOO LATE, does not count"
        return [_event(log, "freeze_too_late", entry, words, late=True)]
    words = "plan and thresholds frozen; replaced by a later freeze"
    return [_event(log, "freeze_replaced", entry, words)]


def _event(
    log: OrderLog, kind: str, entry: Entry, words: str = "", *, late: bool = False
) -> StudyEvent:
    broken = ", by a log that was changed" if log.breaks else ""
    return StudyEvent(
        kind,
        (words or EVENT_WORDS[kind]) + broken,
        entry.at,
        " and ".join(entry.by),
        "declared" if broken else "recorded",
        f"entry {entry.number} of the log, SHA-256 {entry.sha256[:12]}…",
        late,
    )


def _other(entry: Entry) -> StudyEvent:
    """Return an event that somebody declared in the log: when it was written is recorded."""
    words = str(entry.what.get("words", "an event without words"))
    document = f"entry {entry.number} of the log, SHA-256 {entry.sha256[:12]}…"
    return StudyEvent("declared", words, entry.at, " and ".join(entry.by), "declared", document)
