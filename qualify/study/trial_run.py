"""The stages of a trial on its folder: images, thresholds of the open set, blind reading.

Each stage reads the files of the one before and writes its own, whole or not at all; a stage that
finds its files made from the same inputs keeps them.
"""

from collections.abc import Callable
from pathlib import Path

from qualify.errors import refuse
from qualify.files import digest, read_toml, validated, write_whole
from qualify.study.imaging_plan import FILE as IMAGING
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.reading_inputs import load_reading
from qualify.study.reading_plan import FILE as PLAN
from qualify.study.reading_sheets import sheet_bytes
from qualify.study.reading_sizes import FILE as SIZES
from qualify.study.reading_sizes import sizes_bytes
from qualify.study.reading_stage import Progress, read_blind, thresholds_of
from qualify.study.simulation import PLAN_FILE, Job, load_simulation
from qualify.study.thresholds import FILE as THRESHOLDS
from qualify.study.thresholds import Thresholds, read_thresholds
from qualify.study.trial_images import TrialEntry, make_trial_images

SHEETS = "call_sheets"


def is_trial(folder: Path) -> bool:
    """Return whether a folder holds what images of a simulated trial are made from."""
    return (folder / PLAN_FILE).is_file() and (folder / IMAGING).is_file()


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


def set_open_thresholds(folder: Path, progress: Progress) -> tuple[Thresholds, bool]:
    """Set thresholds from the open blanks and write them; return them and whether they changed.

    Raises
    ------
    InputError : where an image is missing, or no threshold can be set.
    """
    found = thresholds_of(load_reading(folder), progress)
    path = folder / THRESHOLDS
    changed = not path.is_file() or path.read_bytes() != found.bytes()
    if changed:
        write_whole(path, found.bytes())
    return found, changed


def read_trial(folder: Path, progress: Progress) -> dict[str, str]:
    """Read all blind units and write the call sheets; return their digests by name.

    Raises
    ------
    InputError : where thresholds are not set, an image is missing, or files can't be taken.
    """
    inputs = load_reading(folder)
    path = folder / THRESHOLDS
    if not path.is_file():
        raise refuse(THRESHOLDS, "is not there", "set thresholds first: qualify read STUDY --open")
    thresholds = read_thresholds(path, THRESHOLDS)
    _belongs(thresholds, inputs.plan.study, inputs.plan.declared_rate)
    found = read_blind(inputs, thresholds, progress)
    files = {f"{SHEETS}/{name}.csv": sheet_bytes(sheet) for name, sheet in found.sheets.items()}
    files[SIZES] = sizes_bytes(found.sizes)
    for name, content in files.items():
        write_whole(folder / name, content)
    return {name: digest(content) for name, content in files.items()}


def _belongs(thresholds: Thresholds, study: str, rate: float) -> None:
    if (thresholds.study, thresholds.declared_rate) != (study, rate):
        raise refuse(
            THRESHOLDS,
            f"is of study '{thresholds.study}' at a rate of {thresholds.declared_rate:g}",
            f"{PLAN} says '{study}' and {rate:g}; set thresholds anew: qualify read STUDY --open",
        )
