"""The order of events as pages and figures take it: what is known of it, what speaks against it."""

from qualify.dossier.words import listed
from qualify.figures.events import EventView
from qualify.study.frozen_parts import SOFTWARE, words_of
from qualify.study.order_log import OrderLog
from qualify.study.result import StudyEvent, StudyResult

NEEDED = ("plan_frozen", "calls_committed", "truth_opened")
BY_DAYS = "frozen_after_opening"  # days declared or recorded, not the log alone
AGAINST = (
    BY_DAYS,
    "not_frozen_before_opening",
    "changed_after_freezing",
    "sealed_after_start",
    "seal_broken",
    "seal_not_opened",
    "changed_after_opening",
    "log_broken",
)
ALONE = ("not_frozen_before_opening", "seal_not_opened", "sealed_after_start")
MANY = 6


def event_views(result: StudyResult) -> tuple[EventView, ...]:
    """Return the events as they are drawn; the first opening of truth is marked."""
    opened = next((e for e in result.events if e.kind == "truth_opened" and e.on), None)
    return tuple(
        EventView(
            e.on,
            e.words + (f", by {e.by}" if e.by else ""),
            e.status,
            opens=e is opened,
            late=e.late,
        )
        for e in result.events
    )


def order_faults(result: StudyResult) -> tuple[str, ...]:
    """Return what speaks against the order, a sentence a kind of deviation."""
    told = []
    for kind in AGAINST:
        held = [d for d in result.deviations if d.kind == kind]
        if held:
            numbers = listed([d.number for d in held], 4)
            what = f"{held[0].in_words[:1].upper()}{held[0].in_words[1:]}"
            names = [] if kind in ALONE else [_subject(d.subject) for d in held]
            told.append(f"{numbers}: {what}{': ' if names else ''}{listed(names, MANY)}.")
    return tuple(told)


def _subject(subject: str) -> str:
    return words_of(subject) if subject != "plan_frozen" else "the plan"


def how_known(event: StudyEvent) -> str:
    """Return how an event is known, in words."""
    if event.status == "declared":
        return f"declared by {event.by}, not proven by this file"
    return f"recorded in the log, by {event.by}" if event.status == "recorded" else "not recorded"


def log_words(log: OrderLog) -> str:
    """Return what the log of events shows, and what it can't."""
    return (
        f"The log is the file events.jsonl of this dossier; digest of its last line: {log.head}. "
        "Each line holds the digest of the line before. Digests show that a file did not change, "
        "not that nobody looked; times are those of the machine's clock. A keeper of the log can "
        "write it anew as a whole, unless somebody else noted this digest at the time."
    )


def known_by(result: StudyResult, kind: str) -> str | None:
    """Return how an event of this kind is known at best; None if it is not."""
    held = {e.status for e in result.events if e.kind == kind}
    return next((status for status in ("recorded", "declared") if status in held), None)


def order_recorded(result: StudyResult) -> bool:
    """Whether freezing, handing in and opening are recorded, not only declared."""
    return all(known_by(result, kind) == "recorded" for kind in NEEDED)


def software_changed(result: StudyResult) -> bool:
    """Whether other software analysed than was frozen."""
    changed = [d for d in result.deviations if d.kind == "changed_after_freezing"]
    return any(d.subject == SOFTWARE for d in changed)


def order_stop(result: StudyResult) -> str | None:
    """Say why the order of freezing, reading and opening is not shown, None if it is.

    A change of software alone stops nothing here: it is told beside.
    """
    against = [
        d
        for d in result.deviations
        if d.kind in AGAINST
        and d.kind != BY_DAYS
        and (d.kind, d.subject) != ("changed_after_freezing", SOFTWARE)
    ]
    if against:
        numbers = listed([d.number for d in against], 4)
        return f"the log of events speaks against the order ({numbers})"
    missing = [kind for kind in NEEDED if known_by(result, kind) is None]
    if missing:
        names = {e.kind: e.words for e in result.events}
        return "not recorded: " + ", ".join(names.get(k, k.replace("_", " ")) for k in missing)
    opened = min(e.on for e in result.events if e.kind == "truth_opened" and e.on)
    late = [kind for kind in NEEDED[:2] if _after(_told(result, kind), opened)]
    return "truth was opened before all was frozen and handed in" if late else None


def _told(result: StudyResult, kind: str) -> str:
    """Return when an event of this kind was: as recorded, else the last day declared."""
    held: list[StudyEvent] = [e for e in result.events if e.kind == kind and e.on]
    best = [e for e in held if e.status == "recorded"] or held
    return best[-1].on


def _after(one: str, other: str) -> bool:
    """Whether a moment is after another; where one is a date alone, by the day."""
    if "T" in one and "T" in other:
        return one > other
    return one[:10] > other[:10]
