"""Recordings of a simulated study, one file each: made, or kept on a second run.

Each file is a function of the simulation file, its block and its place alone, so that a run that
was stopped at any moment goes on to the same bytes. What a file was made from stands in it as a
digest; a file that is whole and was made from the same is kept.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from qualify import __version__
from qualify.errors import InputError, refuse
from qualify.files import canonical_json, is_partial, read_bytes, write_whole
from qualify.recording.archive import recording_bytes, recording_from_bytes
from qualify.recording.probe import Medium
from qualify.recording.record import Recording, samples_digest
from qualify.simulation.simulate import Simulator
from qualify.simulation.words import LEFT_OUT, MODEL
from qualify.study.scenes import solid_of
from qualify.study.simulation import Job, SimulatedStudy, remarks_of

MARK = "simulation.json"
INPUTS = "inputs of the simulation"
TWINS = "a recording beside its twin shows what is in the piece: keep twins from readers"
SAME_DRAW = (
    "a twin has the coupling and the noise of its recording; a real one has not, so that what "
    "stands over a twin is the best case"
)


def make_recording(study: SimulatedStudy, job: Job, simulator: Simulator) -> Recording:
    """Return the recording of a job, with what it was made from."""
    found = simulator.record(
        study.section(job).scene, job.place, repeat=job.repeat, loss_db=job.loss_db
    )
    material = study.blocks[job.block].material
    medium = Medium(
        longitudinal_m_per_s=material.longitudinal_m_per_s,
        longitudinal_u_m_per_s=material.longitudinal_u_m_per_s,
        thickness_mm=job.place.thickness_mm,
    )
    provenance = replace(found.provenance, files=((INPUTS, study.inputs(job)),))
    return replace(found, medium=medium, provenance=provenance)


def run_simulation(
    study: SimulatedStudy,
    folder: Path,
    told: Callable[[int, Job, bool], None],
    only: str | None = None,
) -> dict[str, Any]:
    """Make all recordings of a study in a folder, and return what was made.

    told : called after each recording with its number and whether it was there already.
    only : id of the one block to make now. The manifest tells what of the others stands, and
        whether the study is complete.

    Raises
    ------
    InputError : where the folder holds what this study does not make.
    """
    check_folder(study, folder, MARK, "recordings")
    if not (folder / MARK).is_file():
        write_whole(folder / MARK, canonical_json(owner(study) | {"complete": False}))
    simulators: dict[str, Simulator] = {}
    made: list[dict[str, Any]] = []
    for number, job in enumerate(study.jobs, start=1):
        path = folder / f"{job.name}.h5"
        recording = _held(path, study.inputs(job))
        kept, asked = recording is not None, only is None or job.block == only
        if recording is None and asked:
            if job.block not in simulators:
                simulators = {job.block: simulator_of(study, job.block)}
            recording = make_recording(study, job, simulators[job.block])
            write_whole(path, recording_bytes(recording))
        if recording is not None:
            made.append(_entry(study, job, recording))
        if asked:
            told(number, job, kept)
    document = _document(study, made)
    write_whole(folder / MARK, canonical_json(document))
    return document


def simulator_of(study: SimulatedStudy, block: str) -> Simulator:
    """Return the simulator of a block's recordings."""
    plan = study.plan
    return Simulator(
        plan.probe,
        solid_of(study.blocks[block]),
        plan.conditions,
        plan.sampling_mhz,
        plan.samples,
        plan.seed,
        full=plan.matrix == "full",
    )


def _held(path: Path, inputs: str) -> Recording | None:
    """Return a recording that is there, whole and made from the same inputs; else None."""
    if not path.is_file():
        return None
    try:
        found = recording_from_bytes(read_bytes(path), str(path))
    except InputError:
        return None
    return found if found.provenance.files == ((INPUTS, inputs),) else None


def check_folder(study: SimulatedStudy, folder: Path, mark: str, what: str) -> None:
    """Refuse a folder with files of others; take away what a killed run left half-written.

    Parameters
    ----------
    mark : name of the file that says whose the others are, one for each job. what : they hold.

    Raises
    ------
    InputError : where the folder holds what this study does not make.
    """
    partial = left_behind(folder, [job.name for job in study.jobs], mark, what)
    _check_owner(study, folder / mark, what)
    for path in partial:
        path.unlink(missing_ok=True)


def left_behind(folder: Path, names: Sequence[str], mark: str, what: str) -> list[Path]:
    """Return what a killed run left half-written in a folder of files `NAME.h5`.

    Raises
    ------
    InputError : where the folder holds what is not made under these names.
    """
    if folder.is_file():
        raise refuse(str(folder), "is a file", "give a folder")
    if not folder.is_dir():
        return []
    ours = {mark, *(f"{name}.h5" for name in names)}
    held = sorted(path for path in folder.iterdir())
    partial = [path for path in held if any(is_partial(path, name) for name in ours)]
    for path in held:
        if path not in partial and path.name not in ours:
            raise refuse(
                str(folder),
                f"also holds {path.name}, which this study does not make",
                "move it away, or give a new folder",
            )
    if any(path.name.endswith(".h5") for path in held) and not (folder / mark).is_file():
        raise refuse(
            str(folder), f"holds {what} that are not ours (no {mark})", "give a new folder"
        )
    return partial


def owner(study: SimulatedStudy) -> dict[str, str]:
    """Return what says whose the files of a folder are: study, and digest of its plan."""
    return {"study": study.plan.study, "plan_sha256": study.plan_digest}


def _check_owner(study: SimulatedStudy, mark: Path, what: str) -> None:
    """Refuse a folder whose files another study or plan made; they are not overwritten."""
    if not mark.is_file():
        return
    try:
        found = json.loads(read_bytes(mark))
    except ValueError:
        return
    if not isinstance(found, dict) or "plan_sha256" not in found:
        return
    if found["plan_sha256"] is None:
        wanted = "give a new folder, or remove it"
        raise refuse(str(mark.parent), f"holds {what} of recordings that were given", wanted)
    if found["plan_sha256"] != study.plan_digest:
        raise refuse(
            str(mark.parent),
            f"holds {what} of study '{found.get('study')}', made with another probe, seed, "
            "conditions or version",
            "give a new folder, or remove it",
        )


def _entry(study: SimulatedStudy, job: Job, recording: Recording) -> dict[str, Any]:
    return {
        "file": f"{job.name}.h5",
        "block": job.block,
        "x_mm": job.place.x_mm,
        "y_mm": job.place.y_mm,
        "repeat": job.repeat,
        "twin": job.twin,
        **({"loss_db": job.loss_db} if job.loss_db else {}),
        "samples_sha256": samples_digest(recording.samples),
        "inputs_sha256": study.inputs(job),
        "gain_db": recording.gain_db,
    }


def _document(study: SimulatedStudy, made: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        **owner(study),
        "signal": "simulated",
        "model": MODEL,
        "software": __version__,
        "seed": study.plan.seed,
        "left_out": list(LEFT_OUT),
        "conditions": study.plan.conditions.model_dump(mode="json"),
        "remarks": remarks_of(study),
        "cautions": [TWINS, SAME_DRAW] if any(job.twin for job in study.jobs) else [],
        "complete": len(made) == len(study.jobs),
        "recordings": made,
    }
