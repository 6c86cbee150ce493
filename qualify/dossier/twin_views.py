"""Pictures and coverage of a trial as the plain values of their figures."""

from typing import Literal

import numpy as np

from qualify.dossier.rule_views import modes_read
from qualify.figures.beside_twins import BesideTwinsView
from qualify.figures.coverage_map import CoverageMap, MaskBox
from qualify.figures.image_panel import TrueTarget
from qualify.figures.mode_coverage import ModeCoverageView
from qualify.figures.twin_pictures import TwinPicture, TwinRow
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.trial_shown import BesideTwin, Cut, Which

ABSENT = {"hit": "No target of this kind was hit.", "miss": "No target of this kind was missed."}
RANGE_DB = 30.0
WHICH: tuple[Which, ...] = ("hit", "miss")


def beside_twins_view(own: StudyResult, population: Population) -> BesideTwinsView | None:
    """Return smallest hit and largest miss of each mode beside their twins; None without images."""
    shown = own.shown
    if shown is None:
        return None
    rows = []
    for mode in modes_read(own):
        pairs = {w: shown.beside.get((population.kind, mode, w)) for w in WHICH}
        held = [pair for pair in pairs.values() if pair is not None]
        if not held:
            continue
        unit = next(one.unit for one in shown.modes if one.mode == mode)
        low, high = _range(held, unit)
        digits = 1 if unit == "db" else 2
        hit, miss = (_cells(pairs[w], w, digits) for w in WHICH)
        rows.append(TwinRow(mode, unit, low, high, *hit, *miss))
    if not rows:
        return None
    measured = own.inputs.plan.signal == "measured"
    signal: Literal["simulated", "measured"] = "measured" if measured else "simulated"
    return BesideTwinsView(tuple(rows), "mm", signal, truth_open=True)


def _range(held: list[BesideTwin], unit: str) -> tuple[float, float]:
    """Return the range of display, alike in a row: of coherence to half over its threshold."""
    if unit == "coherence":
        limits = [cut.threshold for pair in held for cut in (pair.own, pair.twin) if cut.threshold]
        return 0.0, min(1.0, float(np.ceil(15.0 * max(limits, default=1.0)) / 10.0))
    tops = [float(np.nanmax(cut.values)) for pair in held for cut in (pair.own, pair.twin)]
    high = float(np.ceil(max(tops)))
    return high - RANGE_DB, high


def _cells(
    pair: BesideTwin | None, which: Which, digits: int
) -> tuple[TwinPicture | str, TwinPicture | str]:
    if pair is None:
        return ABSENT[which], "–"
    return _picture(pair, pair.own, digits), _picture(pair, pair.twin, digits)


def _picture(pair: BesideTwin, cut: Cut, digits: int) -> TwinPicture:
    slot = pair.half_z_mm < pair.half_x_mm or pair.tilt_deg != 0.0
    target = TrueTarget(
        pair.x_mm,
        pair.depth_mm,
        pair.half_x_mm,
        pair.half_z_mm,
        "slot" if slot else "hole",
        rising=pair.tilt_deg < 0.0,
    )
    return TwinPicture(
        pair.target,
        pair.size_mm,
        pair.depth_mm,
        cut.values,
        cut.x_mm,
        cut.z_mm,
        cut.response,
        None if cut.threshold is None else round(cut.threshold, digits),
        target,
        cut.peak_mm,
    )


def mode_coverage_view(own: StudyResult) -> ModeCoverageView | None:
    """Return what each mode covers of the region that is read; None without images."""
    shown, reading = own.shown, own.inputs.reading
    if shown is None or reading is None:
        return None
    maps = []
    for one in shown.modes[:4]:
        masks = tuple(
            MaskBox((*box.x_mm, *box.z_mm), words)
            for mode, box, words in reading.plan.boxes()
            if mode == one.mode
        )
        maps.append(
            CoverageMap(
                one.mode,
                one.fraction,
                one.x_mm,
                one.z_mm,
                one.images,
                masks,
                one.dead_mm,
                one.unit,
                one.depths_mm,
                one.threshold,
            )
        )
    return ModeCoverageView(tuple(maps))
