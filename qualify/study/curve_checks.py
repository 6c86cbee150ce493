"""What a POD curve is worth: other models, a plateau, fit, covariates, how often its bound holds.

Made for each kind, mode and reader on the basis of the claim box. The primary model and bound
are those of the plan; nothing here is chosen after the fact, it shows what the choice is worth.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qualify.effort import LEFT_OUT, is_whole
from qualify.pod.along import data_of
from qualify.pod.covariates import CovariateResult, covariate_test
from qualify.pod.goodness import Goodness, goodness_of_fit
from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.pod.holds import REPLICATES, Case, Counted, Holding, how_often
from qualify.pod.lapses import Lapses, large_target_lapses
from qualify.pod.model_choice import ModelChoice, model_table
from qualify.pod.plateau import PlateauFit, fit_plateau
from qualify.pod.plateau_bootstrap import EdgeBootstrap, plateau_bootstrap
from qualify.pod.problem import BESIDE, BoundName, BoundValue
from qualify.reading.tables import BLANK, Tables
from qualify.study.plan import Plan

Cell = tuple[str, str, str, str]
"""Basis, target kind, mode, reader."""

COVARIATES = (("depth_mm", "depth"), ("tilt_deg", "tilt"))
FEWEST_VALUES = 3  # distinct values of a covariate below which it is not looked at
ALL_REPLICATES, FEWEST_REPLICATES = 4_000, 200
"""Simulated trials a true curve, of all fitted curves of a study together; of each at least."""
NO_RISE = "the curve is not shown to rise"


@dataclass(frozen=True, slots=True)
class CurveCheck:
    """Everything that stands beside one POD curve.

    Attributes
    ----------
    models : the eight models side by side, by likelihood bounds.
    beside : upper bounds on a90 of other kinds, by name.
    plateau, plateau_test : the curve that levels off below 1, and the bootstrap test of it.
    lapses : targets of 1.5 times a90 or more.
    goodness : tests of fit, with their power.
    covariates : does depth, does tilt matter beside size.
    examined : targets behind plateau, lapses, goodness and covariates: a target that was not
        examined says nothing of how detection depends on size, whatever the plan counts it as.
    holds : by true curve, how often the bound of the plan holds in simulation of this design;
        empty with a reason.
    holds_reason : why `holds` is empty, else None.
    """

    models: ModelChoice
    beside: Mapping[BoundName, BoundValue]
    plateau: PlateauFit
    plateau_test: EdgeBootstrap | None
    lapses: Lapses
    goodness: Goodness
    covariates: tuple[CovariateResult, ...]
    examined: int
    holds: Mapping[Case, Holding]
    holds_reason: str | None


def check_curves(
    fits: Mapping[Cell, HitMissFit], tables: Tables, plan: Plan, basis: str
) -> dict[Cell, CurveCheck]:
    """Return the checks of every curve on one basis."""
    own = {cell: fit for cell, fit in fits.items() if cell[0] == basis}
    shared = max(FEWEST_REPLICATES, ALL_REPLICATES // max(1, len(own)))
    replicates = min(REPLICATES, shared)
    out = {}
    for cell, fit in own.items():
        frame = tables.opportunities
        mine = frame[(frame["mode"] == cell[2]) & (frame["reader"] == cell[3])]
        out[cell] = _check(fit, mine, cell[1], plan, replicates)
    return out


def _check(
    fit: HitMissFit, frame: pd.DataFrame, kind: str, plan: Plan, replicates: int
) -> CurveCheck:
    rows = frame[frame["kind"] == kind]
    size, hits = _sizes(rows)
    seen = rows[rows["examined"] == 1]
    size_seen, hits_seen = _sizes(seen)
    link, scale, seed = plan.analysis.link, plan.analysis.scale, plan.analysis.seed
    more = fit_hit_miss(
        size, hits, link=link, scale=scale, bound="likelihood", also=BESIDE, seed=seed
    )
    units, called = _blanks(frame, plan)
    shape = fit if len(seen) == len(rows) else _curve(size_seen, hits_seen, plan)
    plateau = fit_plateau(
        size_seen,
        hits_seen,
        link=link,
        scale=scale,
        floor="none" if units is None else "free",
        blank_units=units,
        blank_called=called,
    )
    tested = plateau.plateau is not None and shape.outcome == "fitted" and is_whole()
    holds, reason = _holds(fit, plan, replicates)
    return CurveCheck(
        models=model_table(size, hits, primary_link=link, primary_scale=scale),
        beside={name: more.bounds[name]["upper"] for name in BESIDE},
        plateau=plateau,
        plateau_test=plateau_bootstrap(plateau, seed=seed) if tested else None,
        lapses=large_target_lapses(shape),
        goodness=goodness_of_fit(shape, seed=seed),
        covariates=tuple(_covariates(seen, size_seen, hits_seen, plan)),
        examined=len(seen),
        holds=holds,
        holds_reason=reason,
    )


def _sizes(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    return rows["size_mm"].to_numpy(), rows["hit"].to_numpy(dtype=float)


def _curve(size: np.ndarray, hits: np.ndarray, plan: Plan) -> HitMissFit:
    chosen = plan.analysis
    return fit_hit_miss(size, hits, link=chosen.link, scale=chosen.scale, bound="likelihood")


def _blanks(frame: pd.DataFrame, plan: Plan) -> tuple[int | None, int | None]:
    """Return blank units and those called, where any call in a unit would count as a hit.

    With a box a call must fall beside the target, and the rate per unit would be far too large:
    (None, None), and the floor is held at 0.
    """
    blanks = frame[(frame["kind"] == BLANK) & (frame["examined"] == 1)]
    if plan.matching.rule == "box" or blanks.empty:
        return None, None
    return len(blanks), int(blanks["hit"].sum())


def _covariates(
    rows: pd.DataFrame, size: np.ndarray, hits: np.ndarray, plan: Plan
) -> list[CovariateResult]:
    out = []
    for column, name in COVARIATES:
        values = rows[column].to_numpy(dtype=float)
        if np.isnan(values).any() or len(np.unique(values)) < FEWEST_VALUES:
            continue
        out.append(
            covariate_test(
                size,
                hits,
                values,
                link=plan.analysis.link,
                scale=plan.analysis.scale,
                numeric=True,
                name=name,
            )
        )
    return out


def _holds(
    fit: HitMissFit, plan: Plan, replicates: int
) -> tuple[Mapping[Case, Holding], str | None]:
    """Count how often the bound of the plan holds; from the bound itself without a curve."""
    bound: Counted = plan.analysis.bound
    value = fit.bounds[bound]["upper"].value
    if not is_whole():
        return {}, LEFT_OUT
    if value is None:
        return {}, fit.bounds[bound]["upper"].reason
    data = data_of(fit)
    psi = data.psi_of(value)
    found = how_often(data, bound, psi=psi, seed=plan.analysis.seed, replicates=replicates)
    return found, None
