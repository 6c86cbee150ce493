"""A study read from its folder or its workbook, validated, nothing computed."""

from collections.abc import Iterable, Sequence
from math import isnan
from pathlib import Path

from qualify.blocks.checks import check_block
from qualify.blocks.definition import Block
from qualify.blocks.targets import quantities_of
from qualify.errors import Fault, InputError, refuse
from qualify.files import digest, read_bytes, read_toml, validated
from qualify.raw_tables import RawTable, parse_rows, read_table, read_workbook
from qualify.reading.call_sheet import Call, CallRow, check_looks
from qualify.reading.key import KeyRow, SetRow
from qualify.reading.placing import check_calls, presented_pieces
from qualify.reading.tables import Tables, read_finished
from qualify.study.data import CallSheetSource, DataSources
from qualify.study.declaration import Declaration
from qualify.study.model_file import load_model_check
from qualify.study.model_result import ModelCheck
from qualify.study.order_files import LOG, recorded_in, sheets_in_book, truth_in_book, truth_names
from qualify.study.order_log import Recorded
from qualify.study.plan import Plan
from qualify.study.reading_files import RECORDED, reading_files
from qualify.study.result import InputFile, StudyInputs
from qualify.study.workbook import read_workbook_study

PLAN, DECLARATION, DATA, BOOK = "plan.toml", "study.toml", "data.toml", "study.xlsx"


def load_study(path: Path) -> StudyInputs:
    """Read a study: a folder with plan.toml, study.toml and data.toml, or one `.xlsx`.

    Raises
    ------
    InputError : with every fault of the file it stops at; cross-checks between files come
        last and are reported together.
    """
    path = study_path(path)
    inputs = _from_folder(path) if path.is_dir() else _from_workbook(path)
    _cross_check(inputs)
    return inputs


def study_path(path: Path) -> Path:
    """Return the folder or the workbook of a study; an `InputError` where it is neither."""
    if path.is_dir() and (path / BOOK).is_file() and not (path / PLAN).exists():
        path = path / BOOK
    if path.is_dir() or path.suffix.lower() == ".xlsx":
        return path
    raise refuse(
        str(path),
        "is no study" if path.exists() else "no such file or folder",
        f"give a folder with {PLAN}, {DECLARATION} and {DATA}, or an .xlsx workbook",
    )


def load_block(path: Path, name: str | None = None) -> Block:
    """Read one block file and check it."""
    name = name or str(path)
    if path.suffix.lower() != ".toml" and path.is_file():
        raise refuse(name, "is no block file", "give a block file, which is TOML")
    data = read_toml(path, name)
    if "outline" not in data:
        raise refuse(name, "is no block file (it has no outline)", "give a block file")
    block = validated(Block, data, name)
    check_block(block, name)
    return block


def _from_folder(folder: Path) -> StudyInputs:
    plan = validated(Plan, read_toml(folder / PLAN, PLAN), PLAN)
    declaration = validated(Declaration, read_toml(folder / DECLARATION, DECLARATION), DECLARATION)
    data = validated(DataSources, read_toml(folder / DATA, DATA), DATA)
    names = [PLAN, DECLARATION, DATA, *data.blocks]
    names += [name for name in (data.sets, data.key, data.model_check) if name is not None]
    names += list(dict.fromkeys(sheet.file for sheet in data.call_sheets))
    names += [name for name in RECORDED if (folder / name).is_file()]
    finished = None
    if data.tables is not None:
        tables = data.tables
        names += [n for n in (tables.opportunities, tables.calls, tables.measurements) if n]
        finished = read_finished(
            read_table(folder / tables.opportunities, tables.opportunities),
            read_table(folder / tables.calls, tables.calls),
            None
            if tables.measurements is None
            else read_table(folder / tables.measurements, tables.measurements),
        )
    sets = (
        [] if data.sets is None else parse_rows(read_table(folder / data.sets, data.sets), SetRow)
    )
    key = [] if data.key is None else parse_rows(read_table(folder / data.key, data.key), KeyRow)
    blocks = tuple(load_block(folder / name, name) for name in data.blocks)
    calls = [call for sheet in data.call_sheets for call in _call_sheet(folder, sheet)]
    files = _files(folder, names)
    return StudyInputs(
        name=plan.study,
        plan=plan,
        declaration=declaration,
        blocks=blocks,
        sets=tuple(row for _, row in sets),
        key=tuple(row for _, row in key),
        calls=tuple(calls),
        finished=finished,
        files=files,
        model_check=_model_check(folder, data.model_check, plan.signal),
        log=_log(folder, plan, data, truth_names(data, key, blocks), files),
        reading=reading_files(folder, plan),
    )


def _log(
    folder: Path, plan: Plan, data: DataSources, truth: Sequence[str], files: Sequence[InputFile]
) -> Recorded | None:
    held = {file.name: file.sha256 for file in files}
    sheets = [sheet.file for sheet in data.call_sheets]
    return recorded_in(folder, plan, {n: held[n] for n in truth}, {n: held[n] for n in sheets})


def _files(folder: Path, names: Sequence[str]) -> tuple[InputFile, ...]:
    """Return the files that went in, the log of events among them where there is one."""
    log = [LOG] if (folder / LOG).exists() else []
    return tuple(InputFile(n, digest(read_bytes(folder / n, n))) for n in (*names, *log))


def _model_check(folder: Path, name: str | None, signal: str) -> ModelCheck | None:
    if name is None:
        return None
    if signal != "simulated":
        found = f"is given, and the plan's signal is '{signal}'"
        raise refuse(f"{DATA}: model_check", found, "leave it out; it is of simulated signals")
    return load_model_check(folder / name, name)


def _call_sheet(folder: Path, source: CallSheetSource) -> list[Call]:
    table = read_table(folder / source.file, source.file, source.sheet)
    given = {"reader": source.reader, "mode": source.mode}
    filled = {column: value for column, value in given.items() if value is not None}
    if "repeat" not in table.columns:
        filled["repeat"] = str(source.repeat)
    double = [column for column in filled if column in table.columns]
    if double:
        raise InputError(
            Fault(
                f"{table.place}: row 1",
                f"column '{column}' stands in the sheet and in {DATA}",
                "keep one of them",
            )
            for column in double
        )
    rows = tuple(type(row)(row.number, {**row.cells, **filled}) for row in table.rows)
    whole = RawTable(table.file, table.sheet, (*table.columns, *filled), rows)
    return [
        Call(row, table.file, table.sheet, number, source.re_reading)
        for number, row in parse_rows(whole, CallRow)
    ]


def _from_workbook(path: Path) -> StudyInputs:
    study = read_workbook_study(read_workbook(path, path.name), path.name)
    for block in study.blocks:
        check_block(block, f"{path.name}: block {block.id}")
    truth = truth_in_book(path.name, study.key, study.sets, study.blocks)
    return StudyInputs(
        name=study.plan.study,
        plan=study.plan,
        declaration=study.declaration,
        blocks=tuple(study.blocks),
        sets=tuple(study.sets),
        key=tuple(study.key),
        calls=tuple(study.calls),
        finished=None,
        files=_files(path.parent, [path.name]),
        log=recorded_in(path.parent, study.plan, truth, sheets_in_book(path.name, study.calls)),
    )


def _cross_check(inputs: StudyInputs) -> None:
    """Raise an `InputError` where the parts of a study do not fit together."""
    plan, declaration = inputs.plan, inputs.declaration
    faults = []
    if plan.study != declaration.study:
        faults.append(
            Fault(
                "study",
                f"the plan is of '{plan.study}', the declaration of '{declaration.study}'",
                "give both the same id",
            )
        )
    faults += _double("blocks", (block.id for block in inputs.blocks))
    faults += _sets_fit(inputs)
    faults += _names_known(inputs)
    faults += [
        Fault(
            f"plan: populations: {population.kind}: size_quantity",
            f"'{population.size_quantity}' is no quantity of a {population.kind}",
            f"its quantities are {', '.join(quantities_of(population.kind))}",
        )
        for population in plan.populations
        if population.size_quantity not in quantities_of(population.kind)
    ]
    faults += _foreign_units(inputs)
    if faults:
        raise InputError(faults)
    by_box = plan.matching.rule == "box"
    check_calls(inputs.calls, presented_pieces(inputs.blocks, inputs.key, by_unit=not by_box))
    check_looks(inputs.calls, needs_position=by_box)


def _foreign_units(inputs: StudyInputs) -> list[Fault]:
    """Tell of responses whose unit is not the one that the plan analyses."""
    units = {how.mode: how.unit for how in inputs.plan.responses}
    told: list[tuple[str, str, str]] = [
        (call.place, call.row.mode, str(call.row.response_unit))
        for call in inputs.calls
        if call.row.response is not None
    ]
    if inputs.finished is not None:
        rows = inputs.finished.opportunities
        columns = zip(rows["mode"], rows["response"], rows["response_unit"], strict=True)
        told += [
            (f"opportunities: row {number}", str(mode), str(unit))
            for number, (mode, response, unit) in enumerate(columns, start=2)
            if not isnan(response)
        ]
    return [
        Fault(
            f"{place}: response_unit",
            f"'{unit}', and the plan analyses responses of mode '{mode}' in {units[mode]}",
            "give them in one unit",
        )
        for place, mode, unit in told
        if mode in units and unit != units[mode]
    ]


def _double(what: str, ids: Iterable[str]) -> list[Fault]:
    seen = list(ids)
    return [
        Fault(f"{what}: {id_}", "stands twice", "give every one its own id")
        for id_ in sorted({id_ for id_ in seen if seen.count(id_) > 1})
    ]


def _sets_fit(inputs: StudyInputs) -> list[Fault]:
    if not inputs.blocks:
        return []
    held = {(block.id, target.id) for block in inputs.blocks for target in block.targets}
    known = {block.id for block in inputs.blocks}
    return [
        Fault(
            f"sets: target {row.target}",
            f"block '{row.block}' "
            + ("is not there" if row.block not in known else f"has no target '{row.target}'"),
            "mend the row, or add the block",
        )
        for row in inputs.sets
        if (row.block, row.target) not in held
    ]


def _names_known(inputs: StudyInputs) -> list[Fault]:
    modes = {mode.id for mode in inputs.plan.modes}
    readers = {reader.reader for reader in inputs.declaration.readers}
    readers |= set(inputs.plan.rule_readers)
    places = [(call.place, call.row.mode, call.row.reader) for call in inputs.calls]
    if inputs.finished is not None:
        places += _table_names(inputs.finished)
    faults: dict[tuple[str, str], Fault] = {}
    for place, mode, reader in places:
        if mode not in modes:
            faults.setdefault(
                ("mode", mode),
                Fault(
                    f"{place}: mode",
                    f"'{mode}' is not in the plan",
                    f"the plan's modes are {', '.join(sorted(modes))}",
                ),
            )
        if readers and reader not in readers:
            faults.setdefault(
                ("reader", reader),
                Fault(
                    f"{place}: reader",
                    f"'{reader}' is not declared",
                    f"the readers are {', '.join(sorted(readers))}",
                ),
            )
    return list(faults.values())


def _table_names(tables: Tables) -> Sequence[tuple[str, str, str]]:
    frame = tables.opportunities[["mode", "reader"]].drop_duplicates()
    return [("opportunities", str(m), str(r)) for m, r in frame.itertuples(index=False)]
