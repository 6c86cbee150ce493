"""Recordings over the targets of set-up blocks, each with its flaw-free twin, made in memory."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from qualify.errors import Fault, InputError
from qualify.imaging.focus import check_mode
from qualify.recording.probe import Contact, Medium
from qualify.recording.record import Provenance, Recording, pair_count
from qualify.simulation.simulate import Simulator
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.set_up import Pair
from qualify.study.simulation import SimulatedStudy
from qualify.study.simulation_run import make_recording, simulator_of

UNDER_MM = 1.0  # a target so near to the middle of the array is the recording's own


def check_modes(study: SimulatedStudy, plan: ImagingPlan, name: str) -> None:
    """Refuse modes that do not fit the array, before anything is computed.

    Raises
    ------
    InputError : with a fault for each such mode; `name` is that of the imaging file.
    """
    told, faults = study.plan, []
    empty = Recording(
        np.zeros((pair_count(told.probe.elements), told.samples), np.float32),
        told.sampling_mhz,
        0.0,
        told.probe,
        Contact(kind="contact"),
        Medium(longitudinal_m_per_s=5900.0),
        Provenance("simulated", "nothing", None, ()),
    )
    for number, mode in enumerate(plan.modes, start=1):
        try:
            check_mode(empty, mode)
        except InputError as error:
            faults += [
                Fault(f"{name}: modes.{number}: {fault.place}", fault.found, fault.wanted)
                for fault in error.faults
            ]
    if faults:
        raise InputError(faults)


def pairs_of(study: SimulatedStudy) -> Iterator[Pair]:
    """Yield a pair for each target that stands under the middle of the array at some place.

    Places without one, twins and repeats are passed over.
    """
    simulators: dict[str, Simulator] = {}
    for job in study.jobs:
        if job.twin or job.repeat > 1:
            continue
        block = study.blocks[job.block]
        under = [t for t in block.targets if abs(t.x_mm - job.place.x_mm) <= UNDER_MM]
        if not under:
            continue
        if job.block not in simulators:
            simulators = {job.block: simulator_of(study, job.block)}
        recording = make_recording(study, job, simulators[job.block])
        twin = make_recording(study, replace(job, twin=True), simulators[job.block])
        for target in under:
            yield Pair(block, target.id, recording, twin)
