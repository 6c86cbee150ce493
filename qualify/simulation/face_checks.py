"""Faces of the model against an exact solution: the elastic strip, seen from far away."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.edge import edge_difference
from qualify.simulation.face import face_nodes, face_weight
from qualify.simulation.reflectors import Bench
from qualify.simulation.scene import Face
from qualify.simulation.strip import strip_far_field

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
FREQUENCIES = 37  # of a face's pulse: the stretch transformed back is 4 periods and more long
EXTENT_WAVES = (0.25, 0.4, 0.7, 1.0, 1.7, 3.4)
TILTS_DEG = (0.0, 15.0, 30.0, 45.0, 60.0, 75.0)
TIP_WAVES, TIP_ANGLES_DEG, TIP_FREQUENCIES = 4.2, (1.0, 10.0, 20.0, 30.0, 45.0), 97
TIP_NEAR = 1.5  # periods about a tip's arrival in which its echo is looked for


@dataclass(frozen=True, slots=True)
class FaceCase:
    """A face by the model and by the exact strip, pulse-echo in the far field.

    Attributes
    ----------
    extent_waves : in waves of the centre frequency. tilt_deg : of the face to the beam.
    level_db : peak of the model's echo over that of the exact one.
    residual : rms difference of both echoes over the rms of the exact one.
    """

    extent_waves: float
    extent_mm: float
    tilt_deg: float
    level_db: float
    residual: float


@dataclass(frozen=True, slots=True)
class TipCase:
    """Echoes of both ends of a long face seen nearly along itself, as an upright crack from above.

    Attributes
    ----------
    angle_deg : between the beam and the face's own plane.
    model_ratio, exact_ratio : echo of the farther end over that of the nearer.
    late_ratio : of the exact solution, the largest echo after both over that of the nearer end;
        waves along the face make it, and the model has none.
    """

    angle_deg: float
    model_ratio: float
    exact_ratio: float
    late_ratio: float


def face_cases(bench: Bench, told: Callable[[str], None] = lambda _: None) -> tuple[FaceCase, ...]:
    """Return faces by the model and by the exact strip, over extents and tilts."""
    wave = bench.solid.speed / bench.band.centre_mhz
    number = np.linspace(0, len(bench.k_per_mm) - 1, FREQUENCIES).astype(int)
    wave_numbers = bench.k_per_mm[number]
    angle = np.radians(90.0 - np.array(TILTS_DEG))
    mhz = bench.band.mhz[number]
    span_us = 1.0 / float(np.mean(np.diff(mhz)))
    time = np.exp(-2j * np.pi * np.outer(span_us * np.linspace(-0.5, 0.5, 801), mhz))
    out = []
    for waves in EXTENT_WAVES:
        extent = waves * wave
        told(f"faces of {extent:.2g} mm")
        both = [
            np.array([way(float(k), extent, angle, angle, bench.solid.ratio) for k in wave_numbers])
            * bench.band.pulse[number, None]
            for way in (partial(far_face, wave_mm=wave), strip_far_field)
        ]
        model, strip = both
        peaks = [np.abs(time @ spectrum).max(axis=0) for spectrum in both]
        level = 20.0 * np.log10(peaks[0] / peaks[1])
        apart = np.sqrt(np.sum(np.abs(model - strip) ** 2, 0) / np.sum(np.abs(strip) ** 2, 0))
        out += [
            FaceCase(waves, float(extent), tilt, float(a), float(b))
            for tilt, a, b in zip(TILTS_DEG, level, apart, strict=True)
        ]
    return tuple(out)


def far_face(
    k: float, extent_mm: float, one: Array, other: Array, ratio: float, *, wave_mm: float
) -> Complex:
    """Return f (√mm) of a face with its edges in the far field, by the model.

    wave_mm : wavelength at the centre frequency, which edges that are grazed know the face by.
    """
    face = Face(-0.5 * extent_mm, 0.0, 0.5 * extent_mm, 0.0)
    nodes, weights, _ = face_nodes(face, 2.0 * np.pi / k)
    total = np.cos(one) + np.cos(other)
    phase = np.exp(-1j * k * np.multiply.outer(nodes[:, 0], total))
    out = np.sqrt(k / (2.0 * np.pi)) * face_weight(one, other, ratio) * (weights @ phase)
    for side, a, b in ((1.0, one, other), (-1.0, np.pi - one, np.pi - other)):
        edge = edge_difference(a, b, ratio, extent_mm / wave_mm) * np.exp(
            side * 0.5j * k * extent_mm * total
        )
        out = out + edge / (1j * np.sqrt(2.0 * np.pi * k))
    return np.asarray(np.exp(-0.25j * np.pi) * out)


def tip_cases(bench: Bench) -> tuple[TipCase, ...]:
    """Return the echoes of both ends by the model and by the exact strip, over the angle."""
    wave = bench.solid.speed / bench.band.centre_mhz
    extent = TIP_WAVES * wave
    number = np.linspace(0, len(bench.k_per_mm) - 1, TIP_FREQUENCIES).astype(int)
    mhz = bench.band.mhz[number]
    angle = np.radians(np.array(TIP_ANGLES_DEG))
    period = 1.0 / bench.band.centre_mhz
    reach = 4.0 * extent / bench.solid.speed
    late = np.arange(-reach, reach, 0.05 * period)
    turn = np.exp(-2j * np.pi * np.outer(late, mhz))
    envelopes = []
    for way in (partial(far_face, wave_mm=wave), strip_far_field):
        spectra = np.array(
            [way(float(k), extent, angle, angle, bench.solid.ratio) for k in bench.k_per_mm[number]]
        )
        envelopes.append(np.abs(turn @ (spectra * bench.band.pulse[number, None])))
    out = []
    for row, degrees in enumerate(TIP_ANGLES_DEG):
        arrival = extent * np.cos(angle[row]) / bench.solid.speed
        near, far = (np.abs(late - t) < TIP_NEAR * period for t in (-arrival, arrival))
        after = late > arrival + TIP_NEAR * period
        model, exact = envelopes[0][:, row], envelopes[1][:, row]
        out.append(
            TipCase(
                degrees,
                float(model[far].max() / model[near].max()),
                float(exact[far].max() / exact[near].max()),
                float(exact[after].max() / exact[near].max()),
            )
        )
    return tuple(out)
