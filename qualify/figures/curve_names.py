"""Names beside curves that share axes: in the gap at one side, or a letter in the line itself."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Line = tuple[Array, Array]  # x ascending, y; mm on the page
Field = tuple[float, float, float, float]  # left, top, right and bottom of where names may stand
GAP_MM = 1.0
FAR_MM = 12.0  # at most between a curve and its name
STEP_MM = 0.5


@dataclass(frozen=True, slots=True)
class NamePlace:
    """Centre of a name; `full` is False where only its letter has room, on the curve."""

    x: float
    y: float
    full: bool


def _touches(line: Line, box: tuple[float, float, float, float]) -> bool:
    """Whether a line runs through a box (centre, width, height) or nearer than the gap."""
    x, y, width, height = box
    if not len(line[0]):
        return False
    half = width / 2 + GAP_MM
    at = np.arange(x - half, x + half + STEP_MM, STEP_MM)
    at = at[(at >= line[0][0]) & (at <= line[0][-1])]
    away = np.interp(at, *line) - y
    crossed = bool(np.any(np.diff(np.sign(away)) != 0))
    return crossed or bool(np.any(np.abs(away) < height / 2 + GAP_MM / 2))


def _over(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return (
        abs(one[0] - other[0]) < (one[2] + other[2]) / 2 + GAP_MM
        and abs(one[1] - other[1]) < (one[3] + other[3]) / 2 + GAP_MM
    )


def _points(line: Line, levels_mm: Sequence[float]) -> list[tuple[float, float]]:
    """Return the places (x, y) of a curve at heights it reaches."""
    x, y = line
    if not len(x):
        return []
    reached = [level for level in levels_mm if y.min() <= level <= y.max()]
    return [(float(x[np.argmin(np.abs(y - level))]), level) for level in reached]


def _beside(
    own: Line,
    lines: Sequence[Line],
    size: tuple[float, float],
    points: Sequence[tuple[float, float]],
    field: Field,
    taken: Sequence[tuple[float, ...]],
) -> tuple[float, float] | None:
    """Return the centre of a name in the gap beside its curve, at the first height with room."""
    width, height = size
    for x, y in points:
        for side in (-1.0, 1.0):
            for away in np.arange(GAP_MM, FAR_MM, STEP_MM):
                box = (x + side * (away + width / 2), y, width, height)
                if not _touches(own, box):
                    break
            else:
                continue
            inside = field[0] <= box[0] - width / 2 and box[0] + width / 2 <= field[2]
            free = not any(_over(box, other) for other in taken)
            if inside and free and not any(_touches(line, box) for line in lines):
                return box[0], box[1]
    return None


def name_places(
    curves: Sequence[Line],
    others: Sequence[Line],
    widths_mm: Sequence[float],
    height_mm: float,
    levels_mm: Sequence[float],
    field: Field,
) -> list[NamePlace | None]:
    """Return where each curve is named.

    Parameters
    ----------
    curves, others : lines to be named, and lines that a name rather does not cover.
    widths_mm : (curves,), of the names.
    levels_mm : heights at which a curve may be named, the best first.
    field : left, top, right and bottom of where names may stand.

    Returns
    -------
    (curves,)
        None where a curve reaches none of the heights.
    """
    taken: list[tuple[float, ...]] = []
    found: list[NamePlace | None] = []
    for k, (own, width) in enumerate(zip(curves, widths_mm, strict=True)):
        points = _points(own, levels_mm)
        rest = [line for j, line in enumerate(curves) if j != k]
        size = (width, height_mm)
        at = _beside(own, [*rest, *others], size, points, field, taken)
        at = at or _beside(own, rest, size, points, field, taken)
        full = at is not None
        if not full:
            letter = (height_mm, height_mm)
            free = [p for p in points if not any(_over((*p, *letter), other) for other in taken)]
            at = free[0] if free else None
        found.append(None if at is None else NamePlace(*at, full))
        if at is not None:
            taken.append((*at, width if full else height_mm, height_mm))
    return found
