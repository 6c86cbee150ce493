"""What an image panel shows: values, region, marks of the colour bar, and the checks of them."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qualify.figures.page import number, place
from qualify.figures.ramps import Unit

EVEN = 1e-3  # of a step, between one step of a grid and the next

Axis = tuple[float, ...] | NDArray[np.floating]
Region = tuple[float, float, float, float]  # x from, x to, z from, z to: outer edges of pixels, mm


@dataclass(frozen=True, slots=True)
class TrueTarget:
    """A target as built, drawn to scale: `hole` an ellipse, `slot` a line, `box` a rectangle.

    `half_x_mm` and `half_z_mm` are half its extents; a slot runs from its upper left end to its
    lower right one, from the lower left to the upper right with `rising`.
    """

    x_mm: float
    z_mm: float
    half_x_mm: float
    half_z_mm: float
    shape: Literal["hole", "slot", "box"]
    rising: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class ImagePanel:
    """One image in one mode.

    Attributes
    ----------
    values : (rows, columns), depth downwards; what lies outside `covered` is never drawn.
    x_mm, z_mm : (columns,), (rows,) centres of pixels, ascending in even steps.
    unit : `db` re `reference`, or `coherence` (0 to 1).
    low, high : ends of the colour range. Values beyond them take the colour of the end, which is
        then labelled ≤ or ≥.
    mode, method : its name, and what was computed.
    covered : (rows, columns), where the mode can show anything.
    threshold : of the reading rule, None without one; with `contour` also a line in the image.
    random_mean, random_99 : of a coherence, its mean and 99 % level if all phases were random.
    rejected : reasons why the quality gate rejected the image.
    truth : targets as built; None unless truth is open.

    Raises
    ------
    ValueError
        If truth is given and `truth_open` is not set, or values, region and range do not fit
        together.
    """

    values: NDArray[np.floating]
    x_mm: Axis
    z_mm: Axis
    unit: Unit
    low: float
    high: float
    mode: str
    method: str
    covered: NDArray[np.bool_]
    signal: Literal["simulated", "measured"]
    threshold: float | None = None
    contour: bool = False
    reference: str = "full scale of one received signal"
    scale_bar_mm: float = 10.0
    random_mean: float | None = None
    random_99: float | None = None
    rejected: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    truth: tuple[TrueTarget, ...] | None = None
    truth_open: bool = False

    def __post_init__(self) -> None:
        if self.truth is not None and not self.truth_open:
            msg = f"mode {self.mode}: the truth is sealed; an image shows no target before it opens"
            raise ValueError(msg)
        if self.signal not in ("simulated", "measured"):
            msg = f"mode {self.mode}: a signal is simulated or measured, found '{self.signal}'"
            raise ValueError(msg)
        _check_shapes(self)
        _check_values(self)
        x_from, x_to, _, _ = self.region
        if not 0.0 < self.scale_bar_mm <= x_to - x_from:
            msg = f"a scale bar of {self.scale_bar_mm:g} mm does not fit {x_to - x_from:g} mm"
            raise ValueError(msg)

    @property
    def region(self) -> Region:
        """Outer edges of the pixels."""
        return region_of(self.x_mm, self.z_mm)

    def drawn(self) -> "np.ma.MaskedArray[tuple[int, ...], np.dtype[np.floating]]":
        """Return the values (rows, columns), masked where the mode covers nothing."""
        return np.ma.masked_array(self.values, mask=~np.asarray(self.covered))


def region_of(x_mm: Axis, z_mm: Axis) -> Region:
    """Return the outer edges of a grid of pixel centres; a lone row or column is as wide as high.

    Raises
    ------
    ValueError
        If centres are not ascending in even steps.
    """
    steps = [_step_mm(name, axis) for name, axis in (("x", x_mm), ("z", z_mm))]
    known = [step for step in steps if step is not None] or [1.0]
    half_x, half_z = ((known[0] if step is None else step) / 2.0 for step in steps)
    ends = (x_mm[0] - half_x, x_mm[-1] + half_x, z_mm[0] - half_z, z_mm[-1] + half_z)
    return (float(ends[0]), float(ends[1]), float(ends[2]), float(ends[3]))


def _step_mm(name: str, axis: Axis) -> float | None:
    centres = np.asarray(axis, dtype=float)
    if centres.ndim != 1 or not len(centres) or not np.isfinite(centres).all():
        msg = f"{name} of an image is a row of finite numbers, found shape {centres.shape}"
        raise ValueError(msg)
    if len(centres) == 1:
        return None
    step = float(centres[-1] - centres[0]) / (len(centres) - 1)
    if step <= 0 or np.abs(np.diff(centres) - step).max() > EVEN * step:
        msg = f"{name} of an image rises in even steps, found {centres[0]:g} to {centres[-1]:g} mm"
        raise ValueError(msg)
    return step


def _check_shapes(panel: ImagePanel) -> None:
    wanted = (len(panel.z_mm), len(panel.x_mm))
    for name in ("values", "covered"):
        found = np.shape(getattr(panel, name))
        if found != wanted:
            msg = f"mode {panel.mode}: {name} has the shape {found}, z and x ask for {wanted}"
            raise ValueError(msg)
    if np.asarray(panel.covered).dtype != np.bool_:
        msg = f"mode {panel.mode}: covered is true or false, found {panel.covered.dtype}"
        raise ValueError(msg)


def _check_values(panel: ImagePanel) -> None:
    if not (math.isfinite(panel.low) and math.isfinite(panel.high) and panel.low < panel.high):
        msg = f"mode {panel.mode}: the colour range {panel.low:g} to {panel.high:g} is none"
        raise ValueError(msg)
    shown = np.asarray(panel.values)[panel.covered]
    if not np.isfinite(shown).all():
        msg = f"mode {panel.mode}: a covered pixel holds no finite value"
        raise ValueError(msg)
    given = (panel.threshold, panel.random_mean, panel.random_99)
    if any(mark is not None and not math.isfinite(mark) for mark in given):
        msg = f"mode {panel.mode}: a mark of the colour bar is not finite: {given}"
        raise ValueError(msg)
    if panel.unit == "db":
        if panel.random_mean is not None or panel.random_99 is not None:
            msg = f"mode {panel.mode}: levels of random phases belong to a coherence"
            raise ValueError(msg)
        return
    held = [*(m for m in given if m is not None), panel.low, panel.high]
    if len(shown):
        held += [float(shown.min()), float(shown.max())]
    if min(held) < -1e-6 or max(held) > 1.0 + 1e-6:
        msg = f"mode {panel.mode}: a coherence lies between 0 and 1, found {min(held):g} or above"
        raise ValueError(f"{msg}, up to {max(held):g}")


def exact(value: float) -> str:
    """Return a declared number with all its digits (six at most), without an exponent."""
    text = f"{value:.6g}"
    if "e" in text:
        text = f"{value:.6f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{value:.0f}"
    return text.replace("-", "−")


def amount(panel: ImagePanel, value: float) -> str:
    """Return a declared value with its unit: a threshold or an end of the colour range."""
    return f"{exact(value)} dB" if panel.unit == "db" else exact(value)


def found(panel: ImagePanel, value: float) -> str:
    """Return a value of the image with its unit, rounded."""
    return f"{value:.1f} dB".replace("-", "−") if panel.unit == "db" else number(value)


def unit_words(panel: ImagePanel) -> str:
    """Return what the colours mean."""
    if panel.unit == "db":
        return f"amplitude, dB re {panel.reference}"
    return "coherence, 0 to 1"


def range_words(panel: ImagePanel) -> str:
    """Return the colour range."""
    low, high = exact(panel.low), amount(panel, panel.high)
    return f"colour range {low} to {high}"


def threshold_words(panel: ImagePanel) -> str:
    """Return the threshold, and where it lies if the colour bar does not hold it."""
    if panel.threshold is None:
        return "no threshold"
    beyond = ""
    if panel.threshold < panel.low:
        beyond = ", below the colour range"
    elif panel.threshold > panel.high:
        beyond = ", above the colour range"
    return f"threshold {amount(panel, panel.threshold)}{beyond}"


def region_words(region: Region) -> str:
    """Return the region in words."""
    x_from, x_to, z_from, z_to = map(place, region)
    return f"x {x_from} to {x_to} mm, depth {z_from} to {z_to} mm"


def share_words(covered: NDArray[np.bool_]) -> str:
    """Return the share of pixels covered; never 100 % or 0 % by rounding."""
    percent = 100.0 * float(np.mean(covered))
    held = percent if percent in (0.0, 100.0) else min(max(percent, 0.1), 99.9)
    return f"{held:.1f} %" if held not in (0.0, 100.0) else f"{held:.0f} %"


def largest(panel: ImagePanel) -> tuple[float, float, float] | None:
    """Return the largest covered value, its x and its depth; None where nothing is covered."""
    shown = panel.drawn()
    if shown.count() == 0:
        return None
    row, column = np.unravel_index(int(np.ma.argmax(shown)), shown.shape)
    return (
        float(panel.values[row, column]), float(panel.x_mm[column]), float(panel.z_mm[row]),
    )  # fmt: skip
