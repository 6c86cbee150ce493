"""Files in and out: TOML, tables, canonical JSON, digests, whole-or-nothing writes.

Canonical JSON follows RFC 8785; digests are SHA-256 (FIPS 180-4), written in hexadecimal.
"""

import csv
import hashlib
import io
import os
import re
import shutil
import tempfile
import tomllib
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import rfc8785
from pydantic import BaseModel, ValidationError

from qualify.errors import Fault, InputError, refuse

Cell = Any
Model = TypeVar("Model", bound=BaseModel)
CODE = re.compile(r"^[^\s/\\:]+$")


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row of a table as it stands in the file; `number` counts from 1, header included."""

    number: int
    cells: Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class RawTable:
    """A table as read: `file` is its name for messages, `sheet` is None for a CSV file."""

    file: str
    sheet: str | None
    columns: Sequence[str]
    rows: Sequence[RawRow]

    @property
    def place(self) -> str:
        """File and sheet as they are named in messages."""
        return self.file if self.sheet is None else f"{self.file}: sheet '{self.sheet}'"


def read_bytes(path: Path, name: str | None = None) -> bytes:
    """Read a file; an `InputError` says why it can't be read. `name` is used in messages."""
    name = name or str(path)
    if path.is_dir():
        raise refuse(name, "is a folder", "give a file")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise refuse(name, "no such file", "check the name") from None
    except OSError as error:
        raise refuse(
            name, f"can't be read ({error.strerror})", "check the rights of the file"
        ) from None


def read_text(path: Path, name: str | None = None) -> str:
    """Read UTF-8 text, with or without a byte order mark."""
    name = name or str(path)
    content = read_bytes(path, name)
    if not content.strip():
        raise refuse(name, "the file is empty", "give a file with content")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise refuse(
            f"{name}: line {line}", "bytes that are not UTF-8", "save the file as UTF-8"
        ) from None


def read_toml(path: Path, name: str | None = None) -> dict[str, Any]:
    """Read a TOML file (TOML 1.0); a syntax error names its line."""
    name = name or str(path)
    try:
        return tomllib.loads(read_text(path, name))
    except tomllib.TOMLDecodeError as error:
        raise refuse(name, f"is not TOML: {error}", "mend the line named") from None


def validated(model: type[Model], data: Any, place: str) -> Model:
    """Return `data` as `model`, or raise an `InputError` with every fault in it."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise InputError(faults_of(error, place)) from None


def faults_of(error: ValidationError, place: str) -> list[Fault]:
    """Turn a pydantic error into faults: place and key, what was found, what is wanted."""
    return [_fault(detail, place) for detail in error.errors(include_url=False)]


def _fault(detail: Any, place: str) -> Fault:
    path = ".".join(_step(step) for step in detail["loc"])
    where = f"{place}: {path}" if path else place
    kind, value = detail["type"], detail.get("input")
    message = detail["msg"].removeprefix("Value error, ")
    if kind == "missing":
        return Fault(where, "is missing", "give a value")
    if kind == "extra_forbidden":
        return Fault(where, "is not a known key", "remove it or check its spelling")
    if kind == "value_error" and ";" in message:
        found, wanted = message.split(";", 1)
        return Fault(where, found.strip(), wanted.strip())
    shown = repr(value) if isinstance(value, (str, int, float, bool)) else type(value).__name__
    return Fault(where, f"found {shown}", message[:1].lower() + message[1:])


def _step(step: int | str) -> str:
    return str(step + 1) if isinstance(step, int) else step


def read_table(path: Path, name: str | None = None, sheet: str | None = None) -> RawTable:
    """Read a CSV file (comma, UTF-8) or one sheet of an `.xlsx` workbook.

    The first row holds the column names. Empty rows are skipped, their numbers kept. An
    empty cell is an absent key. Raises `InputError` for an empty file, double or empty
    column names, rows longer than the header, and fields separated by semicolons.
    """
    name = name or str(path)
    if path.suffix.lower() == ".xlsx":
        return read_workbook(path, name, only=sheet)[0]
    text = read_text(path, name)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise refuse(name, f"is not CSV: {error}", "mend the quotes") from None
    if len(lines[0]) == 1 and ";" in lines[0][0]:
        raise refuse(f"{name}: row 1", "fields separated by semicolons", "separate them by commas")
    return _table(name, None, lines)


def read_workbook(path: Path, name: str | None = None, only: str | None = None) -> list[RawTable]:
    """Read the sheets of an `.xlsx` workbook as tables; `only` names one sheet.

    Without `only`, empty sheets and sheets whose name starts with 'read me' are skipped.
    """
    import openpyxl

    name = name or str(path)
    content = read_bytes(path, name)
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=False, data_only=True)
    except (zipfile.BadZipFile, KeyError, ValueError, OSError):
        raise refuse(name, "is not an .xlsx workbook", "save it as .xlsx") from None
    names = book.sheetnames
    if only is not None and only not in names:
        raise refuse(name, f"has no sheet '{only}'", f"it has {', '.join(names)}")
    wanted = [only] if only else [n for n in names if not n.lower().startswith("read me")]
    tables = []
    for title in wanted:
        lines = [list(row) for row in book[title].iter_rows(values_only=True)]
        if any(_filled(cell) for line in lines for cell in line):
            tables.append(_table(name, title, lines))
    if not tables:
        raise refuse(name, "no sheet has any content", "fill in the sheets")
    return tables


def _filled(cell: Cell) -> bool:
    return cell is not None and (not isinstance(cell, str) or cell.strip() != "")


def _table(file: str, sheet: str | None, lines: Sequence[Sequence[Cell]]) -> RawTable:
    place = file if sheet is None else f"{file}: sheet '{sheet}'"
    header = [str(cell).strip() if _filled(cell) else "" for cell in lines[0]]
    while header and not header[-1]:
        header.pop()
    faults = [
        Fault(f"{place}: row 1", f"column {i} has no name", "name every column")
        for i, column in enumerate(header, start=1)
        if not column
    ]
    faults += [
        Fault(f"{place}: row 1", f"column '{c}' stands twice", "keep one of them")
        for c in sorted({c for c in header if c and header.count(c) > 1})
    ]
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(_filled(cell) for cell in line):
            continue
        if len(line) > len(lines[0]) or any(_filled(cell) for cell in line[len(header) :]):
            faults.append(
                Fault(
                    f"{place}: row {number}",
                    f"{len(line)} cells under {len(header)} columns",
                    "one cell for each column (a decimal comma splits a number in two)",
                )
            )
        cells = {
            column: cell.strip() if isinstance(cell, str) else cell
            for column, cell in zip(header, line, strict=False)
            if _filled(cell)
        }
        rows.append(RawRow(number, cells))
    if faults:
        raise InputError(faults)
    return RawTable(file, sheet, tuple(header), tuple(rows))


def parse_rows(
    table: RawTable, model: type[Model], *, allow_extra: bool = False
) -> list[tuple[int, Model]]:
    """Return (row number, row) for each row, validated; all faults of the table in one go.

    A missing required column, an unknown column, and a table without rows are faults.
    """
    fields = model.model_fields
    required = [name for name, field in fields.items() if field.is_required()]
    faults = [
        Fault(
            f"{table.place}: row 1",
            f"column '{name}' is missing",
            f"the columns are {', '.join(fields)}",
        )
        for name in required
        if name not in table.columns
    ]
    if not allow_extra:
        faults += [
            Fault(
                f"{table.place}: row 1",
                f"column '{name}' is not known",
                f"the columns are {', '.join(fields)}",
            )
            for name in table.columns
            if name not in fields
        ]
    if faults:
        raise InputError(faults)
    if not table.rows:
        raise refuse(table.place, "has a header but no rows", "give at least one row")
    parsed = []
    for row in table.rows:
        cells = {k: v for k, v in row.cells.items() if k in fields}
        try:
            parsed.append((row.number, model.model_validate(cells)))
        except ValidationError as error:
            faults += faults_of(error, f"{table.place}: row {row.number}")
    if faults:
        raise InputError(faults)
    return parsed


def canonical_json(value: Any) -> bytes:
    """Return `value` as canonical JSON (RFC 8785) with a final newline."""
    return rfc8785.dumps(value) + b"\n"


def digest(content: bytes) -> str:
    """Return the SHA-256 digest of `content`, hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; `InputError` where there is no right or no space."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, partial = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise _cannot_write(path, error) from None
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        Path(partial).chmod(0o644)
        Path(partial).replace(path)
    except OSError as error:
        Path(partial).unlink(missing_ok=True)
        raise _cannot_write(path, error) from None


def check_folder(folder: Path, *, mark: str) -> None:
    """Raise an `InputError` unless `write_folder` may write or replace the folder."""
    if folder.is_file():
        raise refuse(str(folder), "is a file", "give a folder")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / mark).is_file():
        raise refuse(
            str(folder), f"holds files that are not ours (no {mark})", "give a new or empty folder"
        )


def write_folder(folder: Path, contents: Mapping[str, bytes], *, mark: str) -> None:
    """Write a folder whole or not at all.

    `contents` maps relative names to bytes. A folder that is there already is replaced only
    if it is empty or holds the file `mark`, that is, if an earlier run made it.
    """
    check_folder(folder, mark=mark)
    partial = folder.with_name(f".{folder.name}.partial")
    old = folder.with_name(f".{folder.name}.old")
    try:
        for stale in (partial, old):
            shutil.rmtree(stale, ignore_errors=True)
        for name, content in contents.items():
            target = partial / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        if folder.exists():
            folder.replace(old)
        partial.replace(folder)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        if old.exists() and not folder.exists():
            old.replace(folder)
        shutil.rmtree(partial, ignore_errors=True)
        raise _cannot_write(folder, error) from None


def _cannot_write(path: Path, error: OSError) -> InputError:
    return refuse(
        str(path), f"can't be written ({error.strerror})", "check the rights and the free space"
    )
