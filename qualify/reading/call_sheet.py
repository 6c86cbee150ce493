"""Call sheets: what readers wrote, row by row.

Each unit that was looked at has at least one row: `indication`, `nothing_found` or
`not_examined`. A unit without a row counts as not examined. Distances are from the
presented datum of the coded piece; units are counted from it. A unit with nothing found may
tell the largest response that was seen in it, below the threshold.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text
from qualify.errors import Fault, InputError

Cause = Literal["flaw", "geometry", "grain", "artefact", "coupling", "unclear"]


class CallRow(BaseModel):
    """One row of a call sheet."""

    model_config = STRICT
    reader: Text
    mode: Text
    repeat: Annotated[int, Field(ge=1)] = 1
    code: Text
    unit: Annotated[int, Field(ge=1)]
    verdict: Literal["indication", "nothing_found", "not_examined"]
    x_mm: Finite | None = None
    y_mm: Finite | None = None
    z_mm: Finite | None = None
    length_x_mm: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    size_mm: Positive | None = None
    size_method: Text | None = None
    response: Finite | None = None
    response_unit: Literal["db", "linear", "coherence"] | None = None
    confidence: Annotated[int, Field(ge=1, le=5)] | None = None
    cause: Cause | None = None
    software: Text | None = None
    read_on: date | None = None
    call_id: Text | None = None
    corrects: Text | None = None
    comment: Text | None = None

    @model_validator(mode="after")
    def _says_what_its_verdict_needs(self) -> Self:
        placed = any(v is not None for v in (self.x_mm, self.z_mm, self.size_mm))
        if self.verdict != "indication" and placed:
            msg = f"verdict '{self.verdict}' with a position or size; leave them empty"
            raise ValueError(msg)
        if self.verdict == "not_examined" and self.response is not None:
            msg = "verdict 'not_examined' with a response; leave it empty"
            raise ValueError(msg)
        if (self.response is None) != (self.response_unit is None):
            msg = "response and response_unit belong together, one is missing; give both"
            raise ValueError(msg)
        if self.size_mm is not None and self.size_method is None:
            msg = "a size without its method; fill in size_method"
            raise ValueError(msg)
        return self


@dataclass(frozen=True, slots=True)
class Call:
    """A row of a call sheet and where it stands."""

    row: CallRow
    file: str
    sheet: str | None
    number: int
    re_reading: bool

    @property
    def place(self) -> str:
        """File, sheet and row for messages."""
        middle = "" if self.sheet is None else f": sheet '{self.sheet}'"
        return f"{self.file}{middle}: row {self.number}"

    @property
    def look(self) -> tuple[str, str, int, bool, str, int]:
        """The look at one unit this row belongs to."""
        row = self.row
        return (row.reader, row.mode, row.repeat, self.re_reading, row.code, row.unit)


def check_looks(calls: Sequence[Call], *, needs_position: bool) -> None:
    """Raise an `InputError` for rows that contradict each other.

    Faults: a unit that one reader, in one mode and repeat, both called and found empty (or
    did not examine) without a correction; the same row twice; a correction of a row that is
    not there; an indication without position where matching needs one.
    """
    faults = [*_contradictions(in_force(calls)), *_bad_corrections(calls)]
    if needs_position:
        faults += [
            Fault(call.place, "an indication without x_mm or z_mm", "matching by box needs both")
            for call in calls
            if call.row.verdict == "indication" and None in (call.row.x_mm, call.row.z_mm)
        ]
    if faults:
        raise InputError(faults)


def in_force(calls: Iterable[Call]) -> list[Call]:
    """Return the calls that no later row corrects."""
    calls = list(calls)
    corrected = {(c.row.reader, c.row.corrects) for c in calls if c.row.corrects}
    return [c for c in calls if (c.row.reader, c.row.call_id) not in corrected]


def _contradictions(calls: Sequence[Call]) -> list[Fault]:
    faults, seen = [], {}  # type: list[Fault], dict[tuple[object, ...], Call]
    for call in calls:
        first = seen.setdefault(call.look, call)
        if first is call:
            continue
        row = call.row
        both = row.verdict == "indication" == first.row.verdict
        if not both:
            faults.append(
                Fault(
                    call.place,
                    f"reader {row.reader} gives unit {row.code}/{row.unit} in mode {row.mode} "
                    f"'{row.verdict}', and '{first.row.verdict}' in {first.place}",
                    "keep one, or mark the later one as a correction (call_id, corrects)",
                )
            )
    placed: dict[tuple[object, ...], Call] = {}
    for call in calls:
        if call.row.verdict != "indication" or call.row.x_mm is None:
            continue
        spot = (*call.look, call.row.x_mm, call.row.y_mm, call.row.z_mm)
        first = placed.setdefault(spot, call)
        if first is not call:
            faults.append(
                Fault(call.place, f"the same indication as in {first.place}", "keep one of them")
            )
    return faults


def _bad_corrections(calls: Sequence[Call]) -> list[Fault]:
    ids = [(c.row.reader, c.row.call_id) for c in calls if c.row.call_id]
    faults = [
        Fault(call.place, f"corrects '{call.row.corrects}', which is not there", "name a call_id")
        for call in calls
        if call.row.corrects and (call.row.reader, call.row.corrects) not in ids
    ]
    faults += [
        Fault(call.place, f"call_id '{call.row.call_id}' stands twice", "give each its own")
        for number, call in enumerate(calls)
        if call.row.call_id
        and (call.row.reader, call.row.call_id)
        in [(c.row.reader, c.row.call_id) for c in calls[:number]]
    ]
    return faults
