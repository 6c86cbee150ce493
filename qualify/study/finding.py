"""Deviations found from the data and the declaration, and the order of events."""

from collections.abc import Iterable, Sequence
from datetime import date

import pandas as pd

from qualify.reading.key import SetRow
from qualify.reading.tables import Tables
from qualify.study.declaration import Declaration, DeviationKind, Event, Remedy
from qualify.study.deviations import Deviation
from qualify.study.order_events import EVENT_WORDS, recorded_events
from qualify.study.order_finding import found_in_log, recorded_dates
from qualify.study.order_log import Recorded
from qualify.study.plan import Plan
from qualify.study.result import Found, StudyEvent, StudyInputs

EXCLUSIVE = {"developer", "truth_custodian", "reader", "statistician"}


def find_deviations(tables: Tables, inputs: StudyInputs) -> tuple[Deviation, ...]:
    """Return every deviation, numbered, with the remedy that the declaration records for it."""
    declaration, plan, log = inputs.declaration, inputs.plan, inputs.log
    found = [
        *_set_overlap(tables, inputs.sets, declaration.trial_until),
        *_software(tables, declaration),
        *_calls_between_units(tables),
        *_two_roles(declaration),
        *_frozen_late(declaration, plan, log),
        *found_in_log(log, declaration),
    ]
    return tuple(
        _with_remedy(number, *item, declaration) for number, item in enumerate(found, start=1)
    )


def _with_remedy(
    number: int, kind: DeviationKind, subject: str, text: str, declaration: Declaration
) -> Deviation:
    remedies = [
        remedy
        for remedy in declaration.remedies
        if remedy.deviation == kind and remedy.subject in (None, subject)
    ]
    remedies.sort(key=lambda remedy: remedy.subject is None)
    remedy = remedies[0] if remedies else None
    independent = remedy is not None and _independent(remedy, declaration)
    return Deviation(f"D{number}", kind, subject, text, remedy, independent)


def _independent(remedy: Remedy, declaration: Declaration) -> bool:
    """Whether a signatory belongs to a party without a developer, and read nothing."""
    interested = {role.party for role in declaration.roles if role.role == "developer"}
    readers = {role.person for role in declaration.roles if role.role == "reader"}
    party = {role.person: role.party for role in declaration.roles}
    signers = [s for s in (remedy.signed_by, remedy.second_signature) if s is not None]
    if remedy.action == "accepted" and len(signers) < 2:
        return False
    return bool(interested) and any(
        signer in party and party[signer] not in interested and signer not in readers
        for signer in signers
    )


def _set_overlap(tables: Tables, sets: Sequence[SetRow], until: date) -> list[Found]:
    frame = tables.opportunities
    used = set(frame.loc[frame["set"] == "blind", "target"]) - {""}
    found: list[Found] = []
    for target in sorted(used):
        known = sorted(
            {
                (row.from_date, row.set, row.block)
                for row in sets
                if row.target == target and row.set in ("setup", "open") and row.from_date <= until
            }
        )
        if known:
            on, name, block = known[0]
            found.append(
                (
                    "set_overlap",
                    target,
                    f"Target {target} of the blind set also stands in the {name} set "
                    f"(block {block}) from {on.isoformat()} on.",
                )
            )
    return found


def declared_revisions(declaration: Declaration) -> dict[str, set[str]]:
    """Return the declared revisions of each program."""
    revisions: dict[str, set[str]] = {}
    for record in declaration.software:
        revisions.setdefault(record.name, set()).add(record.revision)
    return revisions


def read_under(frame: pd.DataFrame) -> set[str]:
    """Return the software revisions that the rows of a table name."""
    return {str(revision) for revision in frame["software"]} - {""}


def _software(tables: Tables, declaration: Declaration) -> list[Found]:
    revisions = declared_revisions(declaration)
    found: list[Found] = [
        (
            "software_revision",
            name,
            f"{name} is declared in the revisions {', '.join(sorted(several))}.",
        )
        for name, several in sorted(revisions.items())
        if len(several) > 1
    ]
    declared = set().union(*revisions.values()) if revisions else set()
    frame = tables.opportunities[tables.opportunities["reading"] == "first"]
    if not declared and len(read_under(frame)) <= 1:
        return found
    for (reader, mode), rows in frame.groupby(["reader", "mode"], sort=True):
        foreign = rows[~rows["software"].isin(declared | {""})]
        if len(foreign):
            units = foreign[["specimen", "grading_unit"]].drop_duplicates()
            names = ", ".join(sorted(read_under(foreign)))
            found.append(
                (
                    "software_revision",
                    f"{reader}/{mode}",
                    f"Reader {reader} read {len(units)} units in mode {mode} under revision "
                    f"{names}; declared for the trial: {', '.join(sorted(declared)) or 'none'}.",
                )
            )
    return found


def _calls_between_units(tables: Tables) -> list[Found]:
    calls = tables.calls[tables.calls["match"] != "corrected"]
    found: list[Found] = []
    for row in calls.to_dict("records"):
        touched = str(row["units_touched"]).split()
        who = f"reader {row['reader']} in mode {row['mode']}"
        named, unit, piece = row["named_unit"], row["grading_unit"], row["specimen"]
        where = f"{row['reader']}/{row['mode']}/{piece}/{named}"
        if len(touched) > 1:
            found.append(
                (
                    "call_over_two_units",
                    where,
                    f"One indication of {who} on {piece} "
                    f"reaches over units {' and '.join(touched)}; it counts once.",
                )
            )
        elif named and named != unit:
            found.append(
                (
                    "call_unit_mismatch",
                    where,
                    f"A call of {who} names unit {named} of {piece} but lies "
                    + (f"in unit {unit}." if unit else "in no unit."),
                )
            )
    return found


def _two_roles(declaration: Declaration) -> list[Found]:
    held: dict[str, set[str]] = {}
    for role in declaration.roles:
        if role.role in EXCLUSIVE:
            held.setdefault(role.person, set()).add(role.role)
    return [
        (
            "person_in_two_roles",
            person,
            f"{person} is {' and '.join(sorted(r.replace('_', ' ') for r in roles))}.",
        )
        for person, roles in sorted(held.items())
        if len(roles) > 1
    ]


def _frozen_late(declaration: Declaration, plan: Plan, log: Recorded | None) -> list[Found]:
    frozen_by_log, opened_by_log = recorded_dates(log)
    opened = [event.on for event in declaration.events if event.kind == "truth_opened"]
    opened += opened_by_log
    if not opened:
        return []
    frozen = [("plan_frozen", plan.frozen_on), *(("plan_frozen", on) for on in frozen_by_log)]
    frozen += [
        (event.kind, event.on)
        for event in declaration.events
        if event.kind in ("plan_frozen", "threshold_frozen", "calls_committed")
    ]
    late = {kind: on for kind, on in frozen if on > min(opened)}
    return [
        (
            "frozen_after_opening",
            kind,
            f"'{EVENT_WORDS[kind]}' on {on.isoformat()}, after truth was opened on "
            f"{min(opened).isoformat()}.",
        )
        for kind, on in sorted(late.items())
    ]


def order_of_events(
    declaration: Declaration, log: Recorded | None = None
) -> tuple[StudyEvent, ...]:
    """Return the events of the trial, recorded and declared; what is neither is 'not recorded'."""
    events = [
        StudyEvent(
            event.kind,
            EVENT_WORDS[event.kind],
            event.on.isoformat(),
            event.by,
            "declared",
            _document(event),
        )
        for event in declaration.events
    ]
    events += recorded_events(log)
    known = {event.kind for event in events}
    missing: Iterable[StudyEvent] = (
        StudyEvent(kind, words, "", "", "not recorded")
        for kind, words in EVENT_WORDS.items()
        if kind not in known
    )
    return (*sorted(events, key=lambda e: (e.on, _place(e.kind))), *missing)


def _place(kind: str) -> int:
    """Return where an event of this kind stands among others of the same moment."""
    kinds = list(EVENT_WORDS)
    return kinds.index(kind) if kind in kinds else 0


def _document(event: Event) -> str:
    digest = "" if event.digest is None else f"SHA-256 {event.digest[:12]}…"
    return ", ".join(part for part in (event.document, digest) if part)


def overlap_left(view: Tables, deviations: Sequence[Deviation]) -> int:
    """Return how many targets of two sets still count in a view."""
    overlapping = {d.subject for d in deviations if d.kind == "set_overlap"}
    return len(overlapping & set(view.opportunities["target"]))


def revisions_in_use(view: Tables, declaration: Declaration) -> int | None:
    """Return the largest number of revisions of one program in use, None if none is known."""
    revisions = declared_revisions(declaration)
    declared = set().union(*revisions.values()) if revisions else set()
    foreign = read_under(view.opportunities) - declared
    if not revisions:
        return len(foreign) or None
    return max(len(several) for several in revisions.values()) + len(foreign)
