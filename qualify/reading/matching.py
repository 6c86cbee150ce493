"""Matching of calls with targets, by box or by grading unit.

By box a call may match a target if its position lies in the box declared about the target's
centre. Among all such pairs the assignment is one to one, with as many pairs as possible and,
among those, the smallest sum of distances: a smear over three targets is one hit, and two
calls on one target are one hit and one false call. Method: linear assignment (Kuhn 1955, as
in scipy.optimize.linear_sum_assignment).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from qualify.blocks.targets import TargetBase


@dataclass(frozen=True, slots=True)
class BoxRule:
    """Half widths of the box about a target's centre; `y_mm` None where y is not reported."""

    x_mm: float
    y_mm: float | None
    z_mm: float
    add_target_extent: bool


@dataclass(frozen=True, slots=True)
class Pair:
    """One match: indices into the calls and targets given, distance between the centres."""

    call: int
    target: int
    distance_mm: float


Position = tuple[float, float | None, float]


def match_by_box(
    calls: Sequence[Position], targets: Sequence[TargetBase], rule: BoxRule
) -> list[Pair]:
    """Return the best one-to-one matches of call positions (x, y or None, z) with targets.

    All positions are in millimetres in the block's frame. Pairs come sorted by call.
    """
    if not calls or not targets:
        return []
    distance = np.full((len(calls), len(targets)), np.inf)
    for i, call in enumerate(calls):
        for j, target in enumerate(targets):
            if _inside(call, target, rule):
                distance[i, j] = np.hypot(call[0] - target.x_mm, call[2] - target.z_mm)
    possible = np.isfinite(distance)
    if not possible.any():
        return []
    reward = 1.0 + distance[possible].max() * min(distance.shape)
    cost = np.where(possible, np.where(possible, distance, 0.0) - reward, 0.0)
    rows, columns = linear_sum_assignment(cost)
    return [
        Pair(int(i), int(j), float(distance[i, j]))
        for i, j in zip(rows, columns, strict=True)
        if possible[i, j]
    ]


def _inside(call: Position, target: TargetBase, rule: BoxRule) -> bool:
    half_x, half_z = target.half_extent_mm if rule.add_target_extent else (0.0, 0.0)
    x, y, z = call
    if abs(x - target.x_mm) > rule.x_mm + half_x or abs(z - target.z_mm) > rule.z_mm + half_z:
        return False
    if y is None or rule.y_mm is None:
        return True
    low, high = target.y_span_mm
    return low - rule.y_mm <= y <= high + rule.y_mm
