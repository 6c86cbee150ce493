"""Figures of readings by rule, and of the images of the trial."""

from functools import partial

from qualify.dossier.figures import Drawing, response_drawings
from qualify.dossier.pod_views import PodViews
from qualify.dossier.rule_views import (
    as_study,
    modes_pod_view,
    size_depth_view,
    size_methods_view,
)
from qualify.dossier.twin_views import beside_twins_view, mode_coverage_view
from qualify.figures.beside_twins import beside_twins_alt_text, draw_beside_twins
from qualify.figures.mode_coverage import draw_mode_coverage, mode_coverage_alt_text
from qualify.figures.modes_pod import draw_modes_pod, modes_pod_alt_text
from qualify.figures.size_depth import draw_size_depth, size_depth_alt_text
from qualify.figures.size_methods import draw_size_methods, size_methods_alt_text
from qualify.study.result import StudyResult


def rule_drawings(result: StudyResult) -> list[Drawing]:
    """Return the figures of what was read by rule; none where nothing was."""
    own = as_study(result)
    if own is None:
        return []
    mark, out = result.mark, list[Drawing]()
    cover = mode_coverage_view(own)
    if cover is not None:
        draw = partial(draw_mode_coverage, cover, mark=mark)
        out.append(Drawing("coverage-by-mode", draw, mode_coverage_alt_text(cover)))
    views = PodViews(own)
    for k, population in enumerate(own.inputs.plan.populations, 1):
        pods = modes_pod_view(own, views, population)
        if pods.modes:
            out.append(Drawing(f"rule-pod-{k}", partial(draw_modes_pod, pods, mark=mark),
                               modes_pod_alt_text(pods)))  # fmt: skip
            deep = size_depth_view(own, population)
            out.append(Drawing(f"rule-depth-{k}", partial(draw_size_depth, deep, mark=mark),
                               size_depth_alt_text(deep)))  # fmt: skip
        sizes = size_methods_view(own, population) if population.sized else None
        if sizes is not None:
            out.append(Drawing(f"rule-sizes-{k}", partial(draw_size_methods, sizes, mark=mark),
                               size_methods_alt_text(sizes)))  # fmt: skip
        twins = beside_twins_view(own, population)
        if twins is not None:
            out.append(Drawing(f"rule-twins-{k}", partial(draw_beside_twins, twins, mark=mark),
                               beside_twins_alt_text(twins)))  # fmt: skip
    return [*out, *response_drawings(own)]
