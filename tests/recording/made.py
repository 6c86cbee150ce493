"""Small invented recordings for tests, made once and changed one thing at a time."""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from qualify.recording.points import add_pulses, pulse_sigma_us, record_points
from qualify.recording.probe import Contact, Medium, Probe, Standoff
from qualify.recording.record import Provenance, Recording, full_matrix
from qualify.recording.wall import wall_times_us
from qualify.study.toml_text import toml_value

PROBE = Probe(
    name="invented",
    elements=16,
    pitch_mm=0.6,
    element_width_mm=0.5,
    passive_width_mm=10.0,
    centre_mhz=5.0,
    bandwidth_fraction=0.7,
)
STEEL = Medium(longitudinal_m_per_s=5900.0)
WATER = Standoff(kind="water", longitudinal_m_per_s=1480.0, height_mm=12.0, angle_deg=4.0)


@cache
def points() -> Recording:
    """Two points, half a matrix, no noise."""
    return record_points(PROBE, [[0.0, 12.0], [3.0, 20.0]], [1.0, 0.5], samples=512)


def told_in_full() -> Recording:
    """A full matrix with every field that a recording can have."""
    half = points()
    return replace(
        half,
        samples=full_matrix(half.samples),
        start_us=-0.35,
        coupling=WATER,
        medium=Medium(
            longitudinal_m_per_s=5900.0, longitudinal_u_m_per_s=12.0, thickness_mm=31.7
        ),
        provenance=Provenance(
            "simulated", "invented, with µ and °", 2**64 - 1, ("grain", "wall"), (("a.npy", "0f"),),
            "procedure 7",
        ),
        gain_db=31.5,
        block="RB-01",
        position_mm=-12.25,
    )  # fmt: skip


def side_car_fields(**changed: Any) -> dict[str, Any]:
    """Fields of a good side-car beside a full int16 matrix of 4 elements in `m.npy`."""
    fields: dict[str, Any] = {
        "format": 1,
        "array": "m.npy",
        "array_format": "npy",
        "matrix": "full",
        "axes": ("sample", "receive", "transmit"),
        "sampling_mhz": 50.0,
        "start_us": 1.5,
        "signal": "measured",
        "source": "invented for a test",
        "probe": {
            "name": "P4",
            "elements": 4,
            "pitch_mm": 0.6,
            "element_width_mm": 0.5,
            "passive_width_mm": 10.0,
            "centre_mhz": 5.0,
            "bandwidth_fraction": 0.7,
        },
        "coupling": {"kind": "contact"},
        "medium": {"longitudinal_m_per_s": 5900.0},
    }
    return {key: value for key, value in (fields | changed).items() if value is not None}


def write_side_car(folder: Path, fields: dict[str, Any], name: str = "good.toml") -> Path:
    """Write fields as TOML, tables last."""
    plain = {key: value for key, value in fields.items() if not isinstance(value, dict)}
    lines = [f"{key} = {_value(value)}" for key, value in plain.items()]
    for key, value in fields.items():
        if isinstance(value, dict):
            lines += [f"[{key}]", *(f"{inner} = {_value(item)}" for inner, item in value.items())]
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _value(value: Any) -> str:
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return toml_value(tuple(value) if isinstance(value, list) else value)


def counted(elements: int = 4, samples: int = 6) -> np.ndarray:
    """Return an int16 matrix (transmit, receive, sample) whose values tell their place."""
    t, r, s = np.indices((elements, elements, samples))
    return (1000 * t + 100 * r + s - 1500).astype(np.int16)


def mat73_bytes(name: str, array: np.ndarray) -> bytes:
    """Return a MAT-file of version 7.3 as its makers lay it out: HDF5 behind 512 bytes, axes
    in reversed order.

    From memory, checked against no such file of other make.
    """
    import io

    import h5py

    out = io.BytesIO()
    with h5py.File(out, "w", userblock_size=512) as file:
        shown = np.asarray(array)
        if np.iscomplexobj(shown):
            pairs = np.zeros(shown.T.shape, [("real", "<f8"), ("imag", "<f8")])
            pairs["real"], pairs["imag"] = shown.T.real, shown.T.imag
            shown = pairs.T
        file.create_dataset(name, data=shown.T)
    content = bytearray(out.getvalue())
    head = b"MATLAB 7.3 MAT-file, invented".ljust(116) + bytes(8) + b"\x00\x02IM"
    content[: len(head)] = head
    return bytes(content)


ARRAY_32 = PROBE.model_copy(update={"elements": 32})
THICK = Medium(longitudinal_m_per_s=5900.0, thickness_mm=30.0)
CONTACT = Contact(kind="contact")


def walled(
    *,
    coupling: Contact | Standoff = CONTACT,
    wall: float = 1.0,
    noise: float = 0.02,
    full: bool = True,
    seed: int = 1,
    samples: int = 800,
    start_us: float = 0.0,
    places: Any = ((-3.0, 15.0), (4.0, 22.0)),
    strengths: Any = 0.25,
) -> Recording:
    """A recording of two points and a back wall, with noise that differs from pair to pair."""
    told = {"coupling": coupling, "medium": THICK, "samples": samples, "start_us": start_us}
    half = record_points(ARRAY_32, places, strengths, **told)
    add_pulses(
        half.samples, wall_times_us(ARRAY_32, coupling, THICK), wall, half.times_us(), 5.0,
        pulse_sigma_us(5.0, 0.7),
    )  # fmt: skip
    clean = full_matrix(half.samples) if full else half.samples
    rng = np.random.default_rng(seed)
    noisy = clean + noise * rng.standard_normal(clean.shape, np.float32)
    return replace(half, samples=noisy, full_scale=None)
