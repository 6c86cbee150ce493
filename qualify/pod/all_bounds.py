"""Every bound on a90 that is asked for, by name."""

from collections.abc import Iterable

from qualify.pod.bounds import likelihood_bound, wald_bound
from qualify.pod.calibrated import calibrated_bound
from qualify.pod.observations import Observations
from qualify.pod.other_bounds import bootstrap_bound, cheng_iles_bound, firth_bound, r_star_bound
from qualify.pod.outcome import Outcome
from qualify.pod.problem import (
    NO_CURVE,
    BoundName,
    BoundValue,
    FittedCurve,
    Side,
    SizedHits,
)

Bounds = dict[str, dict[str, BoundValue]]
SIDES: tuple[Side, ...] = ("upper", "lower")
POD = 0.9
HOLDS_WHEN_SEPARATED: tuple[BoundName, ...] = ("calibrated", "firth")


def no_bounds(outcome: Outcome, names: Iterable[BoundName]) -> Bounds:
    """Return for each name that there is no bound, and why."""
    reason = NO_CURVE[outcome]
    return {name: {side: BoundValue(None, reason, name, side) for side in SIDES} for name in names}


def bounds_of(
    seen: Observations,
    data: SizedHits,
    names: Iterable[BoundName],
    outcome: Outcome,
    confidence: float,
    seed: int,
    simulations: int,
) -> Bounds:
    """Return bounds on a90 by name and side; under separation only those that then hold."""

    def one(name: BoundName, side: Side) -> BoundValue:
        if not isinstance(data, FittedCurve) and name not in HOLDS_WHEN_SEPARATED:
            return BoundValue(None, NO_CURVE[outcome], name, side)
        if name == "calibrated":
            return calibrated_bound(data, POD, confidence, side, seed=seed, simulations=simulations)
        if name == "firth":
            return firth_bound(seen, data, POD, confidence, side)
        if name == "bootstrap":
            return bootstrap_bound(data, POD, confidence, side, seed=seed)
        if name == "r_star":
            return r_star_bound(data, POD, confidence, side)
        if name == "wald" and isinstance(data, FittedCurve):
            return wald_bound(data, POD, confidence, side)
        make = cheng_iles_bound if name == "cheng_iles" else likelihood_bound
        return make(data, POD, confidence, side)

    return {name: {side: one(name, side) for side in SIDES} for name in names}
