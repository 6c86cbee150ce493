"""The model of a simulated study held against what is known, for its own array and material.

Exact solutions, faces against the exact strip, statistics of grain and noise in every mode, and
what the modes make of a hole beside the same place without one, in grain as declared and coarser.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from qualify import __version__
from qualify.imaging.focus import Focusing
from qualify.imaging.grid import Grid, Image
from qualify.imaging.modes import Mode
from qualify.imaging.quality import coherence_at_target, signal_to_noise
from qualify.imaging.region import Box
from qualify.imaging.signals import signals_of
from qualify.simulation.checks import checks
from qualify.simulation.face_checks import face_cases, tip_cases
from qualify.simulation.place import Place
from qualify.simulation.scene import Hole, Scene
from qualify.simulation.simulate import Simulator
from qualify.study.model_result import (
    COARSER_DB,
    RATIO_FROM,
    RATIO_TO,
    SEEDS,
    GrainCase,
    ModeCase,
    ModelCheck,
)
from qualify.study.simulation import SimulatedStudy
from qualify.study.simulation_run import simulator_of

DIAMETERS_MM = (1.0, 0.5)
DEPTH_SHARE = 0.6  # of the record's reach or the thickness, whichever is less
PLACES = 12
UNRECORDED = "computed, not recorded"
PITCH_MM = 60.0
STEP_MM = 0.25
BANDS = ((0.06, 0.2), (0.2, 0.85))  # of the reach: shallow and deep, looked at apart
Array = NDArray[np.float64]


def standard_modes(elements: int) -> tuple[Mode, ...]:
    """Return the modes that are compared: linear and sectorial scan, total focusing, coherence."""
    part = min(20, max(2, elements // 2))
    coherence = {"show": "coherence", "measure": "vector_coherence"}
    return tuple(
        Mode.model_validate(given)
        for given in (
            {"name": "linear", "focusing": "linear", "aperture_elements": part},
            {
                "name": "sectorial",
                "focusing": "sectorial",
                "angle_from_deg": -30.0,
                "angle_to_deg": 30.0,
                "angle_step_deg": 1.0,
                "aperture_elements": part,
            },
            {"name": "total_focusing", "focusing": "total_focusing"},
            {"name": "linear_coherence", "focusing": "linear", "aperture_elements": part}
            | coherence,
            {"name": "coherence", "focusing": "total_focusing"} | coherence,
        )
    )


def check_model(study: SimulatedStudy, told: Callable[[str], None]) -> ModelCheck:
    """Return the check of a study's model, on the material of its first block.

    told : called with each step in words.
    """
    block = study.jobs[0].block
    simulator = simulator_of(study, block)
    thickness = study.blocks[block].outline.thickness_mm
    reach = 0.5 * simulator.samples / simulator.sampling_mhz * simulator.solid.speed
    depth = round(DEPTH_SHARE * min(thickness, reach))
    told("exact solutions")
    found = checks(simulator.bench)
    faces = face_cases(simulator.bench, told)
    told("ends of an upright face")
    tips = tip_cases(simulator.bench)
    grain: tuple[GrainCase, ...] = ()
    modes: tuple[ModeCase, ...] = ()
    if simulator.conditions.grain is not None:
        told("grain in every mode")
        grain = _grain_cases(simulator, thickness, min(thickness, reach))
        modes = _mode_cases(simulator, thickness, float(depth), told)
    conditions = study.plan.conditions.model_dump(mode="json")
    name, solid = study.plan.study, simulator.solid
    loss = solid.attenuation_db_per_mm * study.plan.probe.centre_mhz / solid.attenuation_at_mhz
    return ModelCheck(
        name,
        block,
        float(depth),
        float(loss),
        _setting(study, block),
        conditions,
        found,
        faces,
        tips,
        grain,
        modes,
    )


def _setting(study: SimulatedStudy, block: str) -> tuple[tuple[str, str], ...]:
    """Return what the check is about, in words."""
    plan, made = study.plan, study.blocks[block].material
    probe = plan.probe
    return (
        ("Software", f"qualify {__version__}"),
        ("Seed", str(plan.seed)),
        (
            "Array",
            f"{probe.name}: {probe.elements} elements, pitch {probe.pitch_mm:g} mm, width "
            f"{probe.element_width_mm:g} mm, passive {probe.passive_width_mm:g} mm, "
            f"{probe.centre_mhz:g} MHz, {100 * probe.bandwidth_fraction:g} % bandwidth",
        ),
        (
            "Material",
            f"of block {block} (the first of {len(study.blocks)}): longitudinal "
            f"{made.longitudinal_m_per_s:g} m/s, shear {made.shear_m_per_s:g} m/s, "
            f"{made.attenuation_db_per_mm:g} dB/mm at {made.attenuation_at_mhz:g} MHz",
        ),
        ("Record", f"{plan.samples} samples at {plan.sampling_mhz:g} MHz"),
    )


def _place(number: int, thickness_mm: float) -> Place:
    """Return a place on a made-up plate of the block's thickness, long enough for all of them."""
    middle = 200.0 + PITCH_MM * number
    length = 400.0 + PITCH_MM * PLACES
    return Place("model-check", "1", middle, 0.0, -middle, length - middle, thickness_mm)


def _grain_alone(simulator: Simulator, backscatter_db: float | None = None) -> Simulator:
    grain = simulator.conditions.grain
    assert grain is not None
    if backscatter_db is not None:
        grain = grain.model_copy(update={"backscatter_db": backscatter_db})
    receiver = simulator.conditions.receiver
    conditions = type(simulator.conditions)(receiver=receiver, grain=grain)
    return Simulator(
        simulator.probe,
        simulator.solid,
        conditions,
        simulator.sampling_mhz,
        simulator.samples,
        simulator.seed,
    )


def _grain_cases(
    simulator: Simulator, thickness_mm: float, reach_mm: float
) -> tuple[GrainCase, ...]:
    """Return the statistics of grain alone in the modes of amplitude, over many places."""
    alone = _grain_alone(simulator)
    modes = tuple(m for m in standard_modes(alone.probe.elements) if m.show == "amplitude")
    power: dict[tuple[str, int], list[Array]] = {}
    grids = [
        Grid.over((-6.0, 6.0), (round(low * reach_mm, 1), round(high * reach_mm, 1)), step)
        for (low, high), step in zip(BANDS, (STEP_MM, 2.0 * STEP_MM), strict=True)
    ]
    for number in range(PLACES):
        place = _place(number, thickness_mm)
        for band, grid in enumerate(grids):
            for image in _images(alone, Scene(), place, modes, grid):
                values = image.amplitude().astype(np.float64) ** 2
                held = power.setdefault((image.mode, band), [])
                held.append(np.where(image.covered, values, np.nan))
    return tuple(
        _ratio(mode, np.array(values), grids[band]) for (mode, band), values in power.items()
    )


def _images(
    simulator: Simulator, scene: Scene, place: Place, modes: tuple[Mode, ...], grid: Grid
) -> tuple[Image, ...]:
    """Return the images of a scene in grain straight from its spectra; nothing is clipped."""
    pairs = simulator.bench.one
    empty = simulator.holding(np.zeros((len(pairs), simulator.samples), np.float32), place)
    band = simulator.bench.band
    signals = signals_of(simulator.spectra(scene, place), band, simulator.probe.elements)
    work = Focusing(empty, grid, signals, threads=True)
    return tuple(work.image(mode, UNRECORDED) for mode in modes)


def _ratio(mode: str, power: Array, grid: Grid) -> GrainCase:
    """Return the ratio with its error; the level over depth is a cubic in its logarithm."""
    z = grid.z_mm()
    level = np.log(np.nanmean(power, axis=(0, 2)))
    smooth = np.exp(np.polynomial.Polynomial.fit(z, level, 3)(z))
    over = power / smooth[None, :, None]
    fourth, second = (np.nanmean(over**p, axis=(1, 2)) for p in (2, 1))
    ratio = float(fourth.mean() / second.mean() ** 2)
    count = len(power)
    left = [np.delete(fourth, i).mean() / np.delete(second, i).mean() ** 2 for i in range(count)]
    error = float(np.sqrt((count - 1) / count * np.sum((left - np.mean(left)) ** 2)))
    accepted = RATIO_FROM - 2.0 * error <= ratio <= RATIO_TO + 2.0 * error
    return GrainCase(mode, float(z[0]), float(z[-1]), ratio, error, bool(accepted))


def _mode_cases(
    simulator: Simulator, thickness_mm: float, depth_mm: float, told: Callable[[str], None]
) -> tuple[ModeCase, ...]:
    """Return what the modes make of holes, in grain as declared and coarser."""
    declared = simulator.conditions.grain
    assert declared is not None
    modes = standard_modes(simulator.probe.elements)
    grid = Grid.over((-15.0, 3.0), (depth_mm - 5.0, depth_mm + 4.0), STEP_MM)
    out: list[ModeCase] = []
    for level in (declared.backscatter_db, min(declared.backscatter_db + COARSER_DB, 0.0)):
        told(f"holes in grain of {level:g} dB")
        alone = _grain_alone(simulator, level)
        seen: dict[tuple[float, str], list[ModeCase]] = {}
        for number in range(SEEDS):
            place = _place(number, thickness_mm)
            twins = _images(alone, Scene(), place, modes, grid)
            for diameter in DIAMETERS_MM:
                scene = Scene(holes=(Hole(0.0, depth_mm, diameter),))
                images = _images(alone, scene, place, modes, grid)
                for image, twin in zip(images, twins, strict=True):
                    case = _case(level, diameter, depth_mm, image, twin)
                    seen.setdefault((diameter, image.mode), []).append(case)
        out += [_mean(cases) for cases in seen.values()]
    return tuple(out)


def _case(level: float, diameter: float, depth_mm: float, image: Image, twin: Image) -> ModeCase:
    box = Box((-2.0, 2.0), (depth_mm - 2.0, depth_mm + 1.5))
    if image.unit == "coherence":
        seen = coherence_at_target(image, twin, box)
        return ModeCase(
            level, diameter, image.mode, coherence=seen.peak.value, twin_coherence=seen.twin_largest
        )
    noise = Box((-15.0, -8.0), (depth_mm - 4.0, depth_mm + 3.0))
    found = signal_to_noise(image, twin, box, noise)
    return ModeCase(level, diameter, image.mode, found.snr_db, found.twin_snr_db, found.excess_db)


def _mean(cases: list[ModeCase]) -> ModeCase:
    def over(name: str) -> float | None:
        values = [getattr(case, name) for case in cases]
        return None if None in values else float(np.mean(values))

    first = cases[0]
    spread = [case.excess_db for case in cases if case.excess_db is not None]
    return ModeCase(
        first.grain_db,
        first.diameter_mm,
        first.mode,
        over("snr_db"),
        over("twin_snr_db"),
        over("excess_db"),
        float(np.std(spread, ddof=1)) if len(spread) == len(cases) else None,
        over("coherence"),
        over("twin_coherence"),
    )
