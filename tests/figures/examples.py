"""Invented blocks, trials and results, from the usual to the worst case."""

import math
from collections.abc import Callable

from matplotlib.figure import Figure

from qualify.figures.drawing import BlockView, TargetView, UnitView, draw_block
from qualify.figures.pod import OtherCurve, PodPanel, pod_figure
from qualify.figures.sizing import SizingPanel, sizing_figure
from qualify.figures.sizing_error import SizingErrorPanel, sizing_error_figure
from qualify.figures.trial import (
    EventView,
    FalseCallRow,
    false_call_figure,
    order_of_events_figure,
)
from tests.figures.mode_examples import MODE_FIGURES

DATUM = "end 0, edge L, face A"
LONG = "coherence, reader R1, side-drilled holes in the sealed coupons, as found before the remedy"


def hole(name, x, z, diameter, y_to):
    label = f"Ø{diameter:.2f}"
    more = {"uncertainty_label": "± 0.03", "method": "pin gauge"}
    return TargetView(name, "side_drilled_hole", x, 0, y_to, z, label, diameter, **more)


LADDER = BlockView(
    "LADDER-100",
    "b",
    "Depth ladder for setting up",
    "C-Mn steel, normalised",
    300,
    60,
    100,
    "A",
    DATUM,
    (),
    tuple(
        hole(f"L{k + 1:02d}", 33 + 26 * k, z, 1.5, 60)
        for k, z in enumerate((5, 10, 15, 20, 30, 40, 50, 60, 75, 90))
    ),
)
NEAR = BlockView(
    "NEAR-50",
    "a",
    "Near-surface block",
    "C-Mn steel",
    252,
    60,
    50,
    "A",
    DATUM,
    (),
    tuple(
        hole(f"N{k + 1}", 35 + 26 * k, z, 1.0, 30)
        for k, z in enumerate((1.5, 2, 3, 4, 5, 7, 10, 15))
    ),
)


def coupon(targets, *, bunched=False, long=False):
    """Fourteen grading units with up to ten holes and slots, far apart or bunched."""
    prefix = "C07-" if long else ""
    chosen = [0, 2, 3, 5, 6, 7, 9, 10, 12, 13][:targets]
    found = []
    for k, unit in enumerate(chosen):
        x = 340 + 3.2 * k if bunched else 60 + 60 * unit + (-7.5 if k % 2 else 6)
        z = (6, 54, 30, 12, 44, 22, 8, 50, 35, 17)[k]
        name = f"{prefix}T{k + 1:02d}"
        if k % 2:
            extent, tilt = (0.5, 1, 2, 4, 8)[k // 2], (0, 15, 30, 0, 15)[k // 2]
            found.append(
                TargetView(
                    name,
                    "embedded_slot",
                    x,
                    65,
                    85,
                    z,
                    f"slot {extent}",
                    extent,
                    extent_x_mm=extent,
                    tilt_deg=tilt,
                    method="optical, both side faces",
                )
            )
        else:
            found.append(hole(name, x, z, (0.2, 0.4, 0.8, 1.2, 2.0)[k // 2], 150))
    units = tuple(
        UnitView(f"{prefix}U{k + 1:02d}", 40 + 60 * k, 80 + 60 * k, k not in chosen)
        for k in range(14)
    )
    title = f"Lug coupon of the open set: {LONG}" if long else "Lug coupon of the open set"
    return BlockView(
        "COUPON-07", "a", title, "C-Mn steel", 900, 150, 60, "A", DATUM, units, tuple(found)
    )


MIXED = BlockView(
    "MIXED-40",
    "c",
    "All kinds in one block",
    "C-Mn steel",
    200,
    80,
    40,
    "B",
    DATUM,
    (UnitView("U1", 10, 70, False), UnitView("U2", 80, 120, True), UnitView("U3", 130, 190, False)),
    (
        TargetView(
            "F1", "notch", 30, 40, 40, 40, "4.0 × 20", 4, extent_x_mm=20, height_z_mm=4, tilt_deg=20
        ),
        TargetView("F2", "notch", 60, 30, 50, 0, "6.0", 6, height_z_mm=6, tilt_deg=-10),
        TargetView("P1", "flat_bottomed_hole", 95, 40, 40, 25, "Ø3.0", 3),
        TargetView("E1", "embedded_slot", 125, 20, 60, 20, "8.0", 8, extent_x_mm=8, tilt_deg=30),
        TargetView(
            "Z1", "pore_cluster", 160, 25, 55, 30, "band 6", 6, extent_x_mm=30, height_z_mm=6
        ),
        hole("H1", 185, 10, 2.0, 80),
    ),
)
CLUSTER = BlockView(
    "CLUSTER-40",
    "a",
    "Hole clusters",
    "C-Mn steel",
    360,
    120,
    40,
    "A",
    DATUM,
    (),
    tuple(
        TargetView(
            f"Z{c}-{k:03d}",
            "flat_bottomed_hole",
            27 + 56 * c + 3 * (k % 10),
            47 + 3 * (k // 10),
            47 + 3 * (k // 10),
            36 + k % 3,
            "Ø0.30",
            0.3,
        )
        for c in range(3)
        for k in range(60)
    ),
)


def pod_panel(title, *, n=60, a50=0.5, bound=1.35, fitted=True, low=0.2, high=2.0, **more):
    """Holes spread evenly on a log scale, every third one against the trend."""
    sizes = tuple(low * (high / low) ** (k / max(n - 1, 1)) for k in range(n))
    hits = tuple(
        (s > a50) != (k % 3 == 0 and a50 / 1.6 < s < a50 * 1.6) for k, s in enumerate(sizes)
    )
    grid = tuple(low / 2 * (4 * high / low) ** (k / 150) for k in range(151))
    pod = tuple(1 / (1 + (a50 / g) ** 3.5) for g in grid)
    a90 = a50 * math.exp(math.log(9) / 3.5)
    fit = (
        {
            "curve_sizes": grid,
            "curve_pod": pod,
            "bound_sizes": tuple(bound * g for g in grid),
            "bound_pod": pod,
            "a90": a90,
            "a90_95": a90 * bound,
        }
        if fitted
        else {}
    )
    given = {"tested_range": (low, high) if n else None, "limit": 1.0, **fit, **more}
    return PodPanel(title, "hole diameter", "mm", sizes, hits, **given)


ALL_HIT = pod_panel(
    LONG, a50=0.01, fitted=False, message="Every target was found: no curve can be fitted."
)
SIX_PODS = (
    pod_panel("Coherence, R1"),
    pod_panel("Coherence, R2", bound=2.6, message="The bound lies outside the tested sizes."),
    pod_panel("Coherence, R3", a50=0.2, bound=1.02, limit=0.38),
    ALL_HIT,
    pod_panel("Far bound", bound=20, limit=0.21, log_axis=False),
    pod_panel("No targets", n=0, fitted=False),
)
GRID = tuple(0.2 * 10 ** (k / 60) for k in range(61))


def other_curve(name, style, a50, top=1.0, a90=None):
    """A curve that ends at `top`, in the tested range."""
    pod = tuple(top / (1 + (a50 / g) ** 3.5) for g in GRID)
    return OtherCurve(name, style, GRID, pod, a90)


WITH_OTHERS = (
    pod_panel(
        "Mode coherence, reader R1",
        curve_label="curve of the plan (logit, log)",
        others=(
            other_curve("near-equal model probit in log size", "near", 0.48, a90=0.9),
            other_curve("near-equal model logit in size", "near", 0.55, a90=1.1),
            other_curve("curve with a plateau at 85.0 %", "plateau", 0.45, top=0.85),
        ),
    ),
    pod_panel("Mode linear, reader R2", curve_label="curve of the plan (logit, log)"),
)
AT_VALUES = (
    pod_panel(
        "Mode coherence, reader R1: tilt",
        curve_label="curve of the plan, whatever the value",
        others=(
            other_curve("at tilt 0.0°", "lowest", 0.4, a90=0.7),
            other_curve("at tilt 15.0°", "middle", 0.6, a90=1.0),
            other_curve("at tilt 30.0°", "highest", 0.8, a90=1.4),
        ),
    ),
)
ONE_SIZE = PodPanel(
    "Sixty of one size",
    "notch height",
    "mm",
    (2.0,) * 60,
    tuple(k % 3 > 0 for k in range(60)),
    tested_range=(2.0, 2.0),
    message="All targets have one size: no curve over size.",
)


def sizing_panel(title, *, n=24, scale=1.0, **more):
    true = tuple(scale * 0.8 * 10 ** (k / max(n - 1, 1)) for k in range(n))
    reported = tuple(t - 0.3 * scale + scale * 0.5 * math.sin(7 * k) for k, t in enumerate(true))
    given = {
        "bias": -0.3 * scale,
        "tolerance": (-1.9 * scale, 1.4 * scale),
        "unsized_true": (0.6, 0.9, 1.5),
        "missed_true": (0.5, 0.52, 0.55, 0.7, 1.1),
        **more,
    }
    return SizingPanel(title, "extent of slot", "mm", true, reported, **given)


NOTHING_SIZED = sizing_panel("Nothing sized", n=0, bias=None, tolerance=None)
SIX_SIZINGS = (
    sizing_panel("Coherence, R1"),
    sizing_panel(LONG),
    sizing_panel("Large", scale=100.0),
    sizing_panel("No band", tolerance=None, message="Too few sizes for a band."),
    NOTHING_SIZED,
    sizing_panel("Nothing", n=0, bias=None, tolerance=None, unsized_true=(), missed_true=()),
)


def sizing_error_panel(title, *, n=24, scale=1.0, **more):
    sizes = tuple(scale * 0.8 * 10 ** (k / max(n - 1, 1)) for k in range(n))
    errors = tuple(
        0.2 * scale - 0.1 * t + scale * 0.5 * math.sin(7 * k) for k, t in enumerate(sizes)
    )
    given = {
        "trend": (0.2 * scale, -0.1),
        "trend_slope_ci": (-0.18, -0.02),
        "bias": -0.1 * scale,
        "agreement": (-1.0 * scale, 0.8 * scale),
        "tolerance": (-1.4 * scale, 1.2 * scale),
        **more,
    }
    return SizingErrorPanel(title, "extent of slot", "mm", sizes, errors, **given)


BARE = {"trend": None, "trend_slope_ci": None, "bias": None, "agreement": None, "tolerance": None}
SIX_SIZING_ERRORS = (
    sizing_error_panel("Coherence, R1"),
    sizing_error_panel(LONG),
    sizing_error_panel("Large", scale=100.0),
    sizing_error_panel("Far limits", tolerance=(-40.0, 30.0)),
    sizing_error_panel("One", n=1, **{**BARE, "bias": 0.12}, message="One sized target only."),
    sizing_error_panel("Nothing", n=0, **BARE),
)
FALSE_CALLS = (  # upper and lower bounds invented for the picture
    FalseCallRow("R1", "coherence", 3 / 152, 0.0502, 0.0054, 3, 152),
    FalseCallRow("R2", "coherence", 9 / 152, 0.101, 0.0312, 9, 152),
    FalseCallRow("R3", "coherence", 0.0, 0.0195, None, 0, 152),
    FalseCallRow(
        "R4", "a mode with a very long name that has to be broken", None, None, None, 0, 0
    ),
    FalseCallRow("R5", "coherence", 1.0, 1.0, 0.74, 10, 10),
)
EVENTS = (
    EventView("2026-03-09", "Reader R1 starts", "recorded"),
    EventView("2026-03-02", "Plan frozen: claim, modes, thresholds, criteria", "recorded"),
    EventView("2026-03-02", f"Truth sealed by the custodian; {LONG}; {LONG}", "declared"),
    EventView("2026-03-09T08:00:00+02:00", "Reader R2 starts", "recorded"),
    EventView("", "Sectioning of the twin coupon", "not recorded"),
    EventView("2026-06-20", "Truth opened", "recorded"),
)

FIGURES: dict[str, Callable[[], Figure]] = {
    "ladder": lambda: draw_block(LADDER, table=True, mark="SYNTHETIC"),
    "ladder compact": lambda: draw_block(LADDER, compact=True),
    "near surface": lambda: draw_block(NEAR, table=True),
    "coupon without targets": lambda: draw_block(coupon(0), compact=True, mark="SYNTHETIC"),
    "coupon with ten": lambda: draw_block(coupon(10), table=True),
    "coupon compact": lambda: draw_block(coupon(10), compact=True, mark="SYNTHETIC"),
    "ten bunched": lambda: draw_block(coupon(10, bunched=True, long=True), compact=True),
    "narrow": lambda: draw_block(coupon(4), width_mm=120, compact=True),
    "all kinds": lambda: draw_block(MIXED, table=True),
    "many holes": lambda: draw_block(CLUSTER, table=True),
    "pod six": lambda: pod_figure(SIX_PODS, mark="SYNTHETIC"),
    "pod four columns": lambda: pod_figure(SIX_PODS, columns=4),
    "pod one": lambda: pod_figure(SIX_PODS[:1]),
    "pod one narrow": lambda: pod_figure((ALL_HIT,), width_mm=85),
    "pod one size": lambda: pod_figure((ONE_SIZE,)),
    "pod at values": lambda: pod_figure(AT_VALUES),
    "pod others": lambda: pod_figure(WITH_OTHERS, tallest_mm=42.0),
    "pod none": lambda: pod_figure((), mark="SYNTHETIC"),
    "sizing six": lambda: sizing_figure(SIX_SIZINGS, mark="SYNTHETIC"),
    "sizing one": lambda: sizing_figure(SIX_SIZINGS[:1]),
    "sizing narrow": lambda: sizing_figure(SIX_SIZINGS[1:2], width_mm=80),
    "sizing none": lambda: sizing_figure(()),
    "sizing errors six": lambda: sizing_error_figure(SIX_SIZING_ERRORS, mark="SYNTHETIC"),
    "sizing errors narrow": lambda: sizing_error_figure(SIX_SIZING_ERRORS[1:2], width_mm=80),
    "sizing errors none": lambda: sizing_error_figure(()),
    "false calls": lambda: false_call_figure(
        FALSE_CALLS, limit_observed=0.05, limit_upper=0.1, mark="SYNTHETIC"
    ),
    "false calls, close limits": lambda: false_call_figure(
        FALSE_CALLS[:3], limit_observed=0.1, limit_upper=0.101, width_mm=90
    ),
    "false calls none": lambda: false_call_figure(()),
    "events": lambda: order_of_events_figure(EVENTS, mark="SYNTHETIC"),
    "events narrow": lambda: order_of_events_figure(EVENTS, width_mm=85),
    "events none": lambda: order_of_events_figure(()),
    **MODE_FIGURES,
}
