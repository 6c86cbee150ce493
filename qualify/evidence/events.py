"""An append-only log of events: what was done when and by whom, each line bound to the next.

A log is lines of canonical JSON (RFC 8785), each ended by a newline. Each line holds `number`
(from 1), `kind`, `at` (UTC, as `2026-03-02T09:00:00Z`), `by` (coded persons), `what` (an object)
and `previous`: the SHA-256 digest of the line before it, newline included, of the first line
`NONE`. So a line that was changed, taken out, put in or moved is found and named, as long as a
line stands after it. The last line is bound by nothing within the log, and a log can be written
anew as a whole: who must not have to trust its keeper keeps the digest of the last line (`head`).

Nothing here reads a file or a clock: the time is an argument.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal, get_args

from qualify.errors import Fault, InputError, refuse
from qualify.files import canonical_json, digest

Kind = Literal["freeze", "seal", "unseal", "declared"]
KINDS: tuple[str, ...] = get_args(Kind)
NONE = "0" * 64
FIELDS = {"number", "kind", "at", "by", "what", "previous"}
MOMENT = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a log; `sha256` is the digest of the line itself, newline included."""

    number: int
    kind: str
    at: str
    by: tuple[str, ...]
    what: Mapping[str, Any]
    sha256: str


@dataclass(frozen=True, slots=True)
class Break:
    """Where a log is not as it was written: the line, counted from 1, and what is wrong."""

    line: int
    found: str


@dataclass(frozen=True, slots=True)
class Log:
    """A log as read: the entries that could be read, and where its chain breaks."""

    entries: tuple[Entry, ...]
    breaks: tuple[Break, ...]

    @property
    def head(self) -> str:
        """Digest of the last line, `NONE` of an empty log."""
        return self.entries[-1].sha256 if self.entries else NONE


def moment(at: datetime) -> str:
    """Return a moment in UTC to the second, as entries hold it; a naive one is a ValueError."""
    if at.tzinfo is None:
        msg = "a moment without time zone"
        raise ValueError(msg)
    return at.astimezone(UTC).strftime(MOMENT)


def read_log(content: bytes) -> Log:
    """Return the entries of a log and every break of its chain."""
    *lines, rest = content.split(b"\n")
    entries: list[Entry] = []
    breaks: list[Break] = []
    last: Entry | None = None
    for number, line in enumerate(lines, start=1):
        found = _parsed(line)
        if isinstance(found, str):
            breaks.append(Break(number, found))
            last = None
            continue
        entry, previous = found
        breaks += _against(number, entry, previous, last)
        entries.append(entry)
        last = entry
    if rest:
        breaks.append(Break(len(lines) + 1, "is not ended by a newline, so it is not whole"))
    if not content:
        breaks.append(Break(1, "is missing: the log is empty"))
    return Log(tuple(entries), tuple(breaks))


def _parsed(line: bytes) -> tuple[Entry, str] | str:
    """Return an entry and the digest it gives of the line before, or what is wrong."""
    try:
        held: Any = json.loads(line)
        whole = canonical_json(held) == line + b"\n"
    except (ValueError, RecursionError):
        return "is not JSON"
    if not isinstance(held, dict) or set(held) != FIELDS:
        return f"is no entry: its keys must be {', '.join(sorted(FIELDS))}"
    if not whole:
        return "is not in canonical form, so it was not written by this tool"
    by, what = held["by"], held["what"]
    right = (
        type(held["number"]) is int
        and held["kind"] in KINDS
        and _is_moment(held["at"])
        and isinstance(by, list)
        and len(by) > 0
        and all(isinstance(person, str) and person for person in by)
        and isinstance(what, dict)
        and isinstance(held["previous"], str)
    )
    if not right:
        return "holds a value that no entry has"
    entry = Entry(held["number"], held["kind"], held["at"], tuple(by), what, digest(line + b"\n"))
    return entry, held["previous"]


def _is_moment(text: Any) -> bool:
    if not isinstance(text, str) or not re.fullmatch(r"\d{4}(-\d\d){2}T\d\d(:\d\d){2}Z", text):
        return False
    try:
        datetime.strptime(text, MOMENT)  # noqa: DTZ007
    except ValueError:
        return False
    return True


def _against(number: int, entry: Entry, previous: str, last: Entry | None) -> list[Break]:
    """Return what is wrong between an entry and the one before it, if that could be read."""
    wanted = number if last is None else last.number + 1
    if entry.number != wanted:
        found = f"holds entry {entry.number} in place of {wanted}: taken out, put in or moved"
        return [Break(number, found)]
    if number == 1 and previous != NONE:
        return [Break(1, "is the first line, but was written after another")]
    if last is None:
        return []
    if previous != last.sha256:
        found = f"is not the line after which line {number} was written: one of them was changed"
        return [Break(number - 1, found)]
    if entry.at < last.at:
        return [Break(number, f"is of {entry.at}, before the line above it")]
    return []


def refuse_breaks(breaks: Sequence[Break], place: str) -> None:
    """Refuse a log that is not as it was written.

    Raises
    ------
    InputError : with every break, each with its line.
    """
    if breaks:
        wanted = "put back the log as it was written"
        raise InputError(Fault(f"{place}: line {b.line}", b.found, wanted) for b in breaks)


def append_entry(
    content: bytes,
    *,
    kind: Kind,
    at: datetime,
    by: Sequence[str],
    what: Mapping[str, Any],
    place: str = "events.jsonl",
) -> bytes:
    """Return a log with one entry more; `content` is empty where the log begins.

    Raises
    ------
    InputError : where the log's chain is broken, or its last entry is later than `at`.
    """
    log = read_log(content) if content else Log((), ())
    refuse_breaks(log.breaks, place)
    when = moment(at)
    if log.entries and when < log.entries[-1].at:
        raise refuse(
            f"{place}: line {len(log.entries)}",
            f"is of {log.entries[-1].at}, and the clock says {when}",
            "set the clock of this machine right",
        )
    return content + canonical_json(
        {
            "number": len(log.entries) + 1,
            "kind": kind,
            "at": when,
            "by": list(by),
            "what": dict(what),
            "previous": log.head,
        }
    )
