"""What readings by rule come to, beside those of readers."""

from collections.abc import Mapping
from dataclasses import dataclass

from qualify.pod.hit_miss import HitMissFit
from qualify.reading.tables import Tables
from qualify.study.comparisons import Comparisons
from qualify.study.curve_checks import Cell
from qualify.study.plan import Plan
from qualify.study.response_analysis import NoiseResult, ResponseResult
from qualify.study.sizing_result import SizingResult


@dataclass(frozen=True, slots=True)
class RuleResult:
    """What the readings by rule come to.

    Attributes
    ----------
    plan : as for a study that is read by rule alone. readers : ids of the rules.
    tables, views, fits, sizings, responses, noises : as of a study.
    comparisons : candidate against reference. beside : candidate against every other mode, by mode.
    """

    plan: Plan
    readers: tuple[str, ...]
    tables: Tables
    views: Mapping[str, Tables]
    fits: Mapping[Cell, HitMissFit]
    sizings: Mapping[Cell, SizingResult]
    responses: Mapping[Cell, ResponseResult]
    noises: Mapping[Cell, NoiseResult]
    comparisons: Comparisons
    beside: Mapping[str, Comparisons]
