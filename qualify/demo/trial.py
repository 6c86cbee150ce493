"""The blind trial: codes, order of presentation, days, and software revisions.

Each reader sees the coupons in an order of its own in each mode, two coupons a working day,
one mode in the first fortnight and the other in the second. Units are read along the coupon.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qualify.blocks.definition import Block
from qualify.demo.assumptions import READERS
from qualify.demo.seeds import stream
from qualify.reading.key import Presented

LETTERS = "BCDFGJKPQRTVWXZ"
"""No vowels, nothing that begins an id of a target (H, L, N, S) or reads as a unit (M)."""
OFFSETS_MM = (0.0, 0.0, 1.5, 2.0, 3.5, 5.0)
MODEL_MODES = ("linear", "coherence")
"""The modes that the readers, or models of them, read."""
RULE_MODES = ("linear", "total_focusing", "coherence")
"""Modes that count by rule; a sectorial scan has a region of its own and is shown only."""
COLUMNS = ("reader", "mode", "reading", "code", "read_on", "software")
FIRST_FORTNIGHT = [date(2026, 3, d) for d in (23, 24, 25, 26, 27, 30, 31)] + [
    date(2026, 4, d) for d in (1, 2)
]
SECOND_FORTNIGHT = [date(2026, 4, d) for d in (7, 8, 9, 10, 13, 14, 15, 16, 17)]
RE_READING_DAYS = [date(2026, 4, d) for d in (20, 21, 22)]
FIRST_MODE = {"R1": "linear", "R2": "coherence", "R3": "linear"}
REVISION = "2.4.0"
CHANGED_REVISION = "2.4.1"
CHANGED_FROM = date(2026, 4, 13)
CHANGED_FOR = ("R3", "coherence")
"""Reader and mode whose station was updated in mid-trial: a planted event."""
NO_IMAGE = 2
"""Units whose recording holds no back-wall echo: no reader, in no mode, can examine them."""

Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class Trial:
    """The coupons under their codes, and the units (code, number) without an image."""

    key: tuple[Presented, ...]
    lost: frozenset[tuple[str, int]]


def prepare(blocks: Mapping[str, Block]) -> Trial:
    """Return the blind coupons under their codes, in the order of the codes."""
    rng = stream("key")
    names = sorted(name for name in blocks if name.startswith("lug_coupon_blind"))
    codes: list[str] = []
    while len(codes) < len(names):
        code = "".join(rng.choice(list(LETTERS), size=4, replace=False))
        if code not in codes:
            codes.append(code)
    rows = [
        Presented(code, blocks[name], bool(rng.random() < 0.5), float(rng.choice(OFFSETS_MM)))
        for code, name in zip(codes, names, strict=True)
    ]
    key = tuple(sorted(rows, key=lambda row: row.code))
    return Trial(key, frozenset(_no_image(key)))


def _no_image(key: Sequence[Presented]) -> list[tuple[str, int]]:
    rng = stream("no image")
    picked = [key[int(i)] for i in rng.choice(len(key), size=NO_IMAGE, replace=False)]
    return [(item.code, int(rng.integers(1, len(item.units) + 1))) for item in picked]


def key_table(trial: Trial) -> bytes:
    """Return the key as CSV."""
    lines = [
        {
            "code": row.code,
            "block": row.block.id,
            "flipped": str(row.flipped).lower(),
            "datum_offset_mm": f"{row.datum_offset_mm:.1f}",
        }
        for row in trial.key
    ]
    return table(("code", "block", "flipped", "datum_offset_mm"), lines)


def table(columns: Sequence[str], rows: Iterable[Row]) -> bytes:
    """Return rows as CSV in UTF-8 with line feeds."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def presentation_table(trial: Trial) -> bytes:
    """Return who read which coupon when, under which revision, as CSV."""
    return table(COLUMNS, _presented(trial))


def _presented(trial: Trial) -> Iterator[Row]:
    for reader in READERS:
        for mode in MODEL_MODES:
            rows = list(_first_reading(trial, reader, mode))
            yield from rows
            if (reader, mode) == CHANGED_FOR:
                yield from _re_reading(trial, rows)


def _first_reading(trial: Trial, reader: str, mode: str) -> Iterator[Row]:
    days = FIRST_FORTNIGHT if FIRST_MODE[reader] == mode else SECOND_FORTNIGHT
    for place, item in enumerate(_shuffled(trial.key, reader, mode, 1)):
        day = days[place // 2]
        changed = (reader, mode) == CHANGED_FOR and day >= CHANGED_FROM
        yield _row(reader, mode, 1, item, day, CHANGED_REVISION if changed else REVISION)


def _re_reading(trial: Trial, read: Iterable[Row]) -> Iterator[Row]:
    """Yield the coupons that were read under the changed revision, read again."""
    again = {row["code"] for row in read if row["software"] == CHANGED_REVISION}
    reader, mode = CHANGED_FOR
    items = _shuffled([item for item in trial.key if item.code in again], reader, mode, 2)
    a_day = -(-len(items) // len(RE_READING_DAYS))
    for place, item in enumerate(items):
        yield _row(reader, mode, 2, item, RE_READING_DAYS[place // a_day], REVISION)


def _row(reader: str, mode: str, reading: int, item: Presented, day: date, software: str) -> Row:
    cells = (reader, mode, str(reading), item.code, day.isoformat(), software)
    return dict(zip(COLUMNS, cells, strict=True))


def _shuffled(items: Sequence[Presented], reader: str, mode: str, reading: int) -> list[Presented]:
    order = stream(f"order/{reader}/{mode}/{reading}").permutation(len(items))
    return [items[int(i)] for i in order]
