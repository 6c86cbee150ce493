"""Part of chapter 8: readings and calls that do not count on the basis of the claim box."""

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd
from reportlab.platypus import Flowable

from qualify.dossier.layout import body, section
from qualify.dossier.tables import grid
from qualify.dossier.words import MATCHES, kind_words, mm, tenth
from qualify.reading.tables import BLANK, Tables
from qualify.study.result import StudyResult

KEYS = ["mode", "reader", "specimen", "grading_unit", "target"]
UNIT = ["specimen", "grading_unit"]


def left_out(result: StudyResult) -> list[Flowable]:
    """Return what was read otherwise the second time, and what is not in the headline count."""
    parts = [*_readings(result), *_calls(result)]
    title = section("Readings and calls that do not count on this basis")
    if not parts:
        return [*title, body("There is none: every first reading and every call is counted.")]
    return [*title, *parts]


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
    rows = [
        [
            str(r["target"]), kind_words(str(r["kind"])), mm(r["size_mm"]), str(r["mode"]),
            str(r["reader"]), _state(r["examined"], r["hit"]),
            _state(r["examined_again"], r["hit_again"]),
        ]
        for r in other.to_dict("records")
    ]  # fmt: skip
    heads = ["Target", "Kind", "Size, mm", "Mode", "Reader", "First reading", "Re-reading"]
    told = (
        f"Targets read twice: {len(pairs) - len(other)} of {len(pairs)} targets read alike. "
        "Where the readings differ:"
    )
    return [
        body(told if rows else f"{told[: told.index(' Where')]}"),
        *([grid(heads, rows, [20, 32, 20, 28, 20, 25, 25], align="llrllcc")] if rows else []),
    ]


def _state(examined: int, hit: int) -> str:
    if not examined:
        return "–"
    return "●" if hit else "○"


def _calls(result: StudyResult) -> list[Flowable]:
    counted = set(result.views[result.headline].calls.index)
    calls = result.tables.calls
    gone = calls[~calls.index.isin(counted) & (calls["repeat"] == 1)]
    if gone.empty:
        return []
    again, removed = _units_read_again(result.tables), _targets_removed(result)
    rows = [
        [
            str(r["mode"]), str(r["reader"]), str(r["specimen"]), str(r["grading_unit"] or "none"),
            tenth(r["x_mm"]), tenth(r["z_mm"]),
            f"{MATCHES.get(str(r['match']), str(r['match']))} {r['target'] or ''}".strip(),
            _why(r, again, removed), source_place(r),
        ]
        for r in gone.to_dict("records")
    ]  # fmt: skip
    hits = int((gone["match"] == "hit").sum())
    words = (
        f"{len(gone)} calls stand in the sheets and do not count, {hits} of them hits of the "
        "reading or unit that does not count:"
    )
    heads = ["Mode", "Reader", "Piece", "Unit", "x, mm", "z, mm", "Match", "Why", "Source"]
    widths = [17, 11, 30, 9, 11, 10, 25, 26, 31]
    return [body(words), grid(heads, rows, widths, align="llllrrlll")]


def _units_read_again(tables: Tables) -> set[tuple[object, ...]]:
    frame = tables.opportunities
    again = frame[frame["reading"] == "re-reading"]
    return set(again[KEYS[:4]].itertuples(index=False, name=None))


def _targets_removed(result: StudyResult) -> dict[tuple[str, str], str]:
    """Return the targets of the units that are in no count of the headline basis."""
    frame, kept = result.tables.opportunities, result.views[result.headline].opportunities
    left = set(kept[UNIT].itertuples(index=False, name=None))
    flawed = frame[frame["kind"] != BLANK][[*UNIT, "target"]].drop_duplicates()
    return {
        (str(specimen), str(unit)): str(target)
        for specimen, unit, target in flawed.itertuples(index=False, name=None)
        if (specimen, unit) not in left
    }


def _why(
    row: Mapping[Hashable, Any],
    again: set[tuple[object, ...]],
    removed: Mapping[tuple[str, str], str],
) -> str:
    if row["match"] == "corrected":
        return "corrected"
    target = removed.get((str(row["specimen"]), str(row["grading_unit"])))
    if target:
        return f"unit removed with {target}"
    if row["reading"] == "first" and tuple(row[key] for key in KEYS[:4]) in again:
        return "unit read again"
    if row["reading"] == "re-reading":
        return "re-reading, not on this basis"
    return "not of the counted blind set"


def source_place(row: Mapping[Hashable, Any]) -> str:
    """Return file, sheet and row of a call, without the folder, in one unbroken word."""
    if not row["file"]:
        return "not recorded"
    name = str(row["file"]).rsplit("/", maxsplit=1)[-1]
    sheet = f", {row['sheet']}" if row["sheet"] else ""
    number = "" if pd.isna(row["row"]) else f":{row['row']}"
    return f"{name}{sheet}{number}"
