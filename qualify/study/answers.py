"""The answer of `pod hit-miss` on one table, as a JSON-ready document.

Scripts may call it; the keys are documented in README.md and tested. The lines for people stand
in `answers_words`, what is asked besides the curve in `answers_more`.
"""

from typing import Any

from qualify.errors import refuse
from qualify.pod.calibrated import SEED
from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.raw_tables import RawTable
from qualify.study.answers_more import (
    BESIDE,
    Asked,
    Readings,
    check_asked,
    covariate_document,
    goodness_document,
    holds_document,
    models_document,
    plateau_document,
    pod_at_document,
)
from qualify.study.answers_words import what_helps
from qualify.study.columns import cells, check_columns, count, number, text, unit_of, yes

Document = dict[str, Any]
NOTHING_MORE = Asked()
WITHOUT_ESTIMATE = (
    "The calibrated bound needs no overlap of hits and misses: it stands although there is no "
    "estimate of a90."
)


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
) -> Document:
    """Return the POD of a table of hits and misses, the keys as README.md lists them.

    With `reader`, each reader is fitted apart and the document is that of the worst, with all
    under `readers`. With `target` alone, targets read more than once raise a notice. `asked`
    names what stands beside the curve: other bounds and models, a plateau, a covariate, how often
    the bound holds.

    Raises
    ------
    InputError : a column is not there, a cell is empty or no number, hits are not yes or no,
        the unit is unknown, what is asked does not go together.
    """
    check_asked(asked, grouped=trials is not None)
    wanted = (size, hit, trials, target, reader, asked.covariate)
    check_columns(table, [c for c in wanted if c is not None])
    unit = unit_of(table, size, size_unit)
    how: Document = {
        "link": link,
        "scale": scale,
        "bound": bound,
        "confidence": confidence,
        "seed": seed,
    }
    readers = {}
    for name, mine in _by_reader(table, (size, hit, trials, reader, asked.covariate)).items():
        try:
            fit = fit_hit_miss(mine.size, mine.hits, mine.trials, also=_also(asked), **how)
            readers[name] = _with_more(fit_document(fit, unit), fit, mine, asked)
        except ValueError as error:
            raise refuse(table.place, str(error), "mend the rows named") from None
    if len(readers) > 1:
        return _worst_of(readers)
    (document,) = readers.values()
    document["notices"] += _repeats(table, target)
    return document


def _also(asked: Asked) -> tuple[str, ...]:
    return ("calibrated", *(BESIDE if asked.all_bounds else ()))


def _by_reader(
    table: RawTable, columns: tuple[str, str, str | None, str | None, str | None]
) -> dict[str, Readings]:
    """Columns size, hit, trials, reader and covariate as read, by reader in order of names."""
    size, hit, trials, reader, covariate = columns
    sizes = cells(table, size, number)
    hits = cells(table, hit, yes if trials is None else count)
    totals = None if trials is None else cells(table, trials, count)
    names = ["all"] * len(sizes) if reader is None else cells(table, reader, text)
    beside = None if covariate is None else cells(table, covariate, text)
    out = {}
    for name in sorted(set(names)):
        rows = [i for i, other in enumerate(names) if other == name]
        out[name] = Readings(
            size=[sizes[i] for i in rows],
            hits=[hits[i] for i in rows],
            trials=None if totals is None else [totals[i] for i in rows],
            covariate=None if beside is None else [beside[i] for i in rows],
        )
    return out


def _with_more(document: Document, fit: HitMissFit, mine: Readings, asked: Asked) -> Document:
    """Fill in what was asked beside the curve; keys not asked for stay null."""
    document["goodness"] = goodness_document(fit)
    document["pod_at"] = [pod_at_document(fit, size) for size in asked.at]
    if asked.models:
        document["models"] = models_document(fit, mine)
    if asked.plateau:
        document["plateau"] = plateau_document(fit, mine, asked)
    if asked.covariate is not None:
        document["covariate"] = covariate_document(fit, mine, asked.covariate)
    if asked.check_bound:
        held, reason = holds_document(fit, asked.replicates)
        document["holds"] = held
        if reason is not None:
            words = f"How often the bound holds was not simulated: {reason}."
            document["notices"].append({"code": "no_check", "text": words})
    return document


def _worst_of(readers: dict[str, Document]) -> Document:
    """Return the document of the worst reader, with those of all beside it."""
    worst = max(readers, key=lambda name: _badness(readers[name]))
    notice = {
        "code": "worst_reader",
        "text": f"Each reader was fitted apart; the worst is {worst}. Readings of one target by "
        "several readers are not further targets.",
    }
    return {
        **readers[worst],
        "notices": [*readers[worst]["notices"], notice],
        "reader": worst,
        "readers": readers,
    }


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
        "holds": None,
        "notices": _notices(fit),
    }


def _notices(fit: HitMissFit) -> list[Document]:
    """Notices of a fit, each bound that does not exist, and what would help where it matters."""
    notices = [{"code": n.code, "text": n.text} for n in fit.notices]
    notices += [
        {"code": f"no_{name}_bound", "text": f"No {name} bound: {bounds['upper'].reason}."}
        for name, bounds in fit.bounds.items()
        if bounds["upper"].value is None
    ]
    if fit.a90_95 is not None and fit.outcome != "fitted":
        notices.append({"code": "bound_without_estimate", "text": WITHOUT_ESTIMATE})
    helps = what_helps(fit.outcome) if fit.a90_95 is None else None
    if helps is not None:
        notices.append({"code": "what_helps", "text": helps})
    return notices


def _badness(document: Document) -> tuple[bool, float]:
    """Order readers' fits: no bound is worst, then the largest bound."""
    value = document["a90_95"]
    return (value is None, value or 0.0)


def _repeats(table: RawTable, target: str | None) -> list[Document]:
    if target is None:
        return []
    ids = cells(table, target, text)
    several = len(ids) - len(set(ids))
    if not several:
        return []
    words = (
        f"{several} of {len(ids)} rows are further readings of a target already counted: the "
        "same flaws read again are not more flaws, and the bound is too small. Give --reader."
    )
    return [{"code": "repeated_targets", "text": words}]
