"""Readings by rule as the plain values of figures, and as a study of their own."""

from dataclasses import replace

import numpy as np

from qualify.dossier.lookup import estimate
from qualify.dossier.pod_views import PodViews
from qualify.dossier.words import kind_words
from qualify.figures.modes_pod import ModePod, ModesPodView
from qualify.figures.pod import PodPanel
from qualify.figures.size_depth import PlacedTarget, SizeDepthMode, SizeDepthView
from qualify.figures.size_methods import MethodSizes, SizeMethodsView
from qualify.reading.extent import METHOD_NAMES
from qualify.study.plan import Population
from qualify.study.result import StudyResult


def as_study(result: StudyResult) -> StudyResult | None:
    """Return the readings by rule as the result of a study, None where there are none."""
    rule = result.rule
    if rule is None:
        return None
    return replace(
        result,
        inputs=replace(result.inputs, plan=rule.plan),
        tables=rule.tables,
        views=rule.views,
        fits=rule.fits,
        sizings=rule.sizings,
        responses=rule.responses,
        noises=rule.noises,
        comparisons=rule.comparisons,
        readers=rule.readers,
        checks={},
        together={},
        repeats=(),
        sensitivity={},
        rule=None,
    )


def modes_read(own: StudyResult) -> list[str]:
    """Return the modes that count by rule, in the plan's order."""
    read = set(own.views[own.headline].opportunities["mode"])
    return [mode.id for mode in own.inputs.plan.modes if mode.id in read]


def modes_pod_view(own: StudyResult, views: PodViews, population: Population) -> ModesPodView:
    """Return all modes on one pair of axes."""
    words = kind_words(population.kind)
    modes = []
    for mode in modes_read(own):
        panels = views.panels(population, mode)
        if panels:
            modes.append(_mode(mode, panels[0], _why(own, population.kind, mode, panels[0])))
    return ModesPodView(
        f"{words[:1].upper()}{words[1:]}, read by rule at one declared false-call rate",
        population.size_in_words,
        "mm",
        tuple(modes[:4]),
    )


def _why(own: StudyResult, kind: str, mode: str, panel: PodPanel) -> str:
    """Return why there is no a90/95, or no curve, without a full stop."""
    found = estimate(own, "a90_95", kind, mode, own.readers[0])
    reason = None if found is None else found.reason
    return (reason or panel.message or "none was computed").rstrip(".")


def _mode(mode: str, panel: PodPanel, why: str) -> ModePod:
    hits = tuple(s for s, hit in zip(panel.sizes, panel.hits, strict=True) if hit)
    misses = tuple(s for s, hit in zip(panel.sizes, panel.hits, strict=True) if not hit)
    if not panel.curve_sizes:
        return ModePod(mode, hits, misses, reason=why)
    low, high = panel.tested_range or (0.0, float("inf"))
    inside = panel.a90 is not None and low <= panel.a90 <= high
    lies = "below" if panel.a90 is not None and panel.a90 < low else "above"
    return ModePod(
        mode,
        hits,
        misses,
        panel.curve_sizes,
        panel.curve_pod,
        _lower(panel),
        panel.a90 if inside else None,
        panel.a90_95,
        no_a90="" if inside else (why if panel.a90 is None else f"{lies} the sizes tested"),
        no_a90_95="" if panel.a90_95 is not None else why,
    )


def _lower(panel: PodPanel) -> tuple[float | None, ...]:
    """Return the bound at the sizes of the curve, None where it was not computed."""
    if not panel.bound_sizes:
        return ()
    sizes, pods = np.array(panel.bound_sizes), np.array(panel.bound_pod)
    order = np.argsort(sizes)
    return tuple(
        float(np.interp(size, sizes[order], pods[order]))
        if sizes.min() <= size <= sizes.max()
        else None
        for size in panel.curve_sizes
    )


def size_depth_view(own: StudyResult, population: Population) -> SizeDepthView:
    """Return hits and misses over size and depth, a panel a mode."""
    frame = own.views[own.headline].opportunities
    rows = frame[frame["kind"] == population.kind]
    modes = []
    for mode in modes_read(own):
        targets = [
            PlacedTarget(
                str(row["target"]),
                float(row["size_mm"]),
                float(row["depth_mm"]),
                "hit" if row["hit"] else ("miss" if row["examined"] else "not examined"),
                None if np.isnan(row["tilt_deg"]) else abs(float(row["tilt_deg"])),
            )
            for _, row in rows[rows["mode"] == mode].iterrows()
        ]
        modes.append(SizeDepthMode(mode, tuple(targets)))
    reading = own.inputs.reading
    limits = None
    if reading is not None:
        limits = (reading.plan.region.z_from_mm, reading.plan.region.z_to_mm)
    return SizeDepthView(population.size_in_words, "mm", tuple(modes[:4]), limits)


def size_methods_view(own: StudyResult, population: Population) -> SizeMethodsView | None:
    """Return reported against true sizes by every method, None without sizes by several methods."""
    reading = own.inputs.reading
    if reading is None or not reading.sizes:
        return None
    basis = own.headline
    calls, frame = own.views[basis].calls, own.views[basis].opportunities
    frame = frame[frame["kind"] == population.kind]
    hits = calls[(calls["match"] == "hit") & calls["target"].isin(frame["target"])]
    panels = []
    for mode in modes_read(own):
        true = frame[frame["mode"] == mode].set_index("target")["size_mm"]
        mine = hits[hits["mode"] == mode]
        rows = {int(row): str(t) for row, t in zip(mine["row"], mine["target"], strict=True)}
        ends = {f"{reader}_{mode}" for reader in own.readers}
        methods = dict.fromkeys(s.method for s in reading.sizes if s.sheet in ends)
        for method in methods:
            own_sizes = [
                s for s in reading.sizes if s.sheet in ends and s.method == method and s.row in rows
            ]
            sized = [(float(true[rows[s.row]]), s.size_mm) for s in own_sizes if s.size_mm]
            panels.append(
                MethodSizes(
                    mode,
                    METHOD_NAMES.get(method, method),
                    tuple(a for a, _ in sized),
                    tuple(float(b) for _, b in sized if b is not None),
                    len(rows) - len(sized),
                    len(true) - len(rows),
                )
            )
    return SizeMethodsView(population.size_in_words, "mm", tuple(panels)) if panels else None
