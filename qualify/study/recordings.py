"""Recordings as `check` and `record` take them: read, examined, judged, counted."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qualify.errors import InputError, refuse
from qualify.files import read_bytes, read_toml, validated
from qualify.recording.archive import recording_from_bytes
from qualify.recording.faults import Examination, examine
from qualify.recording.gate import GateLimits, GateResult, count_gate, gate
from qualify.recording.loud import in_band, power_db
from qualify.recording.measured import import_recording
from qualify.recording.record import Recording, half_pairs, samples_digest
from qualify.recording.signal_checks import clipped_shares, residuals
from qualify.recording.words import count_line, examination_lines, gate_lines

Map = NDArray[np.float64]
ARCHIVES, ARRAYS = (".h5", ".hdf5"), (".npy", ".npz", ".mat")


@dataclass(frozen=True, slots=True)
class CheckedRecording:
    """A recording that was read and judged."""

    path: str
    recording: Recording
    examination: Examination
    result: GateResult
    limits: GateLimits

    def document(self) -> dict[str, Any]:
        """Return everything as plain values, for JSON."""
        return {
            "path": self.path,
            "what": "recording",
            "signal": self.recording.provenance.signal,
            "source": self.recording.provenance.source,
            "block": self.recording.block,
            "samples_sha256": samples_digest(self.recording.samples),
            "examination": self.examination.summary(),
            "gate": {"accepted": self.result.accepted} | asdict(self.result),
        }

    def answer(self) -> list[str]:
        """Return what the gate says, and what is not shown, in words."""
        return [line.strip() for line in gate_lines(self.result)]

    def lines(self) -> list[str]:
        """Return everything in words."""
        told = [
            *examination_lines(self.examination, self.limits),
            *gate_lines(self.result),
        ]
        return [f"{self.path}: recording", *(f"  {line}" for line in told)]


def is_recording(path: Path) -> bool:
    """Return whether a file claims to be a recording: HDF5, a side-car, or a bare array."""
    suffix = path.suffix.lower()
    if suffix == ".toml" and path.is_file():
        try:
            return "array" in read_toml(path)
        except InputError:
            return False
    return suffix in (*ARCHIVES, *ARRAYS) and not path.is_dir()


def load_recording(path: Path) -> Recording:
    """Read a recording from its HDF5 file, or from a side-car and its array."""
    suffix = path.suffix.lower()
    if suffix in ARCHIVES:
        return recording_from_bytes(read_bytes(path), str(path))
    if suffix in ARRAYS:
        raise refuse(
            str(path),
            "is an array without a word of what its numbers are",
            "write a side-car beside it and give that; qualify example recording shows one",
        )
    return import_recording(path)


def load_limits(path: Path | None) -> GateLimits:
    """Read the limits of the gate; without a file, the defaults."""
    if path is None:
        return GateLimits()
    return validated(GateLimits, read_toml(path), str(path))


def check_recording(path: Path, limits: GateLimits) -> CheckedRecording:
    """Read, examine and judge a recording."""
    recording = load_recording(path)
    examination = examine(recording)
    return CheckedRecording(str(path), recording, examination, gate(examination, limits), limits)


def pair_maps(recording: Recording) -> tuple[Map | None, Map, str]:
    """Return residual of reciprocity in dB and clipped share, both (transmit, receive).

    The residual of a pair is over the mean power of the signals of all pairs, NaN for an element
    with itself; None with the reason as third value.
    """
    n = recording.probe.elements
    shares = clipped_shares(recording) if recording.samples.any() else np.zeros(1)
    clipped = np.zeros((n, n))
    if recording.is_half:
        transmit, receive = half_pairs(n)
        clipped[transmit, receive] = clipped[receive, transmit] = shares
        return None, clipped, "half a matrix holds each pair once"
    clipped[:] = np.reshape(shares, (n, n)) if shares.size > 1 else 0.0
    differ, carried, _ = residuals(recording, in_band(recording))
    if not carried.any():
        return None, clipped, "no signal within the band of the probe"
    mean = float(carried.sum()) / (n * (n - 1) / 2)
    both = differ + differ.T
    decibels = np.array([[power_db(float(value) / mean) for value in row] for row in both])
    np.fill_diagonal(decibels, np.nan)
    return decibels, clipped, ""


def totals_document(results: Sequence[GateResult]) -> dict[str, Any]:
    """Return how many recordings were accepted and rejected, and why."""
    count = count_gate(results)
    return {
        "accepted": count.accepted,
        "rejected": count.rejected,
        "by_reason": dict(count.by_reason),
    }


def totals_lines(results: Sequence[GateResult]) -> list[str]:
    """Return the totals in words; none for a single recording."""
    return [count_line(count_gate(results))] if len(results) > 1 else []
