"""`qualify bench`: how fast this machine is, each pair of figures from one and the same run."""

from typing import Annotated, Any

import typer

from qualify.cli.bench_images import image_lines, import_seconds, time_images
from qualify.cli.bench_simulation import simulation_lines, time_simulation
from qualify.cli.common import AsJson, answering, say_next, show

TARGETS, SEED, PIXELS = 60, 1, 300
BEST_OF = 3  # of each of the two times behind the ratio, so that a short stall of one tells nothing


def bench(
    refits: Annotated[int, typer.Option(min=100, help="Curves refitted in one batch.")] = 10_000,
    loop: Annotated[
        int, typer.Option(min=10, help="Curves refitted one by one by statsmodels.")
    ] = 200,
    simulations: Annotated[
        int, typer.Option(min=199, help="Simulated trials behind the calibrated bound.")
    ] = 1999,
    replicates: Annotated[
        int, typer.Option(min=100, help="Trials of the count of how often the bound holds.")
    ] = 10_000,
    pixels: Annotated[
        list[int] | None,
        typer.Option(min=16, help="Side of a square image, in pixels; may be repeated. [300]"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Time curves (refits, calibrated bound, how often it holds), images, simulated recordings."""
    with answering(writes=False):
        document = {
            "machine": _machine(),
            "refits": time_refits(refits, loop),
            "bound": time_bound(simulations),
            "holds": time_holds(replicates),
            "images": [time_images(side) for side in pixels or [PIXELS]],
            "simulation": time_simulation(),
            "import_imaging_s": import_seconds(),
        }
        show(document, as_json, lambda: bench_lines(document))
        say_next("times depend on what else runs; the ratio is of two timings in this run")


def _machine() -> dict[str, Any]:
    import os
    import platform

    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return {
        "processors": os.cpu_count(),
        "load": load,
        "python": platform.python_version(),
    }


def _trials(count: int) -> tuple[Any, Any]:
    """Log sizes (60,) and simulated hits (count, 60) with overlap: a90 3, a50 1.5."""
    import numpy as np

    rng = np.random.default_rng(SEED)
    x = np.log(np.geomspace(0.5, 8.0, TARGETS))
    pod = 1.0 / (1.0 + np.exp(-np.log(9.0) * (x - np.log(1.5)) / np.log(2.0)))
    kept: list[Any] = []
    while len(kept) < count:
        hits = (rng.random((count, TARGETS)) < pod).astype(float)
        last_miss = np.where(hits == 0.0, x, -np.inf).max(axis=1)
        first_hit = np.where(hits == 1.0, x, np.inf).min(axis=1)
        kept += list(hits[last_miss > first_hit])
    return x, np.array(kept[:count])


def time_refits(refits: int, loop: int) -> dict[str, Any]:
    """Time a batch of logit fits against a loop of statsmodels fits of the same trials."""
    from time import perf_counter

    import numpy as np
    import statsmodels.api as sm

    from qualify.pod.engine import fit_curves

    x, hits = _trials(refits)
    fit_curves(x, hits[:100], 1.0, "logit")  # compiles, or reads what was compiled
    design, loop = sm.add_constant(x), min(loop, refits)
    batch_s = loop_s = float("inf")
    for _ in range(BEST_OF):
        start = perf_counter()
        ours = fit_curves(x, hits, 1.0, "logit")
        batch_s = min(batch_s, perf_counter() - start)
        start = perf_counter()
        theirs = [sm.GLM(row, design, family=sm.families.Binomial()).fit() for row in hits[:loop]]
        loop_s = min(loop_s, perf_counter() - start)
    gap = np.array([fit.params[1] for fit in theirs]) - ours.slope[:loop]
    each = loop_s / loop
    return {
        "targets": TARGETS,
        "refits": refits,
        "batch_s": batch_s,
        "best_of": BEST_OF,
        "loop_refits": loop,
        "loop_s": loop_s,
        "loop_scaled_s": each * refits,
        "ratio": each * refits / batch_s,
        "largest_slope_difference": float(np.abs(gap / ours.slope[:loop]).max()),
    }


def time_bound(simulations: int) -> dict[str, Any]:
    """Time one calibrated upper bound on a90 of 60 targets."""
    from time import perf_counter

    import numpy as np

    from qualify.pod.calibrated import calibrated_bound
    from qualify.pod.observations import observe
    from qualify.pod.problem import sized_hits

    x, hits = _trials(1)
    data = sized_hits(observe(np.exp(x), hits[0], None, "log"), "logit")
    calibrated_bound(data, 0.9, 0.95, "upper", simulations=199)
    start = perf_counter()
    bound = calibrated_bound(data, 0.9, 0.95, "upper", simulations=simulations)
    seconds = perf_counter() - start
    return {
        "targets": TARGETS,
        "simulations": simulations,
        "seconds": seconds,
        "value": bound.value,
        "error": bound.error,
    }


def time_holds(replicates: int) -> dict[str, Any]:
    """Time one cell of the count of how often the calibrated bound holds."""
    from dataclasses import replace
    from time import perf_counter

    from qualify.pod.holds import SIMULATIONS, count_calibrated
    from qualify.pod.holds_table import TableCell, sizes_of, true_curve

    cell = TableCell("moderate", "loguniform", TARGETS)
    design, truth = sizes_of(cell, replicates, SEED), true_curve(cell.curve)
    count_calibrated(replace(design, t=design.t[:100]), truth, replicates=100, seed=SEED)
    start = perf_counter()
    held = count_calibrated(design, truth, replicates=replicates, seed=SEED)
    return {
        "cell": cell.name,
        "replicates": replicates,
        "simulations": SIMULATIONS,
        "seconds": perf_counter() - start,
        "share": held.share,
        "error": held.error,
    }


def bench_lines(document: dict[str, Any]) -> list[str]:
    """Return the lines that `bench` prints for people."""
    machine, refits, bound, holds = (
        document[name] for name in ("machine", "refits", "bound", "holds")
    )
    load = "" if machine["load"] is None else f", load {machine['load']:.1f} at the start"
    return [
        f"{machine['processors']} processors{load}; compiled before timing",
        f"{refits['refits']} refits of {refits['targets']} targets in one batch: "
        f"{refits['batch_s']:.3f} s (best of {refits['best_of']})",
        f"the same by statsmodels GLM in a loop: {refits['loop_scaled_s']:.1f} s, scaled from "
        f"{refits['loop_refits']} fits in {refits['loop_s']:.2f} s (best of "
        f"{refits['best_of']}); slopes agree to {refits['largest_slope_difference']:.0e}",
        f"ratio: {refits['ratio']:.0f}",
        f"calibrated bound of {bound['targets']} targets, {bound['simulations']} simulated "
        f"trials: {bound['seconds']:.2f} s",
        f"how often it holds, one cell ({holds['cell']}), {holds['replicates']} trials, "
        f"{holds['simulations']} simulated behind each: {holds['seconds']:.1f} s; simulated: "
        f"{100 * holds['share']:.1f} % (± {100 * holds['error']:.1f}) if the model is true",
        *simulation_lines(document["simulation"]),
        *(line for images in document["images"] for line in image_lines(images)),
        f"importing the images takes {document['import_imaging_s']:.2f} s",
    ]
