"""The images of one place of a trial as one small HDF5 file, and back.

Layout, format number 1: `/values` float32 (modes, rows, columns), in the order of the plan;
`/masks` the bits of `covered` and `recorded` of each mode, first to last; attribute `description`,
JSON text: everything else of the images and of the job, with the digests of samples and inputs; of
a recording that was given, also where it comes from and what the gate says.
Deflated, with checksums; no time is stored, so that an image gives the same bytes every time.
"""

import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any, Literal

import h5py
import numpy as np
from pydantic import BaseModel

from qualify.blocks.metrology import STRICT
from qualify.errors import InputError, refuse
from qualify.files import canonical_json, validated
from qualify.imaging.controls import PositiveControl
from qualify.imaging.grid import Grid, Image, Mask, Values
from qualify.recording.arrays import SIGNATURE

FORMAT, FORMAT_NUMBER = "qualify trial images", 1
ANEW = "remove it; it is made anew"
MOST_VALUES = 2**28


@dataclass(frozen=True, slots=True)
class TrialImage:
    """The images of one recording of a trial.

    Attributes
    ----------
    name, block, x_mm, y_mm, repeat, twin, loss_db : of the job; of a recording that was given, its
        name and, where they are told, the block and x of the middle of the array.
    images : one a mode, in the order of the plan.
    controls : of each mode, None where the plan names no known echo.
    samples_sha256 : digest of the recording's samples. inputs_sha256 : of all that this depends on.
    source : of a recording that was given: where it comes from, in words.
    rejected : why the gate rejects it, empty where it does not; None where the gate was not asked.
    """

    name: str
    block: str | None
    x_mm: float | None
    y_mm: float | None
    repeat: int
    twin: bool
    loss_db: float
    images: tuple[Image, ...]
    controls: tuple[PositiveControl | None, ...]
    samples_sha256: str
    inputs_sha256: str
    source: str | None = None
    rejected: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class TrialHead:
    """What a file of images says of itself, its images left unread.

    Attributes
    ----------
    x_mm, inputs_sha256, rejected : as of the images. signal : `simulated` or `measured`.
    modes : name and method, in words, of each mode.
    """

    x_mm: float | None
    signal: Literal["simulated", "measured"]
    inputs_sha256: str
    rejected: tuple[str, ...] | None
    grid: Grid
    modes: tuple[tuple[str, str], ...]


class _Mode(BaseModel):
    """All of an image but its arrays and what is common to all modes."""

    model_config = STRICT
    mode: str
    method: str
    unit: Literal["db", "coherence"]
    random_level: float | None
    random_99: float | None
    fewest_elements: int | None
    control: PositiveControl | None


class _Described(BaseModel):
    """All of a file but its arrays."""

    model_config = STRICT
    format: Literal["qualify trial images"]
    format_number: Literal[1]
    name: str
    block: str | None
    x_mm: float | None
    y_mm: float | None
    repeat: int
    twin: bool
    loss_db: float
    signal: Literal["simulated", "measured"]
    samples_sha256: str
    inputs_sha256: str
    source: str | None = None
    rejected: tuple[str, ...] | None = None
    grid: Grid
    modes: tuple[_Mode, ...]


def trial_image_bytes(held: TrialImage) -> bytes:
    """Return the images of a place as the bytes of one HDF5 file.

    Raises
    ------
    ValueError : if there is none, or they are on several grids.
    """
    if len({image.grid for image in held.images}) != 1:
        msg = "images of one file are on one grid"
        raise ValueError(msg)
    values = np.stack([image.values for image in held.images])
    masks = np.stack([[image.covered, _recorded(image)] for image in held.images])
    bits = np.packbits(masks)
    out = io.BytesIO()
    with h5py.File(out, "w", libver="v110") as file:
        file.attrs["description"] = canonical_json(_described(held)).decode().strip()
        for name, data, chunks in (
            ("values", values, (1, *values.shape[1:])),
            ("masks", bits, bits.shape),
        ):
            file.create_dataset(
                name, data=data, chunks=chunks, shuffle=True, compression="gzip",
                compression_opts=1, fletcher32=True, track_times=False,
            )  # fmt: skip
    return out.getvalue()


def _recorded(image: Image) -> Mask:
    return np.ones(image.grid.shape, np.bool_) if image.recorded is None else image.recorded


def _described(held: TrialImage) -> dict[str, Any]:
    first = held.images[0]
    shared = ("name", "block", "x_mm", "y_mm", "repeat", "twin", "loss_db")
    given = {key: getattr(held, key) for key in ("source", "rejected")}
    own = ("mode", "method", "unit", "random_level", "random_99", "fewest_elements")
    return {
        "format": FORMAT,
        "format_number": FORMAT_NUMBER,
        **{key: getattr(held, key) for key in shared},
        "signal": first.signal,
        **{key: value for key, value in given.items() if value is not None},
        "samples_sha256": held.samples_sha256,
        "inputs_sha256": held.inputs_sha256,
        "grid": asdict(first.grid),
        "modes": [
            {key: getattr(image, key) for key in own}
            | {"control": None if control is None else asdict(control)}
            for image, control in zip(held.images, held.controls, strict=True)
        ],
    }


def trial_image_from_bytes(content: bytes, name: str) -> TrialImage:
    """Return the images of a place from the bytes of their file.

    Raises
    ------
    InputError : where it is not HDF5, holds no images of a trial, or is damaged; `name` is used in
        the message.
    """
    with _opened(content, name) as (file, told):
        values: Values = file["values"][()]
        bits = file["masks"][()]
    return _held(told, values, bits)


def trial_head(content: bytes, name: str) -> TrialHead:
    """Return what a file of images says of itself; its images are not read.

    Raises
    ------
    InputError : where it is no such file, or is damaged where it says so.
    """
    with _opened(content, name) as (_, told):
        modes = tuple((one.mode, one.method) for one in told.modes)
        return TrialHead(
            told.x_mm, told.signal, told.inputs_sha256, told.rejected, told.grid, modes
        )


@contextmanager
def _opened(content: bytes, name: str) -> Iterator[tuple[Any, _Described]]:
    """Give the open file and its description; what HDF5 says against it is told as damage."""
    if not content.startswith(SIGNATURE):
        raise refuse(name, "is not an HDF5 file", "give a file of the images of a trial")
    try:
        with h5py.File(io.BytesIO(content), "r") as file:
            text = file.attrs.get("description")
            if not isinstance(text, str) or FORMAT not in text:
                raise refuse(name, "holds no images of a trial", "give such a file")
            told = validated(_Described, json.loads(text), name)
            shape = (len(told.modes), *told.grid.shape)
            if file["values"].shape != shape or np.prod(shape) > MOST_VALUES:
                raise refuse(name, f"is damaged (values are not {shape})", ANEW)
            yield file, told
    except InputError:
        raise
    except (OSError, RuntimeError, KeyError, ValueError, TypeError) as error:
        words = " ".join(str(error).split())
        raise refuse(name, f"is damaged ({words})", ANEW) from None


def _held(told: _Described, values: Values, bits: Any) -> TrialImage:
    many = len(told.modes)
    bits = np.unpackbits(bits, count=2 * values.size).astype(np.bool_)
    masks = bits.reshape(many, 2, *told.grid.shape)
    images = tuple(
        Image(
            values=values[k],
            grid=told.grid,
            covered=masks[k, 0],
            recorded=masks[k, 1],
            signal=told.signal,
            recording=told.samples_sha256,
            **mode.model_dump(exclude={"control"}),
        )
        for k, mode in enumerate(told.modes)
    )
    return TrialImage(
        images=images,
        controls=tuple(mode.control for mode in told.modes),
        **told.model_dump(include=set(TrialImage.__slots__) - {"images", "controls"}),
    )
