"""The demonstration as it runs: study written, images, reading, order of events.

Days and persons are invented, so that entries of the log carry invented times. The whole run
computes recordings and images of all 364 units and reads them; a quick one starts from the call
sheets that a whole run wrote, which come with the package.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from qualify.demo.study_files import study_files
from qualify.files import check_folder, write_whole
from qualify.study.order import freeze, seal, unseal
from qualify.study.order_files import LOG, SALT
from qualify.study.simulation import Job
from qualify.study.trial_run import SHEETS, image_trial, read_trial

STUDY_ID = "lug-demo"
TRUTH_SALT = bytes.fromhex("44f9f11090645a234214b68905ec7d2feb60ee42eeae315f788bcfe7e54da2aa")
"""Published, so that every run is the same. In a real study it is drawn when sealing."""
FROZEN = datetime(2026, 3, 16, 9, 0, tzinfo=UTC)
SEALED = datetime(2026, 3, 20, 14, 0, tzinfo=UTC)
OPENED = datetime(2026, 4, 27, 10, 0, tzinfo=UTC)
CUSTODIAN, REVIEWER = "C-1", "C-2"
Told = Callable[[str], None]
EVERY = 28


def write_study(folder: Path, *, with_sheets: bool) -> None:
    """Write the embedded study; images of an earlier run stay.

    Raises
    ------
    InputError : where the folder holds what is no study.
    """
    check_folder(folder, mark="plan.toml")
    for name in (LOG, SALT):
        (folder / name).unlink(missing_ok=True)
    if not with_sheets:
        for path in sorted((folder / SHEETS).glob("*.csv")):
            path.unlink()
    for name, content in study_files().items():
        if with_sheets or not name.startswith(f"{SHEETS}/"):
            path = folder / name
            if not path.is_file() or path.read_bytes() != content:
                write_whole(path, content)


def run_trial(folder: Path, told: Told, *, quick: bool) -> None:
    """Take the study from its files to truth opened: freeze, seal, trial, unseal.

    quick : the call sheets that come with the package stand for recordings, images and reading.
    """
    write_study(folder, with_sheets=quick)
    if not quick:
        told("computing and imaging the recordings of 364 units; those there already are kept")
        image_trial(folder, _progress(told))
    freeze(folder, by=CUSTODIAN, at=FROZEN)
    seal(folder, by=CUSTODIAN, at=SEALED, salt=TRUTH_SALT)
    if not quick:
        told("reading the images of the blind coupons by rule and by models of readers")
        read_trial(folder, lambda *_: None)
    unseal(folder, study=STUDY_ID, by=[CUSTODIAN, REVIEWER], at=OPENED)


def _progress(told: Told) -> Callable[[int, int, Job, bool], None]:
    def one(done: int, count: int, job: Job, kept: bool) -> None:
        if done % EVERY == 0 or done == count:
            told(f"  {done} of {count} units{', kept' if kept else ''}")

    return one
