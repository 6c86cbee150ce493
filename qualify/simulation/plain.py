"""The scene as one writes it first: numpy, double precision, frequency by frequency.

The baseline of `qualify bench`, frozen, and what the compiled kernels are tested against. It shares
the scattering of each target with them, and nothing of how legs are computed and summed: no
recurrences, no tables, no sharing of work.
"""

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.disc import disc_amplitude
from qualify.simulation.edge import edge_difference
from qualify.simulation.elastic import line_directivity, reflection
from qualify.simulation.elevation import point_as_line, strip_to_line, strip_to_strip
from qualify.simulation.face import face_nodes, face_weight
from qualify.simulation.hole import hole_series
from qualify.simulation.pore import pore_series
from qualify.simulation.reflectors import Bench
from qualify.simulation.scene import Face, Scene

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


def plain_spectra(bench: Bench, scene: Scene, numbers: Array) -> Complex:
    """Return the full matrix (frequencies, elements, elements) at frequencies of these numbers."""
    n = len(bench.along_mm)
    out = np.zeros((len(numbers), n, n), np.complex128)
    k_all, ratio = bench.k_per_mm, bench.solid.ratio
    holes = [hole_series(k_all, 0.5 * hole.diameter_mm, ratio) for hole in scene.holes]
    pores = [pore_series(k_all, 0.5 * pore.diameter_mm, ratio) for pore in scene.pores]
    for row, number in enumerate(numbers.astype(int)):
        k = float(bench.k_per_mm[number])
        for hole, series in zip(scene.holes, holes, strict=True):
            angle, leg, path = _point(bench, hole.x_mm, hole.z_mm, k)
            apart = angle[:, None] - angle[None, :]
            wave = sum(c * np.cos(order * apart) for order, c in enumerate(series[:, number]))
            out[row] += np.outer(leg, leg) * wave * _strips(bench, k, path)
        for pore, series in zip(scene.pores, pores, strict=True):
            angle, leg, path = _point(bench, pore.x_mm, pore.z_mm, k)
            leg = leg * strip_to_line(np.array(k), bench.width_mm, 0.5 * np.diag(path))
            apart = angle[:, None] - angle[None, :]
            wave = np.polynomial.legendre.legval(np.cos(apart), series[:, number])
            out[row] += np.outer(leg, leg) * wave * point_as_line(np.array(k), bench.width_mm)
        for disc in scene.discs:
            angle, leg, path = _point(bench, disc.x_mm, disc.z_mm, k)
            leg = leg * strip_to_line(np.array(k), bench.width_mm, 0.5 * np.diag(path))
            flat = (disc.diameter_mm, angle[:, None], angle[None, :], bench.solid.ratio)
            wave = disc_amplitude(np.array(k), *flat)
            out[row] += np.outer(leg, leg) * wave * point_as_line(np.array(k), bench.width_mm)
        for face in scene.faces:
            out[row] += _face(bench, face, scene.wall_mm, k)
        if scene.wall_mm is not None:
            out[row] += _wall(bench, scene.wall_mm, k)
    return out


def _point(bench: Bench, x_mm: float, z_mm: float, k: float) -> tuple[Array, Complex, Array]:
    dx = bench.along_mm - x_mm
    r, angle = np.hypot(dx, z_mm), np.arctan2(dx, z_mm)
    return angle, _leg(bench, np.abs(angle), r, k), r[:, None] + r[None, :]


def _leg(bench: Bench, angle: Array, r: Array, k: float) -> Complex:
    width = np.sinc(k * bench.element_mm * np.sin(angle) / (2.0 * np.pi))
    size = line_directivity(angle, bench.solid.ratio) * width / np.sqrt(r)
    return np.asarray(size * np.exp((1j - bench.wave.loss) * k * r))


def _strips(bench: Bench, k: float, path: Array) -> Complex:
    return strip_to_strip(np.array(k), bench.width_mm, path)


Way = tuple[Array, Complex]


def _way(bench: Bench, point: Array, tangent: Array, k: float, mirror_mm: float | None) -> Way:
    """Return angle from the tangent and leg to each element, or to its image in a wall."""
    dx = bench.along_mm - point[0]
    deep = point[1] if mirror_mm is None else point[1] - 2.0 * mirror_mm
    angle = np.arctan2(np.abs(dx), abs(deep))
    leg = _leg(bench, angle, np.hypot(dx, deep), k)
    if mirror_mm is not None:
        leg = leg * reflection(angle, bench.solid.ratio)
    across = tangent[0] * -deep - tangent[1] * dx
    return np.arctan2(across, dx * tangent[0] - deep * tangent[1]), leg


def _wall(bench: Bench, wall_mm: float, k: float) -> Complex:
    dx = np.abs(bench.along_mm[:, None] - bench.along_mm[None, :])
    path, angle = np.hypot(dx, 2.0 * wall_mm), np.arctan2(dx, 2.0 * wall_mm)
    leg = _leg(bench, angle, path, k) * np.sqrt(path)
    echo = reflection(angle, bench.solid.ratio) / np.sqrt(path) * _strips(bench, k, path)
    return np.asarray(echo * leg * leg * np.exp(-(1j - bench.wave.loss) * k * path))


def _face(bench: Bench, face: Face, wall_mm: float | None, k: float) -> Complex:
    """Return a face by explicit sums over its nodes, directions and mirrored directions."""
    shortest = bench.solid.speed / float(bench.band.mhz[-1])
    nodes, weights, tangent = face_nodes(face, shortest)
    ends = [(np.array([face.x1_mm, face.z1_mm]), tangent)]
    if not face.breaks_wall:
        ends.append((np.array([face.x2_mm, face.z2_mm]), -tangent))
    ratio, total = bench.solid.ratio, np.zeros((len(bench.along_mm),) * 2, np.complex128)
    mirrors = (None, wall_mm) if face.breaks_wall else (None,)
    for node, weight in zip(nodes, weights, strict=True):
        ways = [_way(bench, node, tangent, k, mirror) for mirror in mirrors]
        for a, one in ways:
            for b, other in ways:
                total += weight * face_weight(a[:, None], b[None, :], ratio) * np.outer(one, other)
    wave = bench.solid.speed / bench.band.centre_mhz
    extent = np.hypot(face.x2_mm - face.x1_mm, face.z2_mm - face.z1_mm)
    extent_waves = float(extent) / wave
    for end, along in ends:
        ways = [_way(bench, end, along, k, mirror) for mirror in mirrors]
        for a, one in ways:
            for b, other in ways:
                edge = edge_difference(a[:, None], b[None, :], ratio, extent_waves)
                total += edge / (1j * k) * np.outer(one, other)
    r = np.hypot(bench.along_mm - 0.5 * (face.x1_mm + face.x2_mm), 0.5 * (face.z1_mm + face.z2_mm))
    factor = np.sqrt(k / (2.0 * np.pi)) * np.exp(-0.25j * np.pi)
    return np.asarray(factor * total * _strips(bench, k, r[:, None] + r[None, :]))
