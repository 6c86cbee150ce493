"""Runs of a study with few simulated trials, for tests of something else than its numbers."""

from contextlib import contextmanager
from dataclasses import replace
from unittest import mock

from qualify.criteria.estimate import Estimates
from qualify.dossier.figures import drawings
from qualify.study.comparisons import Comparisons
from qualify.study.result import StudyInputs, StudyResult
from qualify.study.run import run_study


@contextmanager
def few_simulations(behind_a_bound=1999, behind_a_share=100):
    with (
        mock.patch("qualify.study.gathered.SIMULATIONS", behind_a_bound),
        mock.patch("qualify.study.curve_checks.REPLICATES", behind_a_share),
        mock.patch("qualify.study.comparisons.RESAMPLES", 199),
        mock.patch("qualify.comparison.ratio.SIMULATIONS", 99),
        mock.patch("qualify.comparison.power.TRIALS", 10),
        mock.patch("qualify.study.readers_analysis.SIMULATIONS", 999),
        mock.patch("qualify.study.readers_analysis.REPLICATES", 20),
        mock.patch("qualify.study.response_analysis.REPLICATES", behind_a_share),
    ):
        yield


def run_quickly(inputs: StudyInputs, *few: int, quick: bool = False) -> StudyResult:
    with few_simulations(*few):
        return run_study(inputs, quick=quick)


@contextmanager
def readers_apart():
    """Leave out what is told of readers together, of modes compared, and what results hang on."""
    with (
        mock.patch("qualify.study.run.readers_results", return_value={}),
        mock.patch("qualify.study.run.compare_all", return_value=Comparisons({}, {})),
        mock.patch("qualify.study.run.sensitivity_of", return_value={}),
    ):
        yield


@contextmanager
def one_figure():
    """Draw the first figure of a dossier only, for tests of its words."""
    with mock.patch("qualify.dossier.build.drawings", lambda result: drawings(result)[:1]):
        yield


def without_boxes(result: StudyResult) -> StudyResult:
    """Leave out what finished tables can't give: numbers under another matching box."""
    items = result.estimates.items
    kept = tuple(e for e in items if not e.statistic.startswith("sensitivity_box_"))
    return replace(result, estimates=Estimates(kept))
