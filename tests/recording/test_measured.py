"""A measured matrix read by its side-car: every layout of one array gives the same recording."""

import contextlib
import io

import numpy as np
import pytest
from scipy.io import savemat

from qualify.errors import InputError
from qualify.files import digest
from qualify.recording.arrays import array_from_bytes
from qualify.recording.measured import import_recording
from qualify.recording.pair_order import column_order
from qualify.recording.record import full_matrix, half_matrix
from tests.recording.made import counted, mat73_bytes, side_car_fields, write_side_car

AXES = ("transmit", "receive", "sample")


def npy(array) -> bytes:
    out = io.BytesIO()
    np.save(out, array)
    return out.getvalue()


def brought_in(folder, content: bytes, **changed):
    fields = side_car_fields(**changed)
    (folder / fields["array"]).write_bytes(content)
    return import_recording(write_side_car(folder, fields))


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1)])
def test_the_axes_are_what_the_side_car_says(tmp_path, order):
    """The value of each sample tells its transmitter, receiver and number."""
    content = npy(counted().transpose(order))
    found = brought_in(tmp_path, content, axes=tuple(AXES[k] for k in order))
    assert found.samples.dtype == np.float32
    assert found.samples[2, 3, 5] == 1000 * 2 + 100 * 3 + 5 - 1500
    np.testing.assert_array_equal(found.samples, counted())
    assert found.full_scale == 32767


def test_mat_files_of_both_versions_give_the_same_recording(tmp_path):
    """Version 7.3 is HDF5 and stores the axes reversed; shown, the arrays are the same."""
    shown = counted().transpose(2, 0, 1)
    old = io.BytesIO()
    savemat(old, {"fmc": shown, "else": np.zeros(3)})
    axes = ("sample", "transmit", "receive")
    told = {"array_format": "mat", "variable": "fmc", "axes": axes}
    five = brought_in(tmp_path, old.getvalue(), array="v5.mat", **told)
    seven = brought_in(tmp_path, mat73_bytes("fmc", shown), array="v73.mat", **told)
    np.testing.assert_array_equal(five.samples, counted())
    np.testing.assert_array_equal(seven.samples, counted())
    assert five.full_scale == seven.full_scale == 32767


def test_npz_by_its_variable(tmp_path):
    out = io.BytesIO()
    np.savez_compressed(out, other=np.zeros(2), fmc=counted())
    told = {"array": "m.npz", "array_format": "npz", "variable": "fmc", "axes": AXES}
    np.testing.assert_array_equal(brought_in(tmp_path, out.getvalue(), **told).samples, counted())


def symmetric() -> np.ndarray:
    full = counted().astype(np.float64)
    return np.maximum(full, full.transpose(1, 0, 2))


def test_pair_orders():
    """By column: 1-1, 1-2, 2-2, 1-3, 2-3, 3-3, counted by hand for three elements.

    By row they are 1-1, 1-2, 1-3, 2-2, 2-3, 3-3, so that these lie at 0, 1, 3, 2, 4, 5.
    """
    assert list(column_order(3)) == [0, 1, 3, 2, 4, 5]


@pytest.mark.parametrize("turned", [False, True])
def test_half_a_matrix_by_row_and_by_column(tmp_path, turned):
    full = symmetric()
    rows = np.array([full[i, j] for i in range(4) for j in range(i, 4)])
    columns = np.array([full[i, j] for j in range(4) for i in range(j + 1)])
    axes = ("sample", "pair") if turned else ("pair", "sample")
    for order, pairs in (("by_row", rows), ("by_column", columns)):
        content = npy(pairs.T if turned else pairs)
        found = brought_in(tmp_path, content, matrix="half", axes=axes, pair_order=order)
        assert found.is_half
        assert found.full_scale is None
        np.testing.assert_array_equal(full_matrix(found.samples), full)
        np.testing.assert_array_equal(half_matrix(full_matrix(found.samples)), found.samples)


def test_a_full_matrix_by_pairs(tmp_path):
    full = counted()
    told = {"axes": ("pair", "sample")}
    by_row = brought_in(tmp_path, npy(full.reshape(16, 6)), pair_order="by_row", **told)
    columns = np.array([full[i, j] for j in range(4) for i in range(4)])
    by_column = brought_in(tmp_path, npy(columns), pair_order="by_column", **told)
    np.testing.assert_array_equal(by_row.samples, full)
    np.testing.assert_array_equal(by_column.samples, full)


def test_unsigned_integers_about_their_zero_level(tmp_path):
    """12 bits of offset binary in uint16, told by full_scale; else the nearer end of the type."""
    raw = (counted() % 4096).astype(np.uint16)
    found = brought_in(tmp_path, npy(raw), axes=AXES, zero_level=2048, full_scale=2047)
    np.testing.assert_array_equal(found.samples, raw.astype(np.float64) - 2048)
    assert found.full_scale == 2047
    assert brought_in(tmp_path, npy(raw), axes=AXES, zero_level=2048).full_scale == 2048


def test_files_and_words_are_recorded(tmp_path):
    content = npy(counted())
    told = {"axes": AXES, "procedure": "P-7", "block": "RB-01", "position_mm": 12.5, "gain_db": 40}
    found = brought_in(tmp_path, content, **told)
    side_car = (tmp_path / "good.toml").read_bytes()
    assert found.provenance.files == (("good.toml", digest(side_car)), ("m.npy", digest(content)))
    assert (found.provenance.signal, found.provenance.procedure) == ("measured", "P-7")
    assert (found.block, found.position_mm, found.gain_db) == ("RB-01", 12.5, 40.0)
    assert (found.sampling_mhz, found.start_us) == (50.0, 1.5)


def test_an_array_is_never_unpickled():
    """A pickle that would call a function is refused before it is read."""

    class Trap:
        def __reduce__(self):
            return pytest.fail, ("it was executed",)

    out = io.BytesIO()
    np.save(out, np.array([Trap()], dtype=object), allow_pickle=True)
    with pytest.raises(InputError, match="holds objects; save numbers only"):
        array_from_bytes(out.getvalue(), "npy", None, "m.npy")


@pytest.mark.parametrize("place", [0.3, 0.6, 0.9])
@pytest.mark.parametrize("kind", ["npy", "npz", "mat", "mat73"])
def test_a_damaged_or_short_array_is_an_input_error_or_read(kind, place):
    """Never another exception; what has no checksum may be read with a wrong value."""
    out = io.BytesIO()
    if kind == "npz":
        np.savez_compressed(out, fmc=counted())
    elif kind == "mat":
        savemat(out, {"fmc": counted()}, do_compression=True)
    good = {"npy": npy(counted()), "mat73": mat73_bytes("fmc", counted())}.get(kind, out.getvalue())
    at = int(place * len(good))
    flipped = good[:at] + bytes([good[at] ^ 0xFF]) + good[at + 1 :]
    variable = None if kind == "npy" else "fmc"
    with pytest.raises(InputError):
        array_from_bytes(good[:at], kind[:3], variable, "m")
    with contextlib.suppress(InputError):
        assert array_from_bytes(flipped, kind[:3], variable, "m").size
