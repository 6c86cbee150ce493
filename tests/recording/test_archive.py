"""A recording as one HDF5 file comes back the same, gives the same bytes, and tells damage."""

import hashlib
import io
import subprocess
import sys
from dataclasses import replace

import h5py
import numpy as np
import pytest

from qualify.errors import InputError
from qualify.recording.archive import recording_bytes, recording_from_bytes
from qualify.recording.record import Recording, samples_digest
from tests.recording.made import points, told_in_full

MAKE = """
import hashlib
from qualify.recording.archive import recording_bytes
from tests.recording.made import told_in_full
print(hashlib.sha256(recording_bytes(told_in_full())).hexdigest())
"""


def fields(recording: Recording) -> dict:
    return {name: getattr(recording, name) for name in Recording.__slots__ if name != "samples"}


@pytest.mark.parametrize("make", [points, told_in_full])
def test_a_recording_comes_back_the_same(make):
    before = make()
    after = recording_from_bytes(recording_bytes(before), "r.h5")
    assert fields(after) == fields(before)
    assert after.samples.dtype == np.float32
    assert after.is_half == before.is_half
    np.testing.assert_array_equal(after.samples, before.samples)
    assert recording_bytes(after) == recording_bytes(before)


def test_the_bytes_are_the_same_in_every_process():
    made = subprocess.run(
        [sys.executable, "-c", MAKE], check=True, capture_output=True, text=True
    ).stdout.strip()
    assert made == hashlib.sha256(recording_bytes(told_in_full())).hexdigest()


def test_the_digest_is_that_of_the_numbers():
    """SHA-256 over shape and little-endian float32: rebuilt here from its description alone."""
    samples = np.arange(12, dtype=np.float32).reshape(3, 4)
    told = hashlib.sha256(b"(3, 4)" + b"".join(x.astype("<f4").tobytes() for x in samples))
    assert samples_digest(samples) == told.hexdigest()


def test_a_stranger_can_read_it_with_the_layout_of_the_docstring():
    recording = told_in_full()
    with h5py.File(io.BytesIO(recording_bytes(recording)), "r") as file:
        assert file.attrs["format_number"] == 1
        assert file["samples"].attrs["axes"] == "transmit, receive, sample"
        assert file["samples"].fletcher32
        assert file["description"].attrs["sampling_mhz"] == recording.sampling_mhz
        assert file["description/probe"].attrs["pitch_mm"] == recording.probe.pitch_mm
        assert file["description/coupling"].attrs["height_mm"] == 12.0
        assert file["description/provenance"].attrs["seed"] == "18446744073709551615"
        np.testing.assert_array_equal(file["samples"][()], recording.samples)


def changed(change) -> bytes:
    """Return the bytes of a good recording after `change` of the open file."""
    stream = io.BytesIO(recording_bytes(points()))
    with h5py.File(stream, "r+") as file:
        change(file)
    return stream.getvalue()


def one_sample(file):
    file["samples"][3, 7] += 1.0


def fewer_pairs(file):
    short = file["samples"][:-1]
    del file["samples"]
    file["samples"] = short
    file.attrs["samples_sha256"] = samples_digest(short)


def as_float64(file):
    wide = file["samples"][()].astype(np.float64)
    del file["samples"]
    file["samples"] = wide


def not_a_number(file):
    file["samples"][0, 0] = np.nan
    file.attrs["samples_sha256"] = samples_digest(file["samples"][()])


def linked_elsewhere(file):
    del file["samples"]
    file["samples"] = h5py.ExternalLink("other.h5", "/samples")


def stored_elsewhere(file):
    shape = file["samples"].shape
    del file["samples"]
    file.create_dataset("samples", shape, "<f4", external=[("other.bin", 0, h5py.h5f.UNLIMITED)])


def claimed_to_be_huge(file):
    del file["samples"]
    file.create_dataset("samples", (136, 10**9), "<f4", chunks=(1, 10**6))


def on_a_steep_low_wedge(file):
    """16 elements of 0.6 mm: the lower end lies 4.5 sin 30° = 2.25 mm below the middle."""
    file["description/coupling"].attrs.update(
        {"kind": "wedge", "longitudinal_m_per_s": 2330.0, "height_mm": 2.0, "angle_deg": 30.0}
    )


WRONG = {
    "elements in the block": (on_a_steep_low_wedge, "has an element 0.25 mm below the scan face"),
    "sampling too slow": (
        lambda file: file["description"].attrs.__setitem__("sampling_mhz", 12.0),
        "r.h5: sampling_mhz 12 is less than twice the upper end of the probe's band",
    ),
    "velocity in km/s": (
        lambda file: file["description/medium"].attrs.__setitem__("longitudinal_m_per_s", 5.9),
        "r.h5: medium.longitudinal_m_per_s: found 5.9 metres a second",
    ),
    "link": (linked_elsewhere, "r.h5: samples: lies in another file; give one file that holds"),
    "stored elsewhere": (stored_elsewhere, "r.h5: samples: lies in another file"),
    "huge": (claimed_to_be_huge, "r.h5: samples: of shape (136, 1000000000) are not in the file"),
    "one sample": (one_sample, "r.h5: samples: changed since the file was written: SHA-256 is "),
    "a fact": (
        lambda file: file["description"].attrs.__setitem__("sampling_mhz", 51.0),
        "r.h5: description: changed since the file was written: SHA-256 is ",
    ),
    "format": (lambda file: file.attrs.__setitem__("format", "else"), "no recording of this tool"),
    "format number": (
        lambda file: file.attrs.__setitem__("format_number", 2),
        "r.h5: format_number: found 2; this tool reads 1",
    ),
    "no samples": (lambda file: file.__delitem__("samples"), "r.h5: samples: is missing"),
    "no description": (
        lambda file: file.__delitem__("description"), "r.h5: description: is missing",
    ),
    "missing field": (
        lambda file: file["description/probe"].attrs.__delitem__("pitch_mm"),
        "r.h5: probe.pitch_mm: is missing; give a value",
    ),
    "unknown field": (
        lambda file: file["description/probe"].attrs.__setitem__("colour", "red"),
        "r.h5: probe.colour: is not a known key",
    ),
    "shape": (fewer_pairs, "r.h5: samples: samples of shape (135, 512) do not fit 16 elements"),
    "type": (as_float64, "r.h5: samples: are float64; samples are float32"),
    "not a number": (not_a_number, "r.h5: samples: hold values that are no number"),
}  # fmt: skip


@pytest.mark.parametrize("what", WRONG)
def test_a_wrong_file_is_refused_in_words(what):
    change, words = WRONG[what]
    with pytest.raises(InputError) as refused:
        recording_from_bytes(changed(change), "r.h5")
    assert words in str(refused.value)
    assert len(refused.value.faults) == 1


def test_a_changed_sample_is_told_with_both_digests():
    wanted, spoiled = samples_digest(points().samples), points().samples.copy()
    spoiled[3, 7] += 1.0
    with pytest.raises(InputError) as refused:
        recording_from_bytes(changed(one_sample), "r.h5")
    assert samples_digest(spoiled) in str(refused.value)
    assert wanted in str(refused.value)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"not HDF5 at all"])
def test_what_is_not_hdf5_is_refused(content):
    with pytest.raises(InputError, match=r"r\.h5: is not an HDF5 file"):
        recording_from_bytes(content, "r.h5")


@pytest.mark.parametrize("place", [0.15, 0.4, 0.9])
def test_a_damaged_byte_or_a_lost_end_is_an_input_error(place):
    good = recording_bytes(points())
    at = int(place * len(good))
    flipped = good[:at] + bytes([good[at] ^ 0xFF]) + good[at + 1 :]
    for bad in (flipped, good[:at]):
        with pytest.raises(InputError, match=r"r\.h5: is damaged"):
            recording_from_bytes(bad, "r.h5")


def test_a_recording_that_could_not_be_read_back_is_not_written():
    with pytest.raises(ValueError, match="sampling_mhz"):
        recording_bytes(replace(points(), sampling_mhz=-1.0))
