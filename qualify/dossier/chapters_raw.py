"""Chapter 8: what was found, target by target, every miss, every false call."""

from collections.abc import Sequence

import pandas as pd
from reportlab.platypus import Flowable, Paragraph

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.chapters_left_out import left_out, source_place
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.style import CELL_CENTRE, HEAD_CENTRE
from qualify.dossier.tables import Cell, grid
from qualify.dossier.words import MATCHES, clean, kind_words, mm, tenth, whole
from qualify.reading.tables import BLANK
from qualify.study.result import StudyResult

HIT, MISS, NOT_EXAMINED, NOT_READ = "●", "○", "–", "·"
COLUMNS = 9
WIDE = 7
"""Letters of a mode's id that fit over a narrow column."""
Pass = tuple[str, str]
LEFT_OUT = (
    "Left out of a quick run: every target and call. They stand in opportunities.csv, calls.csv "
    "and measurements.csv, and in the dossier of a whole run."
)


def raw_chapter(result: StudyResult) -> list[Flowable]:
    """Return chapter 8."""
    out = chapter("8  Raw results")
    if result.quick:
        return [*out, body(LEFT_OUT), *_between_units(result), *_not_examined(result)]
    out.append(
        body(
            f"{HIT} found, {MISS} missed, {NOT_EXAMINED} not examined, {NOT_READ} not read; in "
            "brackets: read, but not in the count of this basis. Totals are found of counted and "
            "agree with chapter 9."
        )
    )
    for population in result.inputs.plan.populations:
        out += _ticks(result, population.kind)
    return [
        *out,
        *_misses(result),
        *_false_calls(result),
        *_between_units(result),
        *_not_examined(result),
        *_read_again(result),
        *left_out(result),
    ]


def _passes(result: StudyResult) -> list[Pass]:
    frame = result.tables.opportunities
    known = set(frame[["mode", "reader"]].itertuples(index=False, name=None))
    return [
        (mode.id, reader)
        for mode in result.inputs.plan.modes
        for reader in result.readers
        if (mode.id, reader) in known
    ]


def _ticks(result: StudyResult, kind: str) -> list[Flowable]:
    out = section(f"Tick-off: {kind_words(kind)}, {BASIS_WORDS[result.headline]}", 50)
    found = _of_kind(result.views["as_found"].opportunities, kind)
    counted = _of_kind(result.views[result.headline].opportunities, kind)
    if found.empty and counted.empty:
        return [*out, body(f"No {kind_words(kind)} were read.")]
    passes = _passes(result)
    for start in range(0, len(passes), COLUMNS):
        out.append(_tick_table(result, kind, found, counted, passes[start : start + COLUMNS]))
    return out


def _of_kind(frame: pd.DataFrame, kind: str) -> pd.DataFrame:
    return frame[frame["kind"] == kind]


def _symbols(frame: pd.DataFrame) -> dict[tuple[str, str, str, str], str]:
    columns = ["specimen", "target", "mode", "reader", "examined", "hit"]
    return {
        (specimen, target, mode, reader): (HIT if hit else MISS if examined else NOT_EXAMINED)
        for specimen, target, mode, reader, examined, hit in frame[columns].itertuples(
            index=False, name=None
        )
    }


def _tick_table(
    result: StudyResult,
    kind: str,
    found: pd.DataFrame,
    counted: pd.DataFrame,
    passes: Sequence[Pass],
) -> Flowable:
    columns = ["specimen", "target", "size_mm", "depth_mm", "tilt_deg"]
    both = pd.concat([found, counted])[columns].drop_duplicates(["specimen", "target"])
    both = both.sort_values(["size_mm", "target", "specimen"], kind="stable")
    first, last = _symbols(found), _symbols(counted)
    drawn = {s: Paragraph(s, CELL_CENTRE) for s in (HIT, MISS, NOT_EXAMINED, NOT_READ)}
    bracketed = {s: Paragraph(f"({s})", CELL_CENTRE) for s in drawn}
    rows: list[list[Cell]] = []
    for specimen, target, size, depth, tilt in both.itertuples(index=False, name=None):
        places = [(specimen, target, *one) for one in passes]
        gone = not any(place in last for place in places)
        cells: list[Cell] = [
            drawn[last[place]] if place in last else bracketed[first.get(place, NOT_READ)]
            for place in places
        ]
        name = f"({clean(target)})" if gone else clean(target)
        rows.append(
            [Paragraph(name, CELL_CENTRE), specimen, mm(size), tenth(depth), tenth(tilt), *cells]
        )
    rows.append(_totals(result, kind, passes))
    shown = len(passes) <= 6
    heads: list[Cell] = ["Target", "Piece", "Size, mm", "Depth, mm", "Tilt,\u00a0°"]
    heads += [
        Paragraph(f"{clean(mode if shown else _short(mode))}<br/>{clean(reader)}", HEAD_CENTRE)
        for mode, reader in passes
    ]
    each = min(16.0, 96.0 / len(passes))
    widths = [15, 30, 10, 11, 10, *[each] * len(passes)]
    end = len(rows)
    extra = [("SPAN", (0, end), (4, end)), ("LINEABOVE", (0, end), (-1, end), 0.8, "#1b2430")]
    return grid(heads, rows, widths, align="llrrr" + "c" * len(passes), extra=extra)


def _short(mode: str) -> str:
    """Return a mode's id short enough for a narrow column."""
    return mode if len(mode) <= WIDE else f"{mode[: WIDE - 2]}."


def _totals(result: StudyResult, kind: str, passes: Sequence[Pass]) -> list[Cell]:
    totals: list[Cell] = ["Found of counted", "", "", "", ""]
    for one in passes:
        hits = result.estimates.value(result.headline, "hits", kind, *one)
        n = result.estimates.value(result.headline, "targets", kind, *one)
        totals.append(Paragraph(f"<b>{whole(hits)}/{whole(n)}</b>", CELL_CENTRE))
    return totals


def _misses(result: StudyResult) -> list[Flowable]:
    frame = result.views[result.headline].opportunities
    rows_of = frame[(frame["kind"] != BLANK) & (frame["hit"] == 0)]
    out = section(f"Every miss, {BASIS_WORDS[result.headline]}")
    if rows_of.empty:
        return [*out, body("No target was missed.")]
    order: dict[str, int] = {p.kind: i for i, p in enumerate(result.inputs.plan.populations)}
    rows = []
    keys = ["kind", "target", "specimen"]
    for _, part in rows_of.groupby(keys, sort=True):
        first = part.iloc[0]
        kind, size, target = str(first["kind"]), float(first["size_mm"]), str(first["target"])
        cells = [target, str(first["specimen"]), kind_words(kind), mm(size)]
        cells += [tenth(first["depth_mm"]), tenth(first["tilt_deg"]), _who(result, part)]
        rows.append((order.get(kind, len(order)), -size, cells))
    rows.sort(key=lambda item: (item[0], item[1], item[2][0]))
    heads = [
        "Target", "Piece", "Kind", "Size, mm", "Depth, mm", "Tilt,\u00a0°",
        "Missed in mode, by reader (n.e.: not examined)",
    ]  # fmt: skip
    lost = int((rows_of["examined"] == 0).sum())
    told = small(
        f"{len(rows_of)} misses of {len(rows)} targets, {lost} of them not examined (n.e.); the "
        "largest target first."
    )
    table = grid(heads, [c for _, _, c in rows], [17, 30, 27, 10, 12, 9, 65], align="lllrrrl")
    return [*out, told, table]


def _who(result: StudyResult, part: pd.DataFrame) -> str:
    told = []
    for mode in result.inputs.plan.modes:
        names = [
            f"{row['reader']}{'' if row['examined'] else ' n.e.'}"
            for row in part[part["mode"] == mode.id].to_dict("records")
        ]
        told += [f"{mode.id}: {', '.join(names)}"] if names else []
    return "; ".join(told)


def _false_calls(result: StudyResult) -> list[Flowable]:
    calls = result.views[result.headline].calls
    wrong = calls[~calls["match"].isin(["hit", "corrected"])]
    out = section(
        f"Every false call, {BASIS_WORDS[result.headline]}, with its place in the call sheets"
    )
    if wrong.empty:
        return [*out, body("There was none.")]
    rows = [
        [
            str(r["mode"]), str(r["reader"]), str(r["specimen"]), str(r["grading_unit"] or "none"),
            tenth(r["x_mm"]), tenth(r["z_mm"]), str(r["cause"] or "none given"),
            MATCHES[str(r["match"])], source_place(r),
        ]
        for r in wrong.to_dict("records")
    ]  # fmt: skip
    heads = ["Mode", "Reader", "Piece", "Unit", "x, mm", "z, mm", "Cause given", "Where", "Source"]
    widths = [17, 11, 30, 10, 11, 10, 18, 34, 29]
    return [*out, small(f"{len(wrong)} false calls."), grid(heads, rows, widths, align="llllrrlll")]


def _between_units(result: StudyResult) -> list[Flowable]:
    calls = result.tables.calls
    over = calls[calls["units_touched"].map(lambda t: len(str(t).split()) > 1)]
    out = section("Calls that reach over two units")
    if over.empty:
        return [*out, body("There was none.")]
    rows = [
        [str(r["mode"]), str(r["reader"]), str(r["specimen"]),
         ", ".join(str(r["units_touched"]).split()), MATCHES[str(r["match"])], source_place(r)]
        for r in over.to_dict("records")
    ]  # fmt: skip
    heads = ["Mode", "Reader", "Piece", "Units", "Counts as", "Source"]
    return [*out, grid(heads, rows, [20, 13, 32, 35, 30, 40])]


def _not_examined(result: StudyResult) -> list[Flowable]:
    frame = result.views["as_found"].opportunities
    lost = frame[frame["examined"] == 0]
    out = section("Units not examined, as found")
    if lost.empty:
        return [*out, body("All units were examined.")]
    rows = []
    for (mode, reader), part in lost.groupby(["mode", "reader"], sort=True):
        units, flawed = _units(frame, part), int((part["kind"] != BLANK).sum())
        number = len(part[["specimen", "grading_unit"]].drop_duplicates())
        rows.append([str(mode), str(reader), str(number), str(flawed), units])
    heads = ["Mode", "Reader", "Units", "Targets in them", "Which"]
    return [*out, grid(heads, rows, [22, 18, 14, 18, 98], align="llrrl")]


def _units(frame: pd.DataFrame, part: pd.DataFrame) -> str:
    """Name units piece by piece, 'all' where no unit of a piece is left out."""
    told = []
    for piece, rows in part.groupby("specimen", sort=True):
        held = sorted({str(unit) for unit in rows["grading_unit"]})
        every = frame.loc[frame["specimen"] == piece, "grading_unit"].nunique()
        words = f"all {every}" if len(held) == every else ", ".join(held)
        told.append(f"{piece}: {words}")
    return "; ".join(told)


def _read_again(result: StudyResult) -> list[Flowable]:
    frame = result.tables.opportunities
    again = frame[frame["reading"] == "re-reading"]
    repeats = int((frame["repeat"] > 1).sum())
    out = section("Units read again")
    told = f"{repeats} readings are repeats (repeat 2 or more); none of them is counted."
    if again.empty:
        return [*out, body(f"No unit was read again as a remedy. {told}")]
    rows = []
    for (mode, reader), part in again.groupby(["mode", "reader"], sort=True):
        number = len(part[["specimen", "grading_unit"]].drop_duplicates())
        rows.append([str(mode), str(reader), str(number), _units(frame, part)])
    table = grid(["Mode", "Reader", "Units", "Which"], rows, [22, 18, 14, 116], align="llrl")
    return [*out, table, body(told)]
