"""The log beside a study, and the digests of what lies in the study now."""

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import qualify
from qualify.blocks.definition import Block
from qualify.evidence.commitment import listing_digest
from qualify.files import digest, read_bytes
from qualify.reading.call_sheet import Call
from qualify.reading.key import KeyRow, SetRow
from qualify.study.data import Sources
from qualify.study.frozen_parts import OPTIONAL_FILES, digest_of, plan_parts, rows_digest
from qualify.study.order_log import Program, Recorded, Standing, order_log
from qualify.study.plan import Plan

LOG, SALT = "events.jsonl", "truth.salt"


def recorded_in(
    folder: Path, plan: Plan, truth: Mapping[str, str], sheets: Mapping[str, str]
) -> Recorded | None:
    """Return the log of a study beside what lies in it now, None where there is no log.

    `truth` and `sheets` are digests by name.

    Raises
    ------
    InputError : the log or a file of the reading stage can't be read.
    """
    if not (folder / LOG).exists():
        return None
    log = order_log(read_bytes(folder / LOG, LOG), plan.study)
    return Recorded(log, Standing(parts_in(folder, plan), program(), truth, sheets))


def parts_in(folder: Path, plan: Plan) -> dict[str, str]:
    """Return the digests of the parts of a plan and of the optional files beside it."""
    files = {
        name: digest(read_bytes(folder / name, name))
        for name in OPTIONAL_FILES
        if (folder / name).exists()
    }
    return {**plan_parts(plan), **files}


@cache
def program() -> Program:
    """Return version and digest of this software: over its Python files by name."""
    house = Path(qualify.__file__).parent
    digests = {
        path.relative_to(house).as_posix(): digest(path.read_bytes().replace(b"\r\n", b"\n"))
        for path in house.rglob("*.py")
    }
    return Program(version=qualify.__version__, sha256=listing_digest(digests))


def truth_names(
    data: Sources, key: Sequence[tuple[int, KeyRow]], blocks: Sequence[Block]
) -> list[str]:
    """Return the files that hold the truth; `blocks` are those of the files in `data`, in order."""
    keyed = {row.block for _, row in key}
    files = [n for n, block in zip(data.blocks, blocks, strict=True) if block.id in keyed]
    return [name for name in (data.key, data.sets) if name is not None] + files


def truth_in_book(
    book: str, rows: Sequence[KeyRow], sets: Sequence[SetRow], blocks: Sequence[Block]
) -> dict[str, str]:
    """Return the digests of the truth in a workbook, over its values."""
    keyed = {row.block for row in rows}
    told = {f"{book}: key": rows_digest(list(rows)), f"{book}: sets": rows_digest(list(sets))}
    return told | {f"{book}: block {b.id}": rows_digest([b]) for b in blocks if b.id in keyed}


def sheets_in_book(book: str, calls: Sequence[Call]) -> dict[str, str]:
    """Return the digest of the calls in a workbook, over their values."""
    rows = [
        {**call.row.model_dump(mode="json", exclude_none=True), "re_reading": call.re_reading}
        for call in calls
    ]
    return {f"{book}: calls": digest_of(rows)} if rows else {}
