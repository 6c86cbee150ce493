"""The reflectors of a scene added to the spectra of half a matrix.

`F_ij = S · Σ leg_i · scattering · leg_j` with leg = directivity × exp(ikr)/√r × attenuation. The
pulse S and the gain are put on afterwards. One call adds a whole scene; frequencies are shared out
to threads, so that every number is summed in the same order whatever their count.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.band import Band
from qualify.simulation.disc import disc_amplitude
from qualify.simulation.edge import edge_difference
from qualify.simulation.elastic import line_directivity, reflection
from qualify.simulation.elevation import Elevation, point_as_line, range_row, strip_to_strip
from qualify.simulation.face import face_factors, face_nodes
from qualify.simulation.hole import hole_series
from qualify.simulation.kernels import SKIP, Places, Wave, add_face, add_pattern, add_round
from qualify.simulation.pore import pore_series
from qualify.simulation.scene import Disc, Face, Hole, Pore, Scene, Solid
from qualify.threads import in_threads

AFTER_US = 1.0  # after the record: an arrival later than that is left out
LEAST_RANGE_MM = 0.05
LEAST_ORDER = 1e-6  # of the largest, at any frequency: weaker orders are below single precision
Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Floats = NDArray[np.float32]
Whole = NDArray[np.int64]
Job = Callable[[int, int, Floats], None]  # adds a reflector over a run of frequencies


@dataclass(frozen=True, slots=True)
class Bench:
    """What all reflectors share: the array on its solid, at the frequencies of the band.

    Attributes
    ----------
    along_mm : (elements,) element centres. wave, k_per_mm : for the kernels; (frequencies,).
    one, other : (pairs,) elements of half a matrix.
    walls : echoes of back walls by depth, (2, elements apart, frequencies); each computed once.
    """

    band: Band
    solid: Solid
    along_mm: Array
    element_mm: float
    width_mm: float
    elevation: Elevation
    wave: Wave
    k_per_mm: Array
    one: Whole
    other: Whole
    walls: dict[float, Floats] = field(default_factory=dict, compare=False, repr=False)

    def legs(self, points_mm: Array, *, elevation: bool, mirror_mm: float | None = None) -> Places:
        """Return the geometry of legs from all elements to points (points, 2).

        mirror_mm : depth of a wall at which legs are mirrored first, its reflection included.
        """
        dx = points_mm[:, :1] - self.along_mm[None, :]
        z = points_mm[:, 1:]
        z = z + 0.0 * dx if mirror_mm is None else 2.0 * mirror_mm - z + 0.0 * dx
        r = np.maximum(np.hypot(dx, z), LEAST_RANGE_MM)
        angle = np.arctan2(np.abs(dx), z)
        size = line_directivity(angle, self.solid.ratio) / np.sqrt(r)
        if mirror_mm is not None:
            size = size * reflection(angle, self.solid.ratio)
        row = range_row(r) if elevation else np.full(r.shape, -1.0, np.float32)
        return Places(r, np.abs(dx) / r, size, row)

    def path_rows(self, path_mm: Array) -> Floats:
        """Return the place (pairs,) of whole paths in the table; what comes too late is skipped."""
        late = path_mm / self.solid.speed > self.band.samples / self.band.sampling_mhz + AFTER_US
        return np.where(late, np.float32(-2.0), range_row(path_mm))


def add_scene(bench: Bench, scene: Scene, out: Floats) -> None:
    """Add all reflectors of a scene to spectra (2, pairs, frequencies), single scattering each.

    Raises
    ------
    ValueError : if a face that breaks the wall lies in a scene without one.
    """
    jobs: list[Job] = [
        *(_hole(bench, *held) for held in _with_series(bench, scene.holes, hole_series)),
        *(_pore(bench, *held) for held in _with_series(bench, scene.pores, pore_series)),
        *(_disc(bench, disc) for disc in scene.discs),
        *(_face(bench, face, scene.wall_mm) for face in scene.faces),
    ]

    def work(start: int, stop: int) -> None:
        for job in jobs:
            job(start, stop, out)

    in_threads(work, len(bench.k_per_mm), 1)
    if scene.wall_mm is not None:
        _add_wall(bench, scene.wall_mm, out)


Round = TypeVar("Round", Hole, Pore)


def _with_series(
    bench: Bench, targets: tuple[Round, ...], series: Callable[..., Complex]
) -> list[tuple[Round, Complex]]:
    """Return round targets with their series, computed for all of them at once."""
    if not targets:
        return []
    k = np.tile(bench.k_per_mm, len(targets))
    radius = np.repeat([0.5 * target.diameter_mm for target in targets], len(bench.k_per_mm))
    found = series(k, radius, bench.solid.ratio).reshape(-1, len(targets), len(bench.k_per_mm))
    return [(target, _strong(found[:, i])) for i, target in enumerate(targets)]


def _hole(bench: Bench, hole: Hole, series: Complex) -> Job:
    places = bench.legs(np.array([[hole.x_mm, hole.z_mm]]), elevation=False)
    apart = _apart(bench, hole.x_mm, hole.z_mm)
    shapes = np.cos(apart[:, None] * np.arange(len(series))[None, :])
    path = places.range_mm[0, bench.one] + places.range_mm[0, bench.other]
    return _round(bench, places, bench.path_rows(path), series, shapes)


def _pore(bench: Bench, pore: Pore, series: Complex) -> Job:
    places = bench.legs(np.array([[pore.x_mm, pore.z_mm]]), elevation=True)
    series = series * point_as_line(bench.k_per_mm, bench.width_mm)
    cosine = np.cos(_apart(bench, pore.x_mm, pore.z_mm))
    shapes = np.asarray(np.polynomial.legendre.legvander(cosine, len(series) - 1), np.float64)
    path = places.range_mm[0, bench.one] + places.range_mm[0, bench.other]
    return _round(bench, places, _late_only(bench, path), series, shapes)


def _disc(bench: Bench, disc: Disc) -> Job:
    places = bench.legs(np.array([[disc.x_mm, disc.z_mm]]), elevation=True)
    angle = np.arctan2(bench.along_mm - disc.x_mm, disc.z_mm)
    pattern = disc_amplitude(
        bench.k_per_mm[None, :],
        disc.diameter_mm,
        angle[bench.one][:, None],
        angle[bench.other][:, None],
        bench.solid.ratio,
    ) * point_as_line(bench.k_per_mm, bench.width_mm)
    path = places.range_mm[0, bench.one] + places.range_mm[0, bench.other]
    rows, planes = _late_only(bench, path), _planes(pattern)
    return lambda start, stop, out: add_pattern(
        bench.wave, places, bench.elevation.leg, rows, planes, start, stop, out
    )


def _face(bench: Bench, face: Face, wall_mm: float | None) -> Job:
    if face.breaks_wall and wall_mm is None:
        msg = "a face breaks a wall, and the scene has none"
        raise ValueError(msg)
    shortest = bench.solid.speed / float(bench.band.mhz[-1])
    nodes, weights, tangent = face_nodes(face, shortest)
    first, second = np.array([face.x1_mm, face.z1_mm]), np.array([face.x2_mm, face.z2_mm])
    edges = [(first, tangent)] if face.breaks_wall else [(first, tangent), (second, -tangent)]
    points = np.vstack([nodes, *[end for end, _ in edges]])
    places = bench.legs(points, elevation=False)
    looks = _looks(bench, points, None)
    ways = [(bench.one, bench.other)]
    if face.breaks_wall:
        mirrored = bench.legs(points, elevation=False, mirror_mm=wall_mm)
        places = _beside(places, mirrored)
        looks = np.concatenate([looks, _looks(bench, points, wall_mm)], axis=1)
        n = len(bench.along_mm)
        ways += [(bench.one + n, bench.other), (bench.one, bench.other + n)]
        ways += [(bench.one + n, bench.other + n)]
    one = np.stack([a for a, _ in ways], axis=1).ravel()
    other = np.stack([b for _, b in ways], axis=1).ravel()
    pair = np.repeat(np.arange(len(bench.one)), len(ways))
    wave = bench.solid.speed / bench.band.centre_mhz
    waves = float(np.hypot(*(second - first))) / wave
    table = _face_weights(bench, looks, weights, tangent, edges, one, other, waves)
    middle = 0.5 * (first + second)
    path = np.hypot(bench.along_mm - middle[0], middle[1])
    rows = bench.path_rows(path[bench.one] + path[bench.other])
    return lambda start, stop, out: add_face(
        bench.wave, places, len(edges), bench.elevation.path, rows, table, one, other, pair,
        start, stop, out,
    )  # fmt: skip


def _beside(one: Places, other: Places) -> Places:
    """Return the legs of both, those of `other` as of further elements."""
    return Places(
        np.hstack([one.range_mm, other.range_mm]),
        np.hstack([one.sine, other.sine]),
        np.hstack([one.size, other.size]),
        np.hstack([one.row, other.row]),
    )


def _face_weights(
    bench: Bench,
    looks: Array,
    weights: Array,
    tangent: Array,
    edges: list[tuple[Array, Array]],
    one: Whole,
    other: Whole,
    extent_waves: float,
) -> Floats:
    """Return the weight (ways, nodes + edges) of each place of a face on each way."""
    count = len(weights)
    table = np.empty((len(one), count + len(edges)), np.float32)
    angle = _angle_from(looks[:count], tangent)
    ps, qs, pa, qa = (part.T for part in face_factors(angle, bench.solid.ratio))
    table[:, :count] = (0.5 * weights) * (
        ps[one] * qs[other] + qs[one] * ps[other] + pa[one] * qa[other] + qa[one] * pa[other]
    )
    for number, (_, along) in enumerate(edges):
        angle = _angle_from(looks[count + number], along)
        table[:, count + number] = edge_difference(
            angle[one], angle[other], bench.solid.ratio, extent_waves
        )
    return table


def _looks(bench: Bench, points: Array, mirror_mm: float | None) -> Array:
    """Return directions (points, elements, 2) from points to elements, mirrored ones at a wall."""
    height = 0.0 if mirror_mm is None else 2.0 * mirror_mm
    dx = bench.along_mm[None, :] - points[:, :1]
    return np.stack([dx, height - points[:, 1:] + 0.0 * dx], axis=-1)


def _angle_from(looks: Array, tangent: Array) -> Array:
    """Return the angle of directions (..., 2) from a tangent, −π to π."""
    along = looks @ tangent
    across = tangent[0] * looks[..., 1] - tangent[1] * looks[..., 0]
    return np.asarray(np.arctan2(across, along))


def wall_echo(bench: Bench, wall_mm: float) -> Complex:
    """Return the echo (elements apart, frequencies) of the back wall.

    It is that of an image of the element in the wall, by the wall's reflection coefficient.
    """
    apart = np.abs(bench.along_mm - bench.along_mm[0])
    path = np.hypot(apart, 2.0 * wall_mm)
    angle = np.arctan2(apart, 2.0 * wall_mm)
    k = bench.k_per_mm[None, :]
    sinc = np.sinc(k * bench.element_mm * np.sin(angle)[:, None] / (2.0 * np.pi))
    direct = (line_directivity(angle, bench.solid.ratio)[:, None] * sinc) ** 2
    size = reflection(angle, bench.solid.ratio) / np.sqrt(path)
    echo = size[:, None] * direct * strip_to_strip(k, bench.width_mm, path[:, None])
    echo = echo * np.exp((1j - bench.wave.loss) * k * path[:, None])
    return np.asarray(echo)


def _add_wall(bench: Bench, wall_mm: float, out: Floats) -> None:
    if wall_mm not in bench.walls:
        echo = wall_echo(bench, wall_mm)
        apart = np.abs(bench.along_mm - bench.along_mm[0])
        echo[bench.path_rows(np.hypot(apart, 2.0 * wall_mm)) < SKIP] = 0.0
        bench.walls[wall_mm] = _planes(echo)
    out += bench.walls[wall_mm][:, bench.other - bench.one]


def _apart(bench: Bench, x_mm: float, z_mm: float) -> Array:
    """Return the angle (pairs,) between the directions from a place to both elements."""
    angle = np.arctan2(bench.along_mm - x_mm, z_mm)
    return np.asarray(angle[bench.one] - angle[bench.other])


def _late_only(bench: Bench, path_mm: Array) -> Floats:
    """Return −1 (pairs,) where no table of whole paths is applied, and what skips a late pair."""
    return np.minimum(bench.path_rows(path_mm), np.float32(-1.0))


def _round(bench: Bench, places: Places, rows: Floats, series: Complex, shapes: Array) -> Job:
    planes, table = _planes(series), np.ascontiguousarray(shapes, dtype=np.float32)
    leg, path = bench.elevation.leg, bench.elevation.path
    return lambda start, stop, out: add_round(
        bench.wave, places, leg, path, rows, planes, table, start, stop, out
    )


def _strong(series: Complex) -> Complex:
    """Return the orders (orders, frequencies) up to the last that counts at any frequency."""
    size = np.abs(series)
    counts = (size > LEAST_ORDER * size.max(axis=0)).any(axis=1)
    return series[: int(np.flatnonzero(counts)[-1]) + 1]


def _planes(values: Complex) -> Floats:
    return np.stack([values.real, values.imag]).astype(np.float32)
