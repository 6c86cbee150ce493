"""Where the targets of the lug coupons lie: sizes, depths, tilts, coupons and units.

Sizes are spaced evenly in their logarithm. Depth is balanced against size as in a Latin
square: the sizes in rising order are cut into runs, and inside a run every layer of depth
comes once, in an order drawn at random; tilts likewise. The number of flaws of a coupon is
drawn between none and ten, so that nobody can count on it. Ids are drawn without regard to
size. Nothing here looks at the outcome of a reading.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qualify.demo.seeds import stream

UNITS = 14
PITCH_MM = 60.0
FIRST_CENTRE_MM = 60.0
HALF_UNIT_MM = 20.0
JITTER_MM = 8.0
DEPTHS_MM = (6.0, 54.0)
TILTS_DEG = (0, 15, 30)
HOLES_MM = (0.20, 2.00)
SLOTS_MM = (0.50, 8.00)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A target as on the drawing; `tilt_deg` is None for a hole. Millimetres, degrees."""

    id: str
    size_mm: float
    z_mm: float
    x_mm: float = 0.0
    tilt_deg: int | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class SetDesign:
    """How many coupons, holes and slots a set has, and how their ids begin."""

    name: str
    coupons: int
    holes: int
    slots: int
    most_flaws: int
    hole_prefix: str
    slot_prefix: str


BLIND = SetDesign("blind", 18, 60, 40, 10, "H", "S")
OPEN = SetDesign("open", 8, 18, 12, 8, "OH", "OS")
REPEATED = ("H23", "H41", "S08")
"""Sealed targets whose drawing line was also used for the open set: a planted mistake."""


def sizes_mm(smallest: float, largest: float, count: int) -> list[float]:
    """Return sizes evenly spaced in their logarithm, to a hundredth of a millimetre."""
    return [round(float(size), 2) for size in np.geomspace(smallest, largest, count)]


def balanced(levels: Sequence[float], count: int, rng: np.random.Generator) -> list[float]:
    """Return `count` values in which every run of `len(levels)` holds each level once."""
    runs = -(-count // len(levels))
    drawn = [levels[i] for _ in range(runs) for i in rng.permutation(len(levels))]
    return drawn[:count]


def depths_mm(count: int, layers: int, rng: np.random.Generator) -> list[float]:
    """Return depths balanced over layers, drawn inside each layer, to a tenth of a millimetre."""
    edges = np.linspace(*DEPTHS_MM, layers + 1)
    picked = balanced(list(range(layers)), count, rng)
    return [round(float(rng.uniform(edges[int(i)], edges[int(i) + 1])), 1) for i in picked]


def flaw_counts(design: SetDesign, rng: np.random.Generator) -> list[int]:
    """Return how many flaws each coupon has: uniform draws that hold none and the most."""
    total, most = design.holes + design.slots, design.most_flaws
    while True:
        counts = rng.integers(0, most + 1, size=design.coupons)
        if counts.sum() == total and counts.min() == 0 and counts.max() == most:
            return [int(count) for count in counts]


def _ids(prefix: str, count: int, rng: np.random.Generator) -> list[str]:
    return [f"{prefix}{i + 1:02d}" for i in rng.permutation(count)]


def targets_of(design: SetDesign) -> list[Drawn]:
    """Return the targets of a set, not yet placed in coupons."""
    rng = stream(f"design/{design.name}")
    holes = zip(
        _ids(design.hole_prefix, design.holes, rng),
        sizes_mm(*HOLES_MM, design.holes),
        depths_mm(design.holes, 6, rng),
        strict=True,
    )
    slots = zip(
        _ids(design.slot_prefix, design.slots, rng),
        sizes_mm(*SLOTS_MM, design.slots),
        depths_mm(design.slots, 5, rng),
        balanced(TILTS_DEG, design.slots, rng),
        strict=True,
    )
    drawn = [Drawn(id_, size, z) for id_, size, z in holes]
    return drawn + [Drawn(id_, size, z, tilt_deg=int(tilt)) for id_, size, z, tilt in slots]


def _with_repeated(drawn: list[Drawn]) -> list[Drawn]:
    """Put three lines of the sealed drawing in place of the open set's nearest in size."""
    sealed = {target.id: target for target in targets_of(BLIND)}
    drawn = list(drawn)
    for id_ in REPEATED:
        line = sealed[id_]
        same_kind = [
            i
            for i, target in enumerate(drawn)
            if target.id not in REPEATED and (target.tilt_deg is None) == (line.tilt_deg is None)
        ]
        nearest = min(same_kind, key=lambda i: abs(np.log(drawn[i].size_mm / line.size_mm)))
        drawn[nearest] = replace(
            line, note="The id engraved here stands on a sealed coupon too; see the deviations."
        )
    return drawn


def coupons_of(design: SetDesign) -> list[list[Drawn]]:
    """Return the targets of each coupon of a set, placed and in rising x."""
    drawn = targets_of(design)
    if design is OPEN:
        drawn = _with_repeated(drawn)
    rng = stream(f"placing/{design.name}")
    order = [drawn[i] for i in rng.permutation(len(drawn))]
    coupons = []
    for count in flaw_counts(design, rng):
        units = sorted(rng.choice(UNITS, size=count, replace=False))
        held, order = order[:count], order[count:]
        coupons.append([_placed(t, int(u), rng) for t, u in zip(held, units, strict=True)])
    return coupons


def _placed(target: Drawn, unit: int, rng: np.random.Generator) -> Drawn:
    centre = FIRST_CENTRE_MM + PITCH_MM * unit
    return replace(target, x_mm=round(centre + float(rng.uniform(-JITTER_MM, JITTER_MM)), 1))
