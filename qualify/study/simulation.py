"""A simulation file with its blocks: the recordings that it asks for, and what they depend on."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qualify import __version__
from qualify.blocks.definition import Block
from qualify.errors import Fault, InputError
from qualify.files import canonical_json, digest, read_toml, validated
from qualify.recording.probe import Probe
from qualify.simulation.place import Place
from qualify.simulation.scene import Scene
from qualify.simulation.validity import Remark, judge
from qualify.simulation.words import MODEL
from qualify.study.load import load_block
from qualify.study.scenes import Section, place_on, scene_of
from qualify.study.simulation_plan import Positions, SimulationPlan

PLAN_FILE = "simulation.toml"
VELOCITIES, RATIOS, MOST_DB_PER_MM = (1000.0, 15000.0), (1.42, 3.0), 2.0  # of solids
NO_WALL = Remark("no_wall", "the record ends before the echo of the back wall")
ALIKE = {"probe", "conditions", "positions"}
BASE_MB, MB_PER_SAMPLE = 260.0, 5e-5  # measured with 32 and 60 elements, 1,024 and 2,048 samples
GRAIN_S, REST_S = 2e-7, 3e-8  # of one core for each sample of a place, and of a recording; measured
POINTS_PER_MM2 = 12.5  # where GRAIN_S was measured


@dataclass(frozen=True, slots=True)
class Job:
    """One recording to be made.

    Attributes
    ----------
    name : of its file, without an ending; it says where the array stood and nothing of targets.
    loss_db : lost beside the coupling of the conditions, on each way.
    """

    name: str
    block: str
    place: Place
    repeat: int
    twin: bool
    loss_db: float = 0.0


@dataclass(frozen=True, slots=True)
class SimulatedStudy:
    """A simulation file with its blocks, checked.

    Attributes
    ----------
    plan_digest : of everything in the file that recordings depend on.
    """

    path: Path
    plan: SimulationPlan
    blocks: dict[str, Block]
    jobs: tuple[Job, ...]
    plan_digest: str

    def section(self, job: Job) -> Section:
        """Return what lies under the array; a twin has the back wall alone."""
        block = self.blocks[job.block]
        section = scene_of(
            block, job.place, self.plan.probe, self.plan.seed, self.plan.pore_diameter_mm
        )
        if job.twin:
            return Section(Scene(wall_mm=section.scene.wall_mm))
        return section

    def inputs(self, job: Job) -> str:
        """Return the digest of all that a recording depends on."""
        told = {
            "plan": self.plan_digest,
            "block": self.blocks[job.block].model_dump(mode="json"),
            "place": [job.place.x_mm, job.place.y_mm],
            "repeat": job.repeat,
            "twin": job.twin,
        } | ({"loss_db": job.loss_db} if job.loss_db else {})
        return digest(canonical_json(told))


def is_simulation(told: Mapping[str, Any]) -> bool:
    """Return whether a TOML file means to be a simulation file: two of its parts will do."""
    return len(ALIKE & told.keys()) > 1


def load_simulation(path: Path) -> SimulatedStudy:
    """Read a simulation file, or the one in a folder, with its blocks; nothing is computed.

    Raises
    ------
    InputError : with every fault of the file it stops at.
    """
    if path.is_dir():
        path = path / PLAN_FILE
    plan = validated(SimulationPlan, read_toml(path), str(path))
    blocks: dict[str, Block] = {}
    faults: list[Fault] = []
    for number, name in enumerate(plan.blocks, start=1):
        try:
            block = load_block(path.parent / name)
        except InputError as error:
            faults += error.faults
            continue
        if block.id in blocks:
            place = f"{path}: blocks.{number}"
            faults.append(Fault(place, f"'{block.id}' stands twice", "give each block once"))
        faults += _material(block, str(path.parent / name))
        blocks[block.id] = block
    if faults:
        raise InputError(faults)
    jobs = _jobs(plan, blocks, str(path))
    study = SimulatedStudy(path, plan, blocks, jobs, _plan_digest(plan))
    _check_scenes(study)
    return study


def _material(block: Block, name: str) -> list[Fault]:
    """Return what of a block's material the model can't take, or is told in another unit."""
    made = block.material
    ratio = made.longitudinal_m_per_s / made.shear_m_per_s
    low, high = VELOCITIES
    faults = []
    if not low <= made.longitudinal_m_per_s <= high:
        found = f"{made.longitudinal_m_per_s:g} is no longitudinal velocity of a solid"
        wanted = f"give metres a second, {low:g} to {high:g}"
        faults.append(Fault(f"{name}: material.longitudinal_m_per_s", found, wanted))
    if not RATIOS[0] <= ratio <= RATIOS[1]:
        found = f"longitudinal over shear velocity is {ratio:.3g}"
        wanted = f"it lies from {RATIOS[0]:g} to {RATIOS[1]:g}; mend one of them"
        faults.append(Fault(f"{name}: material.shear_m_per_s", found, wanted))
    if made.attenuation_db_per_mm > MOST_DB_PER_MM:
        found = f"{made.attenuation_db_per_mm:g} dB/mm leaves no echo"
        wanted = f"give decibels a millimetre, at most {MOST_DB_PER_MM:g}"
        faults.append(Fault(f"{name}: material.attenuation_db_per_mm", found, wanted))
    return faults


def _plan_digest(plan: SimulationPlan) -> str:
    told = plan.model_dump(mode="json")
    kept = {k: told[k] for k in told if k not in ("blocks", "positions", "provenance", "study")}
    return digest(canonical_json({"version": __version__, "model": MODEL, "plan": kept}))


def _jobs(plan: SimulationPlan, blocks: dict[str, Block], name: str) -> tuple[Job, ...]:
    jobs: list[Job] = []
    faults: list[Fault] = []
    for number, positions in enumerate(plan.positions, start=1):
        place = f"{name}: positions.{number}"
        block = blocks.get(positions.block)
        if block is None:
            found = f"'{positions.block}' is none of the blocks ({', '.join(sorted(blocks))})"
            faults.append(Fault(f"{place}.block", found, "list its file under blocks"))
            continue
        lines = {p.y_mm for p in plan.positions if p.block == positions.block}
        asked = tuple(_of(positions, block, several_lines=len(lines) > 1))
        beside = _outside(positions, block, place)
        faults += beside or _over_the_edge(plan.probe, asked, block, place)
        jobs += asked
    names = [job.name for job in jobs]
    for twice in sorted({one for one in names if names.count(one) > 1}):
        faults.append(Fault(f"{name}: positions", f"'{twice}' is made twice", "give it once"))
    porous = any(p.kind_name == "pore_cluster" for b in blocks.values() for p in b.targets)
    if porous and plan.pore_diameter_mm is None:
        faults.append(
            Fault(f"{name}: pore_diameter_mm", "is missing", "a block has a pore cluster")
        )
    if faults:
        raise InputError(faults)
    return tuple(jobs)


def _outside(positions: Positions, block: Block, place: str) -> list[Fault]:
    outline, faults = block.outline, []
    if not 0.0 <= positions.y_mm <= outline.width_mm:
        found = f"{positions.y_mm:g} mm is beside the block, 0 to {outline.width_mm:g} mm wide"
        faults.append(Fault(f"{place}.y_mm", found, "give a line on it"))
    for x in positions.x_mm or ():
        if not 0.0 <= x <= outline.length_mm:
            found = f"{x:g} mm is beside the block, 0 to {outline.length_mm:g} mm long"
            faults.append(Fault(f"{place}.x_mm", found, "give a place on it"))
    known = {unit.id for unit in block.grading_units}
    if isinstance(positions.units, tuple):
        for unit in positions.units:
            if unit not in known:
                found = f"'{unit}' is no grading unit of {block.id}"
                faults.append(Fault(f"{place}.units", found, "check its spelling"))
    elif positions.units == "all" and not known:
        faults.append(
            Fault(f"{place}.units", f"{block.id} has no grading units", "give x_mm or targets")
        )
    if positions.targets and not block.targets:
        faults.append(Fault(f"{place}.targets", f"{block.id} has no targets", "give x_mm"))
    return faults


def _over_the_edge(
    probe: Probe, jobs: tuple[Job, ...], block: Block, place: str
) -> Iterator[Fault]:
    """Yield a fault for each place at which the array does not stand wholly on the block."""
    half = 0.5 * (probe.aperture_mm + probe.element_width_mm)
    for x in dict.fromkeys(job.place.x_mm for job in jobs):
        if not half <= x <= block.outline.length_mm - half:
            found = f"the array, {2 * half:.4g} mm long, reaches over an end of {block.id} at {x:g}"
            yield Fault(place, f"{found} mm", "move it, or use a shorter array")
    half = 0.5 * probe.passive_width_mm
    for y in dict.fromkeys(job.place.y_mm for job in jobs):
        if not half <= y <= block.outline.width_mm - half:
            found = f"the array, {2 * half:g} mm wide, reaches over an edge of {block.id}"
            yield Fault(f"{place}.y_mm", found, "move the line, or use a narrower array")


def _of(positions: Positions, block: Block, *, several_lines: bool) -> Iterator[Job]:
    line = f"-y{positions.y_mm:g}" if several_lines else ""
    middles: list[tuple[str, float]] = []
    if positions.units is not None:
        middles = [
            (unit.id, 0.5 * (unit.x_from_mm + unit.x_to_mm))
            for unit in block.grading_units
            if positions.units == "all" or unit.id in positions.units
        ]
    else:
        places = positions.x_mm or tuple(dict.fromkeys(t.x_mm for t in block.targets))
        middles = [(f"x{x:g}", x) for x in places]
    for label, x in middles:
        place = place_on(block, x, positions.y_mm)
        for repeat in range(1, positions.repeats + 1):
            for twin in (False, True) if positions.twins else (False,):
                name = f"{block.id}-{label}{line}" + (f"-r{repeat}" if repeat > 1 else "")
                whole = name + ("-twin" if twin else "")
                yield Job(whole, block.id, place, repeat, twin, positions.loss_db)


def _remarks(study: SimulatedStudy, job: Job) -> tuple[Remark, ...]:
    section = study.section(job)
    wave = study.blocks[job.block].material.longitudinal_m_per_s * 1e-3
    wave /= study.plan.probe.centre_mhz
    along = study.plan.probe.along_mm()
    found = (*section.left_out, *judge(section.scene, along, wave, section.pore_share))
    speed = study.blocks[job.block].material.longitudinal_m_per_s * 1e-3
    ends_us = study.plan.samples / study.plan.sampling_mhz
    if 2.0 * job.place.thickness_mm / speed >= ends_us:
        return (*found, NO_WALL)
    return found


def _check_scenes(study: SimulatedStudy) -> None:
    """Refuse what lies outside the model, by block and reason, before anything is computed."""
    places: dict[tuple[str, str], set[float]] = {}
    for job in study.jobs:
        for remark in _remarks(study, job):
            if remark.refused:
                places.setdefault((job.block, remark.text), set()).add(job.place.x_mm)
    found = {key: len(held) for key, held in places.items()}
    if found:
        raise InputError(
            Fault(
                f"{study.path}: {block}",
                f"{text} (at {count} places)",
                "leave the block, or these places, out",
            )
            for (block, text), count in sorted(found.items())
        )


def remarks_of(study: SimulatedStudy) -> list[dict[str, Any]]:
    """Return what is to be said of targets: in how many recordings, without saying which."""
    count: dict[str, int] = {}
    for job in study.jobs:
        for text in {remark.text for remark in _remarks(study, job)}:
            count[text] = count.get(text, 0) + 1
    return [{"text": text, "recordings": number} for text, number in sorted(count.items())]


def simulation_totals(study: SimulatedStudy) -> dict[str, Any]:
    """Return counts that tell nothing of the truth, for `check`.

    Time is that of one core, memory that of the run; both as measured on one machine, without
    pores and faces, which add to the time.
    """
    elements, grain = study.plan.probe.elements, study.plan.conditions.grain
    signals = elements * (elements + 1) // 2
    if study.plan.matrix == "full":
        signals = elements * elements
    samples = signals * study.plan.samples
    places = {(job.block, job.place.x_mm, job.place.y_mm) for job in study.jobs}
    density = 0.0 if grain is None else grain.points_per_mm2 / POINTS_PER_MM2
    seconds = samples * (GRAIN_S * density * len(places) + REST_S * len(study.jobs))
    return {
        "study": study.plan.study,
        "signal": "simulated",
        "blocks": len(study.blocks),
        "recordings": len(study.jobs),
        "megabytes": round(4e-6 * samples * len(study.jobs), 1),
        "memory_megabytes_about": int(BASE_MB + MB_PER_SAMPLE * samples),
        "core_seconds_about": round(seconds, 1),
    }
