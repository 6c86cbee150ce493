"""A recording as one HDF5 file, and back.

Layout, format number 1. Units stand in the names.

- `/` attributes `format` (the words of `FORMAT`), `format_number`, `samples_sha256` and
  `description_sha256`.
- `/samples` float32, little-endian, in chunks with a checksum: (transmit, receive, sample), or
  (pair, sample) for half a matrix, pairs with transmit ≤ receive in the order (0, 0), (0, 1), …;
  attribute `axes` names them.
- `/description` attributes `sampling_mhz`, `start_us`, and where they are told `full_scale`,
  `gain_db`, `block`, `position_mm`; sub-groups `probe`, `coupling`, `medium`, `provenance`, whose
  attributes are the fields of the classes of those names. A field without a value is left out;
  a list is JSON text, and so is a seed, which may need 64 bits.

`samples_sha256` is the digest of `qualify.recording.record.samples_digest`; `description_sha256`
that of the canonical JSON (RFC 8785) of the description. Both are checked on reading. No time is
stored and nothing compressed, so that a recording gives the same bytes in every process.
"""

import io
import json
from dataclasses import asdict
from typing import Any, Literal, Self

import h5py
import numpy as np
from pydantic import BaseModel, model_validator

from qualify.blocks.metrology import STRICT, Finite, Positive, Text
from qualify.errors import InputError, refuse
from qualify.files import canonical_json, digest, validated
from qualify.recording.arrays import SIGNATURE, own_data
from qualify.recording.probe import Coupling, Medium, Probe, check_fits
from qualify.recording.record import Provenance, Recording, Signals, samples_digest

FORMAT, FORMAT_NUMBER = "qualify recording", 1
CHUNK_SAMPLES = 2**18
AXES = {3: "transmit, receive, sample", 2: "pair, sample"}
ANEW = "write the recording anew from its source"


class _Provenance(BaseModel):
    model_config = STRICT
    signal: Literal["simulated", "measured"]
    source: Text
    seed: int | None = None
    left_out: tuple[str, ...] = ()
    files: tuple[tuple[str, str], ...] = ()
    procedure: str | None = None


class _Description(BaseModel):
    """All of a recording but its samples."""

    model_config = STRICT
    sampling_mhz: Positive
    start_us: Finite
    full_scale: Positive | None = None
    gain_db: Finite | None = None
    block: str | None = None
    position_mm: Finite | None = None
    probe: Probe
    coupling: Coupling
    medium: Medium
    provenance: _Provenance

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        check_fits(self.probe, self.coupling, self.sampling_mhz)
        return self


def recording_bytes(recording: Recording) -> bytes:
    """Return a recording as the bytes of one HDF5 file; the layout stands above.

    Raises
    ------
    ValueError : if a field of the recording could not be read back.
    """
    described = _described(recording)
    _Description.model_validate(described)
    out = io.BytesIO()
    with h5py.File(out, "w", libver="v110") as file:
        file.attrs["format"] = FORMAT
        file.attrs["format_number"] = FORMAT_NUMBER
        file.attrs["samples_sha256"] = samples_digest(recording.samples)
        file.attrs["description_sha256"] = digest(canonical_json(described))
        data = file.create_dataset(
            "samples",
            data=np.ascontiguousarray(recording.samples, dtype="<f4"),
            chunks=_chunks(recording.samples.shape),
            fletcher32=True,
            track_times=False,
        )
        data.attrs["axes"] = AXES[recording.samples.ndim]
        _write_fields(file.create_group("description", track_times=False), described)
    return out.getvalue()


def recording_from_bytes(content: bytes, name: str) -> Recording:
    """Return the recording in the bytes of an HDF5 file.

    Raises
    ------
    InputError : where it is not HDF5, not a recording, of another format number, incomplete, or
        changed since it was written; `name` is used in the message.
    """
    if not content.startswith(SIGNATURE):
        raise refuse(name, "is not an HDF5 file", "give a recording written by this tool")
    try:
        with h5py.File(io.BytesIO(content), "r") as file:
            return _read(file, name, len(content))
    except InputError:
        raise
    except (OSError, RuntimeError, KeyError, ValueError, TypeError) as error:
        words = " ".join(str(error).split())
        raise refuse(name, f"is damaged ({words})", ANEW) from None


def _read(file: Any, name: str, size_bytes: int) -> Recording:
    if file.attrs.get("format") != FORMAT:
        raise refuse(name, "is HDF5, but no recording of this tool", "give such a recording")
    number = file.attrs.get("format_number")
    if number != FORMAT_NUMBER:
        raise refuse(
            f"{name}: format_number", f"found {number}", f"this tool reads {FORMAT_NUMBER}"
        )
    for wanted in ("samples", "description"):
        if wanted not in file:
            raise refuse(f"{name}: {wanted}", "is missing", ANEW)
    fields = _read_fields(own_data(file, "description", name))
    model = validated(_Description, _with_seed(fields), name)
    stored = own_data(file, "samples", name)
    if stored.size * stored.dtype.itemsize > size_bytes:
        raise refuse(f"{name}: samples", f"of shape {stored.shape} are not in the file", ANEW)
    if stored.dtype != np.float32:
        raise refuse(f"{name}: samples", f"are {stored.dtype}", "samples are float32")
    samples: Signals = np.asarray(stored[()], dtype=np.float32)
    _check_digest(name, "samples", samples_digest(samples), file)
    try:
        recording = _recording(model, samples)
    except ValueError as error:
        raise refuse(f"{name}: samples", str(error), ANEW) from None
    _check_digest(name, "description", digest(canonical_json(fields)), file)
    if not np.isfinite(samples).all():
        raise refuse(f"{name}: samples", "hold values that are no number", "mend the recording")
    return recording


def _check_digest(name: str, part: str, found: str, file: Any) -> None:
    wanted = file.attrs.get(f"{part}_sha256", "none")
    if found != wanted:
        raise refuse(
            f"{name}: {part}",
            f"changed since the file was written: SHA-256 is {found}",
            f"the file says {wanted}; {ANEW}",
        )


def _recording(model: _Description, samples: Signals) -> Recording:
    plain = {
        field: getattr(model, field) for field in _Description.model_fields if field != "provenance"
    }
    origin = Provenance(**dict(model.provenance))
    return Recording(samples=samples, provenance=origin, **plain)


def _described(recording: Recording) -> dict[str, Any]:
    """Return all but the samples as nested fields; what has no value is left out."""
    nested = {
        field: getattr(recording, field)
        for field in _Description.model_fields
        if field != "provenance"
    }
    nested |= {
        part: getattr(recording, part).model_dump() for part in ("probe", "coupling", "medium")
    }
    seed = recording.provenance.seed
    nested["provenance"] = asdict(recording.provenance) | {"seed": _seed_text(seed)}
    return {key: _told(value) for key, value in nested.items() if value is not None}


def _seed_text(seed: int | None) -> str | None:
    return None if seed is None else str(seed)


def _with_seed(fields: dict[str, Any]) -> dict[str, Any]:
    """Return the fields with the seed as a number again; what is no seed is left to be refused."""
    origin = fields.get("provenance")
    seed = origin.get("seed") if isinstance(origin, dict) else None
    if not isinstance(origin, dict) or not isinstance(seed, str) or not seed.isdecimal():
        return fields
    return fields | {"provenance": origin | {"seed": int(seed)}}


def _told(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _told(item) for key, item in value.items() if item is not None}
    return [_told(item) for item in value] if isinstance(value, (list, tuple)) else value


def _write_fields(group: Any, fields: dict[str, Any]) -> None:
    for key, value in fields.items():
        if isinstance(value, dict):
            _write_fields(group.create_group(key, track_times=False), value)
        elif isinstance(value, list):
            group.attrs[key] = canonical_json(value).decode().strip()
        else:
            group.attrs[key] = value


def _read_fields(group: Any) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in group.attrs.items():
        plain = value.item() if isinstance(value, np.generic) else value
        found[key] = json.loads(plain) if key in ("left_out", "files") else plain
    return found | {key: _read_fields(part) for key, part in group.items()}


def _chunks(shape: tuple[int, ...]) -> tuple[int, ...]:
    rows = max(1, min(shape[-2], CHUNK_SAMPLES // shape[-1]))
    return (*(1 for _ in shape[:-2]), rows, shape[-1])
