"""An invented recording with its side-car: three points and a back wall, and white noise.

Beside it stands a twin without the points, for `qualify image --twin`.

It belongs to the side-car that `qualify example recording` prints, and is a simulation of no
instrument.
"""

import io
import tomllib
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from qualify.files import digest
from qualify.recording.archive import recording_bytes
from qualify.recording.measured import recording_of
from qualify.recording.points import add_pulses, pulse_sigma_us, record_points
from qualify.recording.record import full_matrix
from qualify.recording.side_car import SideCar
from qualify.recording.wall import wall_times_us
from qualify.study.template import IMAGING, RECORDING, example_text

POINTS_MM = ((-4.0, 12.0), (0.0, 18.0), (5.0, 24.0))
POINT_FRACTIONS = (0.08, 0.12, 0.10)  # of full scale
WALL_FRACTION, NOISE_FRACTION = 0.6, 0.01
SAMPLES, FULL_SCALE = 640, 32767
ARCHIVE, TWIN = "recording.h5", "flaw_free.h5"
TWIN_SOURCE = "invented example: a flat back wall and white noise, no points"


def example_recording_files() -> dict[str, bytes]:
    """Return array, side-car, the recording made of both, its twin, an imaging file; by name."""
    text = example_text("recording").encode()
    car = SideCar.model_validate(tomllib.loads(text.decode()))
    array, blank = _npy(_matrix(car, True, b"noise")), _npy(_matrix(car, False, b"twin"))
    recording = recording_of(car, array, RECORDING, ((RECORDING, digest(text)),))
    twin = recording_of(car, blank, TWIN, ())
    twin = replace(twin, provenance=replace(twin.provenance, source=TWIN_SOURCE, files=()))
    return {
        car.array: array,
        RECORDING: text,
        ARCHIVE: recording_bytes(recording),
        TWIN: recording_bytes(twin),
        IMAGING: example_text("imaging").encode(),
    }


def _npy(matrix: NDArray[np.int16]) -> bytes:
    stream = io.BytesIO()
    np.save(stream, matrix)
    return stream.getvalue()


def _matrix(car: SideCar, points: bool, stream: bytes) -> NDArray[np.int16]:
    """Return the invented matrix (transmit, receive, sample), with or without the points."""
    half = record_points(
        car.probe,
        POINTS_MM,
        POINT_FRACTIONS if points else 0.0,
        coupling=car.coupling,
        medium=car.medium,
        sampling_mhz=car.sampling_mhz,
        start_us=car.start_us,
        samples=SAMPLES,
    )
    add_pulses(
        half.samples,
        wall_times_us(car.probe, car.coupling, car.medium),
        WALL_FRACTION,
        half.times_us(),
        car.probe.centre_mhz,
        pulse_sigma_us(car.probe.centre_mhz, car.probe.bandwidth_fraction),
    )
    full = full_matrix(half.samples)
    assert car.seed is not None
    rng = np.random.default_rng(np.random.SeedSequence([car.seed, *stream]))
    noisy = full + NOISE_FRACTION * rng.standard_normal(full.shape)
    return np.rint(np.clip(noisy, -1.0, 1.0) * FULL_SCALE).astype(np.int16)
