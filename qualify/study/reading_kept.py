"""What a reading was made from, and what it wrote: `readings.json`.

A reading whose inputs are as they were, and whose files stand, is kept. Call sheets are corrected
by people: one that is not as it was written is never overwritten unasked.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from qualify.blocks.metrology import STRICT
from qualify.errors import Fault, InputError
from qualify.files import canonical_json, digest, left_partial, read_bytes, write_whole
from qualify.study.frozen_parts import digest_of
from qualify.study.order_files import program
from qualify.study.reading_inputs import ReadingInputs

FILE = "readings.json"
STAGES = ("open", "blind")


class Made(BaseModel):
    """What one stage was made from, and the digests of its files.

    `replaced` holds what its files were before, while they are written: a run that was stopped
    there knows its own files again.
    """

    model_config = STRICT
    inputs_sha256: str
    files: dict[str, str]
    replaced: dict[str, tuple[str, ...]] = {}


@dataclass(slots=True)
class Kept:
    """The record of a folder, by stage."""

    folder: Path
    stages: dict[str, Made] = field(default_factory=dict)

    def of(self, stage: str, inputs: str) -> Made | None:
        """Return the record of a stage, if it was made from these inputs and its files stand."""
        made = self.stages.get(stage)
        if made is None or made.inputs_sha256 != inputs or made.replaced:
            return None
        whole = all(_digest(self.folder / name) == sha for name, sha in made.files.items())
        return made if whole else None

    def sheets(self, folder: str) -> list[str]:
        """Return the call sheets of the record; they stand in `folder`."""
        made = self.stages.get("blind")
        names = {**made.files, **made.replaced} if made else {}
        return [name for name in names if name.startswith(f"{folder}/")]

    def check_own(self, stage: str, names: Sequence[str], new: Mapping[str, bytes]) -> None:
        """Refuse where a file would be lost that is not as it was written.

        names : files that are looked at. new : what would be written; empty while it is not known,
        when only files of the record are looked at.

        Raises
        ------
        InputError : with a fault for each such file.
        """
        made = self.stages.get(stage)
        faults = []
        for name in names:
            found = _digest(self.folder / name)
            ours = _ours(made, name) | ({digest(new[name])} if name in new else set())
            if found is not None and ours and found not in ours:
                told = "was changed after it was written, or somebody else wrote it"
                wanted = "move it away, or give --anew to have it overwritten"
                faults.append(Fault(name, told, wanted))
        if faults:
            raise InputError(faults)

    def write(self, stage: str, inputs: str, files: Mapping[str, bytes]) -> list[str]:
        """Write files, each whole, and the record; return earlier ones that were taken away.

        Only files that are as they were written are taken away.
        """
        before = self.stages.get(stage)
        names = dict.fromkeys((*files, *(before.files if before else ())))
        replaced = {name: tuple(sorted(ours)) for name in names if (ours := _ours(before, name))}
        made = Made(inputs_sha256=inputs, files={n: digest(c) for n, c in files.items()})
        for path in (held for n in (*names, FILE) for held in left_partial(self.folder / n)):
            path.unlink(missing_ok=True)
        self._record(stage, made.model_copy(update={"replaced": replaced}))
        for name, content in files.items():
            if _digest(self.folder / name) != digest(content):
                write_whole(self.folder / name, content)
        gone = [n for n in names if n not in files and _digest(self.folder / n) in _ours(before, n)]
        for name in gone:
            (self.folder / name).unlink()
        self._record(stage, made)
        return gone

    def _record(self, stage: str, made: Made) -> None:
        self.stages[stage] = made
        stages = {
            name: one.model_dump(mode="json", exclude=None if one.replaced else {"replaced"})
            for name, one in self.stages.items()
        }
        write_whole(self.folder / FILE, canonical_json({"format": 1, **stages}))


def kept_in(folder: Path) -> Kept:
    """Return the record of a folder; one that is not there or damaged knows of nothing."""
    try:
        told = json.loads((folder / FILE).read_bytes())
        stages = {name: Made.model_validate(told[name]) for name in STAGES if name in told}
    except (OSError, ValueError, TypeError, ValidationError):
        stages = {}
    return Kept(folder, stages)


def stage_inputs(inputs: ReadingInputs, images: Mapping[str, str], thresholds: bytes | None) -> str:
    """Return the digest of all that a stage depends on.

    images : digest of what each image depends on, by name. thresholds : of blind units, the file;
    None where they are set.
    """
    told: dict[str, Any] = {
        "program": [program().version, program().sha256],
        "reading": inputs.plan.model_dump(mode="json"),
        "images": dict(images),
    }
    if thresholds is not None:
        told |= {
            "thresholds": digest(thresholds),
            "pieces": [_piece(inputs, code) for code in sorted(inputs.presented)],
            "order": [
                [*look, [row.model_dump(mode="json") for row in rows]]
                for look, rows in sorted(inputs.order.items())
            ],
        }
    return digest_of(told)


def _piece(inputs: ReadingInputs, code: str) -> list[Any]:
    """Return what of a coded piece places its indications; nothing of its targets."""
    piece = inputs.presented[code]
    units = [[unit.id, unit.x_from_mm, unit.x_to_mm] for unit in piece.units]
    turned = [piece.flipped, piece.datum_offset_mm, piece.block.outline.length_mm]
    return [code, piece.block.id, *turned, units]


def _ours(made: Made | None, name: str) -> set[str]:
    """Return the digests under which a file is one that the tool wrote."""
    if made is None:
        return set()
    own = {made.files[name]} if name in made.files else set()
    return own | set(made.replaced.get(name, ()))


def _digest(path: Path) -> str | None:
    return digest(read_bytes(path)) if path.is_file() else None
