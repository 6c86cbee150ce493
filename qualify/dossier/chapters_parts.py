"""Part of chapter 9: found of targets by tilt and by depth."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from reportlab.platypus import Flowable

from qualify.dossier.layout import small
from qualify.dossier.tables import grid
from qualify.dossier.words import general, tenth
from qualify.study.result import StudyResult

STEP_DEG = 5.0
Part = tuple[str, pd.DataFrame]


def by_tilt_and_depth(result: StudyResult, kind: str) -> list[Flowable]:
    """Return the tables of a kind: found of targets by tilt, if there is any, and by depth."""
    frame = result.views[result.headline].opportunities
    rows = frame[frame["kind"] == kind]
    parts = [("By tilt, rounded to 5°", _tilts(rows)), ("By thirds of tested depth", _thirds(rows))]
    out: list[Flowable] = []
    for title, held in parts:
        if held:
            out.append(_table(result, title, held))
    if out:
        words = "Found of targets, all sizes together; targets not examined count as missed"
        out.append(small(f"{words}. The sizes in one row and the next may differ."))
    return out


def _tilts(rows: pd.DataFrame) -> list[Part]:
    tilted = rows[rows["tilt_deg"].notna()]
    near = (tilted["tilt_deg"] / STEP_DEG).round() * STEP_DEG
    return [
        (f"{general(float(tilt) + 0.0)}°", part) for tilt, part in tilted.groupby(near, sort=True)
    ]


def _thirds(rows: pd.DataFrame) -> list[Part]:
    deep = rows[rows["depth_mm"].notna()]
    low, high = deep["depth_mm"].min(), deep["depth_mm"].max()
    if deep.empty or low == high:
        return []
    edges = np.linspace(low, high, 4)
    third = np.clip(np.searchsorted(edges, deep["depth_mm"], side="right"), 1, 3)
    return [(f"{tenth(edges[k - 1])} to {tenth(edges[k])} mm", deep[third == k]) for k in (1, 2, 3)]


def _table(result: StudyResult, title: str, held: Sequence[Part]) -> Flowable:
    known = pd.concat([part for _, part in held])
    passes = [
        (mode.id, reader)
        for mode in result.inputs.plan.modes
        for reader in result.readers
        if ((known["mode"] == mode.id) & (known["reader"] == reader)).any()
    ]
    rows = []
    for mode, reader in passes:
        cells = []
        for _, part in held:
            own = part[(part["mode"] == mode) & (part["reader"] == reader)]
            cells.append(f"{int(own['hit'].sum())}/{len(own)}")
        rows.append([mode, reader, *cells])
    heads = [f"{title}: mode", "Reader", *[name for name, _ in held]]
    each = [100.0 / len(held)] * len(held)
    return grid(heads, rows, [50, 20, *each], align="ll" + "r" * len(held))
