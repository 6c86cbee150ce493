"""Images of a trial from recordings that are given: one small file for each, as of simulated ones.

The name of a recording says what it is of: `BLOCK-UNIT`, in the frame of the block, or
`CODE-NUMBER`, a coded piece and the number of the unit counted from the presented datum, recorded
as the piece lay. A `position_mm` counts in the same frame: on the block, or from the presented
datum; where none is told, the array stood over the middle of its unit. The gate is asked; a
recording that it rejects is imaged, and says so. All are read and held against one another before
the first is imaged.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qualify.errors import Fault, InputError, refuse
from qualify.files import canonical_json, digest, read_bytes, write_whole
from qualify.imaging.focus import Setting, check_mode
from qualify.recording.archive import recording_from_bytes
from qualify.recording.faults import examine
from qualify.recording.gate import GateLimits, gate
from qualify.recording.record import Recording, samples_digest
from qualify.study.imaging import identity
from qualify.study.imaging_plan import FILE as PLAN
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.recordings import ARCHIVES
from qualify.study.simulation_run import left_behind
from qualify.study.trial_image_file import TrialImage, trial_image_bytes
from qualify.study.trial_images import FOLDER, MARK, held_image, imaged, images_digest
from qualify.study.twins import recorded_how

RECORDINGS = "recordings"
OF_RECORDINGS = {"made_from": RECORDINGS, "plan_sha256": None}
NAMES = "name it BLOCK-UNIT, or CODE-NUMBER for a coded piece"
MAY_DIFFER = ("start_us", "samples of a signal", "medium.longitudinal_m_per_s")
"""Of pieces of other thickness or velocity."""
Told = Callable[[int, int, str, bool], None]


@dataclass(frozen=True, slots=True)
class RecordedEntry:
    """One file of images.

    Attributes
    ----------
    recording : file it was made from. file : of images, relative to the folder of the trial.
    signal : `simulated` or `measured`. rejected : why the gate rejects it; empty where it does not.
    samples_sha256, inputs_sha256 : digests of samples, and of all it depends on.
    kept : whether it was there already.
    """

    recording: str
    file: str
    signal: str
    samples_sha256: str
    inputs_sha256: str
    rejected: tuple[str, ...]
    kept: bool


@dataclass(frozen=True, slots=True)
class _Given:
    """A recording as it was found at the door; its samples are let go."""

    path: Path
    how: dict[str, Any]
    samples_sha256: str | None
    inputs: str

    @property
    def name(self) -> str:
        return self.path.stem


def from_recordings(folder: Path) -> bool:
    """Return whether the images in the folder of a trial were made from recordings given."""
    mark = folder / FOLDER / MARK
    return mark.is_file() and read_bytes(mark) == canonical_json(OF_RECORDINGS)


def make_recorded_images(
    source: Path, plan: ImagingPlan, folder: Path, told: Told
) -> list[RecordedEntry]:
    """Make, or keep, the images of all recordings of a folder.

    Parameters
    ----------
    source : folder of recordings (.h5). folder : of the trial; files are `images/NAME.h5` in it.
    told : is called after each with the number done, that of all, its name, and whether it was
        there already.

    Raises
    ------
    InputError : with the faults of all recordings, or where the folder holds what is not of them.
    """
    given, setting = _given(source, plan), Setting()
    _check_folder(folder / FOLDER, [one.name for one in given])
    write_whole(folder / FOLDER / MARK, canonical_json(OF_RECORDINGS))
    entries = []
    for number, one in enumerate(given, start=1):
        entries.append(_entry(one, plan, folder, setting))
        told(number, len(given), one.name, entries[-1].kept)
    return entries


def _given(source: Path, plan: ImagingPlan) -> list[_Given]:
    """Return the recordings of a folder by name, each read and checked, all against each other."""
    if not source.is_dir():
        raise refuse(str(source), "no such folder", "give the folder of the recordings")
    paths = sorted(p for p in source.iterdir() if _is_one(p))
    if not paths:
        raise refuse(str(source), "holds no recording", "write them with qualify record (.h5)")
    faults: dict[Fault, None] = dict.fromkeys(_named_twice(paths))
    found = []
    for path in paths:
        try:
            found.append(_read(path, plan, faults))
        except InputError as error:
            faults |= dict.fromkeys(error.faults)
    faults |= dict.fromkeys([*_same_matrix(found), *_unlike(found)])
    if faults:
        raise InputError(faults)
    return found


def _is_one(path: Path) -> bool:
    hidden = path.name.startswith(".")
    return path.suffix.lower() in ARCHIVES and path.is_file() and not hidden


def _named_twice(paths: Sequence[Path]) -> list[Fault]:
    first: dict[str, Path] = {}
    return [
        Fault(str(path), f"has the name of {before.name}", "rename or remove one")
        for path in paths
        if (before := first.setdefault(path.stem, path)) is not path
    ]


def _read(path: Path, plan: ImagingPlan, faults: dict[Fault, None]) -> _Given:
    """Return a recording as it is found; what does not fit joins `faults`."""
    recording = recording_from_bytes(read_bytes(path), str(path))
    code, _, place = path.stem.rpartition("-")
    if not code or not place:
        faults[Fault(str(path), "its name tells no unit", NAMES)] = None
    elif recording.block is not None and not path.stem.startswith(f"{recording.block}-"):
        told = f"it tells block '{recording.block}', its name another"
        faults[Fault(str(path), told, "rename it, or record anew with the code as block")] = None
    for number, mode in enumerate(plan.modes, start=1):
        try:
            check_mode(recording, mode)
        except InputError as error:
            where = f"{PLAN}: modes.{number}: "
            faults |= {Fault(where + f.place, f.found, f.wanted): None for f in error.faults}
    held = samples_digest(recording.samples) if recording.samples.any() else None
    return _Given(path, recorded_how(recording), held, _inputs(recording, plan))


def _inputs(recording: Recording, plan: ImagingPlan) -> str:
    """Return the digest of all that the images depend on, limits of the gate included."""
    limits = (plan.gate or GateLimits()).model_dump(mode="json")
    place = [recording.block, recording.position_mm]
    told = {"recording": identity(recording), "place": place, "gate": limits}
    return images_digest(digest(canonical_json(told)), plan)


def _same_matrix(found: Sequence[_Given]) -> list[Fault]:
    """Return a fault for each recording that holds what another holds; silent ones may."""
    first: dict[str, Path] = {}
    faults = []
    for one in found:
        if one.samples_sha256 is not None:
            before = first.setdefault(one.samples_sha256, one.path)
            if before is not one.path:
                told = f"holds the same matrix as {before.name}"
                faults.append(Fault(str(one.path), told, "give each recording once"))
    return faults


def _unlike(found: Sequence[_Given]) -> list[Fault]:
    """Return a fault for what was recorded otherwise than most: amplitudes would not compare."""
    faults = []
    for name in dict.fromkeys(name for one in found for name in one.how):
        if name in MAY_DIFFER:
            continue
        values = [repr(one.how.get(name)) for one in found]
        usual = Counter(values).most_common(1)[0][0]
        like = next(one for one, value in zip(found, values, strict=True) if value == usual)
        faults += [
            Fault(
                f"{one.path}: {name}",
                f"found {_words(one, name)}, and {like.name} has {_words(like, name)}",
                "a trial is recorded in one way; record it anew, or leave it to a trial of its own",
            )
            for one, value in zip(found, values, strict=True)
            if value != usual
        ]
    return faults


def _words(one: _Given, name: str) -> str:
    value = one.how.get(name)
    return "none" if value is None else str(value)


def _check_folder(folder: Path, names: Sequence[str]) -> None:
    """Refuse a folder of images with files of others; take away what a killed run left."""
    mark = folder / MARK
    if mark.is_file() and read_bytes(mark) != canonical_json(OF_RECORDINGS):
        found = "holds images that were not made from recordings given"
        raise refuse(str(folder), found, "move it away, or remove it")
    for path in left_behind(folder, names, MARK, "images"):
        path.unlink(missing_ok=True)


def _entry(one: _Given, plan: ImagingPlan, folder: Path, setting: Setting) -> RecordedEntry:
    """Make the images of a recording and write its file, or keep it."""
    file = f"{FOLDER}/{one.name}.h5"
    held = held_image(folder / file, one.inputs)
    kept = held is not None
    if held is None:
        recording = recording_from_bytes(read_bytes(one.path), str(one.path))
        if _inputs(recording, plan) != one.inputs:
            raise refuse(str(one.path), "was changed while it was read", "start again")
        held = _imaged(one, recording, plan, setting)
        write_whole(folder / file, trial_image_bytes(held))
    return RecordedEntry(
        recording=one.path.name,
        file=file,
        signal=held.images[0].signal,
        samples_sha256=held.samples_sha256,
        inputs_sha256=held.inputs_sha256,
        rejected=held.rejected or (),
        kept=kept,
    )


def _imaged(one: _Given, recording: Recording, plan: ImagingPlan, setting: Setting) -> TrialImage:
    images, controls = imaged(recording, plan, setting)
    result = gate(examine(recording), plan.gate)
    return TrialImage(
        name=one.name,
        block=recording.block,
        x_mm=recording.position_mm,
        y_mm=None,
        repeat=1,
        twin=False,
        loss_db=0.0,
        images=images,
        controls=controls,
        samples_sha256=samples_digest(recording.samples),
        inputs_sha256=one.inputs,
        source=recording.provenance.source,
        rejected=tuple(reason.words for reason in result.reasons),
    )
