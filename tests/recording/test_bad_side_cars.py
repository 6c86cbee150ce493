"""Every bad side-car and array is refused with one fault that says where, what and what instead.

One good side-car with one thing wrong each time; the command line ends with exit code 2.
"""

import io
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from scipy.io import savemat
from scipy.sparse import csc_array
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.errors import InputError
from qualify.recording.measured import import_recording
from tests.recording.made import counted, mat73_bytes, side_car_fields, write_side_car

RUN = CliRunner()
GOOD = counted().transpose(2, 1, 0)  # sample, receive, transmit
PROBE = side_car_fields()["probe"]
ARRAY = "good.toml: array m.npy: "


def npy(array: Any, **more: Any) -> bytes:
    out = io.BytesIO()
    np.save(out, array, **more)
    return out.getvalue()


def npz(**arrays: Any) -> bytes:
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()


def mat(**arrays: Any) -> bytes:
    out = io.BytesIO()
    savemat(out, arrays)
    return out.getvalue()


@dataclass(frozen=True)
class Bad:
    """Changed keys of the side-car, bytes of the array, and what the message must hold."""

    words: str
    changed: dict[str, Any] = field(default_factory=dict)
    content: bytes = npy(GOOD)


def with_nan() -> np.ndarray:
    values = GOOD.astype(np.float64)
    values[2, 1, 0] = np.nan
    return values


def cells() -> np.ndarray:
    held = np.empty((4, 4, 6), dtype=object)
    held[:] = "x"
    return held


IN_NPZ = {"array": "m.npz", "array_format": "npz"}
IN_MAT = {"array": "m.mat", "array_format": "mat"}
HALF = {"matrix": "half", "axes": ("pair", "sample"), "pair_order": "by_row"}
BAD = {
    # the side-car
    "no sampling": Bad("good.toml: sampling_mhz: is missing; give a value", {"sampling_mhz": None}),
    "no start": Bad("good.toml: start_us: is missing", {"start_us": None}),
    "no probe": Bad("good.toml: probe: is missing", {"probe": None}),
    "no pitch": Bad(
        "good.toml: probe.pitch_mm: is missing",
        {"probe": {k: v for k, v in PROBE.items() if k != "pitch_mm"}},
    ),
    "spelling": Bad("good.toml: samplingmhz: is not a known key", {"samplingmhz": 50.0}),
    "negative sampling": Bad(
        "good.toml: sampling_mhz: found -50.0; input should be greater than 0",
        {"sampling_mhz": -50.0},
    ),
    "infinite start": Bad("good.toml: start_us: found inf; input", {"start_us": float("inf")}),
    "sampling in words": Bad(
        "good.toml: sampling_mhz: found 'fast'; input should be a valid number",
        {"sampling_mhz": "fast"},
    ),
    "format": Bad("good.toml: format: found 2; input should be 1", {"format": 2}),
    "kind of array": Bad(
        "good.toml: array_format: found 'csv'; input should be 'npy', 'npz' or 'mat'",
        {"array_format": "csv"},
    ),
    "kind of coupling": Bad(
        "good.toml: coupling: ", {"coupling": {"kind": "gel"}},
    ),
    "wedge without height": Bad(
        "good.toml: coupling.wedge.height_mm: is missing",
        {"coupling": {"kind": "wedge", "longitudinal_m_per_s": 2330.0}},
    ),
    "axis twice": Bad(
        "good.toml: axes are sample, receive, receive; name transmit, receive and sample once",
        {"axes": ("sample", "receive", "receive")},
    ),
    "axis unknown": Bad(
        "good.toml: axes.3: found 'time'; input should be 'transmit', 'receive', 'sample' or",
        {"axes": ("transmit", "receive", "time")},
    ),
    "half by elements": Bad(
        "good.toml: half a matrix with axes by elements; give it with axes pair and sample",
        {"matrix": "half"},
    ),
    "pairs without order": Bad(
        "good.toml: axes are pair, sample, without pair_order; say whether pairs come by_row or",
        HALF | {"pair_order": None},
    ),
    "order without pairs": Bad(
        "good.toml: pair_order is 'by_row', and axes are sample, receive, transmit, without a pair "
        "axis; remove pair_order, or", {"pair_order": "by_row"},
    ),
    "npy with variable": Bad(
        "good.toml: variable is 'fmc', and array_format is 'npy', which holds one array without a "
        "name; remove variable, or", {"variable": "fmc"},
    ),
    "npz without variable": Bad(
        "good.toml: array_format is 'npz', without variable; name the array in it", IN_NPZ,
    ),
    "seed of a measurement": Bad(
        "good.toml: seed or left_out of a measured matrix; they belong to simulated", {"seed": 7},
    ),
    "absolute file": Bad(
        "good.toml: array is '/data/m.npy'; name the file relative to the side-car",
        {"array": "/data/m.npy"},
    ),
    "true is no number": Bad(
        "good.toml: sampling_mhz: found true; give a number", {"sampling_mhz": True},
    ),
    "text is no number": Bad(
        "good.toml: medium.longitudinal_m_per_s: found '5920'; give a number without quotes",
        {"medium": {"longitudinal_m_per_s": "5920"}},
    ),
    "true is no count": Bad(
        "good.toml: format: found true; give a number", {"format": True},
    ),
    "velocity in km/s": Bad(
        "good.toml: medium.longitudinal_m_per_s: found 5.9 metres a second; a velocity of sound "
        "lies between 300 and 20000 metres a second", {"medium": {"longitudinal_m_per_s": 5.9}},
    ),
    "velocity in mm/s": Bad(
        "medium.longitudinal_m_per_s: found 5.9e+06 metres a second",
        {"medium": {"longitudinal_m_per_s": 5.9e6}},
    ),
    "water in km/s": Bad(
        "good.toml: coupling.water.longitudinal_m_per_s: found 1.48 metres a second",
        {"coupling": {"kind": "water", "longitudinal_m_per_s": 1.48, "height_mm": 9}},
    ),
    "centre in Hz": Bad(
        "good.toml: probe.centre_mhz: found 5e+06 megahertz; the centre frequency of an array lies "
        "between 0.05 and 200 megahertz", {"probe": PROBE | {"centre_mhz": 5e6}},
    ),
    "pitch in µm": Bad(
        "good.toml: probe.pitch_mm: found 600 millimetres; the pitch of an array lies between",
        {"probe": PROBE | {"pitch_mm": 600}},
    ),
    "elements overlap": Bad(
        "good.toml: probe: element_width_mm 0.7 is larger than pitch_mm 0.6; elements do not",
        {"probe": PROBE | {"element_width_mm": 0.7}},
    ),
    # twice 5 (1 + 0.35): the sampling theorem
    "sampling too slow": Bad(
        "good.toml: sampling_mhz 13 is less than twice the upper end of the probe's band, 6.75 "
        "megahertz; mend sampling_mhz, probe.centre_mhz or", {"sampling_mhz": 13.0},
    ),
    # its end lies 0.9 sin 30° = 0.45 mm lower than its middle
    "elements in the block": Bad(
        "good.toml: the array of 1.8 mm, tilted by 30 degrees at a height of 0.4 mm, has an "
        "element 0.05 mm below the scan face; give coupling.height_mm of the middle of the array",
        {"coupling": {
            "kind": "wedge", "longitudinal_m_per_s": 2330, "height_mm": 0.4, "angle_deg": 30,
        }},
    ),
    # the array
    "no such file": Bad(
        "good.toml: array gone.npy: no such file; check the name", {"array": "gone.npy"},
    ),
    "not npy": Bad(ARRAY + "is not an npy file; save the array with numpy.save", {}, b"1,2,3"),
    "empty": Bad(ARRAY + "is not an npy file", {}, b""),
    "cut short": Bad(ARRAY + "can't be read as npy (", {}, npy(GOOD)[:-9]),
    "objects": Bad(
        ARRAY + "holds objects; save numbers only",
        {}, npy(np.array([None, "x"], dtype=object), allow_pickle=True),
    ),
    "complex": Bad(
        ARRAY + "holds complex numbers; give the signals as recorded, real numbers",
        {}, npy(GOOD * 1j),
    ),
    "yes and no": Bad(ARRAY + "holds bool values; give integers or real", {}, npy(GOOD > 0)),
    "text": Bad(ARRAY + "holds str", {}, npy(GOOD.astype(str))),
    "not a number": Bad(
        ARRAY + "1 of 96 values are no finite number in single precision", {}, npy(with_nan()),
    ),
    "beyond single precision": Bad(
        ARRAY + "96 of 96 values are no finite number", {}, npy(np.full(GOOD.shape, 1e39)),
    ),
    "unsigned": Bad(
        ARRAY + "holds uint16, which has no negative values, with zero_level 0; say in zero_level",
        {}, npy(GOOD.astype(np.uint16)),
    ),
    "zero level out of reach": Bad(
        ARRAY + "holds int16, and zero_level 40000 lies at or beyond", {"zero_level": 40000},
    ),
    "one axis too few": Bad(
        ARRAY + "has 2 axes, shape (24, 4); axes names 3: sample, receive, transmit",
        {}, npy(GOOD.reshape(24, 4)),
    ),
    "one element too many": Bad(
        ARRAY + "axis 3 (transmit) has length 5, shape (6, 4, 5); 4 elements in a full matrix "
        "give 4", {}, npy(np.zeros((6, 4, 5))),
    ),
    "one sample": Bad(
        ARRAY + "axis 1 (sample) has length 1; give 2 or more", {}, npy(np.zeros((1, 4, 4))),
    ),
    "pairs of another array": Bad(
        ARRAY + "axis 1 (pair) has length 16, shape (16, 6); 4 elements in a half matrix give 10",
        HALF, npy(counted().reshape(16, 6)),
    ),
    "npz lacks it": Bad(
        "good.toml: array m.npz: has no variable 'fmc'; name one that it holds: a, b",
        IN_NPZ | {"variable": "fmc"}, npz(a=GOOD, b=GOOD),
    ),
    "npy named npz": Bad(
        "good.toml: array m.npz: is not an npz file", IN_NPZ | {"variable": "fmc"}, npy(GOOD),
    ),
    "mat lacks it": Bad(
        "good.toml: array m.mat: has no variable 'FMC'; name one that it holds: fmc",
        IN_MAT | {"variable": "FMC"}, mat(fmc=GOOD),
    ),
    "mat 7.3 lacks it": Bad(
        "good.toml: array m.mat: has no variable 'FMC'; name one that it holds: fmc",
        IN_MAT | {"variable": "FMC"}, mat73_bytes("fmc", GOOD),
    ),
    "mat 7.3 complex": Bad(
        "good.toml: array m.mat: holds complex numbers",
        IN_MAT | {"variable": "fmc"}, mat73_bytes("fmc", GOOD * 1j),
    ),
    "mat cells": Bad(
        "good.toml: array m.mat: holds object values; give integers or real numbers",
        IN_MAT | {"variable": "fmc"}, mat(fmc=cells()),
    ),
    "mat structure": Bad(
        "good.toml: array m.mat: holds void", IN_MAT | {"variable": "fmc"}, mat(fmc={"a": GOOD}),
    ),
    "mat sparse": Bad(
        "good.toml: array m.mat: 'fmc' is no plain array; save an array of numbers only",
        IN_MAT | {"variable": "fmc"}, mat(fmc=csc_array(np.eye(4))),
    ),
    "not mat": Bad(
        "good.toml: array m.mat: can't be read as mat (", IN_MAT | {"variable": "fmc"}, b"x" * 300,
    ),
}  # fmt: skip


@pytest.fixture
def written(tmp_path):
    def write(bad: Bad):
        fields = side_car_fields(**bad.changed)
        if not fields["array"].startswith(("/", "gone")):
            (tmp_path / fields["array"]).write_bytes(bad.content)
        return write_side_car(tmp_path, fields)

    return write


def test_the_good_one_is_accepted(written):
    found = import_recording(written(Bad("")))
    np.testing.assert_array_equal(found.samples, counted())


@pytest.mark.parametrize("what", BAD)
def test_a_bad_one_is_refused_in_words(what, written):
    bad = BAD[what]
    path = written(bad)
    with pytest.raises(InputError) as refused:
        import_recording(path, path.name)
    assert bad.words in str(refused.value)
    assert len(refused.value.faults) == 1, "one thing is wrong, one fault is named"
    for command in (["check", path], ["record", path, "--out", path.parent / "r.h5"]):
        result = RUN.invoke(app, [str(part) for part in command])
        assert result.exit_code == 2
        assert result.stdout == ""
        assert bad.words in result.stderr
        assert result.stderr.count("error: ") == 1
    assert not (path.parent / "r.h5").exists()


@pytest.mark.parametrize("changed", [{"sampling_mhz": 13.5}, {"start_us": 2}, {"coupling": {
    "kind": "wedge", "longitudinal_m_per_s": 2330, "height_mm": 0.46, "angle_deg": -30,
}}])  # fmt: skip
def test_at_the_limit_it_is_accepted(changed, written):
    assert import_recording(written(Bad("", changed))).sample_count == 6


def test_all_faults_of_an_array_are_told_at_once(written):
    bad = Bad("", {}, npy(np.zeros((6, 3, 5), np.complex64)))
    with pytest.raises(InputError) as refused:
        import_recording(written(bad))
    assert len(refused.value.faults) == 3
