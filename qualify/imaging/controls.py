"""Whether a mode shows what is known to be there: dead zone and positive control."""

from dataclasses import dataclass

import numpy as np

from qualify.imaging.grid import Image
from qualify.imaging.region import Box, peak_in

STARTS_BELOW = "the image starts below the scan face; what lies above it is not known"
NO_END = "the image without flaws reaches the threshold near the end of the search"
AT_THE_EDGE = "the largest value lies at the edge of the search: no echo of its own"


HIDDEN = "the dead zone ends where the mode begins to cover, not where the image falls quiet"


@dataclass(frozen=True, slots=True)
class DeadZone:
    """How deep the near surface hides flaws.

    Attributes
    ----------
    depth_mm : from the scan face to the deepest place, down to the end of the search, at which
        the image without flaws reaches the threshold or shows nothing at all; a step of the grid
        is added, since the next pixel is the first that is known to be free. None: see `reason`.
    resolution_mm : step of the grid in depth.
    threshold : in the unit of the image.
    reason : why there is no depth, or None. `remark`: what the number leaves open, or None.
    """

    depth_mm: float | None
    resolution_mm: float
    threshold: float
    reason: str | None
    remark: str | None


@dataclass(frozen=True, slots=True)
class PositiveControl:
    """Whether a known echo is where it should be.

    Attributes
    ----------
    found : level and place both within their limits; None where the mode does not cover it, or
        where the least level is one that chance reaches too.
    depth_mm, error_mm : depth of the peak, between rows by a parabola, and minus the known depth.
    limit_mm : largest error allowed.
    level, least_level : peak and what it has to reach, in the unit of the image.
    reason : why it is not found or not known, or None.
    """

    found: bool | None
    depth_mm: float | None
    error_mm: float | None
    limit_mm: float
    level: float | None
    least_level: float
    reason: str | None


def dead_zone(
    flaw_free: Image,
    threshold: float,
    x_mm: tuple[float, float],
    *,
    search_to_mm: float,
    clear_mm: float,
) -> DeadZone:
    """Return down to which depth a flaw-free image reaches `threshold`.

    Parameters
    ----------
    threshold : the decision threshold, or what a reference reflector gives less a margin; in the
        unit of the image.
    x_mm : columns looked at; one of them at the threshold is enough.
    search_to_mm : well above the back wall and other known geometry.
    clear_mm : at least so much has to stay below the threshold above the end of the search; longer
        than the dips of the ring-down.

    Notes
    -----
    The last crossing counts: a dip of the ring-down between two maxima frees nothing.

    Raises
    ------
    ValueError : if no pixel lies in the region searched.
    """
    grid = flaw_free.grid
    region = Box(x_mm, (0.0, search_to_mm)).holds(grid)
    columns, rows = np.flatnonzero(region.any(axis=0)), np.flatnonzero(region.any(axis=1))
    if not len(rows):
        msg = f"no pixel lies at x {x_mm} mm above {search_to_mm:g} mm"
        raise ValueError(msg)
    values = flaw_free.values[np.ix_(rows, columns)]
    shown = flaw_free.covered[np.ix_(rows, columns)]
    loud = np.asarray((shown & (values >= threshold)).any(axis=1))
    dead = loud | np.asarray((~shown).any(axis=1))
    step = grid.step_z_mm
    remark = STARTS_BELOW if grid.z_from_mm > step else None
    if dead[grid.z_mm()[rows] > search_to_mm - clear_mm].any():
        return DeadZone(None, step, threshold, NO_END, remark)
    if not dead.any():
        return DeadZone(float(grid.z_from_mm), step, threshold, None, remark)
    last = int(np.flatnonzero(dead)[-1])
    if not loud[last]:
        remark = HIDDEN if remark is None else f"{HIDDEN}; {remark}"
    return DeadZone(float(grid.z_mm()[rows[last]] + step), step, threshold, None, remark)


def positive_control(
    image: Image,
    known_depth_mm: float,
    x_mm: tuple[float, float],
    *,
    search_mm: float,
    limit_mm: float,
    least_level: float,
) -> PositiveControl:
    """Return whether an echo of known depth, as of the back wall, stands at its place.

    Parameters
    ----------
    x_mm : columns in which it is looked for.
    search_mm : the search runs so far above and below the known depth; beyond `limit_mm`.

    Raises
    ------
    ValueError : if the search is no wider than the limit, so that no error could be seen.
    """
    if search_mm <= limit_mm:
        msg = f"a search of ±{search_mm:g} mm cannot show an error of more than {limit_mm:g} mm"
        raise ValueError(msg)
    window = Box(x_mm, (max(0.0, known_depth_mm - search_mm), known_depth_mm + search_mm))
    peak = peak_in(image, window)
    if peak.value is None or peak.x_mm is None or peak.z_mm is None:
        return PositiveControl(None, None, None, limit_mm, None, least_level, peak.reason)
    grid = image.grid
    row = round((peak.z_mm - grid.z_from_mm) / grid.step_z_mm)
    column = round((peak.x_mm - grid.x_from_mm) / grid.step_x_mm)
    inside = np.flatnonzero(window.holds(grid)[:, column] & image.covered[:, column])
    if row in (inside[0], inside[-1]):
        return PositiveControl(False, None, None, limit_mm, peak.value, least_level, AT_THE_EDGE)
    shift = _vertex(*(float(v) for v in image.values[row - 1 : row + 2, column]))
    depth = peak.z_mm + shift * grid.step_z_mm
    error = depth - known_depth_mm
    reason = None
    if peak.value < least_level:
        reason = f"the echo reaches {peak.value:.4g}, below {least_level:.4g}"
    elif abs(error) > limit_mm:
        reason = f"the echo lies {error:+.2f} mm off, more than {limit_mm:g} mm"
    return PositiveControl(reason is None, depth, error, limit_mm, peak.value, least_level, reason)


def coherent_control(
    image: Image,
    known_depth_mm: float,
    x_mm: tuple[float, float],
    *,
    limit_mm: float,
    least_level: float,
) -> PositiveControl:
    """Return whether a known echo is coherent at its place.

    A coherence is flat over the whole pulse, so that it tells of no depth: its largest value within
    the limit has to reach the least level. Where that is no more than chance gives, the control is
    not judged: it would be found without an echo.
    """
    window = Box(x_mm, (max(0.0, known_depth_mm - limit_mm), known_depth_mm + limit_mm))
    peak, chance = peak_in(image, window), image.random_99 or 0.0
    if peak.value is None:
        return PositiveControl(None, None, None, limit_mm, None, least_level, peak.reason)
    reason, found = None, peak.value >= least_level
    if least_level <= chance:
        reason = f"the least level {least_level:.3g} is no more than chance gives, {chance:.3g}"
    elif not found:
        reason = f"the echo reaches {peak.value:.4g}, below {least_level:.4g}"
    judged = found if least_level > chance else None
    return PositiveControl(judged, None, None, limit_mm, peak.value, least_level, reason)


def _vertex(before: float, middle: float, after: float) -> float:
    """Return where a parabola through three equidistant values has its top, in steps."""
    bend = before - 2.0 * middle + after
    return 0.0 if bend >= 0.0 else 0.5 * (before - after) / bend
