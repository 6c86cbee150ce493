"""Plan frozen, truth sealed, truth opened: three steps, each an entry of the study's log.

A step reads the study as far as it needs it, so that each can be taken before the trial has ended.
Times are arguments; the clock is looked at by who calls.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from qualify.errors import Fault, InputError, refuse
from qualify.evidence.commitment import SALT_BYTES, commitment, differing, file_marks
from qualify.evidence.events import NONE, Kind, append_entry, moment, read_log, refuse_breaks
from qualify.files import digest, read_bytes, write_new, write_whole
from qualify.study.frozen_parts import SOFTWARE, changed_parts
from qualify.study.order_files import LOG, SALT, parts_in, program
from qualify.study.order_finding import sealed_late
from qualify.study.order_log import Frozen, OrderLog, Sealed, order_log
from qualify.study.order_sources import OrderSources, order_sources

KEEPS_AWAY = ("reader", "developer")


@dataclass(frozen=True, slots=True)
class Step:
    """An entry that was added to a log.

    Attributes
    ----------
    number, at, by : of the entry.
    what : what it holds.
    log_sha256 : digest of its line, to be kept by somebody else than the keeper of the log.
    counts : False if it came too late to show anything.
    remarks : what has to be told beside, in words.
    """

    study: str
    kind: Kind
    number: int
    at: str
    by: tuple[str, ...]
    what: Mapping[str, Any]
    log_sha256: str
    counts: bool
    remarks: tuple[str, ...]


def freeze(path: Path, *, by: str, at: datetime) -> Step:
    """Freeze plan, files of the reading stage, and software.

    After truth was opened a freeze is recorded too, but counts for nothing.

    Raises
    ------
    InputError : the study can't be read, the person is not declared, the log is broken.
    """
    study = order_sources(path)
    _declared(study, [by])
    content, log = _log_of(study)
    parts = parts_in(study.folder, study.plan)
    what = {"study": study.id, "parts": parts, "software": program().model_dump()}
    remarks = [_replaced(entry.number, held, parts) for entry, held in log.freezes]
    if log.opening is not None:
        entry, _ = log.opening
        remarks = [
            f"TOO LATE, DOES NOT COUNT: truth was opened at {entry.at} (entry {entry.number}); a "
            "freeze after it shows only what the plan is now"
        ]
    step = _added(study, content, "freeze", [by], at, what)
    return _step(study, step, counts=log.opening is None, remarks=remarks)


def _changed_since(held: Frozen, parts: Mapping[str, str]) -> list[str]:
    """Return the parts that are not as a freeze holds them, the software among them."""
    changed = changed_parts(held.parts, parts)
    return changed if held.software == program() else [*changed, SOFTWARE]


def _replaced(number: int, held: Frozen, parts: Mapping[str, str]) -> str:
    changed = _changed_since(held, parts)
    return (
        f"the freeze of entry {number} no longer counts; "
        + (f"changed since: {', '.join(changed)}" if changed else "nothing changed since")
    )  # fmt: skip


def seal(path: Path, *, by: str, at: datetime, salt: bytes) -> Step:
    """Seal the truth: key, history of sets, and the blocks that the key names.

    `salt` are 32 random bytes. They are written to a file of their own, which has to leave the
    study's folder: who holds it can try guesses of the truth on the log.

    Raises
    ------
    InputError : the study or its truth can't be read, the person is no declared custodian of the
        truth, truth was sealed before, a salt lies there already, the log is broken.
    """
    if len(salt) != SALT_BYTES:
        msg = f"a salt of {len(salt)} bytes; it needs {SALT_BYTES}"
        raise ValueError(msg)
    study = order_sources(path)
    _declared(study, [by], custodian=True)
    content, log = _log_of(study)
    if log.seals:
        entry, _ = log.seals[-1]
        found = f"truth was sealed already, at {entry.at} (entry {entry.number})"
        raise refuse(str(study.folder / LOG), found, "it is sealed once")
    truth = study.truth()
    what = {
        "study": study.id,
        "commitment": commitment(salt, truth),
        "files": file_marks(salt, truth),
        "salt_sha256": digest(salt),
    }
    write_new(study.folder / SALT, f"{salt.hex()}\n".encode(), "give it back to the custodian")
    try:
        step = _added(study, content, "seal", [by], at, what)
    except InputError:
        (study.folder / SALT).unlink(missing_ok=True)
        raise
    begun, late = study.declaration.trial_from, []
    if sealed_late(moment(at), begun):
        late = [f"LATE: the trial is declared as begun on {begun.isoformat()}"]
    return _step(study, step, counts=not late, remarks=late)


def unseal(path: Path, *, study: str, by: Sequence[str], at: datetime) -> Step:
    """Open the truth, before two persons: check the seal, publish its salt, record the calls.

    Raises
    ------
    InputError : `study` is not the study's id; not two declared persons, one of them a custodian
        of the truth and none a reader or developer; truth not sealed, or opened already; a call
        sheet is missing; the salt is missing or another one; the truth is not what was sealed.
    """
    held = order_sources(path)
    if study != held.id:
        raise refuse(
            "--study", f"'{study}' is not this study", "give its id, to open the right one"
        )
    if len(by) != 2 or len(set(by)) != 2:
        found = f"{len(by)} given" if len(by) != 2 else f"'{by[0]}' twice"
        raise refuse("--by", found, "give two different persons")
    _declared(held, by, custodian=True)
    content, log = _log_of(held)
    place = str(held.folder / LOG)
    if log.opening is not None:
        entry, _ = log.opening
        raise refuse(place, f"truth was opened at {entry.at} already", "it opens once")
    if log.seal is None:
        raise refuse(place, "truth was never sealed", "qualify seal comes before the trial")
    entry, sealed = log.seal
    sheets = held.sheets()
    salt = _salt(held.folder / SALT, sealed)
    _unchanged(held, salt, sealed)
    what = {
        "study": held.id,
        "seal": entry.number,
        "salt": salt.hex(),
        "call_sheets": sheets,
    }
    remarks = _before_opening(held, log)
    step = _added(held, content, "unseal", by, at, what)
    return _step(held, step, counts=log.freeze is not None, remarks=remarks)


def _salt(path: Path, sealed: Sealed) -> bytes:
    if not path.exists():
        raise refuse(str(path), "is not there", "bring it from the custodian of the truth")
    try:
        salt = bytes.fromhex(read_bytes(path).decode("ascii").strip())
    except ValueError:
        raise refuse(str(path), "is no salt", "bring the file that qualify seal wrote") from None
    if digest(salt) != sealed.salt_sha256:
        raise refuse(str(path), "is the salt of another seal", "bring the file of this seal")
    return salt


def _unchanged(study: OrderSources, salt: bytes, sealed: Sealed) -> None:
    changed = differing(salt, sealed.commitment, sealed.files, study.truth())
    if changed:
        raise InputError(
            Fault(name, "is not what was sealed", "put back the truth as it was sealed")
            for name in changed
        )


def _before_opening(study: OrderSources, log: OrderLog) -> list[str]:
    if log.freeze is None:
        return ["NOTHING WAS FROZEN BEFORE THIS OPENING: whatever is frozen later can't count"]
    entry, frozen = log.freeze
    changed = _changed_since(frozen, parts_in(study.folder, study.plan))
    if not changed:
        return [f"nothing changed since the freeze of {entry.at} (entry {entry.number})"]
    return [
        f"CHANGED SINCE THE FREEZE OF {entry.at} (entry {entry.number}): {', '.join(changed)}; the "
        "dossier will tell it as a deviation"
    ]


def _declared(study: OrderSources, persons: Sequence[str], *, custodian: bool = False) -> None:
    """Refuse persons without a declared role; where truth is handled, readers and developers."""
    held: dict[str, set[str]] = {}
    for role in study.declaration.roles:
        held.setdefault(role.person, set()).add(role.role)
    faults = [
        Fault(f"--by {person}", "holds no declared role", f"declare it in {study.declared_in}")
        for person in persons
        if person not in held
    ]
    if custodian:
        faults += [
            Fault(f"--by {person}", f"is declared as {role}", "must not handle the truth")
            for person in persons
            for role in KEEPS_AWAY
            if role in held.get(person, ())
        ]
        if not any("truth_custodian" in held.get(person, ()) for person in persons):
            wanted = "one person must be declared as truth_custodian"
            faults.append(Fault("--by", "no custodian of the truth is named", wanted))
    if faults:
        raise InputError(faults)


def _log_of(study: OrderSources) -> tuple[bytes, OrderLog]:
    """Return the log, empty where there is none yet; a broken one is refused."""
    path = study.folder / LOG
    if not path.exists():
        return b"", OrderLog(b"", NONE)
    content = read_bytes(path)
    log = order_log(content, study.id)
    refuse_breaks(log.breaks, str(path))
    return content, log


def _added(
    study: OrderSources,
    content: bytes,
    kind: Kind,
    by: Sequence[str],
    at: datetime,
    what: Mapping[str, Any],
) -> bytes:
    path = study.folder / LOG
    longer = append_entry(content, kind=kind, at=at, by=by, what=what, place=str(path))
    write_whole(path, longer)
    return longer


def _step(study: OrderSources, content: bytes, *, counts: bool, remarks: Sequence[str]) -> Step:
    entry = read_log(content).entries[-1]
    kind: Any = entry.kind
    return Step(
        study.id,
        kind,
        entry.number,
        entry.at,
        entry.by,
        entry.what,
        entry.sha256,
        counts,
        tuple(remarks),
    )
