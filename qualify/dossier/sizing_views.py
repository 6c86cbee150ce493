"""From the sizes of a study to the plain values that figures of sizing take."""

from qualify.figures.sizing import SizingPanel
from qualify.figures.sizing_error import SizingErrorPanel
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.sizing_result import SizingResult


def _by_reader(
    result: StudyResult, population: Population, mode: str
) -> list[tuple[str, SizingResult]]:
    cells = (
        (reader, (result.headline, population.kind, mode, reader)) for reader in result.readers
    )
    return [(reader, result.sizings[cell]) for reader, cell in cells if cell in result.sizings]


def _message(found: SizingResult) -> str | None:
    reason = found.report.error.reason
    return None if reason is None else f"{reason[0].upper()}{reason[1:]}."


def sizing_panels(
    result: StudyResult, population: Population, mode: str
) -> tuple[SizingPanel, ...]:
    """Return reported against true size, a panel each reader."""
    return tuple(
        SizingPanel(
            title=f"Reader {reader}",
            quantity_label=population.size_in_words,
            unit="mm",
            true_sizes=found.true,
            reported_sizes=found.reported,
            bias=found.report.error.bias,
            tolerance=found.report.error.tolerance,
            unsized_true=found.unsized,
            missed_true=found.missed,
            message=_message(found),
        )
        for reader, found in _by_reader(result, population, mode)
    )


def sizing_error_panels(
    result: StudyResult, population: Population, mode: str
) -> tuple[SizingErrorPanel, ...]:
    """Return errors against true size, a panel each reader."""
    panels = []
    for reader, found in _by_reader(result, population, mode):
        report = found.report
        start, slope = report.trend.intercept, report.trend.slope
        pairs = zip(found.true, found.reported, strict=True)
        panels.append(
            SizingErrorPanel(
                title=f"Reader {reader}",
                quantity_label=population.size_in_words,
                unit="mm",
                sizes=found.true,
                errors=tuple(reported - true for true, reported in pairs),
                trend=None if start is None or slope is None else (start, slope),
                trend_slope_ci=report.trend.slope_ci,
                bias=report.error.bias,
                agreement=report.agreement.limits,
                tolerance=report.error.tolerance,
                message=_message(found),
            )
        )
    return tuple(panels)
