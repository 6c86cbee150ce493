"""From the study's result to the plain values that the figures take, each with its words."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from matplotlib.figure import Figure

from qualify.blocks.definition import Block
from qualify.dossier.comparison_views import PodPanels, comparison_panels, names_of
from qualify.dossier.lookup import BLANKS, value
from qualify.dossier.order_views import event_views, order_faults
from qualify.dossier.pod_views import PodViews, limit_of
from qualify.dossier.response_views import (
    check_panels,
    noise_panels,
    response_panels,
    trade_panels,
)
from qualify.dossier.sizing_views import sizing_error_panels, sizing_panels
from qualify.dossier.views import block_view
from qualify.figures.comparison import comparison_alt_text, comparison_figure
from qualify.figures.drawing import block_alt_text, draw_block
from qualify.figures.events import order_of_events_alt_text, order_of_events_figure
from qualify.figures.noise import noise_alt_text, noise_figure
from qualify.figures.pod import PodPanel, pod_alt_text, pod_figure
from qualify.figures.response import response_alt_text, response_figure
from qualify.figures.response_checks import response_checks_alt_text, response_checks_figure
from qualify.figures.sizing import sizing_alt_text, sizing_figure
from qualify.figures.sizing_error import sizing_error_alt_text, sizing_error_figure
from qualify.figures.trade import trade_alt_text, trade_figure
from qualify.figures.trial import FalseCallRow, false_call_alt_text, false_call_figure
from qualify.study.plan import Population
from qualify.study.result import StudyResult

PODS_MM, MODELS_MM = 62.0, 42.0  # tallest axes


@dataclass(frozen=True, slots=True)
class Drawing:
    """A figure to be rendered: its file name without suffix, how it is drawn, its words."""

    name: str
    draw: Callable[[], Figure]
    alt_text: str


def drawings(result: StudyResult) -> list[Drawing]:
    """Return every figure of the dossier, each once."""
    out = [_events(result)]
    blocks = () if result.quick else result.inputs.blocks
    out += [_block(result, number, block) for number, block in enumerate(blocks, 1)]
    plan = result.inputs.plan
    views = PodViews(result)
    for k, population in enumerate(plan.populations, 1):
        panels = {
            f"pod-{k}-{m}": views.panels(population, x.id) for m, x in enumerate(plan.modes, 1)
        }
        panels[f"models-{k}"] = views.model_panels(population)
        panels[f"covariates-{k}"] = views.covariate_panels(population)
        told = [(name, shown) for name, shown in panels.items() if shown]
        out += [_pod(name, shown, mark=result.mark) for name, shown in told]
        by_mode = {x.id: panels[f"pod-{k}-{m}"] for m, x in enumerate(plan.modes, 1)}
        out += _comparison(result, population, by_mode, f"comparison-{k}")
    out += _false_calls(result)
    out += response_drawings(result)
    for k, population in enumerate(plan.populations, 1):
        if population.sized:
            for m, mode in enumerate(plan.modes, 1):
                out += _sizing(result, population, mode.id, f"{k}-{m}")
    return out


def _events(result: StudyResult) -> Drawing:
    views, faults = event_views(result), order_faults(result)
    return Drawing(
        "order-of-events",
        partial(order_of_events_figure, views, faults, dense=True, mark=result.mark),
        order_of_events_alt_text(views, faults),
    )


def _block(result: StudyResult, number: int, block: Block) -> Drawing:
    view = block_view(block)
    return Drawing(
        f"block-{number:02d}",
        lambda: draw_block(view, compact=True, notes=False, mark=result.mark),
        block_alt_text(view, compact=True),
    )


def _pod(name: str, panels: tuple[PodPanel, ...], *, mark: str) -> Drawing:
    tallest = MODELS_MM if any(panel.others for panel in panels) else PODS_MM
    return Drawing(
        name,
        lambda: pod_figure(panels, tallest_mm=tallest, mark=mark),
        pod_alt_text(panels),
    )


def _comparison(
    result: StudyResult, population: Population, by_mode: PodPanels, name: str
) -> list[Drawing]:
    panels, names = comparison_panels(result, population, by_mode), names_of(result)
    if not panels:
        return []
    draw = partial(comparison_figure, panels, names, mark=result.mark)
    return [Drawing(name, draw, comparison_alt_text(panels, names))]


def _false_calls(result: StudyResult) -> list[Drawing]:
    rows = []
    for mode in result.inputs.plan.modes:
        for reader in result.readers:
            row = _false_call_row(result, mode.id, reader)
            rows += [] if row is None else [row]
    if not rows:
        return []
    candidate = result.inputs.plan.claim.candidate_mode
    observed = limit_of(result, "false_call_rate", candidate, BLANKS)
    upper = limit_of(result, "false_call_rate_upper", candidate, BLANKS)
    told = tuple(rows)
    return [
        Drawing(
            "false-calls",
            lambda: false_call_figure(
                told, limit_observed=observed, limit_upper=upper, mark=result.mark
            ),
            false_call_alt_text(told, limit_observed=observed, limit_upper=upper),
        )
    ]


def response_drawings(result: StudyResult) -> list[Drawing]:
    """Lines of responses, their checks, noise of blanks, and the trade of POD against its rate."""
    plan, mark = result.inputs.plan, result.mark
    out: list[Drawing] = []
    for m, how in enumerate(plan.responses, 1):
        for k, population in enumerate(plan.populations, 1):
            lines = response_panels(result, population, how.mode)
            if lines:
                out.append(Drawing(f"response-{k}-{m}", partial(response_figure, lines, mark=mark),
                                   response_alt_text(lines)))  # fmt: skip
            checks = check_panels(result, population, how.mode)
            if checks:
                out.append(Drawing(f"response-checks-{k}-{m}",
                                   partial(response_checks_figure, checks, mark=mark),
                                   response_checks_alt_text(checks)))  # fmt: skip
            trade = trade_panels(result, population, how.mode)
            if trade:
                out.append(Drawing(f"trade-{k}-{m}", partial(trade_figure, trade, mark=mark),
                                   trade_alt_text(trade)))  # fmt: skip
        noise = noise_panels(result, how.mode)
        if noise:
            out.append(Drawing(f"noise-{m}", partial(noise_figure, noise, mark=mark),
                               noise_alt_text(noise)))  # fmt: skip
    return out


def _false_call_row(result: StudyResult, mode: str, reader: str) -> FalseCallRow | None:
    blank = value(result, "blank_units", BLANKS, mode, reader)
    if blank is None:
        return None
    return FalseCallRow(
        reader,
        mode,
        value(result, "false_call_rate", BLANKS, mode, reader),
        value(result, "false_call_rate_upper", BLANKS, mode, reader),
        value(result, "false_call_rate_lower", BLANKS, mode, reader),
        int(value(result, "units_called", BLANKS, mode, reader) or 0),
        int(blank),
    )


def _sizing(result: StudyResult, population: Population, mode: str, ending: str) -> list[Drawing]:
    sizes = sizing_panels(result, population, mode)
    if not sizes:
        return []
    errors, mark = sizing_error_panels(result, population, mode), result.mark
    return [
        Drawing(f"sizing-{ending}", partial(sizing_figure, sizes, mark=mark),
                sizing_alt_text(sizes)),
        Drawing(f"sizing-error-{ending}", partial(sizing_error_figure, errors, mark=mark),
                sizing_error_alt_text(errors)),
    ]  # fmt: skip
