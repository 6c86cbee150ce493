"""POD curves as the plain values that their figures take: with their bound, and with others."""

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from qualify.dossier.bound_curve import BoundCurve, bound_curve
from qualify.dossier.lookup import estimate, value, worst_reader
from qualify.dossier.words import COVARIATE_UNITS, kind_words, percent, tenth
from qualify.dossier.worst import worst_words
from qualify.figures.pod import OtherCurve, PodPanel
from qualify.pod.covariates import CovariateResult, curve_at
from qualify.pod.hit_miss import HitMissFit, curve
from qualify.pod.links import eta_of, pod_of
from qualify.pod.model_choice import ModelRow
from qualify.pod.plateau import PlateauFit, plateau_pod
from qualify.study.curve_checks import CurveCheck
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.told import told_size

POINTS = 81
VALUES: tuple[Literal["lowest", "middle", "highest"], ...] = ("lowest", "middle", "highest")
NO_CURVE = {
    "separated": "every miss is smaller than every hit",
    "quasi_separated": "misses and hits meet at one size",
}


@dataclass(frozen=True, slots=True)
class PodViews:
    """Makes panels; the same hits and misses get their bound once."""

    result: StudyResult
    _bounds: dict[tuple[object, ...], BoundCurve] = field(default_factory=dict)

    def panels(self, population: Population, mode: str) -> tuple[PodPanel, ...]:
        """Return a panel a reader, with curve and bound."""
        result, kind = self.result, population.kind
        worst = worst_words(result, kind, mode)
        out = []
        for reader in result.readers:
            fit = result.fits.get((result.headline, kind, mode, reader))
            if fit is not None:
                title = f"Reader {reader}{worst.get(reader, '')}"
                bound = self._bound(fit, value(result, "a90_95", kind, mode, reader))
                out.append(_panel(result, population, (mode, reader), fit, title, bound))
        return tuple(out)

    def model_panels(self, population: Population) -> tuple[PodPanel, ...]:
        """Return a panel a mode: the worst reader's curve and those of other models."""
        result, kind = self.result, population.kind
        out = []
        for mode in result.inputs.plan.modes:
            reader = worst_reader(result, kind, mode.id)
            cell = (result.headline, kind, mode.id, reader or "")
            check, fit = result.checks.get(cell), result.fits.get(cell)
            if check is None or fit is None or fit.outcome != "fitted":
                continue
            others = _others(check, fit)
            if others:
                title = f"Mode {mode.id}, reader {reader}"
                panel = _panel(result, population, (mode.id, str(reader)), fit, title, None)
                out.append(_with(panel, others, f"curve of the plan ({fit.link}, {fit.scale})"))
        return tuple(out)

    def covariate_panels(self, population: Population) -> tuple[PodPanel, ...]:
        """Return a panel a mode and covariate: the worst reader's curve at three of its values."""
        result, kind = self.result, population.kind
        out = []
        for mode in result.inputs.plan.modes:
            reader = worst_reader(result, kind, mode.id)
            cell = (result.headline, kind, mode.id, reader or "")
            check, fit = result.checks.get(cell), result.fits.get(cell)
            if check is None or fit is None or fit.outcome != "fitted":
                continue
            for found in check.covariates:
                others = _at_values(found, fit)
                if others:
                    title = f"Mode {mode.id}, reader {reader}: {_values(found)}"
                    panel = _panel(result, population, (mode.id, str(reader)), fit, title, None)
                    out.append(_with(panel, others, "curve of the plan, whatever the value"))
        return tuple(out)

    def _bound(self, fit: HitMissFit, reported: float | None) -> BoundCurve | None:
        if fit.outcome != "fitted":
            return None
        key = (fit.sizes, fit.hits_at, fit.trials_at, fit.bound, reported)
        if key not in self._bounds:
            self._bounds[key] = bound_curve(fit, reported, quick=self.result.quick)
        return self._bounds[key]


def _panel(
    result: StudyResult,
    population: Population,
    which: tuple[str, str],
    fit: HitMissFit,
    title: str,
    bound: BoundCurve | None,
) -> PodPanel:
    sizes: list[float] = []
    hits: list[bool] = []
    for size, found, tried in zip(fit.sizes, fit.hits_at, fit.trials_at, strict=True):
        sizes += [size] * tried
        hits += [True] * found + [False] * (tried - found)
    grid = _grid(fit) if fit.outcome == "fitted" else np.empty(0)
    pod = curve(fit, grid) if grid.size else grid
    return PodPanel(
        title=title,
        size_label=population.size_in_words,
        size_unit="mm",
        sizes=tuple(sizes),
        hits=tuple(hits),
        curve_sizes=tuple(grid.tolist()),
        curve_pod=tuple(pod.tolist()),
        bound_sizes=bound.sizes if bound else (),
        bound_pod=bound.pods if bound else (),
        bound_label=bound.label if bound else "",
        a90=value(result, "a90", population.kind, *which),
        a90_95=value(result, "a90_95", population.kind, *which),
        tested_range=fit.tested_range,
        message=_message(result, population.kind, which, fit),
        log_axis=fit.scale == "log",
        limit=limit_of(result, "a90_95", which[0], population.kind),
    )


def _grid(fit: HitMissFit) -> np.ndarray:
    low, high = fit.tested_range
    return np.geomspace(low, high, POINTS) if fit.scale == "log" else np.linspace(low, high, POINTS)


def _message(result: StudyResult, kind: str, which: tuple[str, str], fit: HitMissFit) -> str | None:
    """Say why there is no a90/95, or why one stands without a curve."""
    found = estimate(result, "a90_95", kind, *which)
    if found is None or found.value is None:
        reason = found.reason if found is not None and found.reason else "no curve was fitted"
        return f"No a90/95: {reason}."
    if fit.outcome == "fitted":
        return None
    why = NO_CURVE.get(fit.outcome, "none was fitted")
    return f"No curve is drawn: {why}, so its steepness is not known. The a90/95 needs no curve."


def _with(panel: PodPanel, others: tuple[OtherCurve, ...], label: str) -> PodPanel:
    return replace(panel, others=others, curve_label=label, limit=None)


def _others(check: CurveCheck, fit: HitMissFit) -> tuple[OtherCurve, ...]:
    """Return near-equal models other than the plan's, and the curve with a plateau below 1."""
    grid = _grid(fit)
    near = [
        OtherCurve(
            f"near-equal model {row.name}",
            "near",
            tuple(grid.tolist()),
            pods,
            _near_enough(row.a90, fit),
        )
        for row in check.models.rows
        if row.near_equal and not row.primary and (pods := _model_pod(row, grid))
    ]
    flat = _plateau(check.plateau, grid, fit)
    return (*near, *flat)


def _near_enough(a90: float | None, fit: HitMissFit) -> float | None:
    """Return the a90 of another curve, None where it lies too far beyond the sizes to be told."""
    return told_size(a90, None, fit.tested_range)[0]


def _values(found: CovariateResult) -> str:
    told = ", ".join(tenth(float(one.value)) for one in found.a90)
    return f"{found.name} {told}{COVARIATE_UNITS[found.name]}"


def _at_values(found: CovariateResult, fit: HitMissFit) -> tuple[OtherCurve, ...]:
    """Return curves at the lowest, middle and highest value, none where they can't be fitted."""
    if len(found.a90) != len(VALUES) or any(one.a90 is None for one in found.a90):
        return ()
    grid, unit = _grid(fit), COVARIATE_UNITS[found.name]
    return tuple(
        OtherCurve(
            f"at {found.name} {tenth(float(one.value))}{unit}",
            style,
            tuple(grid.tolist()),
            tuple(curve_at(found, one.value, grid).tolist()),
            _near_enough(one.a90, fit),
        )
        for style, one in zip(VALUES, found.a90, strict=True)
    )


def _model_pod(row: ModelRow, grid: np.ndarray) -> tuple[float, ...]:
    """Return POD (k,) of a two-parameter model: its a50 and a90 say all."""
    if row.a50 is None or row.a90 is None:
        return ()
    x, low, high = (np.log(v) if row.scale == "log" else v for v in (grid, row.a50, row.a90))
    ends = eta_of(row.link, 0.5), eta_of(row.link, 0.9)
    eta = ends[0] + (ends[1] - ends[0]) * (x - low) / (high - low)
    return tuple(np.asarray(pod_of(row.link, eta)).tolist())


def _plateau(fit: PlateauFit, grid: np.ndarray, plain: HitMissFit) -> tuple[OtherCurve, ...]:
    if fit.outcome != "fitted" or fit.plateau is None or fit.plateau > 1.0 - 1e-6:
        return ()
    pods = tuple(np.asarray(plateau_pod(fit, grid)).tolist())
    name = f"curve with a plateau at {percent(fit.plateau)}"
    return (
        OtherCurve(name, "plateau", tuple(grid.tolist()), pods, _near_enough(fit.a90.value, plain)),
    )


def limit_of(result: StudyResult, statistic: str, mode: str, population: str) -> float | None:
    """Return the limit of the first checked criterion on a statistic; recalled ones have none."""
    for criterion in result.inputs.plan.criteria:
        named = (criterion.statistic, criterion.mode, criterion.population)
        if criterion.verified and named == (statistic, mode, population):
            return criterion.limit
    return None


def pod_caption(result: StudyResult, kind: str, mode: str) -> str:
    """Return the first sentence under a POD figure."""
    population = result.inputs.plan.population(kind)
    return (
        f"Found (filled, top) and missed (crosses, bottom) {kind_words(kind)} against "
        f"{population.size_in_words}, mode {mode}, a panel a reader."
    )
