"""The log of events as a study reads it: freezes, the seal of truth, its opening."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, Field, ValidationError

from qualify.blocks.metrology import STRICT, Text
from qualify.evidence.events import Break, Entry, read_log

Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Program(BaseModel):
    """The software: its version, and one digest over its Python files."""

    model_config = STRICT
    version: Text
    sha256: Sha256


class Frozen(BaseModel):
    """What a freeze holds: a digest for each part of the plan, each file, and the software."""

    model_config = STRICT
    study: Text
    parts: dict[str, Sha256]
    software: Program


class Sealed(BaseModel):
    """What a seal holds: the commitment, a salted digest for each file, the digest of the salt."""

    model_config = STRICT
    study: Text
    commitment: Sha256
    files: dict[str, Sha256] = Field(min_length=1)
    salt_sha256: Sha256


class Opened(BaseModel):
    """What an opening holds: the entry of the seal, its salt, the digests of the call sheets."""

    model_config = STRICT
    study: Text
    seal: int
    salt: Sha256
    call_sheets: dict[str, Sha256]


What = TypeVar("What", bound=BaseModel)
MODELS: Mapping[str, type[BaseModel]] = {"freeze": Frozen, "seal": Sealed, "unseal": Opened}


@dataclass(frozen=True, slots=True)
class Standing:
    """What lies in a study now, as digests by name.

    Attributes
    ----------
    parts : of the plan, and of the files of the reading stage that exist.
    truth : files of the truth: key, history of sets, blocks that the key names.
    sheets : call sheets.
    """

    parts: Mapping[str, str]
    software: Program
    truth: Mapping[str, str]
    sheets: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class OrderLog:
    """A log with its entries by kind; what they hold is validated. `head` is as of `Log`."""

    content: bytes
    head: str
    freezes: tuple[tuple[Entry, Frozen], ...] = ()
    seals: tuple[tuple[Entry, Sealed], ...] = ()
    openings: tuple[tuple[Entry, Opened], ...] = ()
    others: tuple[Entry, ...] = ()
    breaks: tuple[Break, ...] = ()

    @property
    def opening(self) -> tuple[Entry, Opened] | None:
        """The first opening of truth: what comes after it can't undo it."""
        return self.openings[0] if self.openings else None

    @property
    def freeze(self) -> tuple[Entry, Frozen] | None:
        """The freeze that counts: the last one before truth was opened."""
        until = self.opening[0].number if self.opening else None
        before = [one for one in self.freezes if until is None or one[0].number < until]
        return before[-1] if before else None

    @property
    def seal(self) -> tuple[Entry, Sealed] | None:
        """The seal that was opened; as long as none was, the last seal."""
        if self.opening is None:
            return self.seals[-1] if self.seals else None
        entry, opened = self.opening
        named = [one for one in self.seals if one[0].number == opened.seal < entry.number]
        return named[0] if named else None


@dataclass(frozen=True, slots=True)
class Recorded:
    """The log of a study, and what lies in the study now."""

    log: OrderLog
    now: Standing


def order_log(content: bytes, study: str) -> OrderLog:
    """Return the log of a study; an entry of another study, or not ours, is a break."""
    log = read_log(content)
    breaks = list(log.breaks)
    held: dict[str, list[Any]] = {kind: [] for kind in MODELS}
    others = []
    for entry in log.entries:
        model = MODELS.get(entry.kind)
        if model is None:
            others.append(entry)
            continue
        try:
            what: Any = model.model_validate(entry.what)
        except ValidationError:
            breaks.append(Break(entry.number, f"is no {entry.kind} as this tool writes it"))
            continue
        if what.study != study:
            breaks.append(Break(entry.number, f"is of study '{what.study}', not of '{study}'"))
        held[entry.kind].append((entry, what))
    return OrderLog(
        content,
        log.head,
        tuple(held["freeze"]),
        tuple(held["seal"]),
        tuple(held["unseal"]),
        tuple(others),
        tuple(sorted(breaks, key=lambda b: b.line)),
    )
