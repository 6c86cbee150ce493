"""Invented modes, pictures and sizes for the figures that set modes beside one another."""

import math
from collections.abc import Callable

import numpy as np
from matplotlib.figure import Figure

from qualify.figures.beside_twins import (
    BesideTwinsView,
    TwinPicture,
    TwinRow,
    draw_beside_twins,
)
from qualify.figures.image_panel import TrueTarget
from qualify.figures.mode_coverage import (
    CoverageMap,
    MaskBox,
    ModeCoverageView,
    draw_mode_coverage,
)
from qualify.figures.modes_pod import ModePod, ModesPodView, draw_modes_pod
from qualify.figures.size_depth import (
    PlacedTarget,
    SizeDepthMode,
    SizeDepthView,
    draw_size_depth,
)
from qualify.figures.size_methods import MethodSizes, SizeMethodsView, draw_size_methods
from tests.figures.image_examples import smooth

LONG = "total focusing weighted by the vector coherence over all pairs, largest angle 45 degrees"
SIZES = tuple(0.3 * (6.0 / 0.3) ** (k / 47) for k in range(48))


def mode_pod(name, a50=1.0, steep=4.0, shift=0, loose=1.3, **more):
    """A logistic curve in log size; every third target near its middle goes against it."""
    hit = [
        (s > a50) != (a50 / 1.5 < s < a50 * 1.5 and (k + shift) % 3 == 0)
        for k, s in enumerate(SIZES)
    ]
    grid = tuple(0.2 * (9.0 / 0.2) ** (k / 120) for k in range(121))
    pod = tuple(1 / (1 + (a50 / g) ** steep) for g in grid)
    lower = tuple(
        p * (1 - 0.35 * math.exp(-(math.log(g / a50) ** 2))) for g, p in zip(grid, pod, strict=True)
    )
    a90 = a50 * 9 ** (1 / steep)
    fit = {"sizes": grid, "pod": pod, "lower": lower, "a90": a90, "a90_95": a90 * loose}
    return ModePod(
        name,
        tuple(s for s, h in zip(SIZES, hit, strict=True) if h),
        tuple(s for s, h in zip(SIZES, hit, strict=True) if not h),
        **{**fit, **more},
    )


NO_CURVE = mode_pod(
    "sectorial scan", a50=0.1, sizes=(), pod=(), lower=(), a90=None, a90_95=None,
    reason="every target was found, so that no curve can be fitted.",
)  # fmt: skip
FOUR_MODES = ModesPodView(
    "Slots in the sealed coupons, reader R1 (invented)", "extent of slot", "mm",
    (
        mode_pod("linear scan", 1.6),
        mode_pod("total focusing", 1.1, 5.0, 1),
        mode_pod("coherence", 0.9, 5.0, 2, lower=()),
        NO_CURVE,
    ),
)  # fmt: skip
CLOSE_MODES = ModesPodView(
    LONG + ": " + LONG, "hole diameter", "mm",
    (
        mode_pod(LONG, 1.0, loose=40.0),
        mode_pod("total focusing", 1.02, shift=1, a90_95=None,
                 no_a90_95="the bound does not close below ten times the largest size"),
        mode_pod("coherence of phases", 1.04, loose=50.0),
        mode_pod("sign", 1.06, shift=2),
    ),
)  # fmt: skip


def size_depth_mode(name, best, *, tilts=(0.0, 15.0, 30.0), skipped=(), twice=1):
    """Six sizes at six depths; a mode misses what is small for its depth and tilt."""
    made = []
    for k in range(36 * twice):
        extent, depth = 0.5 * 1.6 ** (k % 6), (4.0, 9.0, 17.0, 26.0, 38.0, 52.0)[k // 6 % 6]
        tilt = tilts[k % len(tilts)] if tilts else None
        found = extent > best * (1 + depth / 60 + (tilt or 0.0) / 20)
        seen = "not examined" if k in skipped else ("hit" if found else "miss")
        made.append(PlacedTarget(f"T{k:02d}", extent, depth, seen, tilt))
    return SizeDepthMode(name, tuple(made))


FOUR_MAPS = SizeDepthView(
    "extent of slot", "mm",
    (
        size_depth_mode("linear scan", 1.2),
        size_depth_mode("total focusing", 0.7, twice=3),
        size_depth_mode("coherence", 0.5, tilts=(0.0, 22.0), skipped=(3, 17, 30)),
        size_depth_mode(LONG, 9.0, tilts=()),
    ),
    (3.0, 55.0),
)  # fmt: skip


def method_sizes(mode, method, *, n=16, bias=0.2, scatter=0.5, **more):
    true = tuple(1.0 + 0.6 * k for k in range(n))
    reported = tuple(t + bias + scatter * math.sin(5.1 * k) for k, t in enumerate(true))
    return MethodSizes(mode, method, true, reported, **more)


SIX_METHODS = SizeMethodsView(
    "extent of slot", "mm",
    (
        method_sizes("linear scan", "6 dB drop", bias=1.1, scatter=0.9, not_sized=2, missed=6),
        method_sizes("total focusing", "6 dB drop", missed=2),
        method_sizes("coherence", "6 dB drop", n=0, not_sized=18),
        method_sizes("linear scan", "tip echoes", n=6, bias=-0.2, not_sized=12, missed=6),
        method_sizes("total focusing", "tip echoes", scatter=0.2, n=1, not_sized=14),
        method_sizes(LONG, "edges of what exceeds the level of chance", scatter=1.6),
    ),
    1.0,
)  # fmt: skip


def twin_picture(
    name, size, depth, peak, *, unit="db", threshold=-18.0, flaw=True, seed=0, blind=False
):
    """A blob over Rayleigh speckle, 12 mm square, about the place of a target."""
    rng = np.random.default_rng(seed)
    x = np.linspace(-5.95, 5.95, 120) + 20.0
    z = np.linspace(-5.95, 5.95, 120) + depth
    speckle = 0.05 * np.abs(smooth(rng.normal(size=(120, 120))) * 3)
    blob = np.exp(-((x[None, :] - 20.4) ** 2) - ((z[:, None] - depth + 0.2) / 0.6) ** 2)
    made = speckle + (10 ** (peak / 20) * blob if flaw else 0.0)
    values = 20 * np.log10(made + 1e-4) if unit == "db" else made**2 / (made**2 + 0.02)
    if blind:
        values[:, :30] = np.nan
    at = np.unravel_index(int(np.nanargmax(values)), values.shape)
    half = size / 2
    target = TrueTarget(20.0, depth, half, half if size < 1 else 0.4 * half,
                        "hole" if size < 1 else "slot", rising=True)  # fmt: skip
    return TwinPicture(
        name, size, depth, values, (14.0, 26.0), (depth - 6.0, depth + 6.0),
        float(values[at]), threshold, target, (float(x[at[1]]), float(z[at[0]])),
    )  # fmt: skip


def twin_row(mode, unit="db", seed=1, **more):
    threshold = -18.0 if unit == "db" else 0.3
    common = {"unit": unit, "threshold": threshold}
    ends = {"low": -40.0, "high": 0.0} if unit == "db" else {"low": 0.0, "high": 1.0}
    given = {
        "hit": twin_picture("T07", 0.6, 23.0, -9.0, seed=seed, **common),
        "hit_twin": twin_picture("T07", 0.6, 23.0, -9.0, flaw=False, seed=seed, **common),
        "miss": twin_picture("T31", 3.2, 47.5, -22.0, seed=seed + 1, **common),
        "miss_twin": twin_picture("T31", 3.2, 47.5, 0.0, flaw=False, seed=seed + 1, **common),
    }
    return TwinRow(mode, unit, **{**ends, **given, **more})


FOUR_ROWS = BesideTwinsView(
    (
        twin_row("linear scan", miss=twin_picture("T31", 3.2, 47.5, -22.0, threshold=-20.0,
                                                  seed=2, blind=True)),
        twin_row("total focusing", seed=3, low=-15.0),
        twin_row("coherence over all pairs", "coherence", seed=5,
                 miss="No target was missed.", miss_twin="No target was missed."),
        twin_row(LONG + ": " + LONG, "coherence", seed=7, hit_twin="No twin was recorded."),
    ),
    "mm", "simulated", truth_open=True,
)  # fmt: skip


def coverage_map(mode, *, x=(0.0, 60.0), z=(0.0, 50.0), wide=1.0, units=14, unit="db", **more):
    """Units reach to the sides by amounts that grow with depth."""
    rows, columns = 50, 60
    xs = np.linspace(-1.0, 1.0, columns)[None, :]
    down = np.linspace(0.0, 1.0, rows)[:, None]
    reach = [wide * (0.4 + 0.5 * down) * (1 + 0.02 * k) for k in range(units)]
    fraction = np.mean([(np.abs(xs) < r) & (down > 0.06) for r in reach], axis=0)
    depths = tuple(z[0] + (z[1] - z[0]) * k / 20 for k in range(21))
    course = tuple((-30.0 + 0.5 * k) if unit == "db" else 0.2 + 0.01 * k for k in range(21))
    given = {"depths_mm": depths, "threshold": course, **more}
    return CoverageMap(mode, fraction, x, z, units, unit=unit, **given)


MASKS = (
    MaskBox((0.0, 4.0, 0.0, 50.0), "edge of the coupon"),
    MaskBox((20.0, 40.0, 46.0, 50.0), "echo of the back wall"),
)
FOUR_COVERED = ModeCoverageView(
    (
        coverage_map("linear scan", wide=0.8, masks=MASKS, dead_zone_mm=6.0),
        coverage_map("total focusing", wide=1.3, masks=MASKS, dead_zone_mm=3.0),
        coverage_map("coherence", wide=1.3, unit="coherence", masks=MASKS[1:]),
        coverage_map(LONG, wide=3.0, units=1, threshold=None, depths_mm=(),
                     no_threshold="the reading rule of this mode asks for a reader's judgement"),
    )
)  # fmt: skip
FLAT_COVERED = ModeCoverageView(
    tuple(coverage_map(name, x=(-90.0, 90.0), z=(4.0, 12.0), threshold=(-20.0,) * 21)
          for name in ("linear scan", "total focusing", "coherence"))
)  # fmt: skip
MODE_FIGURES: dict[str, Callable[[], Figure]] = {
    "modes on one plot": lambda: draw_modes_pod(FOUR_MODES, mark="SYNTHETIC"),
    "modes on one plot, close": lambda: draw_modes_pod(CLOSE_MODES),
    "modes on one plot, two": lambda: draw_modes_pod(
        ModesPodView("Two", "hole diameter", "mm", FOUR_MODES.modes[:2])
    ),
    "modes on one plot, none": lambda: draw_modes_pod(ModesPodView("", "", "", ())),
    "size and depth": lambda: draw_size_depth(FOUR_MAPS, mark="SYNTHETIC"),
    "size and depth, three": lambda: draw_size_depth(
        SizeDepthView("hole diameter", "mm", FOUR_MAPS.modes[:3])
    ),
    "size and depth, none": lambda: draw_size_depth(SizeDepthView("", "", ())),
    "methods": lambda: draw_size_methods(SIX_METHODS, mark="SYNTHETIC"),
    "methods, two": lambda: draw_size_methods(
        SizeMethodsView("height of notch", "mm", SIX_METHODS.panels[1:3]), columns=4
    ),
    "methods, none": lambda: draw_size_methods(SizeMethodsView("", "", ())),
    "beside twins": lambda: draw_beside_twins(FOUR_ROWS),
    "beside twins, one": lambda: draw_beside_twins(
        BesideTwinsView(FOUR_ROWS.rows[2:3], "mm", "measured", truth_open=True), mark="SYNTHETIC"
    ),
    "beside twins, none": lambda: draw_beside_twins(BesideTwinsView((), "mm", "measured")),
    "modes covered": lambda: draw_mode_coverage(FOUR_COVERED, mark="SYNTHETIC"),
    "modes covered, flat": lambda: draw_mode_coverage(FLAT_COVERED),
    "modes covered, one": lambda: draw_mode_coverage(ModeCoverageView(FOUR_COVERED.maps[:1])),
    "modes covered, none": lambda: draw_mode_coverage(ModeCoverageView(())),
}
