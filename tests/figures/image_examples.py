"""Invented images: blobs as of points in a grain of speckle, made with numpy, not by an imager."""

import dataclasses

import numpy as np

from qualify.figures.coverage import CoverageView, coverage_figure
from qualify.figures.images import ImagePanel, TrueTarget, image_figure, modes_figure

LONG = "total focusing weighted by the vector coherence over all pairs, largest angle 45 degrees"
POINTS = ((-8.0, 15.0, 0.0), (0.0, 22.0, -4.0), (3.0, 22.5, -6.0), (9.0, 34.0, -9.0))
TRUTH = (
    TrueTarget(-8.0, 15.0, 1.5, 1.5, "hole"),
    TrueTarget(0.0, 22.0, 0.1, 0.1, "hole"),
    TrueTarget(9.0, 34.0, 2.0, 1.0, "slot", rising=True),
    TrueTarget(-12.0, 32.0, 3.0, 1.5, "box"),
)


def axes_of(x=(-20.0, 20.0), z=(5.0, 45.0), step=0.25):
    along, down = (round((b - a) / step) for a, b in (x, z))
    return x[0] + step * (np.arange(along) + 0.5), z[0] + step * (np.arange(down) + 0.5)


def smooth(noise, passes=3):
    for _ in range(passes):
        noise = (noise + np.roll(noise, 1, 0) + np.roll(noise, -1, 0)) / 3
        noise = (noise + np.roll(noise, 1, 1) + np.roll(noise, -1, 1)) / 3
    return noise


def amplitude(x, z, wide=1.2, speckle=0.02, seed=1):
    """Blobs of the points that grow with depth, over Rayleigh speckle."""
    rng = np.random.default_rng(seed)
    shape = (len(z), len(x))
    field = smooth(rng.normal(size=shape)) + 1j * smooth(rng.normal(size=shape))
    field *= speckle / np.sqrt(np.mean(np.abs(field) ** 2))
    for at, deep, db in POINTS:
        across = wide * (0.5 + deep / 40)
        blob = np.exp(-(((x[None, :] - at) / across) ** 2) - ((z[:, None] - deep) / 0.6) ** 2)
        side = 0.08 * np.exp(-(((np.hypot(x[None, :] - at, z[:, None]) - deep) / 0.7) ** 2))
        field = field + 10 ** (db / 20) * (blob + side)
    return np.abs(field)


def covered(x, z, kind):
    if kind == "all":
        return np.ones((len(z), len(x)), dtype=bool)
    if kind == "sector":
        deep, across = z[:, None] * np.ones_like(x)[None, :], np.abs(x)[None, :]
        reached = np.hypot(across, deep) < 47
        return (across < 0.55 * deep) & (deep > 8) & reached
    return (np.abs(x)[None, :] < 14) & (z[:, None] > 10) & (z[:, None] < 100)


def panel(mode="TFM", unit="db", kind="all", *, x=(-20.0, 20.0), z=(5.0, 45.0), **more):
    step = more.pop("step", 0.25)
    xs, zs = axes_of(x, z, step)
    made = amplitude(xs, zs, more.pop("wide", 1.2), seed=more.pop("seed", 1))
    db = {"low": -40.0, "high": 0.0, "threshold": -12.0, "method": "total focusing: amplitude"}
    coherence = {
        "low": 0.0,
        "high": 1.0,
        "threshold": 0.3,
        "method": "total focusing: vector coherence over all pairs",
        "random_mean": 0.0139,
        "random_99": 0.0335,
    }
    values = 20 * np.log10(made) if unit == "db" else made**2 / (made**2 + 0.01)
    given = {"signal": "simulated", "covered": covered(xs, zs, kind), **more}
    given = {**(db if unit == "db" else coherence), **given}
    return ImagePanel(values.astype(np.float32), xs, zs, unit, mode=mode, **given)


AMPLITUDE = panel("total focusing")
COHERENCE = panel("coherence", "coherence", contour=True)
LINEAR = panel(
    "linear scan",
    kind="box",
    wide=2.4,
    seed=2,
    method="linear scan, 16 elements, focus at 25 mm: amplitude",
)
SECTOR = panel(
    "sectorial scan",
    kind="sector",
    wide=2.0,
    seed=3,
    threshold=None,
    method="sectorial scan, −30° to 30°: amplitude",
    rejected=("the positive control lies 7 dB below its limit", "32 % of the elements are dead"),
)
WEIGHTED = panel(LONG, seed=4, low=-60.0, high=-3.0, threshold=-62.5, contour=True)
SIGN = panel(
    "sign coherence of receivers: " + LONG,
    "coherence",
    "box",
    low=0.0,
    high=0.5,
    threshold=0.0625,
    random_mean=0.055,
    random_99=0.0652,
    signal="measured",
    method="linear scan, 16 elements: sign coherence factor over receivers",
    notes=("Coupling was renewed between the two halves of the scan.",),
)
OPENED = dataclasses.replace(AMPLITUDE, truth=TRUTH, truth_open=True)
SIX = (AMPLITUDE, COHERENCE, LINEAR, SECTOR, WEIGHTED, SIGN)
FINE = panel("fine grid", step=0.05, seed=5)
WIDE = tuple(panel(name, x=(-90.0, 90.0), z=(4.0, 12.0), scale_bar_mm=50.0) for name in "ABC")
DEEP = tuple(
    panel(name, unit, x=(-6.0, 6.0), z=(2.0, 150.0), step=0.5)
    for name, unit in ((LONG, "db"), ("coherence", "coherence"))
)
FAR = panel(
    "far",
    "coherence",
    x=(11800.0, 11812.0),
    z=(2.0, 150.0),
    step=0.5,
    low=0.0,
    high=0.001,
    threshold=0.00025,
    random_mean=0.0002,
    random_99=0.0003,
)
BLIND = dataclasses.replace(AMPLITUDE, covered=np.zeros_like(AMPLITUDE.covered), mode="blind")


def view(mode, kind):
    x, z = axes_of()
    return CoverageView(mode, x, z, covered(x, z, kind))


THREE_VIEWS = (
    view("total focusing, amplitude", "all"),
    view("total focusing, vector coherence over all pairs", "all"),
    view("linear scan, 16 elements", "box"),
    view("sectorial scan, −30° to 30°", "sector"),
)


def six_views():
    x, z = axes_of()
    made = [
        CoverageView(
            f"mode {k}: {LONG}", x, z, np.abs(x[None, :] - k) + 0 * z[:, None] < 4 + 2.5 * k
        )
        for k in range(5)
    ]
    return (*made, CoverageView("none", x, z, np.zeros((len(z), len(x)), dtype=bool)))


IMAGES = {
    "image": lambda: image_figure(AMPLITUDE, mark="SYNTHETIC"),
    "image measured": lambda: image_figure(SIGN),
    "image narrow": lambda: image_figure(COHERENCE, width_mm=60.0),
    "image opened": lambda: image_figure(OPENED),
    "image fine": lambda: image_figure(FINE, width_mm=85.0),
    "image blind": lambda: image_figure(BLIND),
    "modes 2": lambda: modes_figure((AMPLITUDE, COHERENCE)),
    "modes 3": lambda: modes_figure((AMPLITUDE, COHERENCE, LINEAR), mark="SYNTHETIC"),
    "modes 4": lambda: modes_figure((AMPLITUDE, COHERENCE, SECTOR, SIGN)),
    "modes 5": lambda: modes_figure(SIX[:5]),
    "modes 6": lambda: modes_figure(SIX, mark="SYNTHETIC"),
    "modes wide": lambda: modes_figure(WIDE),
    "modes deep": lambda: modes_figure(DEEP),
    "image far": lambda: image_figure(FAR, width_mm=50.0),
    "coverage": lambda: coverage_figure(THREE_VIEWS, mark="SYNTHETIC"),
    "coverage six": lambda: coverage_figure(six_views()),
}
