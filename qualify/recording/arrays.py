"""Arrays out of the bytes of NumPy files and MAT-files; nothing in them is ever executed.

A MAT-file of version 7.3 is HDF5 and holds its arrays with the order of axes reversed; they are
turned back here, so that an array is as it is shown where it was made, whatever the version.
"""

import io
import zipfile
import zlib
from collections.abc import Callable
from typing import Any, Literal

import h5py
import numpy as np
from numpy.typing import NDArray

from qualify.errors import InputError, refuse

Numbers = NDArray[Any]
ArrayFormat = Literal["npy", "npz", "mat"]
SIGNATURE = b"\x89HDF\r\n\x1a\n"
USER_BLOCK = 512
UNREADABLE = (
    OSError, EOFError, ValueError, TypeError, KeyError, RuntimeError, NotImplementedError,
    MemoryError, IndexError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip


def array_from_bytes(content: bytes, kind: ArrayFormat, variable: str | None, name: str) -> Numbers:
    """Return the array in a file, of whatever type of number.

    Raises
    ------
    InputError : with `name`, where the file is not of its kind, is damaged, lacks the variable,
        or the variable is no plain array.
    """
    readers: dict[str, Callable[[], Any]] = {
        "npy": lambda: _npy(content, name),
        "npz": lambda: _npz(content, str(variable), name),
        "mat": lambda: _mat(content, str(variable), name),
    }
    try:
        found = readers[kind]()
    except InputError:
        raise
    except UNREADABLE as error:
        if "pickle" in str(error) or "Object arrays" in str(error):
            raise _no_numbers(name, "holds objects", "numbers") from None
        words = " ".join(str(error).split()) or type(error).__name__
        raise refuse(name, f"can't be read as {kind} ({words})", f"give a {kind} file") from None
    if not isinstance(found, np.ndarray):
        raise _no_numbers(name, f"'{variable}' is no plain array", "an array of numbers")
    return found


def _no_numbers(name: str, found: str, wanted: str) -> InputError:
    return refuse(name, found, f"save {wanted} only")


def _npy(content: bytes, name: str) -> Any:
    if not content.startswith(b"\x93NUMPY"):
        raise refuse(name, "is not an npy file", "save the array with numpy.save")
    return np.load(io.BytesIO(content), allow_pickle=False)


def _npz(content: bytes, variable: str, name: str) -> Any:
    if not content.startswith(b"PK"):
        raise refuse(name, "is not an npz file", "save the array with numpy.savez")
    with np.load(io.BytesIO(content), allow_pickle=False) as held:
        _check_held(variable, list(held.files), name)
        return held[variable]


def _mat(content: bytes, variable: str, name: str) -> Any:
    if SIGNATURE in (content[:8], content[USER_BLOCK : USER_BLOCK + 8]):
        return _mat_hdf5(content, variable, name)
    from scipy.io import loadmat, whosmat
    from scipy.io.matlab import MatReadError

    stream: Any = io.BytesIO(content)
    try:
        _check_held(variable, [item[0] for item in whosmat(stream)], name)
        return loadmat(stream, variable_names=[variable])[variable]
    except MatReadError as error:
        raise ValueError(str(error)) from None


def _mat_hdf5(content: bytes, variable: str, name: str) -> Any:
    with h5py.File(io.BytesIO(content), "r") as file:
        _check_held(variable, [key for key in file if not key.startswith("#")], name)
        found = own_data(file, variable, name)
        if not isinstance(found, h5py.Dataset) or found.dtype.hasobject:
            return None
        if found.dtype.names:
            told = found.dtype.names == ("real", "imag")
            return np.zeros(found.shape[::-1], np.complex128) if told else None
        return np.transpose(found[()])


def own_data(file: Any, key: str, name: str) -> Any:
    """Return what lies under a key of an HDF5 file, if it lies in that file itself.

    Raises
    ------
    InputError : where it is a link, or its numbers lie in another file.
    """
    linked = not isinstance(file.get(key, getlink=True), h5py.HardLink)
    found = None if linked else file[key]
    if linked or (isinstance(found, h5py.Dataset) and (found.external or found.is_virtual)):
        raise refuse(f"{name}: {key}", "lies in another file", "give one file that holds it all")
    return found


def _check_held(variable: str, held: list[str], name: str) -> None:
    if variable not in held:
        listed = ", ".join(sorted(held)) or "nothing"
        raise refuse(name, f"has no variable '{variable}'", f"name one that it holds: {listed}")
