"""A measured matrix read by its side-car, as a recording."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from qualify.errors import Fault, InputError, refuse
from qualify.files import digest, read_bytes, read_toml, validated
from qualify.recording.arrays import Numbers, array_from_bytes
from qualify.recording.pair_order import column_order
from qualify.recording.record import Provenance, Recording, Signals
from qualify.recording.side_car import SideCar


@dataclass(frozen=True, slots=True)
class _Taken:
    samples: Signals
    full_scale: float | None


def import_recording(path: Path, name: str | None = None) -> Recording:
    """Return the recording that a side-car and the array beside it describe.

    Raises
    ------
    InputError : with every fault of the side-car, or every fault of the array.
    """
    name = name or str(path)
    car = validated(SideCar, read_toml(path, name), name)
    content = read_bytes(path.parent / car.array, f"{name}: array {car.array}")
    told = (path.name, digest(read_bytes(path, name)))
    return recording_of(car, content, name, (told,))


def recording_of(
    car: SideCar, content: bytes, name: str, files: tuple[tuple[str, str], ...] = ()
) -> Recording:
    """Return the recording in the bytes of the array that a side-car describes.

    The samples stay in the unit of the array, less its zero level, as float32. A full matrix stays
    full, half a one stays half, in the order of `Recording`.

    Parameters
    ----------
    name : of the side-car, used in messages.
    files : name and digest of files it was read from; that of the array is added.

    Raises
    ------
    InputError : with every fault of the array.
    """
    place = f"{name}: array {car.array}"
    array = array_from_bytes(content, car.array_format, car.variable, place)
    taken = _checked(array, car, place)
    files = (*files, (car.array, digest(content)))
    return Recording(
        samples=taken.samples,
        sampling_mhz=car.sampling_mhz,
        start_us=car.start_us,
        probe=car.probe,
        coupling=car.coupling,
        medium=car.medium,
        provenance=Provenance(car.signal, car.source, car.seed, car.left_out, files, car.procedure),
        full_scale=taken.full_scale,
        gain_db=car.gain_db,
        block=car.block,
        position_mm=car.position_mm,
    )


def _checked(array: Numbers, car: SideCar, place: str) -> _Taken:
    faults = list(_faults_of_type(array, car, place))
    if array.dtype.kind in "iufc":
        faults += _faults_of_shape(array, car, place)
    if faults:
        raise InputError(faults)
    with np.errstate(over="ignore"):
        level = array.astype(np.float64) - car.zero_level if car.zero_level else array
        samples = _arranged(level, car)
    bad = int(np.count_nonzero(~np.isfinite(samples)))
    if bad:
        raise refuse(
            place,
            f"{bad} of {samples.size} values are no finite number in single precision",
            "record anew, or leave this recording out and count it",
        )
    return _Taken(samples, _full_scale(array.dtype, car))


def _faults_of_type(array: Numbers, car: SideCar, place: str) -> Iterator[Fault]:
    if array.dtype.kind == "c":
        yield Fault(place, "holds complex numbers", "give the signals as recorded, real numbers")
    elif array.dtype.kind not in "iuf":
        yield Fault(place, f"holds {array.dtype.name} values", "give integers or real numbers")
    elif array.dtype.kind == "u" and car.zero_level == 0.0:
        yield Fault(
            place,
            f"holds {array.dtype.name}, which has no negative values, with zero_level 0",
            "say in zero_level which value means no signal",
        )
    elif (reach := _full_scale(array.dtype, car)) is not None and reach <= 0.0:
        yield Fault(
            place,
            f"holds {array.dtype.name}, and zero_level {car.zero_level:g} lies at or beyond their "
            "largest or smallest value",
            "give a zero_level between them",
        )


def _faults_of_shape(array: Numbers, car: SideCar, place: str) -> Iterator[Fault]:
    if array.ndim != len(car.axes):
        yield Fault(
            place,
            f"has {array.ndim} axes, shape {array.shape}",
            f"axes names {len(car.axes)}: {', '.join(car.axes)}",
        )
        return
    for number, (axis, length) in enumerate(zip(car.axes, array.shape, strict=True), start=1):
        wanted = car.lengths.get(axis)
        if wanted is not None and length != wanted:
            yield Fault(
                place,
                f"axis {number} ({axis}) has length {length}, shape {array.shape}",
                f"{car.probe.elements} elements in a {car.matrix} matrix give {wanted}",
            )
        elif wanted is None and length < 2:
            yield Fault(place, f"axis {number} (sample) has length {length}", "give 2 or more")


def _arranged(array: Numbers, car: SideCar) -> Signals:
    """Return float32 samples in the order of axes and pairs of a recording."""
    if "pair" not in car.axes:
        order = [car.axes.index(axis) for axis in ("transmit", "receive", "sample")]
        return np.ascontiguousarray(np.transpose(array, order), dtype=np.float32)
    pairs = np.ascontiguousarray(array if car.axes[0] == "pair" else array.T, dtype=np.float32)
    n = car.probe.elements
    if car.matrix == "half":
        return pairs if car.pair_order == "by_row" else pairs[column_order(n)]
    full = pairs.reshape(n, n, -1)
    return full if car.pair_order == "by_row" else np.ascontiguousarray(full.transpose(1, 0, 2))


def _full_scale(dtype: np.dtype[Any], car: SideCar) -> float | None:
    if car.full_scale is not None or dtype.kind == "f":
        return car.full_scale
    span = np.iinfo(dtype)
    return float(min(span.max - car.zero_level, car.zero_level - span.min))
