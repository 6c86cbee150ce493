"""The stages of a trial on its folder: images, thresholds of the open set, blind reading.

Images are made from a simulation or from recordings that are given. Each stage reads the files of
the one before and writes its own, whole or not at all; a stage that finds its files made from the
same inputs keeps them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from qualify.errors import Fault, InputError, refuse
from qualify.files import read_toml, validated
from qualify.study.imaging_plan import FILE as IMAGING
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.reading_door import blind_images, open_images
from qualify.study.reading_inputs import load_reading
from qualify.study.reading_kept import kept_in, stage_inputs
from qualify.study.reading_plan import FILE as PLAN
from qualify.study.reading_plan import ReadingPlan
from qualify.study.reading_sheets import sheet_bytes
from qualify.study.reading_sizes import FILE as SIZES
from qualify.study.reading_sizes import sizes_bytes
from qualify.study.reading_stage import Progress, read_blind, thresholds_of
from qualify.study.simulation import PLAN_FILE, Job, load_simulation
from qualify.study.thresholds import FILE as THRESHOLDS
from qualify.study.thresholds import Thresholds, read_thresholds
from qualify.study.trial_images import TrialEntry, make_trial_images
from qualify.study.trial_recordings import (
    RECORDINGS,
    RecordedEntry,
    Told,
    make_recorded_images,
)

SHEETS = "call_sheets"


@dataclass(frozen=True, slots=True)
class ReadTrial:
    """What reading the blind units came to.

    Attributes
    ----------
    files : digests of call sheets and sizes, by name. removed : sheets of an earlier reading that
        this one does not make. kept : whether nothing had changed, and all is as it was.
    units : images of blind units. rejected : those of them that count as not examined, because the
        gate rejects their recording.
    """

    files: dict[str, str]
    removed: tuple[str, ...]
    kept: bool
    units: int
    rejected: tuple[str, ...]


def is_trial(folder: Path) -> bool:
    """Return whether a folder holds what images of a simulated trial are made from."""
    return (folder / PLAN_FILE).is_file() and (folder / IMAGING).is_file()


def has_recordings(folder: Path) -> bool:
    """Return whether a folder holds recordings and what their images are made by."""
    return (folder / RECORDINGS).is_dir() and (folder / IMAGING).is_file()


def image_recordings(folder: Path, source: Path | None, told: Told) -> list[RecordedEntry]:
    """Make, or keep, the images of the recordings of a trial.

    source : their folder; None: `recordings` in that of the trial. told : as of
    `make_recorded_images`.

    Raises
    ------
    InputError : for files that can't be taken.
    """
    plan = validated(ImagingPlan, read_toml(folder / IMAGING, IMAGING), IMAGING)
    return make_recorded_images(source or folder / RECORDINGS, plan, folder, told)


def image_trial(
    folder: Path, told: Callable[[int, int, Job, bool], None], workers: int | None = None
) -> list[TrialEntry]:
    """Make, or keep, the images of every place of a simulated trial.

    told : called after each place with the number done, the number of all, the job, and whether it
        was there already.

    Raises
    ------
    InputError : for files that can't be taken.
    """
    study = load_simulation(folder)
    plan = validated(ImagingPlan, read_toml(folder / IMAGING, IMAGING), IMAGING)
    count = len(study.jobs)

    def one(done: int, job: Job, kept: bool) -> None:
        told(done, count, job, kept)

    return make_trial_images(study, plan, folder, one, workers=workers)


def set_open_thresholds(
    folder: Path, progress: Progress, *, anew: bool = False
) -> tuple[Thresholds, bool]:
    """Set thresholds from the open blanks and write them; return them and whether they changed.

    anew : computed again where nothing they rest on has changed.

    Raises
    ------
    InputError : where an image is missing, or no threshold can be set.
    """
    inputs = load_reading(folder)
    told = stage_inputs(inputs, open_images(inputs).inputs, None)
    kept, path = kept_in(folder), folder / THRESHOLDS
    if not anew and kept.of("open", told) is not None:
        return read_thresholds(path, THRESHOLDS), False
    found = thresholds_of(inputs, progress)
    changed = not path.is_file() or path.read_bytes() != found.bytes()
    kept.write("open", told, {THRESHOLDS: found.bytes()})
    return found, changed


def read_trial(folder: Path, progress: Progress, *, anew: bool = False) -> ReadTrial:
    """Read all blind units and write the call sheets, or keep them where nothing has changed.

    anew : read again, and overwrite sheets that somebody changed.

    Raises
    ------
    InputError : where thresholds are not set, an image is missing, files can't be taken, or a
        sheet is not as it was written.
    """
    inputs = load_reading(folder)
    path = folder / THRESHOLDS
    if not path.is_file():
        raise refuse(THRESHOLDS, "is not there", "set thresholds first: qualify read STUDY --open")
    thresholds = read_thresholds(path, THRESHOLDS)
    _check_belongs(thresholds, inputs.plan)
    images = blind_images(inputs)
    told = stage_inputs(inputs, images.inputs, path.read_bytes())
    kept = kept_in(folder)
    count = (len(images.inputs), images.rejected)
    if not anew:
        if (made := kept.of("blind", told)) is not None:
            return ReadTrial(made.files, (), True, *count)
        kept.check_own("blind", kept.sheets(SHEETS), {})
    found = read_blind(inputs, thresholds, progress)
    files = {f"{SHEETS}/{name}.csv": sheet_bytes(sheet) for name, sheet in found.sheets.items()}
    if not anew:
        kept.check_own("blind", list(files), files)
    files[SIZES] = sizes_bytes(found.sizes)
    removed = kept.write("blind", told, files)
    return ReadTrial(kept.stages["blind"].files, tuple(removed), False, *count)


def _check_belongs(thresholds: Thresholds, plan: ReadingPlan) -> None:
    """Refuse thresholds of another study or rate, or that lack a mode."""
    held, wanted = (thresholds.study, thresholds.declared_rate), (plan.study, plan.declared_rate)
    anew = "set thresholds anew: qualify read STUDY --open"
    faults = []
    if held != wanted:
        found = f"is of study '{held[0]}' at a rate of {held[1]:g}"
        faults.append(
            Fault(THRESHOLDS, found, f"{PLAN} says '{wanted[0]}' and {wanted[1]:g}; {anew}")
        )
    known = {one.mode for one in thresholds.modes}
    faults += [
        Fault(THRESHOLDS, f"holds none of mode '{mode.name}', which {PLAN} reads", anew)
        for mode in plan.modes
        if mode.name not in known
    ]
    if faults:
        raise InputError(faults)
