"""Grain: dense points of random strength, fixed to the block and not to the probe.

Real grain has very many scatterers in each cell that a mode resolves, so that its sum is a
Gaussian process and its envelope Rayleigh distributed. Points sparser than that give spiky noise,
which the sharper mode suffers from more: a comparison of modes would be unfair. So points lie on
a grid, jittered within its cells, several to the smallest cell resolved, with strengths of either
sign: Gaussian, or all of one size. The ratio of moments of the sum is 2 + (m - 1)/N or so, m the
fourth moment of a strength over the square of its second (3 or 1) and N the points in a cell, so
that even strengths do with fewer points.

Points are drawn strip by strip along the block, each strip from its own stream, so that a probe
moved along the block sees the same grain moved, and neighbouring places share it.

Amplitudes on the legs are those of the centre frequency, but for the pulse and the power of the
frequency that grain scatters with; attenuation, directivity and elevation within the band are not
followed. Tests compare with the sum over all frequencies.

Level: the mean power of one signal is the integral of η·λ/W·(D₁D₂)²·(g₁g₂)² over the section
(single, incoherent scattering); η is the backscatter coefficient per volume, λ/W from
`elevation`. Source: independent scattering, as in Margetan, Gray and Thompson 1991 (from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.recording.record import half_pairs
from qualify.simulation.band import Band, to_band
from qualify.simulation.conditions import Grain
from qualify.simulation.elastic import line_directivity
from qualify.simulation.elevation import grain_leg
from qualify.simulation.grain_kernels import PIECE, grain_legs, splat
from qualify.simulation.place import Place
from qualify.simulation.scene import Solid
from qualify.simulation.streams import stream
from qualify.threads import in_threads

STRIP_MM = 4.0
SEEN_DEG = 60.0  # of the normal of the nearest element: grain beyond is left out
BEYOND_US = 0.7  # arrival after the record up to which grain is added, for the front of its pulse
SHALLOWEST_MM = 0.2
STEPS = 2048  # of the table over the sine of the angle
RANGE_STEP_MM = 0.05
NEAREST_MM = 0.25  # legs spread as from here at the least
Array = NDArray[np.float64]
Strip = tuple[Array, Array, Array]  # x on the block, depth below the scan face, strength
Strips = dict[tuple[str, ...], Strip]


@dataclass(frozen=True, slots=True)
class Points:
    """Places (points,) in the frame of the recording, and strengths (points,) of unit variance."""

    x_mm: Array
    z_mm: Array
    strength: NDArray[np.float32]


def grain_points(
    grain: Grain,
    place: Place,
    seed: int,
    half_mm: float,
    reach_mm: float,
    strips: Strips | None = None,
) -> Points:
    """Return the points that an array of this half length sees from a place.

    reach_mm : depth and range that the record reaches. strips : of the place before, for the same
    grain and seed; those that are seen from here too are taken from it, and it holds those of this
    place afterwards.
    """
    deep = min(place.thickness_mm, reach_mm)
    wide = half_mm + min(
        deep * np.tan(np.radians(SEEN_DEG)), reach_mm * np.sin(np.radians(SEEN_DEG))
    )
    first = int(np.floor((place.x_mm - wide) / STRIP_MM))
    last = int(np.ceil((place.x_mm + wide) / STRIP_MM))
    held = {} if strips is None else strips
    names = [_strip_name(grain, place, number) for number in range(first, last)]
    found = {
        name: held[name] if name in held else _strip(grain, place, seed, number, name)
        for number, name in enumerate(names, start=first)
    }
    held.clear()
    held.update(found)
    x, z, strength = (np.concatenate(part) for part in zip(*found.values(), strict=True))
    x -= place.x_mm
    aside = np.maximum(np.abs(x) - half_mm, 0.0)
    seen = (aside <= z * np.tan(np.radians(SEEN_DEG))) & (np.hypot(aside, z) <= reach_mm)
    seen &= (x >= place.x_from_mm) & (x <= place.x_to_mm) & (z <= place.thickness_mm)
    return Points(x[seen], z[seen], strength[seen].astype(np.float32))


def _strip_name(grain: Grain, place: Place, number: int) -> tuple[str, ...]:
    """Return the name of the random stream of a strip, then what else its points depend on."""
    y, face = f"{place.y_mm:.6g}", f"{place.from_face} {place.thickness_mm!r}"
    return (place.block, place.revision, y, str(grain.realisation), str(number), face)


def _strip(grain: Grain, place: Place, seed: int, number: int, name: tuple[str, ...]) -> Strip:
    """Return the points of a strip."""
    tall = np.sqrt(0.5 / grain.points_per_mm2)
    across = int(np.rint(STRIP_MM / (2.0 * tall)))
    wide = STRIP_MM / across
    down = int(np.floor((place.thickness_mm - SHALLOWEST_MM) / tall))
    rng = stream(seed, "grain", *name[:-1])
    x, z = (rng.random((down, across)) for _ in range(2))
    x = STRIP_MM * number + (np.arange(across) + x) * wide
    z = SHALLOWEST_MM + (np.arange(down)[:, None] + z) * tall
    if place.from_face == "B":
        z = place.thickness_mm - z
    return x.ravel(), z.ravel(), _strengths(grain, rng, down * across)


def _strengths(grain: Grain, rng: np.random.Generator, count: int) -> Array:
    """Return strengths of unit variance; their fourth moment makes the spikes of sparse points."""
    if grain.strengths == "even":
        return np.where(rng.random(count) < 0.5, -1.0, 1.0)
    return rng.standard_normal(count)


def cell_mm2(grain: Grain) -> float:
    """Return the area of the section that one point stands for."""
    tall = np.sqrt(0.5 / grain.points_per_mm2)
    return float(tall * STRIP_MM / np.rint(STRIP_MM / (2.0 * tall)))


def point_strength(grain: Grain, band: Band, solid: Solid, width_mm: float) -> Array:
    """Return the root mean square scattering (√mm) of a point over the frequencies of a band.

    η λ/W mm of the section is shared out to the points; the amplitude rises with the declared
    power of the frequency, less the half power that λ takes.
    """
    rate = band.mhz / band.centre_mhz
    wave = solid.speed / band.centre_mhz
    section = 10.0 ** (grain.backscatter_db / 10.0) * wave / width_mm * cell_mm2(grain)
    return np.asarray(np.sqrt(section) * rate ** (grain.frequency_power - 0.5))


def leg_tables(
    band: Band, solid: Solid, element_mm: float, width_mm: float, reach_mm: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return amplitudes of legs at the centre frequency: over the sine, and over the range."""
    sine = np.linspace(0.0, 1.0, STEPS + 1)
    ratio = np.minimum(sine, 1.0)
    turned = band.centre_mhz / solid.speed * element_mm * sine
    direct = line_directivity(np.arcsin(ratio), solid.ratio) * np.sinc(turned)
    ranges = RANGE_STEP_MM * np.arange(int(np.ceil(1.2 * reach_mm / RANGE_STEP_MM)) + 3)
    held = np.maximum(ranges, NEAREST_MM)
    few = np.geomspace(NEAREST_MM, ranges[-1], 64)
    k = 2.0 * np.pi * band.centre_mhz / solid.speed
    beam = np.interp(np.log(held), np.log(few), grain_leg(k, width_mm, few))
    loss = solid.attenuation_db_per_mm * band.centre_mhz / solid.attenuation_at_mhz
    spread = beam / np.sqrt(held) * 10.0 ** (-loss * held / 20.0)
    return direct.astype(np.float32), spread.astype(np.float32)


def grain_spectra(
    points: Points,
    along_mm: Array,
    band: Band,
    shape: Array,
    tables: tuple[NDArray[np.float32], NDArray[np.float32]],
    speed: float,
) -> NDArray[np.float32]:
    """Return spectra (2, pairs, frequencies) of the grain in half a matrix, the pulse not in them.

    shape : (frequencies,) of `point_strength`. Linear shares between two samples weigh on the
    spectrum by sinc²(f/sampling), which is taken off again (its mean; what is left of it differs
    from point to point).
    """
    elements, count = len(along_mm), len(points.x_mm)
    late, size = (np.empty((elements, count), np.float32) for _ in range(2))

    def work(start: int, stop: int) -> None:
        grain_legs(
            points.x_mm, points.z_mm, along_mm, band.sampling_mhz / speed, *tables,
            RANGE_STEP_MM, start, stop, late, size,
        )  # fmt: skip

    in_threads(work, count, 1)
    one, other = half_pairs(elements)
    out = np.zeros(
        (len(one), band.samples + int(np.ceil(BEYOND_US * band.sampling_mhz)) + 2), np.float32
    )
    soonest = np.minimum.reduceat(late, np.arange(0, count, PIECE), axis=1)
    in_threads(
        lambda start, stop: splat(
            late, soonest, size, points.strength, one, other, start, stop, out
        ),
        len(one),
        1,
    )
    out[:, -2:] = 0.0
    shares = np.sinc(band.mhz / band.sampling_mhz) ** 2
    return to_band(out, band, (shape / shares).astype(np.float32))
