"""Invented responses, noise and trades, from the usual to the worst case."""

import dataclasses
import math
from collections.abc import Callable
from statistics import NormalDist

from matplotlib.figure import Figure

from qualify.figures.noise import NoisePanel, OtherLaw, noise_figure
from qualify.figures.response import ResponsePanel, response_figure
from qualify.figures.response_checks import CheckPanel, response_checks_figure
from qualify.figures.trade import TradeLine, TradePanel, trade_figure
from tests.figures.examples import LONG

NORMAL = NormalDist()
SIGMA = 4.0
FLOOR, CEILING, THRESHOLD = -46.0, -12.0, -36.0


def mean_db(size):
    return -32.0 + 14.0 * math.log(size)


def scores(n):
    """Scattered standard normal values that sum to about nothing: a permutation of scores."""
    return [NORMAL.inv_cdf(((37 * k) % n + 0.5) / n) for k in range(n)]


def ladder(n, low=0.2, high=4.0):
    return tuple(low * (high / low) ** (k / max(n - 1, 1)) for k in range(n))


def response_panel(title, *, n=61, **more):
    """Holes evenly spread on a log scale; what is outside floor and ceiling is censored."""
    groups = {name: ([], []) for name in ("exact", "left", "right", "missed")}
    for k, (size, score) in enumerate(zip(ladder(n), scores(n), strict=True)):
        value = mean_db(size) + SIGMA * score
        name = "exact"
        if value < FLOOR:
            name, value = ("missed", THRESHOLD) if k % 2 else ("left", FLOOR)
        elif value > CEILING:
            name, value = "right", CEILING
        groups[name][0].append(size)
        groups[name][1].append(value)
    line = ladder(80, 0.1, 8.0)
    given = {
        f"{name}_{what}": tuple(values)
        for name, pair in groups.items()
        for what, values in zip(
            ("sizes", "responses" if name == "exact" else "limits"), pair, strict=True
        )
    }
    given |= {
        "line_sizes": line,
        "line_responses": tuple(mean_db(v) for v in line),
        "band_low": tuple(mean_db(v) - 1.645 * SIGMA for v in line),
        "band_high": tuple(mean_db(v) + 1.645 * SIGMA for v in line),
        "threshold": THRESHOLD,
        "floor": FLOOR,
        "ceiling": CEILING,
        "a90": math.exp((THRESHOLD + 32 + 1.2816 * SIGMA) / 14),
        "a90_95": 1.31,
        "limit": 1.5,
        "tested_range": (0.2, 4.0),
        **more,
    }
    return ResponsePanel(title, "hole diameter", "mm", "response", "dB", **given)


def in_volts(title, **more):
    """Small responses on a logarithmic axis."""
    sizes = ladder(24)
    values = tuple(
        4e-4 * s**1.2 * math.exp(0.3 * z) for s, z in zip(sizes, scores(24), strict=True)
    )
    line = ladder(40, 0.15, 5.0)
    given = {
        "exact_sizes": sizes,
        "exact_responses": values,
        "line_sizes": line,
        "line_responses": tuple(4e-4 * s**1.2 for s in line),
        "threshold": 2.5e-4,
        "floor": 1e-7,
        "ceiling": 1.0,
        "a90": 0.9,
        "tested_range": (0.2, 4.0),
        "log_response": True,
        **more,
    }
    return ResponsePanel(title, "hole diameter", "mm", "response", "V", **given)


NO_LINE = response_panel(
    LONG,
    line_sizes=(),
    line_responses=(),
    band_low=(),
    band_high=(),
    a90=None,
    a90_95=None,
    message="No line was fitted: fewer than two sizes have a recorded response.",
)
CROWDED = ResponsePanel(
    "Sixty of two sizes, most of them missed",
    "notch height",
    "mm",
    "response",
    "dB",
    exact_sizes=(2.0,) * 6,
    exact_responses=(-30.0, -28.0, -26.0, -25.0, -22.0, -21.0),
    left_sizes=(1.0,) * 9,
    left_limits=(-40.0,) * 9,
    missed_sizes=(1.0,) * 40,
    missed_limits=(-35.0,) * 40,
    right_sizes=(2.0,) * 5,
    right_limits=(-15.0,) * 5,
    threshold=-35.0,
    floor=-40.0,
    ceiling=-15.0,
    tested_range=(1.0, 2.0),
    log_size=False,
)
NOTHING_TESTED = ResponsePanel("No targets", "hole diameter", "mm", "response", "dB")
SIX_RESPONSES = (
    response_panel("Coherence, R1"),
    response_panel(
        "Coherence, R2", a90_95=30.0, message="The bound lies outside the tested sizes."
    ),
    in_volts("Amplitude, R1"),
    NO_LINE,
    CROWDED,
    NOTHING_TESTED,
)


def check_panel(title, *, n=48, ids=True, **more):
    sizes, values = ladder(n), scores(n)
    ordered = tuple(sorted(values))
    quantiles = tuple(NORMAL.inv_cdf((k + 0.5) / n) for k in range(n))
    spread = [0.25 + 0.12 * q * q for q in quantiles]
    changes = tuple(
        0.02 * z * math.exp(-((math.log(s)) ** 2)) for s, z in zip(sizes, values, strict=True)
    )
    given = {
        "exact_sizes": sizes,
        "exact_residuals": tuple(values),
        "left_sizes": (0.2, 0.25, 0.3),
        "left_residuals": (-1.1, -0.7, -1.4),
        "right_sizes": (3.6, 3.8),
        "right_residuals": (0.4, 1.1),
        "trend_sizes": ladder(12),
        "trend_residuals": tuple(0.3 * math.sin(k / 3) for k in range(12)),
        "quantiles": quantiles,
        "ordered_residuals": tuple(v * (1.5 if v < -1.6 else 1.0) for v in ordered),
        "band_low": tuple(q - s for q, s in zip(quantiles, spread, strict=True)),
        "band_high": tuple(q + s for q, s in zip(quantiles, spread, strict=True)),
        "deciding": tuple(q < -0.5 for q in quantiles),
        "influence_sizes": sizes,
        "influence_changes": changes,
        "influence_ids": tuple(f"C{k % 9 + 1:02d}-T{k:02d}" for k in range(n)) if ids else (),
        **more,
    }
    return CheckPanel(title, "hole diameter", "mm", **given)


BUNCHED = check_panel(
    LONG,
    influence_sizes=(1.0, 1.01, 1.02, 1.03, 1.04, 1.05),
    influence_changes=(0.2, 0.21, 0.2, 0.21, -0.2, 0.01),
    influence_ids=tuple(f"coupon-07-target-{k}" for k in range(6)),
    influence_label="change of a90",
    influence_unit="mm",
    message="The two largest residuals lie outside the band: the fit does not hold in the tail.",
)
NO_CHECKS = CheckPanel(
    "Nothing recorded",
    "hole diameter",
    "mm",
    residual_message="No response was recorded.",
    influence_message="No line was fitted, so nothing can be left out.",
)
THREE_CHECKS = (check_panel("Coherence, R1"), BUNCHED, NO_CHECKS)


def noise_panel(title, *, n=120, censored=30, **more):
    """Peaks spread as a Gumbel law with mode -48 dB and scale 2.5 dB."""
    units = n + censored
    peaks = tuple(
        -48 - 2.5 * math.log(-math.log((censored + (53 * k) % n + 0.5) / units)) for k in range(n)
    )
    grid = tuple(-56 + 0.4 * k for k in range(61))
    law = tuple(-math.expm1(-math.exp(-(v + 48) / 2.5)) for v in grid)
    given = {
        "censored_at": min(peaks) if n else -50.0,
        "law_levels": grid,
        "law_fractions": law,
        "bound_levels": tuple(v + 0.8 for v in grid),
        "bound_fractions": law,
        "law_label": "Gumbel law fitted",
        "others": (OtherLaw("generalised extreme values", grid, tuple(p**1.1 for p in law)),),
        "declared_rate": 0.01,
        "threshold": -36.5,
        "threshold_se": 0.62,
        "frozen": -36.0,
        "frozen_fraction": 0.0082,
        "frozen_upper": 0.0113,
        **more,
    }
    return NoisePanel(title, "threshold", "dB", peaks, censored, **given)


NO_LAW = NoisePanel(
    "No law",
    "threshold",
    "dB",
    (-50.0, -48.0, -47.5),
    20,
    declared_rate=0.05,
    frozen=-40.0,
    message="No law was fitted: three peaks are too few.",
)
NO_UNITS = NoisePanel("No units", "threshold", "dB")
FIVE_NOISES = (
    noise_panel("Coherence, R1"),
    noise_panel(
        "Amplitude, R1",
        censored=0,
        censored_at=None,
        threshold_se=None,
        frozen=-30.0,
        frozen_fraction=0.00075,
        frozen_upper=0.001,
    ),
    NO_LAW,
    noise_panel(LONG, frozen=None, frozen_fraction=None, frozen_upper=None, others=()),
    NO_UNITS,
)


def trade_line(label, at, *, bound=True, **more):
    rates = tuple(10 ** (-3.5 + 3.5 * k / 60) for k in range(61))
    pod = tuple(NORMAL.cdf(at + 0.6 * (NORMAL.inv_cdf(min(r, 0.999)) + 2.3)) for r in rates)
    low = tuple(NORMAL.cdf(NORMAL.inv_cdf(min(p, 1 - 1e-9)) - 0.5) for p in pod)
    at_use = NORMAL.cdf(at + 0.6 * (NORMAL.inv_cdf(0.012) + 2.3))
    given = {
        "bound": (None, *low[1:]) if bound else (),
        "supported": (0.002, 0.4),
        "frozen_pod": at_use,
        "frozen_bound": NORMAL.cdf(NORMAL.inv_cdf(at_use) - 0.5),
        **more,
    }
    return TradeLine(label, rates, pod, **given)


SIZES = (trade_line("1.0 mm", -0.6), trade_line("1.5 mm", 0.6), trade_line("2.0 mm", 1.6))
FOUR_TRADES = (
    TradePanel("Coherence, R1", SIZES, 0.012, (0.004, 0.031)),
    TradePanel(
        LONG,
        (trade_line("1.5 mm", 0.4, bound=False, frozen_bound=None, supported=None),),
        0.012,
        (0.0, 0.02),
        message="No lower bound: too few blank units.",
    ),
    TradePanel("No threshold in use", SIZES[1:2]),
    TradePanel("Nothing computed", message="No line: no law was fitted to the noise."),
)

FIGURES: dict[str, Callable[[], Figure]] = {
    "response six": lambda: response_figure(SIX_RESPONSES, mark="SYNTHETIC"),
    "response three columns": lambda: response_figure(SIX_RESPONSES, columns=3),
    "response one": lambda: response_figure(SIX_RESPONSES[:1], mark="SIMULATED"),
    "response narrow": lambda: response_figure((NO_LINE,), width_mm=85),
    "response crowded": lambda: response_figure((CROWDED,), width_mm=85),
    "response long label": lambda: response_figure(
        (
            dataclasses.replace(
                SIX_RESPONSES[0], threshold_label="threshold of the plan, declared beforehand"
            ),
        ),
        width_mm=85,
    ),
    "response none": lambda: response_figure(()),
    "checks three": lambda: response_checks_figure(THREE_CHECKS, mark="SYNTHETIC"),
    "checks no names": lambda: response_checks_figure((check_panel("R1", ids=False),)),
    "checks none": lambda: response_checks_figure(()),
    "noise five": lambda: noise_figure(FIVE_NOISES, mark="SYNTHETIC"),
    "noise three columns": lambda: noise_figure(FIVE_NOISES[:3], columns=3),
    "noise narrow": lambda: noise_figure(FIVE_NOISES[:1], width_mm=85),
    "noise none": lambda: noise_figure(()),
    "trade four": lambda: trade_figure(FOUR_TRADES, mark="SYNTHETIC"),
    "trade three columns": lambda: trade_figure(FOUR_TRADES[:3], columns=3),
    "trade one": lambda: trade_figure(FOUR_TRADES[:1], width_mm=100),
    "trade none": lambda: trade_figure(()),
}
