"""The three tables: opportunities, calls, measurements.

*Opportunities*: a row per grading unit and target (or blank), mode, reader, repeat and
reading. *Calls*: a row per indication with its match. *Measurements*: a row per sized target,
mode, reader, repeat and reading, also where the target was missed or not sized. `reading` is
`first`, or `re-reading` where a remedy had units read again. Each table has its row model
here; a finished table from elsewhere is read by the same model.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal, Self

import pandas as pd
from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text
from qualify.raw_tables import RawTable, parse_rows

Bit = Annotated[int, Field(ge=0, le=1)]
Reading = Literal["first", "re-reading"]
Match = Literal["hit", "false_call_blank", "false_call_flawed", "false_call_outside", "corrected"]
BLANK = "blank"


class OpportunityRow(BaseModel):
    """One unit (and target, or blank) in one mode, by one reader. `hit` of a blank: called."""

    model_config = STRICT
    specimen: Text
    set: Literal["setup", "open", "blind", "reserve"]
    grading_unit: Text
    target: Text | None = None
    kind: Text
    size_mm: Positive | None = None
    size_u_mm: Positive | None = None
    mode: Text
    reader: Text
    repeat: Annotated[int, Field(ge=1)] = 1
    reading: Reading = "first"
    signal: Literal["measured", "simulated", "none"]
    read_by: Literal["person", "rule", "model"]
    examined: Bit
    hit: Bit
    response: Finite | None = None
    response_unit: Literal["db", "linear", "coherence"] | None = None
    censored: Literal["left", "right"] | None = None
    threshold: Finite | None = None
    depth_mm: Finite | None = None
    tilt_deg: Finite | None = None
    software: Text | None = None

    @model_validator(mode="after")
    def _flawed_or_blank(self) -> Self:
        if (self.kind == BLANK) != (self.target is None):
            msg = f"kind '{self.kind}' and target '{self.target}'; a blank has no target, and back"
            raise ValueError(msg)
        if self.kind != BLANK and self.size_mm is None:
            msg = f"target '{self.target}' has no size_mm; give its size"
            raise ValueError(msg)
        if self.hit and not self.examined:
            msg = "a hit in a unit that was not examined; mend one of them"
            raise ValueError(msg)
        return self


class MatchedCallRow(BaseModel):
    """One indication and what it was matched with."""

    model_config = STRICT
    reader: Text
    mode: Text
    repeat: Annotated[int, Field(ge=1)] = 1
    reading: Reading = "first"
    specimen: Text
    grading_unit: Text | None = None
    units_touched: Text | None = None
    named_unit: Text | None = None
    x_mm: Finite | None = None
    y_mm: Finite | None = None
    z_mm: Finite | None = None
    length_x_mm: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    size_mm: Positive | None = None
    response: Finite | None = None
    response_unit: Literal["db", "linear", "coherence"] | None = None
    confidence: Annotated[int, Field(ge=1, le=5)] | None = None
    cause: Text | None = None
    software: Text | None = None
    match: Match
    target: Text | None = None
    rule: Literal["box", "grading_unit"]
    distance_mm: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    file: Text | None = None
    sheet: Text | None = None
    row: Annotated[int, Field(ge=1)] | None = None


class MeasurementRow(BaseModel):
    """One quantity of one target as one reader sized it; empty if missed or not sized."""

    model_config = STRICT
    specimen: Text
    target: Text
    kind: Text
    quantity: Text
    mode: Text
    reader: Text
    repeat: Annotated[int, Field(ge=1)] = 1
    reading: Reading = "first"
    found: Bit
    true: Positive
    true_u: Positive | None = None
    reported: Positive | None = None
    reported_u: Positive | None = None
    unit: Literal["mm"]
    method: Text | None = None


@dataclass(frozen=True, slots=True)
class Tables:
    """The three tables as data frames, columns as in their row models, rows in order."""

    opportunities: pd.DataFrame
    calls: pd.DataFrame
    measurements: pd.DataFrame


NUMBERS = {"response", "threshold", "true", "true_u", "reported", "reported_u"}
WHOLE = {"repeat", "examined", "hit", "found", "confidence", "row"}


def frame(rows: Sequence[BaseModel], model: type[BaseModel]) -> pd.DataFrame:
    """Return rows as a data frame: numbers as float64, whole numbers as Int64, the rest text."""
    columns: dict[str, pd.Series] = {}
    for name in model.model_fields:
        cells = [getattr(row, name) for row in rows]
        if name in WHOLE:
            columns[name] = pd.Series(cells, dtype="Int64")
        elif name in NUMBERS or name.endswith(("_mm", "_deg")):
            columns[name] = pd.Series(cells, dtype="float64")
        else:
            columns[name] = pd.Series(["" if c is None else c for c in cells], dtype="str")
    return pd.DataFrame(columns)


def read_finished(
    opportunities: RawTable, calls: RawTable, measurements: RawTable | None
) -> Tables:
    """Return finished tables; an `InputError` names every row that its model refuses."""
    return Tables(
        frame([row for _, row in parse_rows(opportunities, OpportunityRow)], OpportunityRow),
        frame([row for _, row in parse_rows(calls, MatchedCallRow)], MatchedCallRow),
        frame(
            []
            if measurements is None
            else [row for _, row in parse_rows(measurements, MeasurementRow)],
            MeasurementRow,
        ),
    )


def to_csv(table: pd.DataFrame) -> bytes:
    """Return a table as CSV bytes: UTF-8, comma, line feed, shortest exact decimals."""
    text = io.StringIO()
    table.to_csv(text, index=False, lineterminator="\n")
    return text.getvalue().encode()


def trials(tables: Tables) -> pd.DataFrame:
    """Return the export for people: one row per opportunity with its reported size."""
    keys = ["specimen", "target", "mode", "reader", "repeat", "reading"]
    sizes = tables.measurements[[*keys, "quantity", "reported"]]
    merged = tables.opportunities.merge(sizes, on=keys, how="left")
    merged["quantity"] = merged["quantity"].fillna("")
    return merged.rename(columns={"quantity": "sized_quantity", "reported": "reported_mm"})
