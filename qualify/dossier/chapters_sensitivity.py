"""Chapter 13: what the results hang on; a table of choices for each kind of target and mode."""

from collections import Counter
from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.words import ALL_READERS
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.lookup import estimate, worst_reader
from qualify.dossier.sensitivity_words import (
    change_words,
    hangs_on,
    moved_most,
    other_by_likelihood,
)
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import STAR, kind_words, mm, sentence, size_cell
from qualify.pod.problem import BOUND_WORDS
from qualify.study.result import StudyResult
from qualify.study.sensitivity_estimates import change
from qualify.study.sensitivity_rows import PLANNED, Row, Sensitivity, Told

READER_COLUMNS = 8
TOGETHER = "all, cluster-robust"
HOW = (
    "Each row keeps the plan but for one choice. The box is made half as wide and half as wide "
    "again (its half widths; the extents of targets stay), calls are matched again, and "
    "everything is counted and fitted anew; a threshold moves by 2 dB where responses were "
    "recorded; calls whose reader took them for geometry, grain, an artefact or coupling are left "
    "out. Half and 2 dB are common practice, no source. Rows are compared by likelihood "
    "bounds, which need no simulation and hold less often than they say; the plan's own bound "
    "stands in the first row. Each row tells the reader with the largest a90/95 in it; one "
    "without a bound comes first. A verdict that changes is one that differs from that on "
    "likelihood bounds as planned, so by these bounds only; without a reader, verdicts are "
    "judged on the plan's own bounds. The ratio of a90 and criteria on readers together are not "
    "varied; re-readings stand against first readings in chapter 14. Where the plan's own model "
    "is not within 2 AIC units of the best (chapter 9, c), both rows of models may lie on one "
    "side of it. Nothing here is chosen after the fact: the result of the plan stands."
)


def sensitivity_chapter(result: StudyResult) -> list[Flowable]:
    """Return chapter 13."""
    out = chapter("13  What the results hang on")
    if not result.sensitivity:
        return [*out, body("Not shown: no curve was fitted.")]
    out += [body(words) for words in hangs_on(result)]
    out.append(small(HOW))
    for population in result.inputs.plan.populations:
        for mode in result.inputs.plan.modes:
            held = result.sensitivity.get((population.kind, mode.id))
            if held is not None:
                out += _place(result, population.kind, mode.id, held)
    return out


def _place(result: StudyResult, kind: str, mode: str, held: Sensitivity) -> list[Flowable]:
    heads = ["Choice", "Reader", "Found", "a90", "a90/95", "Change", "Verdicts that change"]
    shown = [row for row in held.rows if row.absent is None]
    table = [_of_plan(result, kind, mode), *(_row(row, held) for row in shown)]
    title = kind_words(kind)
    out = section(f"{title[:1].upper()}{title[1:]}, mode {mode}: a90/95 in mm")
    out.append(grid(heads, table, [50, 16, 18, 16, 18, 18, 44], align="llrrrrl"))
    out += [small(words) for words in other_by_likelihood(result, held)]
    out += _notes(held, shown)
    return [*out, *_by_reader(held, shown)]


def _of_plan(result: StudyResult, kind: str, mode: str) -> list[Cell]:
    """Return the row of the bound that the criteria use."""
    reader = worst_reader(result, kind, mode) or ""
    found = [estimate(result, n, kind, mode, reader) for n in ("hits", "targets", "a90", "a90_95")]
    hits, targets, a90, bound = found
    counts = [0 if one is None or one.value is None else int(one.value) for one in (hits, targets)]
    words = BOUND_WORDS[result.inputs.plan.analysis.bound].split(",")[-1].strip()
    told = f"as planned, the plan's bound ({words})"
    of = f"{counts[0]} of {counts[1]}"
    return [bold(told, align="l"), reader, of, size_cell(a90), size_cell(bound), "", ""]


def _row(row: Row, held: Sensitivity) -> list[Cell]:
    worst = row.worst
    if worst is None:
        return [row.words, "", "", "", "", "", ""]
    planned = held.planned.worst
    moved = "" if row.key == PLANNED else change_words(change(worst, planned))
    words = "as planned, likelihood bound" if row.key == PLANNED else row.words
    if worst.what:
        words += f": {worst.what}"
    changed: Cell = ""
    if row.changed:
        changed = bold("; ".join(f"{c}: {a} → {b}" for c, a, b in row.changed), align="l")
    elif row.key != PLANNED:
        changed = "none" if held.clauses else "–"
    of = f"{worst.hits} of {worst.targets}"
    return [words, worst.reader, of, mm(worst.a90), _bound(worst), moved, changed]


def _bound(told: Told) -> str:
    return mm(told.a90_95) + ("*" if told.in_range is False else "")


def _notes(held: Sensitivity, shown: Sequence[Row]) -> list[Flowable]:
    absent: dict[str, list[str]] = {}
    for row in held.rows:
        if row.absent is not None:
            absent.setdefault(row.absent, []).append(row.words)
    notes = [f"cannot be shown: {', '.join(rows)}: {why}" for why, rows in absent.items()]
    out: list[Flowable] = [small(moved_most(held))]
    if any(told.in_range is False for row in shown for told in row.readers):
        out.append(small(STAR))
    notes += _lacking([row for row in shown if not row.key.startswith("without_")])
    if not held.clauses:
        notes.append("no criterion of the plan bears on this kind and mode")
    return [*out, *[small(sentence(note)) for note in notes]]


def _lacking(shown: Sequence[Row]) -> list[str]:
    """Return a line for each reason why there is no bound: for whom, and under which choices."""
    asked = Counter(told.reader for row in shown for told in row.readers)
    held: dict[str, dict[str, list[str]]] = {}
    for row in shown:
        for told in row.readers:
            if told.a90_95 is None:
                readers = held.setdefault(str(told.reason), {})
                readers.setdefault(told.reader, []).append(f"'{row.words}'")
    lines = []
    for why, readers in held.items():
        where: dict[str, list[str]] = {}
        for reader, choices in readers.items():
            all_of_them = len(choices) == asked[reader]
            where.setdefault("every choice" if all_of_them else ", ".join(choices), []).append(
                TOGETHER if reader == ALL_READERS else reader
            )
        told_where = "; ".join(f"{', '.join(who)} under {at}" for at, who in where.items())
        lines.append(f"no bound: {told_where}: {why}")
    return lines


def _by_reader(held: Sensitivity, shown: Sequence[Row]) -> list[Flowable]:
    """Return a90/95 of every reader under each choice; nothing with one reader or very many."""
    readers = [told.reader for told in held.planned.readers]
    together = ALL_READERS in readers
    rows = [row for row in shown if together or not row.key.startswith("without_")]
    if not 1 < len(readers) <= READER_COLUMNS:
        return []
    table: list[list[Cell]] = []
    for row in rows:
        by = {told.reader: told for told in row.readers}
        planned = {told.reader: told for told in held.planned.readers}
        cells: list[Cell] = [row.words]
        for reader in readers:
            told = by.get(reader)
            if told is None:
                cells.append("–")
                continue
            text = _bound(told)
            moved = change(told, planned[reader])
            if row.key != PLANNED and moved is not None:
                text += f" ({change_words(moved)})"
            cells.append(text)
        table.append(cells)
    width = 120 / len(readers)
    names = [TOGETHER if reader == ALL_READERS else reader for reader in readers]
    heads = ["a90/95 by reader, likelihood bound", *names]
    return [grid(heads, table, [60, *[width] * len(readers)], align="l" + "r" * len(readers))]
