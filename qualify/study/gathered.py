"""What an analysis gathers, and the curves it has fitted already."""

from dataclasses import dataclass, field

import pandas as pd

from qualify.criteria.estimate import Estimate
from qualify.effort import trials
from qualify.pod.calibrated import SIMULATIONS
from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.study.curve_checks import Cell
from qualify.study.notice import StudyNotice
from qualify.study.plan import Plan
from qualify.study.sizing_result import SizingResult

MANY = 11  # curves of a study, from more on with half of the simulated trials behind each


def simulations_of(curves: int) -> int:
    """Return how many trials are simulated for a bound in a study of so many curves."""
    return trials(SIMULATIONS if curves <= MANY else SIMULATIONS // 2)


@dataclass(frozen=True, slots=True)
class Analysis:
    """What the analysis of all bases has gathered.

    `simulations` : simulated trials behind each bound of one reader.
    """

    estimates: list[Estimate] = field(default_factory=list)
    fits: dict[Cell, HitMissFit] = field(default_factory=dict)
    sizings: dict[Cell, SizingResult] = field(default_factory=dict)
    notices: list[StudyNotice] = field(default_factory=list)
    simulations: int = SIMULATIONS
    _same: dict[tuple[tuple[float, ...], ...], HitMissFit] = field(default_factory=dict)

    def fit(self, rows: pd.DataFrame, plan: Plan) -> HitMissFit:
        """Fit the curve of these targets; the same hits on another basis are fitted once."""
        size, hit = (tuple(rows[name].astype(float)) for name in ("size_mm", "hit"))
        if (size, hit) not in self._same:
            chosen = plan.analysis
            self._same[(size, hit)] = fit_hit_miss(
                size,
                hit,
                link=chosen.link,
                scale=chosen.scale,
                bound=chosen.bound,
                seed=chosen.seed,
                simulations=self.simulations,
            )
        return self._same[(size, hit)]
