"""The sheets of the study workbook: which there are, and which columns each has.

The lists of plan and declaration become sheets by themselves, so a list that is added to
those models has its sheet at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

from pydantic import BaseModel

from qualify.blocks.definition import Block, GradingUnit, Target
from qualify.reading.call_sheet import CallRow
from qualify.reading.key import KeyRow, SetRow
from qualify.study.declaration import Declaration
from qualify.study.flat import Column, columns_of, is_model, item_of
from qualify.study.plan import Plan
from qualify.study.words import WORDS, explanation

Part = Literal["study", "plan", "data"]
FIXED = 1
"""Version of the layout; it stands in the sheets 'study' and 'plan' only."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet.

    Attributes
    ----------
    title : name of the sheet.
    part : what it belongs to.
    field : the list of plan, declaration or data that it holds.
    what : what it holds, one sentence.
    columns : its columns (of the sheets 'study' and 'plan': their keys).
    model : the model of a row, None for a list of texts.
    must_exist : whether a workbook without it is refused.
    must_have_rows : whether it needs at least one row.
    """

    title: str
    part: Part
    field: str
    what: str
    columns: Sequence[Column]
    model: type[BaseModel] | None
    must_exist: bool
    must_have_rows: bool

    @property
    def keyed(self) -> bool:
        """Whether it is written as key and value, not as a table."""
        return self.title in ("study", "plan")


@cache
def all_sheets() -> tuple[Sheet, ...]:
    """Return every sheet but 'read me', in the order of the workbook."""
    study = _keyed("study", Declaration, "title, dates and scope of the study")
    plan = _keyed("plan", Plan, "claim, matching and analysis, fixed before truth is opened")
    tables = [*_lists(Plan, "plan"), *_lists(Declaration, "study")]
    texts = [sheet for sheet in tables if sheet.model is None]
    rows = [sheet for sheet in tables if sheet.model is not None]
    return (study, plan, *rows, *texts, *_data())


def sheet_of(title: str) -> Sheet:
    """Return the sheet of this title."""
    return next(sheet for sheet in all_sheets() if sheet.title == title)


def _keyed(title: Part, model: type[BaseModel], what: str) -> Sheet:
    return Sheet(title, title, "", what, columns_of(model), model, True, True)


def _lists(model: type[BaseModel], part: Part) -> list[Sheet]:
    sheets = []
    for name, field in model.model_fields.items():
        item = item_of(field)
        if item is None:
            continue
        told = explanation(model, name)
        columns = columns_of(item) if is_model(item) else [Column("text", told, True, None, "text")]
        row_model = item if is_model(item) else None
        needed = field.is_required()
        title = name.replace("_", " ")
        sheets.append(Sheet(title, part, name, told, columns, row_model, needed, needed))
    return sheets


def _data() -> list[Sheet]:
    block = Column("block", "id of the block, as in the sheet 'blocks'", True, None, "text")
    again = Column("re_reading", WORDS["CallRow"]["re_reading"], False, ("yes", "no"), "yes or no")
    targets = columns_of(Target)
    lead = [c for name in ("id", "kind") for c in targets if c.name == name]
    blocks = [column for column in columns_of(Block) if column.name != "format"]
    told = WORDS["Block"]
    return [
        _table("blocks", blocks, Block, "the reference blocks, one a row", True),
        _table(
            "grading units",
            [block, *columns_of(GradingUnit)],
            GradingUnit,
            told["grading_units"],
            False,
        ),
        _table(
            "targets",
            [block, *lead, *(c for c in targets if c not in lead)],
            None,
            "the targets as built, one a row; fill in only the quantities of its kind",
            False,
        ),
        _table(
            "sets",
            columns_of(SetRow),
            SetRow,
            "which target belonged to which set, and when",
            False,
        ),
        _table("key", columns_of(KeyRow), KeyRow, "which block lay behind which blind code", True),
        _table(
            "calls",
            [*columns_of(CallRow), again],
            CallRow,
            "what the readers wrote: a row for each indication and for each empty unit",
            True,
        ),
    ]


def _table(
    title: str,
    columns: Sequence[Column],
    model: type[BaseModel] | None,
    what: str,
    must_exist: bool,
) -> Sheet:
    return Sheet(title, "data", title, what, columns, model, must_exist, False)
