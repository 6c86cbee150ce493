"""Recordings over the targets of set-up blocks, each with its flaw-free twin, made in memory."""

from collections.abc import Iterator
from dataclasses import replace

from qualify.simulation.simulate import Simulator
from qualify.study.set_up import Pair
from qualify.study.simulation import SimulatedStudy
from qualify.study.simulation_run import make_recording, simulator_of

UNDER_MM = 1.0  # a target so near to the middle of the array is the recording's own


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
