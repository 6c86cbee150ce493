"""Part of chapter 8: readings and calls that do not count on the basis of the claim box."""

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd
from reportlab.platypus import Flowable

from qualify.dossier.layout import body, section
from qualify.dossier.tables import grid
from qualify.dossier.words import MATCHES, mm
from qualify.reading.tables import BLANK, Tables
from qualify.study.result import StudyResult

KEYS = ["mode", "reader", "specimen", "grading_unit", "target"]


def left_out(result: StudyResult) -> list[Flowable]:
    """Return targets read otherwise the second time, and calls outside the headline count."""
    return [*_readings(result), *_calls(result)]


def _readings(result: StudyResult) -> list[Flowable]:
    frame = result.tables.opportunities
    flawed = frame[(frame["kind"] != BLANK) & (frame["repeat"] == 1)]
    pairs = flawed[flawed["reading"] == "first"].merge(
        flawed[flawed["reading"] == "re-reading"], on=KEYS, suffixes=("", "_again")
    )
    if pairs.empty:
        return []
    other = pairs[
        (pairs["hit"] != pairs["hit_again"]) | (pairs["examined"] != pairs["examined_again"])
    ]
    alike = len(pairs) - len(other)
    rows = [
        [
            str(r["mode"]), str(r["reader"]), str(r["target"]), mm(r["size_mm"]),
            _state(r["examined"], r["hit"]), _state(r["examined_again"], r["hit_again"]),
        ]
        for r in other.to_dict("records")
    ]  # fmt: skip
    heads = ["Mode", "Reader", "Target", "Size, mm", "First reading", "Re-reading"]
    return [
        *section("Targets read twice: where the two readings differ"),
        body(f"{alike} of {len(pairs)} targets read twice came out alike."),
        *([grid(heads, rows, [30, 20, 25, 25, 35, 35])] if rows else []),
    ]


def _state(examined: int, hit: int) -> str:
    if not examined:
        return "not examined"
    return "found" if hit else "missed"


def _calls(result: StudyResult) -> list[Flowable]:
    counted = set(result.views[result.headline].calls.index)
    calls = result.tables.calls
    gone = calls[~calls.index.isin(counted) & (calls["repeat"] == 1)]
    if gone.empty:
        return []
    again = _units_read_again(result.tables)
    rows = [
        [
            str(r["mode"]), str(r["reader"]), str(r["specimen"]), str(r["grading_unit"] or "none"),
            mm(r["x_mm"]), mm(r["z_mm"]),
            f"{MATCHES.get(str(r['match']), str(r['match']))} {r['target']}".strip(),
            _why(r, again), _source(r),
        ]
        for r in gone.to_dict("records")
        if r["match"] != "hit"
    ]  # fmt: skip
    hits = int((gone["match"] == "hit").sum())
    words = (
        f"{len(gone)} calls stand in the sheets and do not count: {hits} hits, which the tables "
        "above show, and the rest here."
    )
    heads = ["Mode", "Reader", "Piece", "Unit", "x, mm", "z, mm", "Counted as", "Why not", "Source"]
    widths = [18, 12, 30, 10, 13, 13, 22, 20, 32]
    return [
        *section("Calls that do not count on this basis"),
        body(words),
        *([grid(heads, rows, widths)] if rows else []),
    ]


def _units_read_again(tables: Tables) -> set[tuple[object, ...]]:
    frame = tables.opportunities
    again = frame[frame["reading"] == "re-reading"]
    return set(again[KEYS[:4]].itertuples(index=False, name=None))


def _why(row: Mapping[Hashable, Any], again: set[tuple[object, ...]]) -> str:
    if row["match"] == "corrected":
        return "corrected"
    if row["reading"] == "first" and tuple(row[key] for key in KEYS[:4]) in again:
        return "read again"
    return "unit taken out"


def _source(row: Mapping[Hashable, Any]) -> str:
    if not row["file"]:
        return "not recorded"
    name = str(row["file"]).rsplit("/", maxsplit=1)[-1]
    return name if pd.isna(row["row"]) else f"{name} : {row['row']}"
