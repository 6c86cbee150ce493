"""Scans with beams: the linear and the sectorial scan, one focal law a beam.

A beam leaves an aperture under an angle, crosses the scan face, and runs straight in the block; its
image is a line of ranges along its axis. The focal law is fixed, as in an instrument: the delays
of the aperture for a focus on the axis, or for a plane front where no focus is declared. Delays
through a standoff are those of the fastest path (`qualify.recording.paths`) and of Snell's law.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.errors import refuse
from qualify.imaging.grid import Grid
from qualify.imaging.laws import PIXELS, TABLE, Law
from qualify.imaging.modes import Mode
from qualify.imaging.signals import Signals
from qualify.imaging.tiles import tile_order
from qualify.imaging.total_focusing import relative_width, speeds, window_over
from qualify.recording.paths import times_us
from qualify.recording.probe import Standoff, element_centres_mm
from qualify.recording.record import Recording

Array = NDArray[np.float64]
RANGE_STEP = (
    0.2  # wavelengths: the cubic between ranges is then within 0.1 dB of a pulse's envelope
)


@dataclass(frozen=True, slots=True)
class Beam:
    """One beam.

    Attributes
    ----------
    first, last : elements first to last − 1 are its aperture.
    entry_mm : x where its axis crosses the scan face.
    angle_deg : of its axis in the block, from the normal, towards larger x.
    axis_us : one-way time along the axis from the aperture's centre to the face.
    late_us : (last − first,) one-way time of each element beyond that of the axis.
    """

    first: int
    last: int
    entry_mm: float
    angle_deg: float
    axis_us: float
    late_us: Array


def beams_of(recording: Recording, mode: Mode) -> tuple[Beam, ...]:
    """Return the beams of a linear or sectorial scan, in ascending order along the face.

    Raises
    ------
    InputError : if the aperture is larger than the array, or a beam cannot enter the block.
    """
    elements = recording.probe.elements
    size = elements if mode.aperture_elements is None else mode.aperture_elements
    if size > elements:
        raise refuse(
            f"mode {mode.name}: aperture_elements",
            f"{size} elements, and the array has {elements}",
            "give an aperture within the array",
        )
    if mode.focusing == "linear":
        angle = _refracted(recording, mode)
        return tuple(_beam(recording, mode, k, k + size, angle) for k in range(elements - size + 1))
    assert mode.angle_from_deg is not None
    assert mode.angle_to_deg is not None
    assert mode.angle_step_deg is not None
    count = int((mode.angle_to_deg - mode.angle_from_deg) / mode.angle_step_deg + 1e-9) + 1
    angles = mode.angle_from_deg + mode.angle_step_deg * np.arange(count)
    first = (elements - size) // 2
    return tuple(_beam(recording, mode, first, first + size, float(angle)) for angle in angles)


def _refracted(recording: Recording, mode: Mode) -> float:
    """Return the angle in the block of a front parallel to the array."""
    coupling = recording.coupling
    if not isinstance(coupling, Standoff):
        return 0.0
    above, below = speeds(recording)
    sine = math.sin(math.radians(coupling.angle_deg)) * below / above
    if abs(sine) >= 1.0:
        raise refuse(
            f"mode {mode.name}",
            f"the wedge angle of {coupling.angle_deg:g}° lies beyond the critical angle",
            "a linear scan needs a beam that enters the block",
        )
    return math.degrees(math.asin(sine))


def _beam(recording: Recording, mode: Mode, first: int, last: int, angle_deg: float) -> Beam:
    centres = element_centres_mm(recording.probe, recording.coupling)[first:last]
    middle = centres.mean(axis=0)
    above, below = speeds(recording)
    sine = math.sin(math.radians(angle_deg))
    steep = sine * above / below
    if abs(steep) >= 1.0:
        raise refuse(
            f"mode {mode.name}",
            f"no ray of the standoff gives {angle_deg:g}° in the block",
            "give angles below it",
        )
    level = math.sqrt(1.0 - steep * steep)
    run = -middle[1] / level
    entry = float(middle[0] + run * steep)
    axis_us = run / above
    if mode.focus_mm is None:
        late = -((centres - middle) @ np.array([steep, level])) / above
    else:
        rise = math.cos(math.radians(angle_deg))
        focus = np.array([[entry + mode.focus_mm * sine, mode.focus_mm * rise]])
        way = times_us(centres, focus, recording.coupling, recording.medium)[:, 0]
        late = way - axis_us - mode.focus_mm / below
    return Beam(first, last, entry, angle_deg, axis_us, np.asarray(late))


def around_mm(beams: tuple[Beam, ...], point_mm: tuple[float, float]) -> list[tuple[float, float]]:
    """Return places (x, z) on the two beams beside a point and halfway between, at its depth.

    None where the point lies outside the beams. What a scan shows of a point depends on whether a
    beam meets it.
    """
    x, z = point_mm
    crossing = [beam.entry_mm + z * math.tan(math.radians(beam.angle_deg)) for beam in beams]
    for left, right in itertools.pairwise(crossing):
        if left <= x <= right:
            return [(left, z), ((left + right) / 2.0, z), (right, z)]
    return []


@dataclass(frozen=True, slots=True)
class Ranges:
    """Ranges along the beams: `count` of them from `start_mm` in steps.

    `beam` and `number` (pixels,) say which range of which beam is computed where, in whole tiles:
    tiles of neighbouring beams where all have one aperture, else tiles of one beam.
    """

    start_mm: float
    step_mm: float
    count: int
    beam: NDArray[np.int64]
    number: NDArray[np.int64]


def ranges_for(beams: tuple[Beam, ...], grid: Grid, wavelength_mm: float) -> Ranges:
    """Return ranges that reach all of a grid along every beam.

    Their step divides the grid's depth step and is at most `RANGE_STEP` wavelengths in the block.
    """
    steepest = max(abs(math.radians(beam.angle_deg)) for beam in beams)
    z = grid.z_mm()
    last = float(z[-1]) / math.cos(steepest)
    step = grid.step_z_mm / math.ceil(grid.step_z_mm / (RANGE_STEP * wavelength_mm) - 1e-9)
    count = math.ceil((last - float(z[0])) / step - 1e-9) + 4
    if len({beam.first for beam in beams}) == 1:
        beam, number = tile_order(len(beams), count)
    else:
        each = -(-count // PIXELS) * PIXELS
        beam = np.repeat(np.arange(len(beams)), each)
        number = np.tile(np.minimum(np.arange(each), count - 1), len(beams))
    return Ranges(float(z[0]), step, count, beam, number)


def beams_law(
    recording: Recording,
    signals: Signals,
    mode: Mode,
    beams: tuple[Beam, ...],
    ranges: Ranges,
    *,
    weighted: bool,
) -> Law:
    """Return the law of a scan: the pixels are the ranges of each beam in turn."""
    probe = recording.probe
    above, below = speeds(recording)
    along = ranges.start_mm + ranges.step_mm * ranges.number
    late = np.zeros((probe.elements, len(beams)), np.float32)
    for k, beam in enumerate(beams):
        late[beam.first : beam.last, k] = beam.axis_us + beam.late_us
    table = late[:, ranges.beam] + (along / below).astype(np.float32)
    of_tile = [beams[k] for k in ranges.beam[::PIXELS]]
    size = beams[0].last - beams[0].first
    centres = element_centres_mm(probe, recording.coupling)
    nowhere = np.zeros(ranges.beam.size)
    return Law(
        kind=TABLE,
        x_mm=np.ascontiguousarray(centres[:, 0]),
        height_mm=np.ascontiguousarray(-centres[:, 1]),
        pixel_x_mm=nowhere,
        pixel_z_mm=nowhere,
        table_us=table,
        first=np.array([beam.first for beam in of_tile], np.int64),
        last=np.array([beam.last for beam in of_tile], np.int64),
        window=window_over(mode, size) if weighted else np.ones(size, np.float32),
        above=above,
        below=below,
        zero_us=signals.start_us / 2.0,
        rate_mhz=signals.rate_mhz,
        carrier_mhz=signals.carrier_mhz,
        largest_sine=2.0,
        width=relative_width(recording, mode) if weighted else 0.0,
        between=True,
        spreading=False,
    )


@dataclass(frozen=True, slots=True)
class Placing:
    """How values along beams come onto a grid: the same for every recording of a geometry.

    Attributes
    ----------
    inside : (rows, columns), where a pixel lies between two beams and inside their ranges.
    near, far : (4, points) pixels of the law around each pixel inside, on the beams beside it.
    weights : (4, points) of the cubic along a beam. part : (points,) from the near beam to the far.
    """

    inside: NDArray[np.bool_]
    near: NDArray[np.int64]
    far: NDArray[np.int64]
    weights: Array
    part: Array

    def on_grid(self, values: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return values (kinds, rows, columns) on the grid from values (kinds, pixels); else 0.

        Magnitudes are interpolated, between beams and along them, and never below 0.
        """
        near, far = (
            np.maximum(sum(self.weights[n] * values[:, at[n]] for n in range(4)), 0.0)
            for at in (self.near, self.far)
        )
        out = np.zeros((len(values), *self.inside.shape), np.float32)
        out[:, self.inside] = near + self.part * (far - near)
        return out


def placing_of(beams: tuple[Beam, ...], ranges: Ranges, grid: Grid) -> Placing:
    """Return how values at the ranges of beams come onto a grid."""
    pixel = np.empty((len(beams), ranges.count), np.int64)
    pixel[ranges.beam, ranges.number] = np.arange(ranges.beam.size)
    x, depth, number = grid.x_mm(), grid.z_mm(), np.arange(len(beams), dtype=np.float64)
    angle = np.radians([beam.angle_deg for beam in beams])
    entry = np.array([beam.entry_mm for beam in beams])
    crossing = entry + depth[:, None] * np.tan(angle)
    beam = np.stack([np.interp(x, row, number) for row in crossing])
    reach = depth[:, None] / np.cos(np.interp(beam, number, angle)) - ranges.start_mm
    reach /= ranges.step_mm
    inside = (x >= crossing[:, :1] - 1e-9) & (x <= crossing[:, -1:] + 1e-9)
    inside &= (reach >= -1e-9) & (reach <= ranges.count - 1)
    beam, reach = beam[inside], np.maximum(reach[inside], 0.0)
    near = np.minimum(beam.astype(np.int64), len(beams) - 1)
    first = np.clip(reach.astype(np.int64) - 1, 0, ranges.count - 4)
    along = first + np.arange(4)[:, None]
    far = np.minimum(near + 1, len(beams) - 1)
    weights = _cubic(reach - first)
    return Placing(inside, pixel[near, along], pixel[far, along], weights, beam - near)


def _cubic(t: Array) -> Array:
    """Return the weights (4, points) of the cubic through four values at 0, 1, 2 and 3.

    Lagrange, Abramowitz and Stegun 25.2.13, from memory.
    """
    return np.stack(
        [
            -(t - 1) * (t - 2) * (t - 3) / 6,
            t * (t - 2) * (t - 3) / 2,
            -t * (t - 1) * (t - 3) / 2,
            t * (t - 1) * (t - 2) / 6,
        ]
    )
