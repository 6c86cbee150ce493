"""Where the data lie: blocks, sets, key, call sheets, or finished tables."""

from typing import Literal, Self

from pydantic import BaseModel, Field, model_validator

from qualify.blocks.metrology import STRICT, Text


class CallSheetSource(BaseModel):
    """One call sheet; reader and mode may stand here or in the sheet's own columns."""

    model_config = STRICT
    file: Text = Field(description="CSV or .xlsx file, relative to the study's folder")
    sheet: Text | None = Field(None, description="sheet of an .xlsx file")
    reader: Text | None = Field(None, description="reader's id, if not in the sheet")
    mode: Text | None = Field(None, description="mode's id, if not in the sheet")
    repeat: int = Field(1, ge=1, description="1 = first reading, 2 = repeat under another code")
    re_reading: bool = Field(
        False, description="true if this sheet is the remedy of a deviation, read again later"
    )


class FinishedTables(BaseModel):
    """The three tables as finished elsewhere; the chapters before them say 'not shown'."""

    model_config = STRICT
    opportunities: Text = Field(description="CSV, a row per unit and target or blank")
    calls: Text = Field(description="CSV, a row per indication with its match")
    measurements: Text | None = Field(None, description="CSV, a row per sized quantity")


class Sources(BaseModel):
    """What `data.toml` may name; before the trial not all of it need be there."""

    model_config = STRICT
    format: Literal[1]
    study: Text = Field(description="id of the study, the same in all of its files")
    sets: Text | None = Field(None, description="CSV: which target belonged to which set, when")
    key: Text | None = Field(None, description="CSV: blind code to block")
    blocks: tuple[Text, ...] = Field((), description="block files, relative to the folder")
    call_sheets: tuple[CallSheetSource, ...] = ()
    tables: FinishedTables | None = None
    model_check: Text | None = Field(
        None, description="model.json of qualify model, where signals are simulated"
    )


class DataSources(Sources):
    """The whole of `data.toml`, as the analysis needs it."""

    @model_validator(mode="after")
    def _one_way_in(self) -> Self:
        early = bool(self.blocks or self.call_sheets or self.key)
        if early and self.tables is not None:
            msg = "both call sheets and finished tables are named; give one of them"
            raise ValueError(msg)
        if self.tables is None and not (self.blocks and self.call_sheets and self.key):
            msg = "neither blocks, key and call sheets nor finished tables; give one of them"
            raise ValueError(msg)
        return self
