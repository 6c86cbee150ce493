"""The images of one recording as one HDF5 file, and back.

Layout, format number 1. Units stand in the names.

- `/` attributes `format` (the words of `FORMAT`), `format_number`, `recording` (digest of the
  samples), `signal`.
- `/grid` attributes `x_from_mm`, `z_from_mm`, `step_x_mm`, `step_z_mm`, `columns`, `rows`.
- `/images/NAME` a group for each mode: `values` float32 (rows, columns), depth downwards;
  `covered` uint8, 1 where the mode shows anything; `recorded` uint8, 0 where a delay lies outside
  the recorded time; attributes `mode`, `method`, `unit` (`db` re
  full scale of one received signal, or `coherence`), `number` (place in the order of modes), and of
  a coherence `random_level` and `random_99`.

No time is stored, so that images give the same bytes in every process.
"""

import io
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from qualify.errors import InputError, refuse
from qualify.imaging.grid import Grid, Image
from qualify.recording.arrays import SIGNATURE

FORMAT, FORMAT_NUMBER = "qualify images", 1


def images_bytes(images: Sequence[Image]) -> bytes:
    """Return images of one recording, on one grid, as the bytes of one HDF5 file.

    Raises
    ------
    ValueError : if there is none, or they are of several recordings or grids.
    """
    if len({(image.recording, image.grid) for image in images}) != 1:
        msg = "images of one file are of one recording and on one grid"
        raise ValueError(msg)
    out = io.BytesIO()
    with h5py.File(out, "w", libver="v110") as file:
        file.attrs["format"] = FORMAT
        file.attrs["format_number"] = FORMAT_NUMBER
        file.attrs["recording"] = images[0].recording
        file.attrs["signal"] = images[0].signal
        grid = file.create_group("grid", track_times=False)
        for key, value in asdict(images[0].grid).items():
            grid.attrs[key] = value
        group = file.create_group("images", track_times=False)
        for number, image in enumerate(images):
            _write(group.create_group(image.mode, track_times=False), image, number)
    return out.getvalue()


def images_from_bytes(content: bytes, name: str) -> tuple[Image, ...]:
    """Return the images in the bytes of a file, in the order they were written.

    Raises
    ------
    InputError : where it is not HDF5, holds no images, is of another format number or damaged.
    """
    if not content.startswith(SIGNATURE):
        raise refuse(name, "is not an HDF5 file", "give images.h5 of a run of qualify image")
    try:
        with h5py.File(io.BytesIO(content), "r") as file:
            return _read(file, name)
    except InputError:
        raise
    except (OSError, RuntimeError, KeyError, ValueError, TypeError) as error:
        words = " ".join(str(error).split())
        raise refuse(name, f"is damaged ({words})", "image the recording anew") from None


def _write(group: Any, image: Image, number: int) -> None:
    held: dict[str, NDArray[Any]] = {"values": image.values}
    for key, mask in (("covered", image.covered), ("recorded", image.recorded)):
        if mask is not None:
            held[key] = mask.astype(np.uint8)
    for key, values in held.items():
        group.create_dataset(
            key, data=values, chunks=values.shape, fletcher32=True, track_times=False
        )
    for key in ("mode", "method", "unit", "random_level", "random_99"):
        value = getattr(image, key)
        if value is not None:
            group.attrs[key] = value
    group.attrs["number"] = number


def _read(file: Any, name: str) -> tuple[Image, ...]:
    found = file.attrs.get("format")
    if found != FORMAT:
        raise refuse(name, "holds no images", "give images.h5 of a run of qualify image")
    if file.attrs["format_number"] != FORMAT_NUMBER:
        raise refuse(
            name,
            f"is of format number {file.attrs['format_number']}",
            f"image anew with this version, which reads {FORMAT_NUMBER}",
        )
    fields = {key: value.item() for key, value in file["grid"].attrs.items()}
    grid = Grid(**fields)
    groups = sorted(file["images"].values(), key=lambda group: int(group.attrs["number"]))
    return tuple(_image(group, grid, file.attrs) for group in groups)


def _image(group: Any, grid: Grid, attributes: Any) -> Image:
    attrs = group.attrs
    recorded = group["recorded"][()].astype(np.bool_) if "recorded" in group else None
    return Image(
        values=group["values"][()],
        unit=attrs["unit"],
        grid=grid,
        mode=attrs["mode"],
        method=attrs["method"],
        covered=group["covered"][()].astype(np.bool_),
        signal=attributes["signal"],
        recording=attributes["recording"],
        random_level=_level(attrs, "random_level"),
        random_99=_level(attrs, "random_99"),
        recorded=recorded,
    )


def _level(attributes: Any, key: str) -> float | None:
    return float(attributes[key]) if key in attributes else None
