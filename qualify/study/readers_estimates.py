"""Estimates of all readers together, for results, criteria and pages."""

from collections.abc import Mapping, Sequence
from typing import cast

from qualify.criteria.estimate import Basis, Estimate, Side
from qualify.pod.consistency import Agreement
from qualify.pod.contrast import CONTRAST_WORDS
from qualify.pod.problem import BoundValue
from qualify.pod.problem import Side as Of
from qualify.pod.readers import ReadersFit
from qualify.study.curve_checks import Cell
from qualify.study.notice import StudyNotice
from qualify.study.readers_analysis import ALL, NEW, ReadersResult, Repeats
from qualify.study.told import told_bound
from qualify.study.where import Where

POOLED = "mean POD of these readers"
NEW_WORDS = "a new reader of the class, readers drawn anew in every simulated trial"
NO_CURVE = "no curve, or POD is not shown to rise"
ALIKE = "the readers called every target alike"
KAPPA = "Cohen's kappa"


def readers_estimates(
    results: Mapping[Cell, ReadersResult],
) -> tuple[list[Estimate], list[StudyNotice]]:
    """Return estimates and notices of the pooled analysis, on every basis."""
    out: list[Estimate] = []
    notices = []
    for (on, kind, mode, _), found in results.items():
        fit = found.fit
        where = Where(out, cast(Basis, on), kind, mode, ALL, fit.readings)
        _counts(where, fit, found.not_examined)
        _bounds(where, fit)
        new = Where(out, cast(Basis, on), kind, mode, NEW, fit.readings)
        share = found.not_examined
        new.add("not_examined_fraction", share, "fraction", method="largest of a reader")
        _sides(new, fit, fit.new, NEW_WORDS)
        about = f"{on}/{kind}/{mode}/{ALL}"
        notices += [StudyNotice(n.code, n.text, about) for n in fit.notices]
    return out, notices


def reading_check_estimates(
    results: Mapping[Cell, ReadersResult], repeats: Sequence[Repeats], basis: Basis
) -> list[Estimate]:
    """Return estimates of how often pooled bounds hold and of re-readings, on one basis."""
    out: list[Estimate] = []
    for (on, kind, mode, _), found in results.items():
        if on == basis:
            where = Where(out, basis, kind, mode, ALL, found.fit.readings)
            _beside(where, found)
            _holds(where, found)
    for one in repeats:
        for kind, what in (("flawed_units", one.targets), ("blank_units", one.blanks)):
            if what is not None:
                where = Where(out, basis, kind, one.mode, one.reader, what.targets)
                _agreement(where, "re_reading", what)
    return out


def _counts(where: Where, fit: ReadersFit, not_examined: float) -> None:
    where.add("targets", fit.targets, "count")
    where.add("readings", fit.readings, "count")
    where.add("hits", fit.hits, "count")
    where.add("readers", len(fit.readers), "count")
    where.add("not_examined_fraction", not_examined, "fraction", method="largest of a reader")
    share = fit.hits / fit.readings if fit.readings else None
    where.add("detection_rate", share, "fraction", method="readings that hit / readings")


def _bounds(where: Where, fit: ReadersFit) -> None:
    model = f"{fit.link} on {fit.scale} size, maximum likelihood, {POOLED}"
    for name, value in (("a50", fit.curve.a50), ("a90", fit.a90)):
        where.add(name, value, "mm", method=model, reason=NO_CURVE, in_range=_inside(fit, value))
    _sides(where, fit, fit.these, POOLED)
    where.add(
        "a90_95_readings_as_targets",
        fit.naive.value,
        "mm",
        method="likelihood bound with readings taken for targets: a warning, no bound",
        side="upper",
        reason=fit.naive.reason,
    )
    for name, value, method, reason in (
        ("target_share", fit.target_share, "share of hidden variance, weighed by likelihood",
         NO_CURVE),
        ("reader_spread", fit.reader_spread, "standard deviation, link units, weighed",
         NO_CURVE if fit.target_share is None else ALIKE),
    ):  # fmt: skip
        where.add(name, value, "1", method=method, reason=reason)


def _sides(where: Where, fit: ReadersFit, bounds: Mapping[Of, BoundValue], estimand: str) -> None:
    for name, bound in (("a90_95", bounds["upper"]), ("a90_lower_95", bounds["lower"])):
        told = told_bound(bound, fit.seed)
        where.add(
            name,
            told.value,
            "mm",
            method=f"{told.method}; {estimand}; targets and readers simulated",
            side=bound.side,
            reason=bound.reason,
            in_range=_inside(fit, told.value),
        )


def _inside(fit: ReadersFit, value: float | None) -> bool | None:
    low, high = fit.curve.tested_range
    return None if value is None else low <= value <= high


def _beside(where: Where, found: ReadersResult) -> None:
    beside = found.beside
    if beside is None:
        return
    for name, bound in (
        ("a90_95_clustered", beside.clustered), ("a90_95_whole_targets", beside.bootstrap)
    ):  # fmt: skip
        where.add(
            name,
            bound.value,
            "mm",
            method=f"{CONTRAST_WORDS[bound.method]}; to compare only",
            side="upper",
            reason=bound.reason,
        )
    for name, value, unit in (
        ("a90_typical_target", beside.typical_a90, "mm"),
        ("a90_average_target", beside.average_a90, "mm"),
        ("target_spread", beside.target_spread, "1"),
    ):
        where.add(
            name, value, unit, method="random intercept of the target", reason=beside.spread_words
        )
    between = beside.agreement
    if between is None:
        return
    where.add("alike", between.alike, "count")
    where.add("fleiss_kappa", between.fleiss, "1", method="Fleiss 1971", reason=between.reason)
    for (first, second), pair in between.pairs.items():
        _agreement(where, f"agreement_{first}_{second}", pair)


def _holds(where: Where, found: ReadersResult) -> None:
    for case, (held, naive) in found.holds.items():
        for name, one in (("holds", held), ("holds_readings_as_targets", naive)):
            words = f"share of {one.replicates} simulated trials, standard error {one.error:.3f}"
            where.add(f"{name}_{case}", one.share, "fraction", method=words)


def _agreement(where: Where, name: str, pair: Agreement) -> None:
    exact = "exact binomial (Clopper and Pearson 1934), two-sided 95 %"
    none = "no target was read twice"
    where.add(f"{name}_units", pair.targets, "count")
    where.add(name, pair.share, "fraction", method="units called alike", reason=none)
    where.add(f"{name}_low", pair.low, "fraction", method=exact, side="two-sided", reason=none)
    where.add(f"{name}_high", pair.high, "fraction", method=exact, side="two-sided", reason=none)
    none_sided: Side = "none"
    two: Side = "two-sided"
    for end, value, side in (
        ("kappa", pair.kappa, none_sided),
        ("kappa_low", pair.kappa_low, two),
        ("kappa_high", pair.kappa_high, two),
    ):
        where.add(f"{name}_{end}", value, "1", method=KAPPA, side=side, reason=pair.reason)
