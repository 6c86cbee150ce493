"""What `pod hit-miss` tells beside the curve, each part as a JSON-ready document."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from qualify.errors import Fault, InputError
from qualify.pod.along import data_of, pod_lower_bound_at
from qualify.pod.calibrated import SIMULATIONS
from qualify.pod.covariates import covariate_test
from qualify.pod.farthest import affordable
from qualify.pod.firth import firth_size_bound, fit_firth
from qualify.pod.goodness import goodness_of_fit
from qualify.pod.hit_miss import HitMissFit, curve
from qualify.pod.holds import REPLICATES, how_often, truths_of
from qualify.pod.model_choice import model_table
from qualify.pod.observations import observe
from qualify.pod.plateau import fit_plateau
from qualify.pod.plateau_bootstrap import plateau_bootstrap
from qualify.pod.plateau_words import plateau_sentences
from qualify.pod.problem import NO_CURVE
from qualify.pod.size_uncertainty import size_uncertainty
from qualify.study.answers_readings import Readings

Document = dict[str, Any]
OPTIONS = "pod hit-miss"
NOT_TESTED = "not told, nothing was tested there"
Waiting = Callable[[str], AbstractContextManager[None]]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked beside the curve.

    Attributes
    ----------
    check_bound, replicates : how often the bound holds, from so many simulated trials a case;
        None for 1000.
    all_bounds : the bounds r*, Firth, whole curve and bootstrap too.
    models : the eight models side by side.
    plateau : the curve with floor and plateau.
    blank_units, blank_called : blank grading units and those of them called, for its floor.
    at : sizes at which a lower bound of POD is wanted.
    covariate : column that may matter beside size.
    size_u : column of standard uncertainties of the sizes.
    """

    check_bound: bool = False
    replicates: int | None = None
    all_bounds: bool = False
    models: bool = False
    plateau: bool = False
    blank_units: int | None = None
    blank_called: int | None = None
    at: tuple[float, ...] = ()
    covariate: str | None = None
    size_u: str | None = None


def check_asked(asked: Asked, *, grouped: bool) -> None:
    """Raise an `InputError` where options do not go together."""
    faults = []
    blanks, called = asked.blank_units, asked.blank_called
    if (blanks is None) != (called is None):
        faults.append(("one of --blank-units and --blank-called is missing", "give both"))
    elif blanks is not None and called is not None and called > blanks:
        faults.append((f"{called} called of {blanks} blank units", "called is at most all of them"))
    if blanks is not None and not asked.plateau:
        faults.append(("--blank-units without --plateau", "give --plateau too"))
    if asked.replicates is not None and not asked.check_bound:
        faults.append(("--replicates without --check-bound", "give --check-bound too"))
    if asked.covariate is not None and grouped:
        faults.append(("--covariate with --trials", "give one row for each reading"))
    if asked.size_u is not None and grouped:
        faults.append(("--size-u with --trials", "give one row for each reading"))
    faults += [
        (f"--at {size:g}", "give a size above 0")
        for size in asked.at
        if not 0.0 < size < float("inf")
    ]
    if faults:
        raise InputError([Fault(OPTIONS, found, wanted) for found, wanted in faults])


def holds_document(
    fit: HitMissFit, wanted: int | None, waiting: Waiting
) -> tuple[Document | None, str | None]:
    """Return how often the bound holds in simulation of this design, or the reason why not.

    `waiting` is told what is simulated, and surrounds it.
    """
    replicates = REPLICATES if wanted is None else wanted
    upper = fit.bounds[fit.bound]["upper"]
    if upper.value is None:
        return None, upper.reason
    assert fit.bound in ("calibrated", "likelihood", "wald")
    data = data_of(fit)
    psi = data.psi_of(upper.value)
    curves = len(truths_of(data, psi))
    with waiting(f"simulating {replicates} trials for each of {curves} true curves"):
        found = how_often(
            data,
            fit.bound,
            psi=psi,
            seed=fit.seed,
            replicates=replicates,
            confidence=fit.confidence,
        )
    cases = {
        case: {
            "share": held.share,
            "error": held.error,
            "share_given_a_bound": held.share_given,
            "no_bound": held.no_bound,
        }
        for case, held in found.items()
    }
    told = {"bound": fit.bound, "seed": fit.seed, "replicates": replicates, "cases": cases}
    return told, None


def pod_at_document(fit: HitMissFit, size: float) -> Document:
    """Return POD at a size and its lower calibrated bound, or the reason why there is none."""
    low, high = fit.tested_range
    told: Document = {"size": size, "pod": None, "lower_95": None, "simulations": None}
    told["in_range"] = low <= size <= high
    told["reason"] = None
    if not told["in_range"]:
        return {**told, "reason": NOT_TESTED}
    if fit.outcome not in ("fitted", "separated", "quasi_separated"):
        return {**told, "reason": NO_CURVE[fit.outcome]}
    lower = float(pod_lower_bound_at(fit, size, simulations=SIMULATIONS)[0])
    pod = float(curve(fit, size)[0]) if fit.outcome == "fitted" else None
    behind = affordable(SIMULATIONS, float(fit.n))
    return {**told, "pod": pod, "lower_95": lower, "simulations": behind}


def goodness_document(fit: HitMissFit) -> Document:
    """Return the tests of fit, with what passing them is worth."""
    found = goodness_of_fit(fit, seed=fit.seed)
    return {
        "curvature_lr": found.curvature_lr,
        "curvature_p": found.curvature_p,
        "curvature_p_error": found.curvature_p_error,
        "squares": found.squares,
        "squares_p": found.squares_p,
        "squares_p_error": found.squares_p_error,
        "simulations": found.simulations,
        "seed": found.seed,
        "power": [asdict(power) for power in found.powers],
        "reason": found.reason,
        "sentences": list(found.sentences),
    }


def models_document(fit: HitMissFit, mine: Readings) -> Document:
    """Return the eight models side by side and the spread of the near-equal ones."""
    found = model_table(
        mine.size,
        mine.hits,
        mine.trials,
        primary_link=fit.link,
        primary_scale=fit.scale,
        confidence=fit.confidence,
    )
    return {
        "rows": [asdict(row) for row in found.rows],
        "bound": "likelihood",
        "near_equal": found.a90.models,
        "a90": asdict(found.a90),
        "a90_95": asdict(found.a90_95),
        "scale_difference": found.scale_difference,
        "sentences": list(found.sentences),
        "firth": _firth(fit) if fit.link == "logit" else None,
    }


def _firth(fit: HitMissFit) -> Document | None:
    """Return the penalised logit curve on the scale of the fit, None with one size only."""
    seen = observe(fit.sizes, fit.hits_at, fit.trials_at, fit.scale)
    if len(seen.size) < 2:
        return None
    design = np.column_stack([np.ones_like(seen.x), seen.x])
    found = fit_firth(design, seen.hits, seen.trials)
    bound = firth_size_bound(seen, confidence=fit.confidence)
    return {
        "coefficients": {"intercept": float(found.coef[0]), "slope": float(found.coef[1])},
        "covariance": found.covariance.tolist(),
        "penalised_log_likelihood": found.penalised_log_likelihood,
        "a90": bound.estimate,
        "a90_95": bound.value,
        "reason": bound.reason,
    }


def plateau_document(fit: HitMissFit, mine: Readings, asked: Asked) -> Document:
    """Return the curve with a plateau; its floor comes from blanks where given, else it is 0."""
    found = fit_plateau(
        mine.size,
        mine.hits,
        mine.trials,
        link=fit.link,
        scale=fit.scale,
        floor="none" if asked.blank_units is None else "free",
        blank_units=asked.blank_units,
        blank_called=asked.blank_called,
        confidence=fit.confidence,
    )
    told = found.plateau is not None
    test = plateau_bootstrap(found, seed=fit.seed) if told else None
    return {
        "outcome": found.outcome,
        "reason": found.reason,
        "floor": found.floor,
        "floor_held": found.floor_held,
        "blank_units": found.blank_units,
        "blank_called": found.blank_called,
        "plateau": found.plateau,
        "plateau_lower_95": found.plateau_lower_95.value,
        "coefficients": {"intercept": found.intercept, "slope": found.slope},
        "log_likelihood": found.log_likelihood,
        "aic": found.aic,
        "a90": found.a90.value,
        "a90_95": found.a90_95.value,
        "plateau_p": None if test is None else test.p_value,
        "plateau_p_error": None if test is None else test.standard_error,
        "simulations": None if test is None else test.replicates,
        "seed": fit.seed,
        "sentences": list(plateau_sentences(found, test)),
    }


def covariate_document(fit: HitMissFit, mine: Readings, name: str) -> Document:
    """Return whether a column matters beside size; numbers where every cell is one."""
    assert mine.covariate is not None
    numbers = _numbers(mine.covariate)
    found = covariate_test(
        mine.size,
        mine.hits,
        mine.covariate if numbers is None else numbers,
        link=fit.link,
        scale=fit.scale,
        numeric=numbers is not None,
        confidence=fit.confidence,
        name=name,
    )
    return {
        "name": name,
        "numeric": numbers is not None,
        "covariate_test": asdict(found.covariate_test),
        "interaction_test": asdict(found.interaction_test),
        "size_test": asdict(found.size_test),
        "coefficients": _named(found.with_covariate.terms, found.with_covariate.coefficients),
        "bound": "likelihood",
        "a90": [
            {"value": one.value, "a90": one.a90, "a90_95": one.upper, "reason": one.reason}
            for one in found.a90
        ],
        "notices": [{"code": notice.code, "text": notice.text} for notice in found.notices],
    }


def size_uncertainty_document(fit: HitMissFit, mine: Readings) -> Document:
    """Return the curve with the uncertainty of sizes integrated over, beside that without."""
    assert mine.size_u is not None
    found = size_uncertainty(
        mine.size,
        mine.hits,
        mine.size_u,
        link=fit.link,
        scale=fit.scale,
        confidence=fit.confidence,
    )
    return {**asdict(found), "bound": "likelihood", "sentence": found.sentence}


def _numbers(texts: list[str]) -> list[float] | None:
    try:
        values = [float(text) for text in texts]
    except ValueError:
        return None
    return values if all(np.isfinite(values)) else None


def _named(terms: tuple[str, ...], values: tuple[float, ...] | None) -> Document | None:
    return None if values is None else dict(zip(terms, values, strict=True))
