"""The example study a new study starts from: invented, complete, to be replaced value by value.

It is kept as plain data in the folder `template`; the files given out are written from the
validated models, each key with its explanation. No qualification size comes with it: every
criterion is an example, marked so, not verified, and therefore not judged.
"""

import csv
import io
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import Any, Literal, TypeVar

from pydantic import BaseModel

from qualify.blocks.definition import Block
from qualify.reading.call_sheet import Call, CallRow
from qualify.reading.key import KeyRow, SetRow
from qualify.reading.tables import MatchedCallRow, MeasurementRow, OpportunityRow
from qualify.recording.gate import GateLimits
from qualify.recording.side_car import SideCar
from qualify.study.data import DataSources
from qualify.study.declaration import Declaration
from qualify.study.flat import columns_of
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.plan import Plan
from qualify.study.read_me import folder_note
from qualify.study.reading_plan import ReadingPlan
from qualify.study.simulation_plan import SimulationPlan
from qualify.study.toml_text import to_toml
from qualify.study.workbook import WorkbookStudy, write_workbook

Model = TypeVar("Model", bound=BaseModel)
What = Literal[
    "block",
    "study",
    "plan",
    "data",
    "sets",
    "key",
    "calls",
    "tables",
    "recording",
    "limits",
    "imaging",
    "simulation",
    "reading",
]
NOTE = "READ ME.txt"
BLOCK = "blocks/example_block.toml"
CALLS = "call_sheets/r1_new.csv"
RECORDING = "recording.toml"
IMAGING = "imaging.toml"
SIMULATION = "simulation.toml"
READING = "reading.toml"
FILES: dict[str, str] = {
    "block": BLOCK,
    "study": "study.toml",
    "plan": "plan.toml",
    "data": "data.toml",
    "sets": "sets.csv",
    "key": "key.csv",
    "calls": CALLS,
}
HEADS: dict[str, str] = {
    "plan.toml": "The plan: what is fixed before truth is opened.\n"
    "All content is invented. EXAMPLE VALUES: replace every one of them, numbers too.\n"
    "A criterion with verified = false is not judged. No limit here is a recommendation.",
    "study.toml": "The declaration: parties, scope, people, equipment, software, events.\n"
    "All content is invented. EXAMPLE VALUES: replace every one of them, numbers too,\n"
    "and then set invented = false. Coded ids only, no names of persons or companies.",
    "data.toml": "Where the data lie. File names are relative to this folder.",
    "limits": "How bad a recording may be before the gate rejects it; for --limits.\n"
    "Leave out what you keep. Values: common practice or chosen here, no source. Put your own.",
    RECORDING: "A side-car: what the numbers of an array are, in a TOML file beside it.\n"
    "All content is invented. EXAMPLE VALUES: replace every one of them, numbers too.",
    IMAGING: "What qualify image is told: region, modes, and questions about the images.\n"
    "Frame: x from the middle of the array, z from the scan face, millimetres.\n"
    "All content is invented. EXAMPLE VALUES: replace every one of them, numbers too.",
    SIMULATION: "What qualify simulate is told: array, conditions, blocks, places of the array.\n"
    "Levels are declared, not fitted: justify yours. Nothing simulated shows what an instrument "
    "does.\n"
    "All content is invented. EXAMPLE VALUES: replace every one of them, numbers too.",
    READING: "What qualify read is told: the rule, its false-call rate, models of readers.\n"
    "It is part of what is frozen before truth is opened.\n"
    "All content is invented. EXAMPLE VALUES: replace every one of them, numbers too.",
    BLOCK: "One reference block as built. Millimetres, degrees; x from the engraved end, y from "
    "edge L,\nz depth from face A.\n"
    "All content is invented. EXAMPLE VALUES: replace every one of them, numbers too.",
}


def template_files() -> dict[str, bytes]:
    """Return the example study as the files of a folder: relative name to content."""
    files: dict[str, BaseModel] = {
        "plan.toml": _toml("plan.toml", Plan),
        "study.toml": _toml("study.toml", Declaration),
        "data.toml": _toml("data.toml", DataSources),
        BLOCK: _toml(BLOCK, Block),
    }
    written = {name: to_toml(model, head=HEADS[name]) for name, model in files.items()}
    tables = ("sets.csv", "key.csv", *(sheet.file for sheet in _data().call_sheets))
    written |= {name: _raw(name) for name in tables}
    return {name: text.encode() for name, text in ({NOTE: folder_note()} | written).items()}


def template_workbook() -> bytes:
    """Return the example study as a workbook."""
    study = template_study()
    return write_workbook(
        study.plan, study.declaration, study.blocks, study.sets, study.key, study.calls
    )


def template_study() -> WorkbookStudy:
    """Return the example study as models."""
    calls = [
        Call(CallRow.model_validate(cells), sheet.file, None, number, sheet.re_reading)
        for sheet in _data().call_sheets
        for number, cells in enumerate(_rows(sheet.file), start=2)
    ]
    return WorkbookStudy(
        plan=_toml("plan.toml", Plan),
        declaration=_toml("study.toml", Declaration),
        blocks=(_toml(BLOCK, Block),),
        sets=tuple(SetRow.model_validate(cells) for cells in _rows("sets.csv")),
        key=tuple(KeyRow.model_validate(cells) for cells in _rows("key.csv")),
        calls=tuple(calls),
    )


def example_text(what: What) -> str:
    """Return an example of one kind of file, as it would be saved.

    `tables` gives the header rows of the three tables, one a line: opportunities, calls,
    measurements. Raises `KeyError` for anything else than the kinds in `What`.
    """
    if what == "tables":
        kinds = (OpportunityRow, MatchedCallRow, MeasurementRow)
        return "".join(",".join(kind.model_fields) + "\n" for kind in kinds)
    if what == "recording":
        return to_toml(_toml(RECORDING, SideCar), head=HEADS[RECORDING])
    if what == "limits":
        return to_toml(GateLimits(), head=HEADS["limits"])
    if what == "imaging":
        return to_toml(_toml(IMAGING, ImagingPlan), head=HEADS[IMAGING])
    if what == "simulation":
        return to_toml(_toml(SIMULATION, SimulationPlan), head=HEADS[SIMULATION])
    if what == "reading":
        return to_toml(_toml(READING, ReadingPlan), head=HEADS[READING])
    return template_files()[FILES[what]].decode()


def example_explained(what: What) -> str:
    """Return what to know about an example that can't carry comments, column by column.

    Empty for TOML, which carries its own comments.
    """
    explained: dict[str, tuple[str, type[BaseModel]]] = {
        "calls": ("A call sheet, a row for each indication and for each empty unit.", CallRow),
        "sets": ("The sets: which target belonged to which set, and when.", SetRow),
        "key": ("The key: which block lay behind which blind code.", KeyRow),
    }
    if what == "tables":
        return (
            "The columns of the three tables, for three CSV files: opportunities (a row per unit "
            "and target or blank), calls (a row per indication and its match), measurements (a "
            "row per sized target).\n"
        )
    if what not in explained:
        return ""
    title, model = explained[what]
    lines = [title, "Comma between fields, point in numbers, UTF-8, days as 2026-03-31."]
    for column in columns_of(model):
        need = "required" if column.required else "may stay empty"
        choices = f" One of: {', '.join(column.choices)}." if column.choices else ""
        lines.append(f"{column.name} ({need}): {column.description}.{choices}")
    return "\n".join(lines) + "\n"


@cache
def _raw(name: str) -> str:
    place = resources.files("qualify.study").joinpath("template", *name.split("/"))
    return place.read_text(encoding="utf-8").replace("\r\n", "\n")


def _toml(name: str, model: type[Model]) -> Model:
    return model.model_validate(tomllib.loads(_raw(name)))


def _data() -> DataSources:
    return _toml("data.toml", DataSources)


def _rows(name: str) -> Sequence[dict[str, Any]]:
    reader = csv.DictReader(io.StringIO(_raw(name)))
    return [{name: cell for name, cell in row.items() if cell} for row in reader]
