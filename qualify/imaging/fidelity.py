"""How much amplitude a grid may lose, and how large a mode shows a point.

Both are read from images of one point with exact delays (`recording.points`), made with the mode
itself on a grid much finer than the one asked about. `imager` makes the image of a recording on a
grid.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.field import focal_spot_mm, wavelength_mm
from qualify.imaging.grid import Grid, Image
from qualify.recording.paths import times_us
from qualify.recording.points import REACH, pulse_sigma_us, record_points
from qualify.recording.probe import Probe, element_centres_mm
from qualify.recording.record import Recording

Imager = Callable[[Recording, Grid], Image]
Array = NDArray[np.float64]
LIMIT_DB = 2.0  # ASME V and ISO 23865, from memory: not re-checked against the text
# Places of the grid within one step, each way; even, so that the corner is among them. Of a point
# drawn out obliquely the worst place may lie between two of them: the loss is short by ≤ 6.5 %.
SHIFTS = 24
FINE = 24  # pixels over an expected width
CLOSE_TO = 1.5  # of a width, so that it is not imaged again
GROWTHS = 4
NOT_AMPLITUDE = "the mode shows a coherence, which has no amplitude to lose"
NOT_COVERED = "the mode does not cover the surroundings of the point"
TOO_WIDE = "the amplitude does not fall by 6 dB within the widest region looked at"


@dataclass(frozen=True, slots=True)
class GridLoss:
    """The worst loss of a grid at a point, or at points close by.

    Attributes
    ----------
    point_mm : x and z of the point, of several the worst.
    step_x_mm, step_z_mm : of the grid asked about.
    loss_db : peak on the fine grid over the largest pixel of the grid, in its worst place.
    shift_fraction : of a step, x and z, of that place from the one with a pixel on the point.
    limit_db : loss allowed. `kept` : whether loss_db is no more; None where there is no loss.
    reason : why there is no loss, or None.
    """

    point_mm: tuple[float, float]
    step_x_mm: float
    step_z_mm: float
    loss_db: float | None
    shift_fraction: tuple[float, float] | None
    limit_db: float
    kept: bool | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class PointSpread:
    """The size of the image of a point.

    Attributes
    ----------
    width_x_mm, width_z_mm : between the places beside the peak with half its amplitude, along x
        and along z, linear between fine pixels; None with a reason.
    expected_z_mm : of the pulse alone, looked at straight on; see `pulse_width_mm`.
    peak_db, peak_x_mm, peak_z_mm : the peak of a point of amplitude 1.
    """

    point_mm: tuple[float, float]
    width_x_mm: float | None
    width_z_mm: float | None
    expected_z_mm: float
    peak_db: float | None
    peak_x_mm: float | None
    peak_z_mm: float | None
    reason: str | None


def pulse_width_mm(probe: Probe, velocity_m_per_s: float) -> float:
    """Return the −6 dB width in depth of the envelope of a pulse: c σ √(2 ln 2).

    exp(−t²/2σ²) is a half at t = ± σ√(2 ln 2), and depth is c t/2.
    """
    sigma_us = pulse_sigma_us(probe.centre_mhz, probe.bandwidth_fraction)
    return float(velocity_m_per_s * 1e-3 * sigma_us * np.sqrt(2.0 * np.log(2.0)))


def grid_loss(
    imager: Imager,
    like: Recording,
    point_mm: tuple[float, float],
    step_x_mm: float,
    step_z_mm: float,
    *,
    beside_mm: Sequence[tuple[float, float]] = (),
    limit_db: float = LIMIT_DB,
) -> GridLoss:
    """Return what a grid loses at worst of the peak of a point, wherever its pixels fall.

    Parameters
    ----------
    like : a recording, of which probe, coupling, medium and sampling are taken.
    beside_mm : x and z of points close by, as between two beams of a scan. The same sound reaches
        them, so that the loss is counted from the largest peak of all to the worst of all.
    """
    steps = (step_x_mm, step_z_mm)
    found: list[tuple[float, float, tuple[float, float], tuple[float, float]]] = []
    for place in (point_mm, *beside_mm):
        fine = _around(place, steps[0] / SHIFTS, steps[1] / SHIFTS, 3 * SHIFTS // 2)
        image = imager(_of_a_point(like, place), fine)
        reason = _unfit(image)
        if reason is not None:
            return GridLoss(place, *steps, None, None, limit_db, None, reason)
        least, shift = _least_of_grids(image, place)
        found.append((least, float(image.values.max()), place, shift))
    least, _, place, shift = min(found)
    loss = max(peak for _, peak, _, _ in found) - least
    return GridLoss(place, *steps, loss, shift, limit_db, loss <= limit_db, None)


def _least_of_grids(
    image: Image, place_mm: tuple[float, float]
) -> tuple[float, tuple[float, float]]:
    """Return the largest pixel of the grid that holds least, and its shift from a pixel on x, z."""
    largest = np.full((SHIFTS, SHIFTS), -np.inf)
    for down in range(SHIFTS):
        for across in range(SHIFTS):
            largest[down, across] = image.values[down::SHIFTS, across::SHIFTS].max()
    worst = divmod(int(np.argmin(largest)), SHIFTS)
    column = round((place_mm[0] - image.grid.x_from_mm) / image.grid.step_x_mm)
    row = round((place_mm[1] - image.grid.z_from_mm) / image.grid.step_z_mm)
    shift = ((worst[1] - column) % SHIFTS / SHIFTS, (worst[0] - row) % SHIFTS / SHIFTS)
    return float(largest[worst]), shift


def point_spread(imager: Imager, like: Recording, point_mm: tuple[float, float]) -> PointSpread:
    """Return the −6 dB widths of a point, across and in depth.

    Parameters
    ----------
    like : a recording, of which probe, coupling, medium and sampling are taken.

    Notes
    -----
    Looked for in a region of three expected widths, doubled up to four times where the image is
    wider, and imaged once more at the scale of what was found where that is much finer.
    """
    speed = like.medium.longitudinal_m_per_s
    axial = pulse_width_mm(like.probe, speed)
    wave = wavelength_mm(speed, like.probe.centre_mhz)
    recording = _of_a_point(like, point_mm)
    across = max(0.5 * wave, focal_spot_mm(wave, point_mm[1], like.probe.aperture_mm))
    down, last = axial, False
    for _ in range(GROWTHS + 2):
        image = imager(recording, _around(point_mm, across / FINE, down / FINE, 3 * FINE // 2))
        reason = _unfit(image)
        if reason is not None:
            return PointSpread(point_mm, None, None, axial, None, None, None, reason)
        width_x, width_z = _widths(image)
        if width_x is None or width_z is None:
            across *= 2.0 if width_x is None else 1.0
            down *= 2.0 if width_z is None else 1.0
            continue
        if last or (across <= CLOSE_TO * width_x and down <= CLOSE_TO * width_z):
            peak = np.unravel_index(int(np.argmax(image.values)), image.values.shape)
            return PointSpread(
                point_mm, width_x, width_z, axial, float(image.values[peak]),
                float(image.grid.x_mm()[peak[1]]), float(image.grid.z_mm()[peak[0]]), None,
            )  # fmt: skip
        across, down, last = width_x, width_z, True
    return PointSpread(point_mm, None, None, axial, None, None, None, TOO_WIDE)


def _around(point_mm: tuple[float, float], step_x: float, step_z: float, reach: int) -> Grid:
    """Return a grid with a pixel on the point and `reach` steps on each side, none above z = 0."""
    above = min(reach, int(np.floor(point_mm[1] / step_z + 1e-9)))
    return Grid(
        point_mm[0] - reach * step_x,
        max(0.0, point_mm[1] - above * step_z),
        step_x,
        step_z,
        2 * reach + 1,
        above + reach + 1,
    )


def _of_a_point(like: Recording, point_mm: tuple[float, float]) -> Recording:
    """Return the recording of a point of amplitude 1, from time 0 until after its last echo."""
    elements = element_centres_mm(like.probe, like.coupling)
    latest = 2.0 * float(times_us(elements, [point_mm], like.coupling, like.medium).max())
    tail = 4.0 * REACH * pulse_sigma_us(like.probe.centre_mhz, like.probe.bandwidth_fraction)
    recording = record_points(
        like.probe,
        [point_mm],
        coupling=like.coupling,
        medium=like.medium,
        sampling_mhz=like.sampling_mhz,
        samples=int(np.ceil((1.5 * latest + tail) * like.sampling_mhz)),
    )
    return replace(recording, block=like.block)


def _unfit(image: Image) -> str | None:
    if image.unit != "db":
        return NOT_AMPLITUDE
    return None if image.covered.all() else NOT_COVERED


def _widths(image: Image) -> tuple[float | None, float | None]:
    """Return the −6 dB widths along x and z through the peak, None if one runs off the image."""
    amplitude = image.amplitude().astype(np.float64)
    row, column = np.unravel_index(int(np.argmax(amplitude)), amplitude.shape)
    across = _width(amplitude[row, :], int(column), image.grid.step_x_mm)
    return across, _width(amplitude[:, column], int(row), image.grid.step_z_mm)


def _width(profile: Array, peak: int, step: float) -> float | None:
    """Return the width at half the peak, linear between samples."""
    half, ends = 0.5 * profile[peak], []
    for side in (profile[peak::-1], profile[peak:]):
        low = np.flatnonzero(side < half)
        if not len(low):
            return None
        k = int(low[0])
        ends.append(k - 1 + (side[k - 1] - half) / (side[k - 1] - side[k]))
    return float(step * (ends[0] + ends[1]))
