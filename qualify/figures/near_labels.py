"""Labels beside the marks they name, none over another."""

import itertools
import math
from collections.abc import Sequence

Place = tuple[float, float]
Box = tuple[float, float, float, float]  # centre, width and height; of a field its four sides
Stem = tuple[float, float, float]  # x, and both ends along y
GAP_MM = 0.55
COVERED = 4.0  # millimetres further away that a label may go to cover one stem less
STEP_MM = 1.2
FAR_MM = 22.0


def _over(one: Box, other: Box) -> bool:
    return (
        abs(one[0] - other[0]) < (one[2] + other[2]) / 2 + GAP_MM
        and abs(one[1] - other[1]) < (one[3] + other[3]) / 2 + GAP_MM
    )


def _covered(box: Box, stems: Sequence[Stem]) -> int:
    x, y, width, height = box
    return sum(
        abs(at - x) < width / 2 + GAP_MM
        and max(ends) > y - height / 2 - GAP_MM
        and min(ends) < y + height / 2 + GAP_MM
        for at, *ends in stems
    )


def _moves() -> list[Place]:
    """Places around a mark, the nearest first."""
    steps = int(FAR_MM / STEP_MM)
    away = [k * STEP_MM for k in range(-steps, steps + 1)]
    return sorted(itertools.product(away, away), key=lambda move: (math.hypot(*move), move))


def _best(
    head: Place,
    width: float,
    height: float,
    field: Box,
    taken: Sequence[Box],
    stems: Sequence[Stem],
) -> Box | None:
    """Return the free place that is nearest to a mark and covers few stems."""
    (x, y), (left, top, right, bottom) = head, field
    if width > right - left:
        return None
    best: Box | None = None
    least = math.inf
    for dx, dy in _moves():
        at_x = min(max(x + dx, left + width / 2), right - width / 2)
        at_y = min(max(y + dy, top + height / 2), bottom - height / 2)
        far = math.hypot(max(abs(at_x - x) - width / 2, 0.0), at_y - y)
        box = (at_x, at_y, width, height)
        if far >= least or any(_over(box, other) for other in taken):
            continue
        cost = far + COVERED * _covered(box, stems)
        if cost < least:
            best, least = box, cost
    return best


def near_labels(
    heads: Sequence[Place],
    widths: Sequence[float],
    height: float,
    field: Box,
    stems: Sequence[Stem],
) -> list[Place | None]:
    """Return the centre of each label, near its head, inside the field and over no other label.

    Parameters
    ----------
    heads, widths : (n,)
        Marks to be named, in the order in which they choose, and widths of their labels, mm.
    field : left, top, right and bottom of where labels may stand.
    stems : lines that a label rather does not cover.

    Returns
    -------
    (n,)
        None where no place was left.
    """
    taken: list[Box] = []
    found: list[Place | None] = []
    for head, width in zip(heads, widths, strict=True):
        box = _best(head, width, height, field, taken, stems)
        found.append(None if box is None else box[:2])
        taken += [] if box is None else [box]
    return found
