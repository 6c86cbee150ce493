"""The answer of `pod hit-miss` on one table, as a JSON-ready document.

Scripts may call it; the keys are documented in README.md and tested. The lines for people stand
in `answers_words`, what is asked besides the curve in `answers_more`.
"""

from contextlib import AbstractContextManager, nullcontext
from typing import Any

from qualify.errors import refuse
from qualify.pod.calibrated import SEED
from qualify.pod.goodness import LEVEL
from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.pod.problem import BESIDE
from qualify.raw_tables import RawTable
from qualify.study.answers_more import (
    Asked,
    Waiting,
    check_asked,
    covariate_document,
    goodness_document,
    holds_document,
    models_document,
    plateau_document,
    pod_at_document,
    size_uncertainty_document,
)
from qualify.study.answers_readers import governing
from qualify.study.answers_readings import (
    Columns,
    Readings,
    check_uncertainties,
    pooling_notices,
    readings_by_reader,
)
from qualify.study.answers_together import REPLICATES, one_size_each, together_document
from qualify.study.answers_told import fit_notices
from qualify.study.answers_words import what_helps
from qualify.study.columns import check_columns, same_unit, unit_of

Document = dict[str, Any]
NOTHING_MORE = Asked()
WITHOUT_ESTIMATE = (
    "The calibrated bound needs no overlap of hits and misses: it stands although there is no "
    "estimate of a90."
)


def _silent(_: str) -> AbstractContextManager[None]:
    return nullcontext()


def pod_hit_miss(
    table: RawTable,
    *,
    size: str,
    hit: str,
    trials: str | None = None,
    size_unit: str | None = None,
    target: str | None = None,
    reader: str | None = None,
    link: str = "logit",
    scale: str = "log",
    bound: str = "calibrated",
    confidence: float = 0.95,
    seed: int = SEED,
    asked: Asked = NOTHING_MORE,
    waiting: Waiting = _silent,
) -> Document:
    """Return the POD of a table of hits and misses, the keys as README.md lists them.

    With `reader`, each reader is fitted apart and the document is that of the one that governs,
    with all under `readers`; with `target` too, all readers together stand under `together`.
    Rows that are pooled although they may be no targets of their own
    raise a notice, which stands first. `asked` names what stands beside the curve; `waiting` is
    told of long simulations.

    Raises
    ------
    InputError : a column is not there, a cell is empty or no number, hits are not yes or no,
        the unit is unknown, what is asked does not go together.
    """
    check_asked(asked, grouped=trials is not None)
    columns = Columns(size, hit, trials, target, reader, asked.covariate, asked.size_u)
    check_columns(table, columns.told())
    unit = unit_of(table, size, size_unit)
    if asked.size_u is not None:
        same_unit(table, size, asked.size_u)
    how: Document = {
        "link": link,
        "scale": scale,
        "bound": bound,
        "confidence": confidence,
        "seed": seed,
    }
    readers = {}
    rows = readings_by_reader(table, columns)
    if asked.size_u is not None:
        check_uncertainties(table, columns, log=scale == "log")
    if target is not None and reader is not None and trials is None:
        one_size_each(table, rows)
    for name, mine in rows.items():
        try:
            fit = fit_hit_miss(mine.size, mine.hits, mine.trials, also=_also(asked), **how)
            readers[name] = _with_more(fit_document(fit, unit), fit, mine, asked, waiting)
        except ValueError as error:
            raise refuse(table.place, str(error), "mend the rows named") from None
    document = governing(readers) if len(readers) > 1 else next(iter(readers.values()))
    if len(readers) > 1 and target is not None and trials is None:
        document["together"] = _together(table, rows, unit, how, asked, waiting)
    first = pooling_notices(table, columns, rows)
    return {**document, "notices": [*first, *document["notices"]]}


def _together(
    table: RawTable,
    rows: dict[str, Readings],
    unit: str,
    how: Document,
    asked: Asked,
    waiting: Waiting,
) -> Document:
    wanted = None
    if asked.check_bound:
        wanted = asked.replicates or REPLICATES
    own = {name: value for name, value in how.items() if name != "bound"}
    try:
        with waiting(f"simulating trials of {len(rows)} readers together"):
            return together_document(rows, unit, replicates=wanted, **own)
    except ValueError as error:
        raise refuse(table.place, str(error), "give one size to each target") from None


def _also(asked: Asked) -> tuple[str, ...]:
    return ("calibrated", *(BESIDE if asked.all_bounds else ()))


def _with_more(
    document: Document, fit: HitMissFit, mine: Readings, asked: Asked, waiting: Waiting
) -> Document:
    """Fill in what was asked beside the curve; keys not asked for stay null."""
    document["goodness"] = goodness_document(fit)
    document["notices"] = [*_misfit(document["goodness"], fit), *document["notices"]]
    document["pod_at"] = [pod_at_document(fit, size) for size in asked.at]
    if asked.models:
        document["models"] = models_document(fit, mine)
    if asked.plateau:
        document["plateau"] = plateau_document(fit, mine, asked)
    if asked.covariate is not None:
        document["covariate"] = covariate_document(fit, mine, asked.covariate)
    if asked.size_u is not None:
        document["size_uncertainty"] = size_uncertainty_document(fit, mine)
    if asked.check_bound:
        held, reason = holds_document(fit, asked.replicates, waiting)
        document["holds"] = held
        if reason is not None:
            words = f"How often the bound holds was not simulated: {reason}."
            document["notices"].append({"code": "no_check", "text": words})
    return document


def _misfit(goodness: Document, fit: HitMissFit) -> list[Document]:
    """Tell of a curve that the data speak against, with the sizes to look at."""
    tests = [goodness[name] for name in ("curvature_p", "squares_p")]
    least = min((p for p in tests if p is not None), default=1.0)
    if least > LEVEL:
        return []
    words = (
        f"The curve does not fit these data (p = {least:.3f}): a90 and its bound rest on a curve "
        "that the data speak against. Check for a wrong size or hit (largest size "
        f"{fit.sizes[-1]:g}, next {fit.sizes[-2]:g}), look at --models and --plateau."
    )
    return [{"code": "misfit", "text": words}]


def answered(document: Document) -> bool:
    """Whether a bound on a90, or on POD at a size asked for, exists for any reader."""
    if any(answered(one) for one in document.get("readers", {}).values()):
        return True
    asked = [document["a90_95"], *(one["lower_95"] for one in document["pod_at"])]
    return any(value is not None for value in asked)


def fit_document(fit: HitMissFit, unit: str) -> Document:
    """Return a fit as the document that `pod hit-miss` prints, with nothing asked beside it."""
    upper = fit.bounds[fit.bound]["upper"]
    both = (fit.covariance, fit.covariance_observed)
    expected, observed = (None if m is None else [list(row) for row in m] for m in both)
    return {
        "outcome": fit.outcome,
        "n": fit.n,
        "hits": fit.hits,
        "unit": unit,
        "link": fit.link,
        "scale": fit.scale,
        "confidence": fit.confidence,
        "coefficients": {"intercept": fit.intercept, "slope": fit.slope},
        "covariance": expected,
        "covariance_observed": observed,
        "log_likelihood": fit.log_likelihood,
        "aic": fit.aic,
        "deviance": fit.deviance,
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
        "goodness": None,
        "pod_at": [],
        "models": None,
        "plateau": None,
        "covariate": None,
        "size_uncertainty": None,
        "holds": None,
        "notices": _notices(fit),
    }


def _notices(fit: HitMissFit) -> list[Document]:
    """Notices of a fit, each bound that does not exist, and what would help where it matters."""
    notices = fit_notices(fit.notices, fit.bounds)
    if fit.a90_95 is not None and fit.outcome != "fitted":
        notices.append({"code": "bound_without_estimate", "text": WITHOUT_ESTIMATE})
    helps = what_helps(fit.outcome) if fit.a90_95 is None else None
    if helps is not None:
        notices.append({"code": "what_helps", "text": helps})
    return notices
