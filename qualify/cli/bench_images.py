"""The part of `qualify bench` that times images, side by side in one run.

Times are seconds of one processor unless said otherwise, the best of three, compiled before.
"""

import math
from collections.abc import Callable
from time import perf_counter, process_time
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from qualify.imaging.focus import Focusing
    from qualify.imaging.grid import Grid
    from qualify.imaging.modes import Mode
    from qualify.recording.record import Recording

ELEMENTS, SAMPLES, SAMPLING_MHZ = 64, 2048, 50.0
POINTS_MM = ((0.0, 20.0), (3.3, 38.0), (-7.7, 30.0), (5.1, 45.0), (0.4, 60.0))
BEST_OF = 3


def time_images(pixels: int) -> dict[str, Any]:
    """Time images of `pixels` × `pixels` of 64 elements and 2048 samples."""
    from qualify.imaging.signals import prepare

    recording, grid = _recording(), _grid(pixels)
    total, coherence, linear, sectorial = _modes()
    prepare_s = _best(process_time, lambda: prepare(recording))
    signals = prepare(recording)

    def work(modes: tuple["Mode", ...], threads: bool) -> Callable[[], object]:
        return lambda: _images(recording, grid, signals, modes, threads)

    for modes in ((total, coherence), (linear,), (sectorial,)):
        work(modes, False)()
    alone = _best(process_time, work((total,), False))
    both = _best(process_time, work((total, coherence), False))
    one, many = (_best(perf_counter, work((total, coherence), t)) for t in (False, True))
    plain_s, half_s, apart = _plain(recording, grid, work((total, coherence), False))
    pairs = ELEMENTS * (ELEMENTS + 1) // 2
    fetch_s = _fetching(recording, grid)
    return {
        "pixels": pixels,
        "elements": ELEMENTS,
        "samples": SAMPLES,
        "prepare_s": prepare_s,
        "total_focusing_s": alone,
        "with_coherence_s": both,
        "coherence_ratio": both / alone,
        "linear_ratio": _best(process_time, work((linear,), False)) / alone,
        "sectorial_ratio": _best(process_time, work((sectorial,), False)) / alone,
        "numpy_s": plain_s,
        "ratio": plain_s / both,
        "numpy_half_s": half_s,
        "half_ratio": half_s / both,
        "apart_from_numpy_db": apart,
        "pixel_pairs_per_s": pixels * pixels * pairs / both,
        "fetch_pixel_pairs_per_s": pixels * pixels * pairs / fetch_s,
        "share_of_fetch_limit": fetch_s / both,
        "threads_ratio": one / many,
    }


def _images(
    recording: "Recording", grid: "Grid", signals: Any, modes: tuple["Mode", ...], threads: bool
) -> "Focusing":
    from qualify.imaging.focus import Focusing

    work = Focusing(recording, grid, signals, threads)
    for mode in modes:
        work.image(mode, "")
    return work


def _best(clock: Callable[[], float], work: Callable[[], object]) -> float:
    best = math.inf
    for _ in range(BEST_OF):
        start = clock()
        work()
        best = min(best, clock() - start)
    return best


def _recording() -> "Recording":
    from qualify.recording.points import record_points
    from qualify.recording.probe import Probe

    probe = Probe(
        name="array of the benchmark",
        elements=ELEMENTS,
        pitch_mm=0.6,
        element_width_mm=0.5,
        passive_width_mm=10.0,
        centre_mhz=5.0,
        bandwidth_fraction=0.7,
    )
    return record_points(probe, POINTS_MM, 0.2, sampling_mhz=SAMPLING_MHZ, samples=SAMPLES)


def _grid(pixels: int) -> "Grid":
    """Return a square grid, as fine as it takes, over x ±15 mm and z 10 to 65 mm."""
    from qualify.imaging.grid import Grid

    return Grid(-15.0, 10.0, 30.0 / (pixels - 1), 55.0 / (pixels - 1), pixels, pixels)


def _modes() -> tuple["Mode", "Mode", "Mode", "Mode"]:
    from qualify.imaging.modes import Mode

    return (
        Mode(name="total_focusing", focusing="total_focusing"),
        Mode(
            name="coherence",
            focusing="total_focusing",
            show="coherence",
            measure="vector_coherence",
        ),
        Mode(name="linear", focusing="linear", aperture_elements=20),
        Mode(
            name="sectorial",
            focusing="sectorial",
            angle_from_deg=-30.0,
            angle_to_deg=30.0,
            angle_step_deg=1.0,
        ),
    )


def _plain(
    recording: "Recording", grid: "Grid", work: Callable[[], object]
) -> tuple[float, float, float]:
    """Time the pair loop in numpy, as one writes it first and on half the matrix.

    The first sums every pair of the full matrix, for total focusing alone; the second sums half of
    them, with coherence. Once each, as they take long. And how far apart the images are, dB.
    """
    import numpy as np

    from qualify.imaging.plain import analytic_signals, one_way_us, plain_sums

    analytic, times = analytic_signals(recording), one_way_us(recording, grid)
    seconds = []
    for first in (True, False):
        start = process_time()
        signal, _ = plain_sums(
            analytic, times, SAMPLING_MHZ, 0.0, coherence=not first, every_pair=first
        )
        seconds.append(process_time() - start)
    ours: Any = work()
    image = ours.image(_modes()[0], "").amplitude()
    known = np.abs(signal).reshape(grid.shape) / ELEMENTS**2
    apart = float(np.abs(image - known).max() / known.max())
    return seconds[0], seconds[1], 20.0 * math.log10(apart)


def _fetching(recording: "Recording", grid: "Grid") -> float:
    """Time fetching alone: the same samples for the same tiles, and no arithmetic on them."""
    import numpy as np

    from qualify.imaging.kernels import fetch_all
    from qualify.imaging.signals import prepare
    from qualify.imaging.tiles import grid_pixels, run
    from qualify.imaging.total_focusing import total_focusing_law

    signals = prepare(recording)
    law = total_focusing_law(recording, signals, _modes()[0], grid_pixels(grid), weighted=False)
    found = run(fetch_all, signals, law, 1, threads=False)
    assert np.isfinite(found).all()
    return _best(process_time, lambda: run(fetch_all, signals, law, 1, threads=False))


def import_seconds() -> float:
    """Return how long a fresh interpreter takes to import the images, without its own start."""
    import subprocess
    import sys

    def seconds(code: str) -> float:
        start = perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        return perf_counter() - start

    empty = min(seconds("pass") for _ in range(BEST_OF))
    return min(seconds("import qualify.imaging.focus") for _ in range(BEST_OF)) - empty


def image_lines(images: dict[str, Any]) -> list[str]:
    """Return the lines that `bench` prints of images for people."""
    n = images["pixels"]
    return [
        f"images of {n} × {n} pixels, {images['elements']} elements, {images['samples']} samples, "
        f"one processor: total focusing and coherence {images['with_coherence_s']:.2f} s, "
        f"total focusing alone {images['total_focusing_s']:.2f} s (ratio "
        f"{images['coherence_ratio']:.2f}); signals made ready in {images['prepare_s']:.2f} s",
        f"numpy, a loop over all pairs of the full matrix, total focusing alone: "
        f"{images['numpy_s']:.1f} s, ratio {images['ratio']:.1f}; over half the matrix with "
        f"coherence {images['numpy_half_s']:.1f} s, ratio {images['half_ratio']:.1f}; its linear "
        f"interpolation at ten samples a period is {images['apart_from_numpy_db']:.0f} dB of the "
        "maximum apart",
        f"{images['pixel_pairs_per_s']:.2e} pixels × pairs a second; fetching the samples alone "
        f"{images['fetch_pixel_pairs_per_s']:.2e}, so {100 * images['share_of_fetch_limit']:.0f} % "
        "of the time would remain if arithmetic were free",
        f"all processors: {images['threads_ratio']:.2f} times as fast; linear scan "
        f"{images['linear_ratio']:.2f}, sectorial scan {images['sectorial_ratio']:.2f} of total "
        "focusing's time",
    ]
