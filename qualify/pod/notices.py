"""Plain-language notices of a hit/miss fit: what a reader must know beside the numbers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from qualify.pod.observations import Observations
from qualify.pod.outcome import Outcome, Overlap
from qualify.pod.problem import BoundName, BoundValue

FEWEST_TARGETS = 60  # handbook figure, see `_few_targets`
COARSE = 0.02  # of the bound: a larger error of the simulation is told
LAPSE_FACTOR = 1.5  # house rule, no source: misses so far above a90 are no matter of size alone
HOLDS: dict[BoundName, str] = {
    "likelihood": "the 95 % likelihood bound on a90 held in 91 to 94 % of trials",
    "wald": "the 95 % delta-method (Wald) bound on a90 held in 85 to 92 % of trials",
}
DESIGN = (
    "our own simulation of 60 to 120 targets of sizes 0.5 to 8 (logit curve in log size, a90 at "
    "3, two slopes, two size ladders, 2000 trials each; a trial without a bound claims nothing and "
    "counts as holding)"
)


@dataclass(frozen=True, slots=True)
class Notice:
    """A remark that belongs beside the numbers.

    Attributes
    ----------
    code : short and stable, for scripts.
    text : one or two plain sentences; sizes in the caller's unit.
    """

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Findings:
    """What the notices are written from; sizes in the caller's unit."""

    seen: Observations
    lie: Overlap
    outcome: Outcome
    confidence: float
    bound: BoundName
    bounds: dict[str, dict[str, BoundValue]]
    slope_shown: bool
    a50: float | None
    a90: float | None
    all_hit_lower_bound: float | None


def _size(value: float | None) -> str:
    return "none" if value is None else f"{value:.4g}"


def count(number: int, what: str) -> str:
    """Return a number with its noun, in the plural unless it is one."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _outcome_notice(found: Findings) -> Notice | None:
    """Say in words why there is no curve."""
    miss, hit = _size(found.lie.largest_miss), _size(found.lie.smallest_hit)
    n, least = found.seen.total, found.all_hit_lower_bound
    texts: dict[str, str] = {
        "separated": (
            f"Every target up to {miss} was missed and every target from {hit} was hit, with no "
            "overlap. The slope of the curve can't be estimated: a90 may lie between these sizes "
            "or beyond, up to the calibrated bound. More targets between these sizes would decide "
            "it."
        ),
        "quasi_separated": (
            f"Hits and misses meet only at size {miss}: all smaller targets were missed and all "
            "larger ones hit. The slope of the curve can't be estimated; more targets around "
            "this size would decide it."
        ),
        "decreasing": (
            "Larger targets were not hit more often than smaller ones, so no a50 or a90 is "
            "given. Check the labels, the size column and the coding of hits."
        ),
        "all_hit": (
            f"All {n} of {n} were hit. No curve can be fitted, as nothing shows where detection "
            f"begins to fail. Exact one-sided lower bound of the share hit, at "
            f"{100 * found.confidence:g} % confidence: {100 * (least or 0.0):.1f} %, for targets "
            "as in this set."
        ),
        "all_missed": (
            f"None of {n} was hit. No curve can be fitted: larger targets are needed, or the "
            "coding of hits is wrong."
        ),
        "too_few": (
            f"Too few for a curve: {count(n, 'trial')} at "
            f"{count(found.seen.size.size, 'distinct size')}; at least 5 trials and 2 sizes are "
            "needed, and far more for a useful bound."
        ),
    }
    text = texts.get(found.outcome)
    return None if text is None else Notice(found.outcome, text)


def _few_targets(found: Findings) -> Notice | None:
    """Sample size; the figure 60 is recalled from MIL-HDBK-1823A from memory, not verified."""
    if found.seen.total >= FEWEST_TARGETS:
        return None
    text = (
        f"{count(found.seen.total, 'trial')}: fewer than 60 targets, the least for hit/miss data "
        "in MIL-HDBK-1823A (figure recalled from memory, not verified). Below it the shape of the "
        "curve can hardly be checked."
    )
    return Notice("few_targets", text)


def upper_notices(upper: BoundValue, holds: Mapping[BoundName, str], design: str) -> list[Notice]:
    """Return what to know of the upper bound on a90 that is reported.

    `holds` tells of kinds of bound that hold less often than they say, `design` where so.
    """
    if upper.value is None:
        return [Notice("no_upper_bound", f"No upper bound on a90: {upper.reason}.")]
    if upper.method in holds:
        text = (
            "Likelihood and Wald bounds hold less often than they say in small samples: in "
            f"{design}, {holds[upper.method]}. It can be less elsewhere."
        )
        return [Notice("bound_holds_less", text)]
    if upper.error is not None and upper.error > COARSE * upper.value:
        text = (
            f"The bound on a90 rests on {upper.simulations} simulated trials and is known to "
            f"{_size(upper.error)} only (standard error of the simulation)."
        )
        return [Notice("coarse_simulation", text)]
    return []


def lower_notices(lower: BoundValue) -> list[Notice]:
    """Say why there is no lower bound on a90; nothing where there is one."""
    if lower.value is not None:
        return []
    return [Notice("no_lower_bound", f"No lower bound on a90: {lower.reason}.")]


def beyond_notices(values: Sequence[float | None], low: float, high: float) -> list[Notice]:
    """Tell of a90 or its bound outside the sizes tested, `low` to `high`."""
    told = [value for value in values if value is not None]
    notices = []
    for beyond, end, where, read in (
        (any(v > high for v in told), high, "beyond the largest", "greater than"),
        (any(v < low for v in told), low, "below the smallest", "at most"),
    ):
        if beyond:
            text = (
                f"a90 or its bound lies {where} size tested, {_size(end)}: read it as "
                f"'{read} {_size(end)}', as nothing was tested there."
            )
            notices.append(Notice("extrapolated", text))
    return notices


def _bound_notices(found: Findings) -> list[Notice]:
    notices: list[Notice] = []
    if found.outcome == "fitted" and not found.slope_shown:
        text = (
            f"POD is not shown to rise with size at {100 * found.confidence:g} % confidence, so "
            "a50, a90 and their bounds do not exist."
        )
        notices.append(Notice("slope_not_shown", text))
    upper, lower = (found.bounds[found.bound][side] for side in ("upper", "lower"))
    notices += upper_notices(upper, HOLDS, DESIGN)
    if found.bound == "cheng_iles":
        text = (
            "The bound reported is that of the whole curve at once, a wider statement than one "
            "on a90 alone."
        )
        notices.append(Notice("whole_curve", text))
    return [*notices, *lower_notices(lower)]


def _range_notices(found: Findings) -> list[Notice]:
    low, high = float(found.seen.size[0]), float(found.seen.size[-1])
    upper = found.bounds[found.bound]["upper"].value
    notices = [
        Notice("no_estimate", f"{name} of the curve is no finite size of 0 or more: none is given.")
        for name, value in (("a50", found.a50), ("a90", found.a90))
        if value is None and found.slope_shown
    ]
    return [*notices, *beyond_notices((found.a90, upper), low, high)]


def _lapses(found: Findings) -> Notice | None:
    if found.a90 is None:
        return None
    far = found.seen.size >= LAPSE_FACTOR * found.a90
    lapses = int(np.sum((found.seen.trials - found.seen.hits)[far]))
    if lapses == 0:
        return None
    text = (
        f"{lapses} of {int(found.seen.trials[far].sum())} targets of 1.5 times a90 or more were "
        "missed. Such lapses have other causes than size, and a curve that rises to 1 may not "
        "fit them: a90 and its bound are doubtful. (1.5 is our own rule, no source.)"
    )
    return Notice("lapses", text)


def notices_of(found: Findings) -> tuple[Notice, ...]:
    """All notices that apply, the most serious first."""
    notices: list[Notice | None] = [_outcome_notice(found)]
    if found.outcome in ("fitted", "separated", "quasi_separated"):
        notices += _bound_notices(found)
        notices += _range_notices(found)
        notices.append(_lapses(found))
    notices.append(_few_targets(found))
    return tuple(notice for notice in notices if notice is not None)
