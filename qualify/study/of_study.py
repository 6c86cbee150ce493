"""Estimates of a study as a whole, of no kind, mode or reader."""

from collections.abc import Mapping, Sequence

from qualify.criteria.estimate import Basis, Estimate
from qualify.reading.tables import Tables
from qualify.study.analysis import STUDY
from qualify.study.deviations import Deviation
from qualify.study.finding import overlap_left, revisions_in_use
from qualify.study.result import StudyInputs


def study_estimates(
    views: Mapping[Basis, Tables], inputs: StudyInputs, deviations: Sequence[Deviation]
) -> list[Estimate]:
    """Return estimates of the study as a whole: targets in two sets, software revisions."""
    made = []
    for basis, view in views.items():
        overlap = overlap_left(view, deviations) if inputs.sets else None
        revisions = revisions_in_use(view, inputs.declaration)
        for statistic, value, reason in (
            ("set_overlap", overlap, "no history of sets was given"),
            ("software_revisions", revisions, "no software revision was recorded"),
        ):
            made.append(
                Estimate(
                    basis=basis,
                    statistic=statistic,
                    population=STUDY,
                    mode="",
                    reader="",
                    side="none",
                    method="count",
                    value=value,
                    unit="count",
                    reason=reason if value is None else None,
                    rows=len(view.opportunities),
                )
            )
    return made
