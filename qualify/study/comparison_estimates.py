"""Estimates of candidate against reference; statistics of the candidate's cell."""

from collections.abc import Mapping

from qualify.comparison.false_calls import PairedFalseCalls
from qualify.comparison.paired_sizes import PairedSizes
from qualify.comparison.ratio import A90Ratio
from qualify.criteria.estimate import BASES, Basis, Estimate, Side
from qualify.study.analysis import BLANK_UNITS
from qualify.study.comparisons import Comparisons, ModeComparison
from qualify.study.told import is_far, told_ratio
from qualify.study.where import Where

SIGNS = "exact test of discordant targets, two-sided"
BY_TARGET = "exact test of signs by target, all readers of a target exchanged at once, two-sided"
EXCHANGE = "modes exchanged by whole targets, two-sided"
SCORE = "score by target, simulated quantile, one-sided 95 %"
DRAWN = "whole targets drawn anew, percentile, one-sided 95 %"
NONE: Side = "none"
TWO: Side = "two-sided"
POWER = "simulated trials in which every reader shows it, candidate's a90 {} times the reference's"


def comparison_estimates(found: Comparisons) -> list[Estimate]:
    """Return the estimates of all comparisons."""
    out: list[Estimate] = []
    for (on, kind, mode, reader), one in found.modes.items():
        rows = 0 if one.found is None else 2 * one.found.counts.n
        _targets(Where(out, _basis(on), kind, mode, reader, rows), one)
    for (on, _, mode, reader), calls in found.false_calls.items():
        where = Where(out, _basis(on), BLANK_UNITS, mode, reader, 2 * calls.counts.n)
        _false_calls(where, calls)
    for (on, kind, mode, reader), sizes in found.sizes.items():
        _sizes(Where(out, _basis(on), kind, mode, reader, sizes.n), sizes)
    return out


def _sizes(where: Where, sizes: PairedSizes) -> None:
    where.add("compared_sizes", sizes.n, "count")
    ends = sizes.interval or (None, None)
    t = "Student's t, two-sided 95 %; candidate less reference"
    for name, value, unit, method, side in (
        ("", sizes.difference, "mm", "mean error, candidate less reference", NONE),
        ("_low", ends[0], "mm", t, TWO),
        ("_high", ends[1], "mm", t, TWO),
        ("_rmse_reference", sizes.rmse_a, "mm", "of targets sized in both modes", NONE),
        ("_rmse_candidate", sizes.rmse_b, "mm", "of targets sized in both modes", NONE),
        ("_p", sizes.magnitude_p, "1", "magnitudes of errors, Wilcoxon 1945, two-sided", TWO),
    ):
        where.add(f"size_difference{name}", value, unit, method=method, side=side,
                  reason=sizes.reason)  # fmt: skip


def _basis(name: str) -> Basis:
    return next(basis for basis in BASES if basis == name)


def _targets(where: Where, one: ModeComparison) -> None:
    where.add("compared_left_out", len(one.left_out), "count")
    found = one.found
    if found is None:
        for name in ("a90_ratio", "a90_ratio_upper", "a90_ratio_lower"):
            where.add(name, None, "ratio", method=SCORE, reason=one.reason)
        return
    several = len(found.data.readers) > 1
    counts, test, method = found.counts, found.test, BY_TARGET if several else SIGNS
    for name, number in (
        ("compared_targets", found.data.n), ("compared_readings", counts.n),
        ("compared_both", counts.both), ("compared_reference_only", counts.a_only),
        ("compared_candidate_only", counts.b_only), ("compared_neither", counts.neither),
    ):  # fmt: skip
        where.add(name, number, "count")
    where.add("mcnemar_exact_p", test.exact_p, "1", method=method)
    if one.examined_p is not None:
        where.add(
            "mcnemar_examined_p", one.examined_p, "1", method=f"{method}; of targets examined"
        )
    where.add("mcnemar_mid_p", test.mid_p, "1", method=f"{method}, mid-p")
    where.add("mcnemar_candidate_better_p", test.b_better_p, "1", method="the same, one-sided")
    where.add("mcnemar_reference_better_p", test.a_better_p, "1", method="the same, one-sided")
    odds = found.odds
    conditional = "reference only over candidate only, exact interval (Clopper and Pearson 1934)"
    where.add("odds_ratio", odds.value, "ratio", method=conditional, reason=odds.reason)
    for name, value in (("odds_ratio_low", odds.low), ("odds_ratio_high", odds.high)):
        reason = odds.reason or "the odds have no end on this side"
        where.add(name, value, "ratio", method=conditional, side="two-sided", reason=reason)
    difference = found.difference
    where.add("rate_difference", difference.value, "fraction", method="candidate less reference",
              reason=difference.reason)  # fmt: skip
    for name, interval, how in (
        ("newcombe", difference.newcombe, "Newcombe 1998, method 10, two-sided 95 %"),
        ("tango", difference.tango, "score, Tango 1998, two-sided 95 %"),
        ("by_target", difference.by_target, "Student's t over targets, two-sided 95 %"),
    ):
        if interval is not None:
            where.add(f"rate_difference_{name}_low", interval[0], "fraction", method=how,
                      side="two-sided")  # fmt: skip
            where.add(f"rate_difference_{name}_high", interval[1], "fraction", method=how,
                      side="two-sided")  # fmt: skip
    _curves(where, one)
    size = found.data.size
    _ratio(where, found.ratio, (float(size.min()), float(size.max())))
    for true, share in one.power.items():
        name = f"a90_ratio_power_{str(true).replace('.', '_')}"
        where.add(name, share, "fraction", method=POWER.format(f"{true:g}"))
    _at_rate(where, one)


def _curves(where: Where, one: ModeComparison) -> None:
    assert one.found is not None
    tests = one.found.curves
    where.add("curve_difference_p", tests.exchange_p, "1", method=EXCHANGE, reason=tests.reason)
    wald = "joint model, covariance by target (CR1), 2 degrees of freedom; beside the p of record"
    for name, value, law in (
        ("wald", tests.wald, "statistic"),
        ("chi_square_p", tests.chi_square_p, "chi-square"),
        ("hotelling_p", tests.hotelling_p, "Hotelling's law"),
    ):
        reason = tests.wald_reason
        where.add(f"curve_difference_{name}", value, "1", method=f"{wald}, {law}", reason=reason)
    names = {"hits": "mcnemar_holm_p", "curves": "curve_difference_holm_p",
             "a90_ratio": "a90_ratio_holm_p"}  # fmt: skip
    for endpoint, p in one.holm_p.items():
        where.add(names[endpoint], p, "1", method="adjusted over kinds and tests (Holm 1979)",
                  reason="the test can't be made")  # fmt: skip


def _ratio(where: Where, ratio: A90Ratio, tested: tuple[float, float]) -> None:
    far = is_far(ratio.a90_a, tested) or is_far(ratio.a90_b, tested)
    score = f"{SCORE}; {ratio.simulations} simulated trials, seed {ratio.seed}"
    two = score.replace("one-sided", "two-sided")
    ends = ratio.interval or (None, None)
    open_ends = ratio.reason or "the interval does not close"
    none = ratio.reason or "in too many draws a mode has no a90"
    likely = "candidate over reference, both curves by maximum likelihood"
    rows: tuple[tuple[str, float | None, str, Side, str | None], ...] = (
        ("", ratio.ratio, likely, "none", ratio.reason),
        ("_upper", ratio.upper, score, "upper", ratio.upper_reason),
        ("_lower", ratio.lower, score, "lower", ratio.lower_reason),
        ("_low", ends[0], two, "two-sided", open_ends),
        ("_high", ends[1], two, "two-sided", open_ends),
        ("_lower_drawn", ratio.percentile[0], DRAWN, "lower", none),
        ("_upper_drawn", ratio.percentile[1], DRAWN, "upper", none),
    )
    for ending, value, method, side, reason in rows:
        told, why = told_ratio(value, reason, far=far)
        inside = ratio.inside if ending in ("", "_upper", "_lower") else None
        where.add(f"a90_ratio{ending}", told, "ratio", method=method, side=side, reason=why,
                  in_range=inside)  # fmt: skip
    if ratio.margin is not None:
        where.add("a90_ratio_margin", ratio.margin, "ratio", method="declared in the plan")
        where.add("a90_ratio_not_inferior_p", ratio.inferior_p, "1",
                  method="score by target, simulated, one-sided", reason=none)  # fmt: skip


def _at_rate(where: Where, one: ModeComparison) -> None:
    found = one.at_rate
    if found is None:
        return
    method = f"responses at a false-call rate of {100 * found.rate:g} %, targets and blanks drawn "
    method += "anew together"
    where.add("at_rate_a90_ratio", found.ratio, "ratio", method=method, reason=found.reason)
    where.add("at_rate_a90_ratio_upper", found.upper, "ratio", method=method, side="upper",
              reason=found.bound_reason)  # fmt: skip
    where.add("at_rate_a90_ratio_lower", found.lower, "ratio", method=method, side="lower",
              reason=found.bound_reason)  # fmt: skip


def _false_calls(where: Where, found: PairedFalseCalls) -> None:
    counts: Mapping[str, int] = {
        "compared_blank_readings": found.counts.n,
        "false_calls_both": found.counts.both,
        "false_calls_reference_only": found.counts.a_only,
        "false_calls_candidate_only": found.counts.b_only,
    }
    for name, number in counts.items():
        where.add(name, number, "count")
    difference = found.difference
    where.add("false_call_difference", difference.value, "fraction",
              method="candidate less reference, on the same blank units",
              reason=difference.reason)  # fmt: skip
    interval = difference.newcombe or difference.by_target
    how = "Newcombe 1998, method 10" if difference.newcombe else "Student's t over units"
    if interval is not None:
        for name, value in zip(("low", "high"), interval, strict=True):
            where.add(f"false_call_difference_{name}", value, "fraction",
                      method=f"{how}, two-sided 95 %", side="two-sided")  # fmt: skip
    where.add("false_call_difference_p", found.test.exact_p, "1",
              method="exact test of discordant units, two-sided")  # fmt: skip
