"""The model against exact and independent solutions, with residuals.

Everything here is computed anew for the velocities, the array and the pulse in question.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.edge import edge_difference
from qualify.simulation.elastic import reflection
from qualify.simulation.elevation import elevation_of, strip_to_line, strip_to_strip
from qualify.simulation.face import face_weight
from qualify.simulation.hole import hole_series, modal_amplitudes
from qualify.simulation.pore import sphere_amplitudes
from qualify.simulation.reflectors import Bench, add_scene
from qualify.simulation.scene import Disc, Face, Hole, Pore, Scene

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
LAW, EXACT, PUBLISHED = "a law of physics", "an exact solution", "a published formula"
LIMIT, OWN = "an asymptote", "consistency of the code"
WAYS = 4001  # places across the elevation in the integrals


@dataclass(frozen=True, slots=True)
class Check:
    """One comparison.

    Attributes
    ----------
    what, against : in words. kind : one of the five above.
    found, wanted : in `unit`, or a residual and 0. tolerance : most that they may differ.
    """

    what: str
    against: str
    kind: str
    found: float
    wanted: float
    unit: str
    tolerance: float

    @property
    def holds(self) -> bool:
        """Whether the difference is within the tolerance."""
        return bool(abs(self.found - self.wanted) <= self.tolerance)


def checks(bench: Bench) -> tuple[Check, ...]:
    """Return the comparisons of one array on one solid."""
    return (*_series(bench), *_elevation(bench), *_laws(bench), *_sums(bench))


def _series(bench: Bench) -> list[Check]:
    ratio, k = bench.solid.ratio, bench.k_per_mm
    ka = np.linspace(0.1, 2.0 * float(k[-1]), 60)
    one, other = modal_amplitudes(ka, ratio)
    hole = float(np.abs(np.abs(1 + 2 * one) ** 2 + np.abs(2 * other) ** 2 - 1).max())
    each = np.where(np.arange(len(one)) == 0, 1.0, 2.0)[:, None]
    power = np.sum(each * (np.abs(one) ** 2 + np.abs(other) ** 2), axis=0)
    lost = -np.sum(each * one.real, axis=0)
    first, second = sphere_amplitudes(ka, ratio)
    n = np.arange(len(first))[:, None]
    pore = np.abs(1 + 2 * first) ** 2 + n * (n + 1) / ratio * np.abs(2 * second) ** 2 - 1
    ray = float(abs(hole_series(np.array([30.0]), 1.0, ratio).sum()) / np.sqrt(0.5))
    return [
        Check("hole: energy of every order", "1", LAW, hole, 0.0, "", 1e-10),
        Check(
            "hole: power scattered over power lost by the forward wave",
            "optical theorem",
            LAW,
            float(np.max(np.abs(power / lost - 1.0))),
            0.0,
            "",
            1e-10,
        ),
        Check("hole: backscatter at ka = 30", "√(a/2) of ray theory", LIMIT, ray, 1.0, "", 2e-3),
        Check("pore: energy of every order", "1", LAW, float(np.abs(pore).max()), 0.0, "", 1e-10),
        _tiny_pore(ratio),
        Check(
            "face: reflection head-on",
            "free surface",
            OWN,
            float(face_weight(np.array(0.5 * np.pi), np.array(0.5 * np.pi), ratio)),
            float(reflection(0.0, ratio)),
            "",
            1e-12,
        ),
    ]


def _tiny_pore(ratio: float) -> Check:
    ka, r = 0.01, ratio
    one, other = sphere_amplitudes(np.array([ka]), ratio)
    n = np.arange(len(one))[:, None]
    power = np.abs(one) ** 2 + n * (n + 1) / r * np.abs(other) ** 2
    found = float(4.0 / ka**2 * np.sum((2 * n + 1) * power))
    g = 4 / 3 + 40 * (2 + 3 * r**5) / (4 - 9 * r**2) ** 2 - 1.5 * r**2 + 2 / 3 * r**3
    wanted = 4.0 / 9.0 * (g + 9 / 16 * r**4) * ka**4
    return Check(
        "pore: cross-section at ka = 0.01 over its closed form",
        "Ying and Truell 1956 (from memory)",
        PUBLISHED,
        found / wanted,
        1.0,
        "",
        1e-3,
    )


def _elevation(bench: Bench) -> list[Check]:
    k = 2.0 * np.pi * bench.band.centre_mhz / bench.solid.speed
    width = bench.width_mm
    worst = [0.0, 0.0]
    for r in (10.0, 30.0, 60.0, 120.0):
        endless = np.sqrt(2.0 * np.pi * r / k) * np.exp(0.25j * np.pi)
        y = np.linspace(-0.5 * width, 0.5 * width, WAYS)
        leg = np.trapezoid(np.exp(0.5j * k * y**2 / r), y) / endless
        s = np.linspace(-width, width, WAYS)
        both = np.trapezoid((width - np.abs(s)) * np.exp(0.5j * k * s**2 / r), s)
        found = strip_to_line(np.array(k), width, np.array(r))
        worst[0] = max(worst[0], float(abs(found - leg)))
        found = strip_to_strip(np.array(k), width, np.array(r))
        worst[1] = max(worst[1], float(abs(found - both / (width * endless))))
    return [
        Check(f"elevation: {what}", "integral of the same paraxial wave", OWN, value, 0.0, "", 1e-4)
        for what, value in zip(("one leg", "whole path"), worst, strict=True)
    ]


def _laws(bench: Bench) -> list[Check]:
    """Levels at one frequency, of an array so narrow that all depths are in its far field."""
    wanted: tuple[tuple[str, str, Callable[[float], Scene], float, float], ...] = (
        ("back wall", "1/z", lambda z: Scene(wall_mm=z), -6.02, 0.2),
        ("hole", "1/z^1.5", lambda z: Scene(holes=(Hole(0.0, z, 1.5),)), -9.03, 0.3),
        ("flat end", "1/z²", lambda z: Scene(discs=(Disc(0.0, z, 2.0),)), -12.04, 0.2),
        ("pore", "1/z²", lambda z: Scene(pores=(Pore(0.0, z, 0.4),)), -12.04, 0.2),
    )
    alone = narrow(bench)
    out = []
    for name, law, make, fall, tolerance in wanted:
        near, far = (_level_db(alone, make(z)) for z in (60.0, 120.0))
        text = f"{name}: fall from 60 to 120 mm, far field"
        out.append(Check(text, law, PUBLISHED, far - near, fall, "dB", tolerance))
    return out


def narrow(bench: Bench) -> Bench:
    """Return the bench of one element of a passive width of a wave, without attenuation."""
    wave = bench.solid.speed / bench.band.centre_mhz
    centre = 2.0 * np.pi / wave
    return replace(
        bench,
        along_mm=np.zeros(1),
        width_mm=wave,
        elevation=elevation_of(bench.k_per_mm, centre, wave),
        wave=bench.wave._replace(loss=0.0),
        one=np.zeros(1, np.int64),
        other=np.zeros(1, np.int64),
        band=replace(bench.band, samples=10**6),
    )


def _level_db(bench: Bench, scene: Scene) -> float:
    out = np.zeros((2, 1, len(bench.k_per_mm)), np.float32)
    add_scene(bench, scene, out)
    centre = int(np.argmax(bench.band.pulse))
    return float(20.0 * np.log10(np.hypot(*out[:, 0, centre])))


def _sums(bench: Bench) -> list[Check]:
    """Reciprocity and superposition of a scene of all kinds, in single precision."""
    parts = (
        Scene(holes=(Hole(-2.0, 20.0, 1.0),)),
        Scene(faces=(Face(1.0, 30.0, 4.0, 31.0),)),
        Scene(pores=(Pore(-4.0, 25.0, 0.3),)),
        Scene(discs=(Disc(3.0, 35.0, 2.0),)),
    )
    whole = Scene(parts[0].holes, parts[1].faces, parts[3].discs, parts[2].pores)
    shape = (2, len(bench.one), len(bench.k_per_mm))
    alone, total = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for part in parts:
        add_scene(bench, part, alone)
    add_scene(bench, whole, total)
    scale = float(np.abs(total).max())
    return [
        Check(
            "scene: sum of its parts over the whole",
            "single scattering",
            OWN,
            float(np.abs(alone - total).max()) / scale,
            0.0,
            "",
            1e-5,
        ),
        Check("face: both ways of a pair", "reciprocity", OWN, _one_sided(bench), 0.0, "", 1e-9),
    ]


def _one_sided(bench: Bench) -> float:
    a, b = np.meshgrid(np.linspace(0.3, 2.8, 12), np.linspace(0.4, 2.7, 12))
    ratio = bench.solid.ratio
    face = np.abs(face_weight(a, b, ratio) - face_weight(b, a, ratio)).max()
    edge = np.abs(edge_difference(a, b, ratio) - edge_difference(b, a, ratio)).max()
    return float(max(face, edge))
