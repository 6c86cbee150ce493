"""The record of a pilot that set the level of noise of a simulated trial."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError, model_validator

from qualify.blocks.metrology import STRICT
from qualify.errors import InputError
from qualify.files import faults_of, read_bytes

FILE = "pilot.json"


class PilotMode(BaseModel):
    """What one level gave in one mode."""

    model_config = STRICT
    threshold: float
    background: float
    holes_found: int
    holes: int
    missed_mm: tuple[float, ...]
    outcome: str
    a50_mm: float | None


class PilotLevel(BaseModel):
    """One level of grain; modes by name stand beside its own keys in the file."""

    model_config = STRICT
    backscatter_db: float
    scattered_db_per_mm: float
    modes: Mapping[str, PilotMode]

    @model_validator(mode="before")
    @classmethod
    def _modes_apart(cls, told: Any) -> Any:
        if not isinstance(told, dict) or "modes" in told:
            return told
        own = {"backscatter_db", "scattered_db_per_mm"}
        modes = {key: value for key, value in told.items() if key not in own}
        return {key: told[key] for key in own & told.keys()} | {"modes": modes}


class PilotRecord(BaseModel):
    """The whole of `pilot.json`."""

    model_config = STRICT
    what: str
    rule: str
    declared_rate: float
    middle_mm: float
    chosen_backscatter_db: float
    before: str
    caution: str
    levels: tuple[PilotLevel, ...]


def read_pilot(folder: Path) -> PilotRecord | None:
    """Return the record beside a study, None where there is none.

    Raises
    ------
    InputError : where the file is no such record.
    """
    if not (folder / FILE).is_file():
        return None
    try:
        return PilotRecord.model_validate_json(read_bytes(folder / FILE, FILE))
    except ValidationError as error:
        raise InputError(faults_of(error, FILE)) from None
