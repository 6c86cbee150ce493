"""What `bench` tells of simulated recordings: a full scene, and against numpy, side by side."""

from typing import Any

PLAIN_FREQUENCIES = 8  # computed by the plain sum, and scaled to all
SEED = 1


def time_simulation() -> dict[str, Any]:
    """Time a recording of 64 x 64 x 2,048 with all kinds of targets, and a unit of a study."""
    from time import perf_counter, process_time

    import numpy as np

    from qualify.simulation.plain import plain_spectra
    from qualify.simulation.reflectors import add_scene

    simulator, scene, place = _large()
    simulator.record(scene, place)  # compiles, or reads what was compiled
    bench = simulator.bench
    simulator.forget_grain()
    start = perf_counter()
    simulator.record(scene, place)
    whole = perf_counter() - start
    start = perf_counter()
    simulator.record(scene, place)
    again = perf_counter() - start
    held = np.zeros((2, len(bench.one), len(bench.k_per_mm)), np.float32)
    start, burnt = perf_counter(), process_time()
    add_scene(bench, scene, held)
    reflectors, reflectors_cpu = perf_counter() - start, process_time() - burnt
    numbers = np.linspace(3, len(bench.k_per_mm) - 1, PLAIN_FREQUENCIES).astype(int)
    burnt = process_time()
    plain_spectra(bench, scene, numbers)
    plain = (process_time() - burnt) * len(bench.k_per_mm) / PLAIN_FREQUENCIES
    return {
        "elements": simulator.probe.elements,
        "samples": simulator.samples,
        "holes": len(scene.holes),
        "faces": len(scene.faces),
        "pores": len(scene.pores),
        "grains": simulator.grain_count(place),
        "whole_s": whole,
        "reflectors_s": reflectors,
        "another_target_set_s": again,
        "reflectors_cpu_s": reflectors_cpu,
        "plain_cpu_s": plain,
        "ratio": plain / reflectors_cpu,
        "unit_cpu_s": _unit(),
    }


def _probe(elements: int, pitch_mm: float) -> Any:
    from qualify.recording.probe import Probe

    return Probe(
        name="bench",
        elements=elements,
        pitch_mm=pitch_mm,
        element_width_mm=pitch_mm - 0.1,
        passive_width_mm=11.0,
        centre_mhz=5.0,
        bandwidth_fraction=0.7,
    )


def _simulator(elements: int, pitch_mm: float, samples: int, *, full: bool, points: float) -> Any:
    from qualify.simulation.conditions import Conditions, Electronics, Grain, Receiver
    from qualify.simulation.scene import Solid
    from qualify.simulation.simulate import Simulator

    conditions = Conditions(
        receiver=Receiver(set_on_wall_mm=60.0),
        grain=Grain(backscatter_db=-40.0, points_per_mm2=points),
        electronics=Electronics(noise_db=-60.0, ring_down_db=10.0),
    )
    solid = Solid(5920.0, 3255.0, 0.01)
    array = _probe(elements, pitch_mm)
    return Simulator(array, solid, conditions, 50.0, samples, SEED, full=full)


def _large() -> tuple[Any, Any, Any]:
    import numpy as np

    from qualify.simulation.place import Place
    from qualify.simulation.scene import Face, Hole, Pore, Scene

    rng = np.random.default_rng(SEED)
    pores = np.column_stack(
        [rng.uniform(-3, 3, 60), rng.uniform(36.5, 39.5, 60), rng.uniform(0.1, 0.3, 60)]
    )
    scene = Scene(
        holes=tuple(Hole(-16.0 + 3.0 * i, 8.0 + 5.0 * i, 0.5 + 0.1 * i) for i in range(12)),
        faces=(
            Face(-5.0, 20.0, 0.0, 20.5),
            Face(3.0, 30.0, 8.0, 31.0),
            Face(-10.0, 40.0, -5.0, 43.0),
            Face(9.0, 60.0, 11.0, 64.5),
        ),
        pores=tuple(Pore(*map(float, row)) for row in pores),
        wall_mm=70.0,
    )
    place = Place("bench", "1", 300.0, 15.0, -300.0, 300.0, 70.0)
    return _simulator(64, 0.6, 2048, full=True, points=12.5), scene, place


def _unit() -> float:
    """Return processor seconds of one grading unit, half a matrix, its grain made anew."""
    from time import process_time

    from qualify.simulation.place import Place
    from qualify.simulation.scene import Hole, Scene

    simulator = _simulator(60, 0.62, 1024, full=False, points=16.0)
    scene = Scene(holes=(Hole(1.0, 30.0, 1.0),), wall_mm=60.0)
    burnt = []
    for number in range(4):
        middle = 100.0 + 60.0 * number
        place = Place("bench", "1", middle, 15.0, -middle, 900.0 - middle, 60.0)
        start = process_time()
        simulator.record(scene, place)
        burnt.append(process_time() - start)
    return min(burnt[1:])


def simulation_lines(told: dict[str, Any]) -> list[str]:
    """Return what `bench` prints of it."""
    return [
        f"simulated recording, {told['elements']} x {told['elements']} x {told['samples']}, "
        f"{told['holes']} holes, {told['faces']} faces, {told['pores']} pores, wall, "
        f"{told['grains']} grains, noise, ring-down: {told['whole_s']:.2f} s; another set of "
        f"targets on the same grain {told['another_target_set_s']:.2f} s",
        f"its reflectors {told['reflectors_s']:.2f} s ({told['reflectors_cpu_s']:.2f} s of "
        f"processor); numpy frequency by frequency {told['plain_cpu_s']:.1f} s of processor, "
        f"scaled from {PLAIN_FREQUENCIES} frequencies; ratio {told['ratio']:.0f}",
        f"one grading unit, 60 elements, 1,024 samples, half a matrix, its grain made anew: "
        f"{told['unit_cpu_s']:.2f} s of processor",
    ]
