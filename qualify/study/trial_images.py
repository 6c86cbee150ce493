"""Images of a whole trial, straight from its simulation: one small file for each place.

Recordings are made, imaged and let go; a trial of some hundred places would fill gigabytes. Each
file is a function of its job and of the imaging plan alone: whatever the number of processes, and
whenever a run was stopped, the same bytes result. A file that is whole and was made from the same
is kept. The gate is not asked of what is computed: it would cost a quarter more; the positive
control is told. Recordings that were given are imaged by `trial_recordings`.
"""

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from multiprocessing import connection
from pathlib import Path
from threading import Thread

from qualify import __version__
from qualify.errors import InputError
from qualify.files import canonical_json, digest, read_bytes, write_whole
from qualify.imaging.controls import PositiveControl
from qualify.imaging.focus import Setting, make_images
from qualify.imaging.grid import Image
from qualify.recording.record import Recording, samples_digest
from qualify.simulation.scene import Solid
from qualify.simulation.simulate import Simulator
from qualify.study.imaging import control_in
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.scenes import solid_of
from qualify.study.set_up_pairs import check_modes
from qualify.study.simulation import Job, SimulatedStudy
from qualify.study.simulation_run import check_folder, make_recording, owner, simulator_of
from qualify.study.trial_image_file import TrialImage, trial_image_bytes, trial_image_from_bytes
from qualify.threads import do_without_threads, one_thread

FOLDER, MARK = "images", "trial_images.json"
Told = Callable[[int, Job, bool], None]
Run = tuple[Job, ...]


@dataclass(frozen=True, slots=True)
class TrialEntry:
    """One file of images.

    Attributes
    ----------
    name : of the job.
    samples_sha256 : digest of the samples of its recording. inputs_sha256 : of what it depends on.
    file : relative to the folder of the trial. kept : whether it was there already.
    """

    name: str
    samples_sha256: str
    inputs_sha256: str
    file: str
    kept: bool


def make_trial_images(
    study: SimulatedStudy,
    plan: ImagingPlan,
    folder: Path,
    told: Told,
    workers: int | None = None,
) -> list[TrialEntry]:
    """Make the images of all jobs of a study, or keep them, and return what was made.

    Parameters
    ----------
    folder : of the trial; files are `images/NAME.h5` in it.
    told : is called after each job with the number done, the job and whether it was kept.
    workers : processes; None: the cores of the machine. One works in this process.

    Returns
    -------
    Entries of the jobs, in their order.

    Raises
    ------
    InputError : where a mode does not fit the array, or the folder holds what is not of this study.
    ValueError : where there is less than one worker.
    """
    count = (os.cpu_count() or 1) if workers is None else workers
    if count < 1:
        msg = f"found {count} workers, wanted one or more"
        raise ValueError(msg)
    check_modes(study, plan, "imaging plan")
    check_folder(study, folder / FOLDER, MARK, "images")
    if not (folder / FOLDER / MARK).is_file():
        write_whole(folder / FOLDER / MARK, canonical_json(owner(study)))
    maker = _Maker(study, plan, folder)
    found: dict[str, TrialEntry] = {}
    for job in study.jobs:
        if (held := maker.held(job)) is not None:
            found[job.name] = maker.entry(job, held, kept=True)
            told(len(found), job, True)
    left = [job for job in study.jobs if job.name not in found]
    for job, entry in _made(maker, _runs(left), count):
        found[job.name] = entry
        told(len(found), job, False)
    return [found[job.name] for job in study.jobs]


def load_trial_image(path: Path) -> TrialImage:
    """Read the images of one place.

    Raises
    ------
    InputError : where there is no such file, or it holds no images of a trial or is damaged.
    """
    return trial_image_from_bytes(read_bytes(path), str(path))


def images_digest(recording: str, plan: ImagingPlan) -> str:
    """Return the digest of all that a file of images depends on; thresholds are no part.

    recording : the digest of what the recording is.
    """
    parts = {
        "region": plan.region.model_dump(mode="json"),
        "modes": [mode.model_dump(mode="json") | {"threshold": None} for mode in plan.modes],
        "control": plan.control and plan.control.model_dump(mode="json"),
    }
    told = {"version": __version__, "recording": recording, "imaging": parts}
    return digest(canonical_json(told))


def imaged(
    recording: Recording, plan: ImagingPlan, setting: Setting | None = None
) -> tuple[tuple[Image, ...], tuple[PositiveControl | None, ...]]:
    """Return the images of a recording in all modes, and the control of each.

    setting : what recordings of one geometry share, as of `make_images`.
    """
    images = make_images(recording, plan.modes, plan.region.grid(), setting=setting)
    return images, tuple(control_in(image, plan.control) for image in images)


def held_image(path: Path, inputs: str) -> TrialImage | None:
    """Return the images of a file that is there, whole and made from these inputs; else None."""
    if not path.is_file():
        return None
    try:
        found = load_trial_image(path)
    except InputError:
        return None
    return found if found.inputs_sha256 == inputs else None


@dataclass(slots=True)
class _Maker:
    """Makes images of jobs; blocks of one material share a simulator."""

    study: SimulatedStudy
    plan: ImagingPlan
    folder: Path
    _simulators: dict[Solid, Simulator] = field(default_factory=dict)
    _setting: Setting = field(default_factory=Setting)

    def inputs(self, job: Job) -> str:
        """Return the digest of all that a file of images depends on; thresholds are no part."""
        return images_digest(self.study.inputs(job), self.plan)

    def held(self, job: Job) -> TrialImage | None:
        """Return the images of a job if they are there, whole and made from the same."""
        return held_image(self.folder / _file(job), self.inputs(job))

    def make(self, job: Job) -> TrialEntry:
        """Make the recording of a job, image it, and write its file."""
        solid = solid_of(self.study.blocks[job.block])
        if solid not in self._simulators:
            self._simulators[solid] = simulator_of(self.study, job.block)
        recording = make_recording(self.study, job, self._simulators[solid])
        images, controls = imaged(recording, self.plan, self._setting)
        held = TrialImage(
            name=job.name,
            block=job.block,
            x_mm=job.place.x_mm,
            y_mm=job.place.y_mm,
            repeat=job.repeat,
            twin=job.twin,
            loss_db=job.loss_db,
            images=images,
            controls=controls,
            samples_sha256=samples_digest(recording.samples),
            inputs_sha256=self.inputs(job),
        )
        write_whole(self.folder / _file(job), trial_image_bytes(held))
        return self.entry(job, held, kept=False)

    @staticmethod
    def entry(job: Job, held: TrialImage, *, kept: bool) -> TrialEntry:
        """Return what is told of a file."""
        return TrialEntry(
            name=job.name,
            samples_sha256=held.samples_sha256,
            inputs_sha256=held.inputs_sha256,
            file=_file(job),
            kept=kept,
        )


def _file(job: Job) -> str:
    return f"{FOLDER}/{job.name}.h5"


def _runs(jobs: Iterable[Job]) -> list[Run]:
    """Return jobs by place, in their order: those of one place share its grain."""
    return [tuple(run) for _, run in groupby(jobs, key=lambda job: job.place)]


def _made(maker: _Maker, runs: list[Run], workers: int) -> Iterator[tuple[Job, TrialEntry]]:
    """Yield each job with its entry as soon as it is made."""
    if min(workers, len(runs)) < 2:
        with one_thread():
            for job in (job for run in runs for job in run):
                yield job, maker.make(job)
        return
    with _processes(maker, min(workers, len(runs))) as pool:
        sent: dict[Future[list[TrialEntry]], Run] = {pool.submit(_make, run): run for run in runs}
        for future in as_completed(sent):
            yield from zip(sent[future], future.result(), strict=True)


@contextmanager
def _processes(maker: _Maker, count: int) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of processes, started afresh; an error or a stop from the keyboard ends them."""
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(
        count, multiprocessing.get_context("spawn"), _begin, (maker.study, maker.plan, maker.folder)
    )
    try:
        yield pool
    except BaseException:
        for process in set(multiprocessing.active_children()) - before:
            process.terminate()
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    pool.shutdown()


_worker: _Maker | None = None  # of a process that works for another


def _begin(study: SimulatedStudy, plan: ImagingPlan, folder: Path) -> None:
    """Make a process ready: one thread, stopped by its parent or with it."""
    global _worker
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()
    do_without_threads()
    _worker = _Maker(study, plan, folder)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def _make(run: Run) -> list[TrialEntry]:
    assert _worker is not None
    return [_worker.make(job) for job in run]
