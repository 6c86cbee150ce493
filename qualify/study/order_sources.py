"""A study as far as its order of events needs it: plan, declaration, truth and call sheets."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from qualify.errors import Fault, InputError, refuse
from qualify.files import digest, read_bytes, read_toml, validated
from qualify.raw_tables import parse_rows, read_table, read_workbook
from qualify.reading.key import KeyRow
from qualify.study.data import Sources
from qualify.study.declaration import Declaration
from qualify.study.load import DATA, DECLARATION, PLAN, load_block, study_path
from qualify.study.order_files import sheets_in_book, truth_in_book, truth_names
from qualify.study.plan import Plan
from qualify.study.workbook import WorkbookStudy, read_workbook_study


@dataclass(frozen=True, slots=True)
class OrderSources:
    """Plan and declaration of a study, and where truth and calls lie; `book` of a workbook."""

    folder: Path
    name: str
    plan: Plan
    declaration: Declaration
    book: WorkbookStudy | None

    @property
    def id(self) -> str:
        """The study's id."""
        return self.plan.study

    @property
    def declared_in(self) -> str:
        """The file that holds the declaration."""
        return DECLARATION if self.book is None else self.name

    def truth(self) -> dict[str, str]:
        """Return the digests of the truth by name.

        Raises
        ------
        InputError : there is no key, or a file or a block that it names is missing.
        """
        if self.book is not None:
            held = self.book
            _key_fits(f"{self.name}: sheet 'key'", held.key, [block.id for block in held.blocks])
            return truth_in_book(self.name, held.key, held.sets, held.blocks)
        data = self._data()
        if data.key is None:
            raise refuse(DATA, "names no key, so there is no truth to seal", "give key and blocks")
        key = parse_rows(read_table(self.folder / data.key, data.key), KeyRow)
        blocks = [load_block(self.folder / name, name) for name in data.blocks]
        _key_fits(data.key, [row for _, row in key], [block.id for block in blocks])
        return self._digests(truth_names(data, key, blocks))

    def sheets(self) -> dict[str, str]:
        """Return the digests of all call sheets by name; the InputError names one missing."""
        if self.book is not None:
            told, place = sheets_in_book(self.name, self.book.calls), f"{self.name}: sheet 'calls'"
        else:
            data, place = self._data(), DATA
            told = self._digests(list(dict.fromkeys(sheet.file for sheet in data.call_sheets)))
        if not told:
            raise refuse(place, "names no call", "calls are handed in before truth is opened")
        return told

    def _data(self) -> Sources:
        return validated(Sources, read_toml(self.folder / DATA, DATA), DATA)

    def _digests(self, names: Sequence[str]) -> dict[str, str]:
        return {name: digest(read_bytes(self.folder / name, name)) for name in names}


def order_sources(path: Path) -> OrderSources:
    """Read plan and declaration of a study: its folder, or its workbook.

    Raises
    ------
    InputError : it is no study, or one of them is not right.
    """
    path = study_path(path)
    if path.is_dir():
        plan = validated(Plan, read_toml(path / PLAN, PLAN), PLAN)
        declared = read_toml(path / DECLARATION, DECLARATION)
        declaration = validated(Declaration, declared, DECLARATION)
        return OrderSources(path, path.name, plan, declaration, None)
    book = read_workbook_study(read_workbook(path, path.name), path.name)
    return OrderSources(path.parent, path.name, book.plan, book.declaration, book)


def _key_fits(place: str, key: Sequence[KeyRow], blocks: Sequence[str]) -> None:
    if not key:
        raise refuse(place, "holds no row, so there is no truth to seal", "fill in the key")
    absent = sorted({row.block for row in key} - set(blocks))
    if absent:
        raise InputError(
            Fault(place, f"names block '{id_}', which is not there", "give its block file")
            for id_ in absent
        )
