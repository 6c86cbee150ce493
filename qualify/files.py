"""Files in and out: TOML, canonical JSON, digests, whole-or-nothing writes.

Canonical JSON follows RFC 8785; digests are SHA-256 (FIPS 180-4), written in hexadecimal.
"""

import hashlib
import json
import os
import shutil
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, TypeVar

import rfc8785
from pydantic import BaseModel, ValidationError

from qualify.errors import Fault, InputError, refuse

Model = TypeVar("Model", bound=BaseModel)


def read_bytes(path: Path, name: str | None = None) -> bytes:
    """Read a file; an `InputError` says why it can't be read. `name` is used in messages."""
    name = name or str(path)
    if path.is_dir():
        raise refuse(name, "is a folder", "give a file")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise refuse(name, "no such file", "check the name") from None
    except OSError as error:
        raise refuse(
            name, f"can't be read ({error.strerror})", "check the rights of the file"
        ) from None


def read_text(path: Path, name: str | None = None) -> str:
    """Read UTF-8 text, with or without a byte order mark."""
    name = name or str(path)
    content = read_bytes(path, name)
    if not content.strip():
        raise refuse(name, "the file is empty", "give a file with content")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise refuse(
            f"{name}: line {line}", "bytes that are not UTF-8", "save the file as UTF-8"
        ) from None


def read_toml(path: Path, name: str | None = None) -> dict[str, Any]:
    """Read a TOML file (TOML 1.0); a syntax error names its line."""
    name = name or str(path)
    try:
        return tomllib.loads(read_text(path, name))
    except tomllib.TOMLDecodeError as error:
        raise refuse(name, f"is not TOML: {error}", "mend the line named") from None


def validated(model: type[Model], data: Any, place: str) -> Model:
    """Return `data` as `model`, or raise an `InputError` with every fault in it.

    A number is a number, and yes or no is true or false: `true` is not 1, and `"5920"` not 5920.
    Tables, whose cells are all text, are read by `qualify.raw_tables` and by the workbook.
    """
    try:
        found = model.model_validate(data)
    except ValidationError as error:
        raise InputError(faults_of(error, place)) from None
    if faults := list(_taken_for_numbers(found, data, f"{place}: ")):
        raise InputError(faults)
    return found


def _taken_for_numbers(found: Any, told: Any, place: str) -> Iterator[Fault]:
    """Yield a fault where text or a truth value was taken for a number, or either for the other."""
    if isinstance(found, BaseModel) and isinstance(told, Mapping):
        fields = [key for key in type(found).model_fields if key in told]
        parts = [(key, getattr(found, key), told[key]) for key in fields]
    elif isinstance(found, (tuple, list)) and isinstance(told, (tuple, list)):
        pairs = enumerate(zip(found, told, strict=True), start=1)
        parts = [(str(number), *pair) for number, pair in pairs]
    elif isinstance(found, bool) and not isinstance(told, bool):
        yield Fault(place.removesuffix("."), f"found {told!r}", "give true or false")
        return
    elif isinstance(found, (int, float)) and not isinstance(found, bool):
        if isinstance(told, (bool, str)):
            words = "a number without quotes" if isinstance(told, str) else "a number"
            shown = repr(told) if isinstance(told, str) else str(told).lower()
            yield Fault(place.removesuffix("."), f"found {shown}", f"give {words}")
        return
    else:
        return
    for key, value, raw in parts:
        yield from _taken_for_numbers(value, raw, f"{place}{key}.")


def faults_of(error: ValidationError, place: str) -> list[Fault]:
    """Turn a pydantic error into faults: place and key, what was found, what is wanted."""
    return [_fault(detail, place) for detail in error.errors(include_url=False)]


def _fault(detail: Any, place: str) -> Fault:
    path = ".".join(_step(step) for step in detail["loc"])
    where = f"{place}: {path}" if path else place
    kind, value = detail["type"], detail.get("input")
    message = detail["msg"].removeprefix("Value error, ")
    if kind == "missing":
        return Fault(where, "is missing", "give a value")
    if kind == "extra_forbidden":
        return Fault(where, "is not a known key", "remove it or check its spelling")
    if kind == "value_error" and ";" in message:
        found, wanted = message.split(";", 1)
        return Fault(where, found.strip(), wanted.strip())
    shown = repr(value) if isinstance(value, (str, int, float, bool)) else type(value).__name__
    return Fault(where, f"found {shown}", message[:1].lower() + message[1:])


def _step(step: int | str) -> str:
    return str(step + 1) if isinstance(step, int) else step


def canonical_json(value: Any) -> bytes:
    """Return `value` as canonical JSON (RFC 8785) with a final newline."""
    return rfc8785.dumps(value) + b"\n"


def digest(content: bytes) -> str:
    """Return the SHA-256 digest of `content`, hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; `InputError` where there is no right or no space."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, partial = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise _cannot_write(path, error) from None
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        Path(partial).chmod(0o644)
        Path(partial).replace(path)
    except OSError as error:
        Path(partial).unlink(missing_ok=True)
        raise _cannot_write(path, error) from None


def left_partial(path: Path) -> list[Path]:
    """Return what a run that was killed while it wrote a file left beside it."""
    if not path.parent.is_dir():
        return []
    return sorted(held for held in path.parent.iterdir() if is_partial(held, path.name))


def is_partial(path: Path, name: str) -> bool:
    """Whether a file is what `write_whole` writes before it takes the name."""
    return path.name.startswith(f".{name}.")


def write_new(path: Path, content: bytes, wanted: str) -> None:
    """Write a file whole or not at all, readable by its owner only, never over another.

    `wanted` says what to do with a file that is there already.
    """
    taken = refuse(str(path), "is there already", wanted)
    try:
        handle, partial = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise _cannot_write(path, error) from None
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        try:
            os.link(partial, path)
        except FileExistsError:
            raise taken from None
        except OSError:  # a file system without hard links
            with path.open("xb") as stream:
                stream.write(content)
    except FileExistsError:
        raise taken from None
    except OSError as error:
        raise _cannot_write(path, error) from None
    finally:
        Path(partial).unlink(missing_ok=True)


def _made_before(folder: Path, mark: str) -> set[str]:
    """Return the names that an earlier run lists: in its manifest, or as `files` of its mark."""
    try:
        listed = json.loads((folder / "manifest.json").read_bytes())["outputs"]
        return {"manifest.json", *(str(item["name"]) for item in listed)}
    except (OSError, ValueError, KeyError, TypeError):
        pass
    try:
        return {mark, *map(str, json.loads((folder / mark).read_bytes())["files"])}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


MOVE_IT = "move it away, or give a new folder"


def check_folder(folder: Path, *, mark: str) -> None:
    """Raise an `InputError` unless `write_folder` may write or replace the folder."""
    if folder.is_file():
        raise refuse(str(folder), "is a file", "give a folder")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / mark).is_file():
        raise refuse(
            str(folder), f"holds files that are not ours (no {mark})", "give a new or empty folder"
        )


def write_folder(folder: Path, contents: Mapping[str, bytes], *, mark: str) -> None:
    """Write a folder whole or not at all.

    `contents` maps relative names to bytes. A folder that is there already is replaced only
    if it is empty or holds the file `mark`, that is, if an earlier run made it.
    """
    check_folder(folder, mark=mark)
    if folder.is_dir():
        held = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
        foreign = sorted(held - contents.keys() - _made_before(folder, mark))
        if foreign:
            raise refuse(
                str(folder), f"also holds {foreign[0]}, which this run would delete", MOVE_IT
            )
    partial = folder.with_name(f".{folder.name}.partial")
    old = folder.with_name(f".{folder.name}.old")
    try:
        for stale in (partial, old):
            shutil.rmtree(stale, ignore_errors=True)
        for name, content in contents.items():
            target = partial / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        if folder.exists():
            folder.replace(old)
        partial.replace(folder)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        if old.exists() and not folder.exists():
            old.replace(folder)
        shutil.rmtree(partial, ignore_errors=True)
        raise _cannot_write(folder, error) from None


def _cannot_write(path: Path, error: OSError) -> InputError:
    return refuse(
        str(path), f"can't be written ({error.strerror})", "check the rights and the free space"
    )
