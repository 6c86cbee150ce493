"""The blind trial: codes, order of presentation, days, and the call sheets.

Each reader sees the coupons in an order of its own in each mode, two coupons a working day,
one mode in the first fortnight and the other in the second. Units are read along the coupon.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qualify.blocks.definition import Block, GradingUnit
from qualify.demo.assumptions import MODES
from qualify.demo.reader_model import Indication, Look, indications
from qualify.demo.seeds import stream
from qualify.reading.key import Presented

LETTERS = "BCDFGJKPQRTVWXZ"
"""No vowels, nothing that begins an id of a target (H, L, N, S) or reads as a unit (M)."""
OFFSETS_MM = (0.0, 0.0, 1.5, 2.0, 3.5, 5.0)
COLUMNS = [
    "reader",
    "mode",
    "code",
    "unit",
    "verdict",
    "x_mm",
    "z_mm",
    "length_x_mm",
    "size_mm",
    "size_method",
    "confidence",
    "cause",
    "software",
    "read_on",
    "comment",
]
FIRST_FORTNIGHT = [date(2026, 3, d) for d in (23, 24, 25, 26, 27, 30, 31)] + [
    date(2026, 4, d) for d in (1, 2)
]
SECOND_FORTNIGHT = [date(2026, 4, d) for d in (7, 8, 9, 10, 13, 14, 15, 16, 17)]
RE_READING_DAYS = [date(2026, 4, d) for d in (20, 21, 22)]
FIRST_MODE = {"R1": "linear", "R2": "coherence", "R3": "linear"}
REVISION = "2.4.0"
CHANGED_REVISION = "2.4.1"
CHANGED_FROM = date(2026, 4, 13)
CHANGED_FOR = Look("R3", "coherence")
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


def sheet(trial: Trial, look: Look) -> list[Row]:
    """Return the rows of one call sheet in the order of presentation."""
    first = FIRST_MODE[look.reader] == look.mode
    days = FIRST_FORTNIGHT if first else SECOND_FORTNIGHT
    rows: list[Row] = []
    for place, item in enumerate(_shuffled(trial.key, look)):
        day = days[place // 2]
        changed = look == CHANGED_FOR and day >= CHANGED_FROM
        rows += _coupon(trial, item, look, day, CHANGED_REVISION if changed else REVISION)
    return rows


def re_reading(trial: Trial, read: Iterable[Row]) -> list[Row]:
    """Return the sheet of the coupons that were read under the changed revision, read again."""
    again = {row["code"] for row in read if row["software"] == CHANGED_REVISION}
    look = Look(CHANGED_FOR.reader, CHANGED_FOR.mode, "2")
    items = _shuffled([item for item in trial.key if item.code in again], look)
    a_day = -(-len(items) // len(RE_READING_DAYS))
    rows: list[Row] = []
    for place, item in enumerate(items):
        rows += _coupon(trial, item, look, RE_READING_DAYS[place // a_day], REVISION)
    return rows


def _shuffled(items: Sequence[Presented], look: Look) -> list[Presented]:
    order = stream(f"order/{look.reader}/{look.mode}/{look.reading}").permutation(len(items))
    return [items[int(i)] for i in order]


def _coupon(trial: Trial, item: Presented, look: Look, day: date, software: str) -> list[Row]:
    rows = []
    for number, unit in enumerate(item.units, start=1):
        base = {
            "reader": look.reader,
            "mode": look.mode,
            "code": item.code,
            "unit": str(number),
            "software": software,
            "read_on": day.isoformat(),
        }
        if (item.code, number) in trial.lost:
            calls = [_not_examined("no back-wall echo in the recording")]
        else:
            calls = _calls(item, unit, look)
        rows += [{**base, **call} for call in calls]
    return rows


def _calls(item: Presented, unit: GradingUnit, look: Look) -> list[Row]:
    found = indications(item.block, unit, look)
    if found is None:
        return [_not_examined("image broken off")]
    if not found:
        return [{"verdict": "nothing_found"}]
    found = sorted(found, key=lambda seen: item.presented_x_mm(seen.x_mm))
    return [_indication(item, seen, look.mode) for seen in found]


def _indication(item: Presented, seen: Indication, mode: str) -> Row:
    row = {
        "verdict": "indication",
        "x_mm": f"{item.presented_x_mm(seen.x_mm):.1f}",
        "z_mm": f"{seen.z_mm:.1f}",
        "length_x_mm": f"{seen.length_x_mm:.1f}",
        "confidence": str(seen.confidence),
        "cause": seen.cause,
    }
    if seen.size_mm is not None:
        row |= {"size_mm": f"{seen.size_mm:.1f}", "size_method": MODES[mode].size_method}
    return row


def _not_examined(why: str) -> Row:
    return {"verdict": "not_examined", "cause": "coupling", "comment": why}
