"""The answer of `pod response` on one table, as a JSON-ready document.

The keys are documented in README.md and tested; the lines for people stand in
`answers_response_words`.
"""

from dataclasses import asdict, dataclass
from typing import Any

from qualify.errors import Fault, InputError, refuse
from qualify.pod.calibrated import SEED
from qualify.pod.response_agreement import agreement, hits_of
from qualify.pod.response_all_bounds import pod_at_size
from qualify.pod.response_calibrated import SIMULATIONS
from qualify.pod.response_checks import ResponseChecks, check_response
from qualify.pod.response_holds import CASE_WORDS, REPLICATES, how_often_held
from qualify.pod.signal_response import ResponseFit, fit_response
from qualify.raw_tables import RawTable
from qualify.study.answers_more import NOT_TESTED, Waiting
from qualify.study.answers_noise import Blanks, false_calls_of, threshold_for
from qualify.study.answers_readers import governing
from qualify.study.answers_response_rows import (
    Axes,
    ResponseColumns,
    ResponseRows,
    ResponseUnit,
    rows_by_reader,
    scale_of,
    suspicions,
    unit_of_response,
    unused_targets,
)
from qualify.study.answers_told import fit_notices
from qualify.study.check_words import check_notices
from qualify.study.columns import check_columns, unit_of

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class ResponseAsked:
    """What is asked of responses.

    Attributes
    ----------
    threshold : decision threshold; None where it follows from blanks and a declared rate.
    size_unit, response_unit, scale : as told, None where they follow from names.
    bound, confidence, seed, growing : see `fit_response`.
    check_bound, replicates : how often the bound holds.
    at : sizes at which a lower bound of POD is wanted.
    blanks : peaks of blank units, with law and declared rate.
    """

    threshold: float | None
    size_unit: str | None = None
    response_unit: str | None = None
    scale: str | None = None
    bound: str = "auto"
    confidence: float = 0.95
    seed: int = SEED
    growing: bool = False
    check_bound: bool = False
    replicates: int | None = None
    at: tuple[float, ...] = ()
    blanks: Blanks | None = None


def pod_response(
    table: RawTable, columns: ResponseColumns, asked: ResponseAsked, waiting: Waiting
) -> Document:
    """Return the POD of a table of responses, the keys as README.md lists them.

    With a reader column each reader is fitted apart, and the document is that of the one that
    governs, with all under `readers`.

    Raises
    ------
    InputError : a column is not there, a cell is no number, units do not agree, limits or
        threshold do not fit together.
    """
    check_columns(table, columns.told())
    _check_asked(asked)
    unit = unit_of(table, columns.size, asked.size_unit)
    response = unit_of_response(table, columns.response, asked.response_unit)
    ceiling = columns.ceiling is not None or columns.ceilings is not None
    axes = scale_of(response, asked.scale, ceiling, f"{table.place}: column '{columns.response}'")
    stated = asked.response_unit is not None or columns.response.lower().endswith(
        ("_db", "coherence")
    )
    rows = rows_by_reader(table, columns, response, axes[1])
    threshold = asked.threshold
    if threshold is None:
        assert asked.blanks is not None
        threshold = threshold_for(asked.blanks, axes[1], asked.seed)
    readers = {}
    for name, mine in rows.items():
        fit = _fit(table, mine, threshold, axes, asked)
        first = [*unused_targets(table, columns), *suspicions(mine, response, stated=stated)]
        readers[name] = _document(fit, mine, unit, response, asked, waiting, first)
    return governing(readers) if len(readers) > 1 else next(iter(readers.values()))


def _check_asked(asked: ResponseAsked) -> None:
    faults = []
    blanks = asked.blanks
    if asked.threshold is None and (blanks is None or blanks.rate is None):
        faults.append(("no threshold", "give --threshold, or --noise and --rate"))
    if asked.replicates is not None and not asked.check_bound:
        faults.append(("--replicates without --check-bound", "give --check-bound too"))
    if any(not size > 0.0 for size in asked.at):
        faults.append(("--at of 0 or less", "give a size above 0"))
    if faults:
        raise InputError(Fault("pod response", *fault) for fault in faults)


def _fit(
    table: RawTable,
    mine: ResponseRows,
    threshold: float,
    axes: Axes,
    asked: ResponseAsked,
) -> ResponseFit:
    try:
        return fit_response(
            mine.size,
            mine.response,
            threshold=threshold,
            floor=mine.floor,
            ceiling=mine.ceiling,
            targets=mine.targets,
            scale=axes[0],
            axis=axes[1],
            growing=asked.growing,
            confidence=asked.confidence,
            bound=asked.bound,
            seed=asked.seed,
        )
    except ValueError as error:
        found, _, wanted = str(error).partition("; ")
        raise refuse(table.place, found, wanted or "mend the rows named") from None


def _document(
    fit: ResponseFit,
    mine: ResponseRows,
    unit: str,
    response: ResponseUnit,
    asked: ResponseAsked,
    waiting: Waiting,
    first: list[Document],
) -> Document:
    told = fit_document(fit, unit, response)
    notices = [*first, *told["notices"]]
    if fit.curve is not None and fit.outcome == "fitted":
        checks = check_response(fit, seed=asked.seed, unit=response)
        told["checks"] = checks_document(checks, mine)
        beside = agreement(fit.curve, confidence=asked.confidence, seed=asked.seed)
        told["agreement"] = {
            "hits": beside.hits,
            "rows": beside.rows,
            "a90": beside.fit.a90,
            "a90_95": beside.fit.a90_95,
            "outcome": beside.fit.outcome,
            "statistic": beside.statistic,
            "p": beside.p_value,
        }
        notices = [*check_notices(fit, checks, beside, unit), *notices]
        told["pod_at"] = [_pod_at(fit, size, asked.seed) for size in asked.at]
    if asked.check_bound and fit.curve is not None and fit.a90_95 is not None:
        told["holds"], reason = _holds(fit, asked, waiting)
        if reason is not None:
            notices.append({"code": "no_check", "text": reason})
    if asked.blanks is not None:
        told["false_calls"], more = false_calls_of(asked.blanks, fit, asked.at, asked.seed)
        told["false_calls"]["threshold_from_rate"] = asked.threshold is None
        notices += more
    return {**told, "notices": notices}


def _holds(
    fit: ResponseFit, asked: ResponseAsked, waiting: Waiting
) -> tuple[Document | None, str | None]:
    assert fit.curve is not None
    replicates = asked.replicates or REPLICATES
    if fit.data.repeated:
        words = "How often the bound holds is not simulated where targets have several responses."
        return None, words
    with waiting(f"simulating {replicates} trials for each of {len(CASE_WORDS)} true laws"):
        found = how_often_held(
            fit.curve, confidence=fit.confidence, replicates=replicates, seed=fit.seed
        )
    cases = {one.case: {**asdict(one), "words": CASE_WORDS[one.case]} for one in found}
    return {"replicates": replicates, "seed": fit.seed, "cases": cases}, None


def _pod_at(fit: ResponseFit, size: float, seed: int) -> Document:
    """Return POD at a size with its lower bound, or the reason why there is none."""
    assert fit.curve is not None
    low, high = fit.tested_range
    told: Document = {"size": size, "pod": None, "lower_95": None, "method": None}
    told |= {"simulations": None, "in_range": low <= size <= high, "reason": None}
    if not told["in_range"]:
        return {**told, "reason": NOT_TESTED}
    found = pod_at_size(fit.curve, size, method=fit.bound, confidence=fit.confidence, seed=seed,
                        simulations=SIMULATIONS)  # fmt: skip
    return {
        **told,
        "pod": found.pod,
        "lower_95": found.lower,
        "method": found.method,
        "simulations": found.simulations,
        "reason": None if found.lower is not None else "the data exclude no POD, however low",
    }


def fit_document(fit: ResponseFit, unit: str, response: str) -> Document:
    """Return a fit as the document that `pod response` prints, with nothing beside it."""
    upper = fit.bounds[fit.bound]["upper"]
    hits = int(hits_of(fit.data).sum())
    return {
        "outcome": fit.outcome,
        "n": fit.targets,
        "rows": fit.rows,
        "hits": hits,
        "unit": unit,
        "response_unit": response,
        "scale": f"{fit.scale}-{fit.axis}",
        "confidence": fit.confidence,
        "threshold": fit.threshold,
        "threshold_inside": fit.threshold_inside,
        "censored": {"left": fit.left, "right": fit.right},
        "missed": fit.missed,
        "coefficients": {"intercept": fit.intercept, "slope": fit.slope},
        "sigma": fit.sigma,
        "growth": fit.growth,
        "shared_variance": fit.shared,
        "covariance": None if fit.covariance is None else [list(row) for row in fit.covariance],
        "log_likelihood": fit.log_likelihood,
        "aic": fit.aic,
        "a50": fit.a50,
        "a90": fit.a90,
        "a90_95": fit.a90_95,
        "a90_lower_95": fit.a90_lower_95,
        "bound": fit.bound,
        "bounds": {name: bounds["upper"].value for name, bounds in fit.bounds.items()},
        "seed": fit.seed,
        "simulations": upper.simulations,
        "simulation_error": upper.error,
        "tested_range": list(fit.tested_range),
        "extrapolated": fit.extrapolated,
        "pod_at": [],
        "checks": None,
        "agreement": None,
        "false_calls": None,
        "holds": None,
        "notices": fit_notices(fit.notices, fit.bounds),
    }


def answered(document: Document) -> bool:
    """Whether a bound on a90, or on POD at a size asked for, exists for any reader."""
    if any(answered(one) for one in document.get("readers", {}).values()):
        return True
    asked = [document["a90_95"], *(one["lower_95"] for one in document["pod_at"])]
    return any(value is not None for value in asked)


def checks_document(checks: ResponseChecks, mine: ResponseRows) -> Document:
    """Return the checks of a line; influence names file rows or targets."""
    scatter = checks.scatter
    order = sorted(checks.influence, key=lambda one: -abs(one.change or 0.0))
    return {
        "linearity": asdict(checks.linearity),
        "spread": asdict(checks.spread),
        "scatter": {
            "p": scatter.p_value,
            "tail_p": scatter.tail_p_value,
            "tenth_percentile": scatter.tenth,
            "a90_without_a_law": scatter.a90,
            "simulations": scatter.simulations,
        },
        "influence": [
            {**asdict(one), "target": _named(mine, one.target)} for one in order[:5]
        ],
        "axes": [asdict(one) for one in checks.axes],
    }  # fmt: skip


def _named(mine: ResponseRows, target: int) -> str:
    if mine.targets is None:
        return f"row {mine.numbers[target]}"
    return list(dict.fromkeys(mine.targets))[target]
