"""Candidate against reference from recorded responses, both at one declared false-call rate."""

import numpy as np
import pandas as pd

from qualify.comparison.response_ratio import ModeAtRate, ResponseRatio, response_ratio
from qualify.pod.noise import fit_noise, quantile
from qualify.pod.responses import observe_responses, off_axis, on_axis
from qualify.reading.tables import BLANK
from qualify.study.plan import Plan
from qualify.study.response_plan import ResponseAnalysis


def response_comparison(rows: pd.DataFrame, mine: pd.DataFrame, plan: Plan) -> ResponseRatio | None:
    """Return the ratio of a90 at the rate that both modes declare; None where they declare none.

    Targets and blank units that were examined in both modes count.
    """
    claim = plan.claim
    by = {how.mode: how for how in plan.responses}
    if claim.reference_mode not in by or claim.candidate_mode not in by:
        return None
    pair = (by[claim.reference_mode], by[claim.candidate_mode])
    rate = pair[0].declared_rate
    if rate is None or rate != pair[1].declared_rate:
        return None
    if any(how.law != "gumbel" or how.size_axis != pair[0].size_axis for how in pair):
        return None
    targets = _seen_in_both(mine[mine["examined"] == 1], ["specimen", "target"], pair)
    blanks = _seen_in_both(
        rows[(rows["kind"] == BLANK) & (rows["examined"] == 1)], ["specimen", "grading_unit"], pair
    )
    modes = [_at_rate(*parts, rate) for parts in zip(targets, blanks, pair, strict=True)]
    if modes[0] is None or modes[1] is None:
        return None
    names = (f"in {claim.reference_mode}", f"in {claim.candidate_mode}")
    try:
        return response_ratio(modes[0], modes[1], rate, seed=plan.analysis.seed, names=names)
    except ValueError:
        return None


def _seen_in_both(
    rows: pd.DataFrame, columns: list[str], pair: tuple[ResponseAnalysis, ResponseAnalysis]
) -> list[pd.DataFrame]:
    parts = [rows[rows["mode"] == how.mode].set_index(columns).sort_index() for how in pair]
    both = parts[0].index.intersection(parts[1].index)
    return [part.loc[both] for part in parts]


def _at_rate(
    rows: pd.DataFrame, blanks: pd.DataFrame, how: ResponseAnalysis, rate: float
) -> ModeAtRate | None:
    """Responses and peaks of one mode, on its axis; None where they can't be brought there."""
    if rows.empty or blanks.empty or (how.floor is None and rows["response"].isna().any()):
        return None
    peaks = blanks["response"].to_numpy(dtype=float)
    if how.floor is None and np.isnan(peaks).any():
        return None
    level = -np.inf if how.floor is None else how.floor
    censored = np.isnan(peaks) | (peaks <= level)
    peaks = on_axis(np.where(censored, level, peaks), how.response_axis)
    if not np.all(np.isfinite(peaks)):
        return None
    at = quantile(fit_noise(peaks, censored), rate)
    if at is None:
        return None
    names = ["/".join(map(str, name)) for name in rows.index]
    try:
        data = observe_responses(
            rows["size_mm"].to_numpy(dtype=float), rows["response"].to_numpy(dtype=float),
            threshold=float(off_axis(at, how.response_axis)), floor=how.floor, ceiling=how.ceiling,
            targets=names, scale=how.size_axis, axis=how.response_axis,
        )  # fmt: skip
    except ValueError:
        return None
    return ModeAtRate(data, peaks, censored)
