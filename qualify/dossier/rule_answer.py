"""What readings by rule say to the question asked: a small table and its words for page 1."""

from collections.abc import Iterator

import pandas as pd
from reportlab.platypus import Flowable, Paragraph

from qualify.dossier.lookup import BLANKS, estimate, value
from qualify.dossier.rule_views import as_study, modes_read
from qualify.dossier.style import FACE as FACE_STYLE
from qualify.dossier.tables import grid
from qualify.dossier.words import clean, kind_words, mm, p_value, percent, whole
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.rule_analysis import against

SHOWN = 5
NO_RATIO = "none: an a90 outside the sizes tested"
Row = list[str]


def rule_answer(result: StudyResult) -> list[Flowable]:
    """Return the table of page 1; nothing where nothing was read by rule."""
    own = as_study(result)
    if own is None or own.inputs.plan.claim.reference_mode is None:
        return []
    modes = modes_read(own)
    reading = own.inputs.reading
    rate = (
        "" if reading is None else f" ({percent(reading.thresholds.declared_rate)} of blank units)"
    )
    words = f"<b>Read by rule</b>, each mode at the same declared false-call rate{rate}:"
    rows = [list(row) for row in _rows(own, modes)]
    told = " ".join([*_misses(own), grain_caution(own)]).strip()
    return [
        Paragraph(words, FACE_STYLE),
        grid(["", *modes], rows, [52, *[118.0 / len(modes)] * len(modes)]),
        *([Paragraph(clean(told), FACE_STYLE)] if told else []),
    ]


def _rows(own: StudyResult, modes: list[str]) -> Iterator[Row]:
    """Yield what each mode came to: blank units called, then kind by kind."""
    reader = own.readers[0]

    def count(name: str, of: str, kind: str, mode: str) -> str:
        return f"{whole(value(own, name, kind, mode, reader))} of " + whole(
            value(own, of, kind, mode, reader)
        )

    yield ["Blank units called (upper 95 % bound)", *(_called(own, m) for m in modes)]
    for population in own.inputs.plan.populations:
        kind, words = population.kind, kind_words(population.kind)
        yield [f"Found of {words}", *(count("hits", "targets", kind, m) for m in modes)]
        shallow, edges = _shallowest(own, kind)
        if len(shallow):
            yield [f"  of these {edges}", *(_found(shallow, m) for m in modes)]
        if population.sized:
            yield [f"  RMSE of {population.size_in_words}", *(_rmse(own, kind, m) for m in modes)]
        yield from _beside(own, population, modes)


def _called(own: StudyResult, mode: str) -> str:
    reader = own.readers[0]
    called, units, upper = (
        value(own, name, BLANKS, mode, reader)
        for name in ("units_called", "blank_units", "false_call_rate_upper")
    )
    return f"{whole(called)} of {whole(units)} ({percent(upper)})"


def _found(rows: pd.DataFrame, mode: str) -> str:
    mine = rows[rows["mode"] == mode]
    return f"{int(mine['hit'].sum())} of {len(mine)}"


def _rmse(own: StudyResult, kind: str, mode: str) -> str:
    reader = own.readers[0]
    sized = whole(value(own, "sized", kind, mode, reader))
    return f"{mm(value(own, 'sizing_rmse', kind, mode, reader))} mm ({sized} sized)"


def _shallowest(own: StudyResult, kind: str) -> tuple[pd.DataFrame, str]:
    """Return the rows of the shallowest third of the depths tested, and its ends in words."""
    frame = own.views[own.headline].opportunities
    rows = frame[(frame["kind"] == kind) & frame["depth_mm"].notna()]
    if rows.empty:
        return rows, ""
    low, high = float(rows["depth_mm"].min()), float(rows["depth_mm"].max())
    edge = low + (high - low) / 3.0
    return rows[rows["depth_mm"] < edge], f"{low:.0f} to {edge:.0f} mm deep"


def _beside(own: StudyResult, population: Population, modes: list[str]) -> Iterator[Row]:
    """Yield the candidate against each other mode: hits of one alone, exact p, ratio of a90."""
    kind, reader = population.kind, own.readers[0]
    claim = own.inputs.plan.claim
    candidate = claim.candidate_mode
    pairs, ratios = [], []
    for mode in modes:
        key = candidate if mode == claim.reference_mode else against(candidate, mode)
        names = ("compared_candidate_only", "compared_reference_only", "mcnemar_exact_p")
        alone, other, p = (value(own, name, kind, key, reader) for name in names)
        if mode == candidate or alone is None or other is None:
            pairs.append("–")
            ratios.append("–")
            continue
        pairs.append(f"{whole(alone)} / {whole(other)}, {p_value(p)}")
        ratios.append(_ratio(own, kind, key))
    yield [f"  hit by {candidate} alone / by it alone, exact p", *pairs]
    if any(told not in ("–", NO_RATIO) for told in ratios):
        yield [f"  a90 of {candidate} over its", *ratios]


def _ratio(own: StudyResult, kind: str, key: str) -> str:
    reader = own.readers[0]
    shown = estimate(own, "a90_ratio", kind, key, reader)
    if shown is None or shown.value is None or shown.in_range is not True:
        return NO_RATIO
    upper = value(own, "a90_ratio_upper", kind, key, reader)
    bound = "no upper bound" if upper is None else f"upper bound {mm(upper)}"
    return f"{mm(shown.value)}, {bound}"


def _misses(own: StudyResult) -> list[str]:
    """Name the largest targets that the candidate missed though they were examined."""
    out = []
    candidate = own.inputs.plan.claim.candidate_mode
    frame = own.views[own.headline].opportunities
    for population in own.inputs.plan.populations:
        rows = frame[(frame["kind"] == population.kind) & (frame["mode"] == candidate)]
        missed = rows[(rows["hit"] == 0) & (rows["examined"] == 1)]
        largest = missed.sort_values("size_mm", ascending=False).head(SHOWN)
        named = ", ".join(
            f"{mm(size)} mm at {depth:.0f} mm"
            for size, depth in zip(largest["size_mm"], largest["depth_mm"], strict=True)
        )
        if named:
            words = kind_words(population.kind)
            out.append(f"Largest {words} that {candidate} missed, with their depth: {named}.")
    return out


def grain_caution(own: StudyResult) -> str:
    """Say where the check of the model did not accept the grain; empty where it did everywhere."""
    check = own.inputs.model_check
    if check is None:
        return ""
    failed = [
        f"{one.mode} from {one.z_from_mm:.0f} to {one.z_to_mm:.0f} mm"
        for one in check.grain
        if not one.accepted
    ]
    if not failed:
        return ""
    return (
        f"The model's own check does not accept its grain in {', '.join(failed)}: there the "
        "comparison of modes is biased, to what extent is not known."
    )
