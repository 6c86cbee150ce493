"""Part of chapter 12: the targets that tell the modes apart, and their sizes in both."""

from collections.abc import Sequence

import pandas as pd
from reportlab.platypus import Flowable

from qualify.criteria.words import ALL_READERS
from qualify.dossier.comparison_views import discordant, figures_of, names_of
from qualify.dossier.layout import body, section, small
from qualify.dossier.tables import Cell, grid
from qualify.dossier.words import listed, mm, p_value, signed, whole
from qualify.study.comparisons import ModeComparison
from qualify.study.result import StudyResult

UNSEEN = "†"


def discordant_targets(
    result: StudyResult, kind: str, held: Sequence[tuple[str, str, ModeComparison]]
) -> list[Flowable]:
    """Return the table of discordant targets with size, depth, and who hit them in which mode."""
    frame = result.views[result.headline].opportunities
    depth = frame[frame["kind"] == kind].groupby("target")["depth_mm"].first()
    by: dict[tuple[str, float], dict[str, list[str]]] = {}
    for reader, _, one in held:
        if reader == ALL_READERS:
            continue
        for name, size, side, _ in discordant(one):
            by.setdefault((name, size), {}).setdefault(side, []).append(reader)
    out = section("Targets that one mode alone hit")
    if not by:
        return [*out, body("None.")]
    modes = names_of(result)
    lost = set(_lost(result, kind)[["target", "reader", "mode"]].itertuples(index=False, name=None))

    def who(name: str, sides: dict[str, list[str]], k: int) -> str:
        """Name the readers that hit in mode k, marked where the other mode was not examined."""
        there = sides.get(("reference", "candidate")[k], [])
        marked = [f"{r} {UNSEEN}" if (name, r, modes[1 - k]) in lost else r for r in there]
        return ", ".join(marked) or "–"

    rows = [
        [
            name,
            mm(size),
            "–" if pd.isna(depth.get(name)) else mm(depth.get(name)),
            *[who(name, sides, k) for k in (0, 1)],
        ]
        for (name, size), sides in sorted(by.items(), key=lambda item: item[0][1])
    ]
    reference, candidate = modes
    heads = ["Target", "Size, mm", "Depth, mm", f"Hit in {reference} only, by",
             f"Hit in {candidate} only, by"]  # fmt: skip
    table = grid(heads, rows, [28, 22, 22, 48, 48], align="lrrll")
    return [*out, table, *_not_examined(result, kind, held)]


def _lost(result: StudyResult, kind: str) -> pd.DataFrame:
    """Return the opportunities in either mode that were not examined."""
    frame = result.views[result.headline].opportunities
    lost = frame[(frame["kind"] == kind) & (frame["examined"] == 0)]
    return lost[lost["mode"].isin(names_of(result))]


def _not_examined(
    result: StudyResult, kind: str, held: Sequence[tuple[str, str, ModeComparison]]
) -> list[Flowable]:
    """Name targets that one mode alone examined, and tell the exact p without them."""
    lost = _lost(result, kind)
    if lost.empty:
        return []
    named = [f"{row.target} ({row.reader}, {row.mode})" for row in lost.itertuples()]
    told = [
        f"{who} {p_value(p)}"
        for reader, who, _ in held
        if (p := _value(result, "mcnemar_examined_p", kind, reader)) is not None
    ]
    words = (
        f"Not examined, and counted as the plan says ({UNSEEN} where the mode that did not hit did "
        f"not look): {listed(named, 12)}. Exact p of hits on the "
        f"targets examined in both modes: {', '.join(told)}."
    )
    return [small(words)]


def paired_size_table(result: StudyResult, kind: str) -> list[Flowable]:
    """Return sizing errors of both modes on targets sized in both; nothing where none is judged."""
    rows: list[list[Cell]] = []
    for reader in result.readers:
        n = _value(result, "compared_sizes", kind, reader)
        if n is None:
            continue
        step, low, high, one, other, p = (
            _value(result, f"size_difference{name}", kind, reader)
            for name in ("", "_low", "_high", "_rmse_reference", "_rmse_candidate", "_p")
        )
        ends = "none" if low is None else f"{signed(low)} to {signed(high)}"
        rows.append([reader, whole(n), mm(one), mm(other), signed(step), ends, p_value(p)])
    if not rows:
        return []
    reference, candidate = names_of(result)
    heads = ["Reader", "Sized in both", f"RMSE {reference}", f"RMSE {candidate}",
             "Mean error, candidate less reference", "95 % of it", "p of magnitudes"]  # fmt: skip
    words = small(
        "In mm, on targets that a reader sized in both modes; below 0 the candidate reports less. "
        "p: whether one mode's errors are larger in magnitude (Wilcoxon 1945), not in the family."
    )
    table = grid(heads, rows, [18, 20, 24, 26, 34, 30, 24], align="lrrrrrr")
    return [*section("Sizes of the same targets in both modes"), table, words]


def _value(result: StudyResult, name: str, kind: str, reader: str) -> float | None:
    found = figures_of(result, name, kind, reader)
    return None if found is None else found.value
