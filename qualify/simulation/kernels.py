"""Compiled loops of the model: legs from elements to places, and what reflectors send back.

A full matrix at one frequency is a sum over places of leg × scattering × leg. Legs are computed
once a place and element, for a run of neighbouring frequencies at a time, so that all legs of a
reflector stay in the nearest caches; each run of frequencies is the work of one thread. Work per
pair and frequency: some 20 multiplications for a hole or pore of few orders, 6 for each node of a
face; two orders or nodes at a time, so that sums are read and written less.
Spectra are held as planes (2, pairs, frequencies) of real and imaginary parts, float32.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from qualify.threads import fast

Floats = NDArray[np.float32]
Array = NDArray[np.float64]
Whole = NDArray[np.int64]
SKIP = -1.5  # a row below it: the pair is left out, for it comes after the record


class Wave(NamedTuple):
    """Wave numbers k0 + j·dk (1/mm), loss of amplitude per radian of kr, and element width."""

    k0: float
    dk: float
    loss: float
    width_mm: float


class Places(NamedTuple):
    """Geometry of legs (places, elements).

    Attributes
    ----------
    range_mm : length of the leg.
    sine : of its angle at the element, from the normal.
    size : amplitude at that angle, but for the width of the element; spreading included.
    row : place of the range in a table of `elevation`, −1 where none is applied.
    """

    range_mm: Array
    sine: Array
    size: Array
    row: Floats


@fast
def leg(wave: Wave, place: Places, m: int, e: int, first: int, re: Floats, im: Floats) -> None:
    """Write one leg from frequency `first` on: decaying exp(ikr) × sinc of the element."""
    r, s = place.range_mm[m, e], 0.5 * wave.width_mm * place.sine[m, e]
    k = wave.k0 + first * wave.dk
    fade = place.size[m, e] * np.exp(-wave.loss * k * r)
    a, b = fade * np.cos(k * r), fade * np.sin(k * r)
    fade = np.exp(-wave.loss * wave.dk * r)
    c, d = fade * np.cos(wave.dk * r), fade * np.sin(wave.dk * r)
    p, q = np.cos(k * s), np.sin(k * s)
    u, v = np.cos(wave.dk * s), np.sin(wave.dk * s)
    for f in range(re.size):
        x = (k + f * wave.dk) * s
        sinc = 1.0 - x * x / 6.0 if abs(x) < 1e-3 else q / x
        re[f], im[f] = np.float32(a * sinc), np.float32(b * sinc)
        a, b = a * c - b * d, a * d + b * c
        p, q = p * u - q * v, p * v + q * u


@fast
def _times_table(table: Floats, row: np.float32, first: int, re: Floats, im: Floats) -> None:
    """Multiply by a table (rows, 2, frequencies) between two of its rows."""
    low = int(row)
    part = np.float32(row - low)
    one, two = table[low], table[low + 1]
    for f in range(re.size):
        g = first + f
        c = one[0, g] + part * (two[0, g] - one[0, g])
        d = one[1, g] + part * (two[1, g] - one[1, g])
        re[f], im[f] = c * re[f] - d * im[f], c * im[f] + d * re[f]


@fast
def legs(wave: Wave, places: Places, table: Floats, first: int, re: Floats, im: Floats) -> None:
    """Write all legs (elements, places, frequencies) of a run of frequencies."""
    for e in range(re.shape[0]):
        for m in range(re.shape[1]):
            leg(wave, places, m, e, first, re[e, m], im[e, m])
            if places.row[m, e] >= 0.0:
                _times_table(table, places.row[m, e], first, re[e, m], im[e, m])


@fast
def add_round(
    wave: Wave,
    places: Places,
    leg_table: Floats,
    path_table: Floats,
    path_row: Floats,
    series: Floats,
    shapes: Floats,
    start: int,
    stop: int,
    out: Floats,
) -> None:
    """Add one round reflector over frequencies start to stop.

    series : (2, orders, frequencies) of its scattering; shapes : (pairs, orders) angle functions;
    path_row : (pairs,) place of the whole path in `path_table`; −1 where none is applied; less
        than `SKIP` where the pair is left out.
    """
    n, count = places.range_mm.shape[1], stop - start
    g, h = np.empty((n, 1, count), np.float32), np.empty((n, 1, count), np.float32)
    legs(wave, places, leg_table, start, g, h)
    x, y = np.empty(count, np.float32), np.empty(count, np.float32)
    pair = 0
    for i in range(n):
        for j in range(i, n):
            if path_row[pair] < SKIP:
                pair += 1
                continue
            x[:] = 0.0
            y[:] = 0.0
            o = 0
            while o + 1 < series.shape[1]:
                t, u = shapes[pair, o], shapes[pair, o + 1]
                r, s = series[0, o, start:stop], series[1, o, start:stop]
                v, w = series[0, o + 1, start:stop], series[1, o + 1, start:stop]
                for f in range(count):
                    x[f] += t * r[f] + u * v[f]
                    y[f] += t * s[f] + u * w[f]
                o += 2
            if o < series.shape[1]:
                t, r, s = shapes[pair, o], series[0, o, start:stop], series[1, o, start:stop]
                for f in range(count):
                    x[f] += t * r[f]
                    y[f] += t * s[f]
            if path_row[pair] >= 0.0:
                _times_table(path_table, path_row[pair], start, x, y)
            a, b, c, d = g[i, 0], h[i, 0], g[j, 0], h[j, 0]
            up, down = out[0, pair, start:stop], out[1, pair, start:stop]
            for f in range(count):
                p, q = a[f] * c[f] - b[f] * d[f], a[f] * d[f] + b[f] * c[f]
                up[f] += p * x[f] - q * y[f]
                down[f] += p * y[f] + q * x[f]
            pair += 1


@fast
def add_face(
    wave: Wave,
    places: Places,
    edges: int,
    path_table: Floats,
    path_row: Floats,
    weights: Floats,
    one: Whole,
    other: Whole,
    pair: Whole,
    start: int,
    stop: int,
    out: Floats,
) -> None:
    """Add one face over frequencies start to stop: its nodes, then `edges` edges.

    weights : (ways, nodes + edges), of the way from element `one` over a place to element
        `other` (elements of `places`, mirrored ones included), which counts for signal `pair`;
        ways of one signal follow each other. The factor √(k/2π) e^{−iπ/4} of the face is applied
        here; an edge has 1/(ik) beside.
    path_row : (pairs,) as above.
    """
    n, many, count = places.range_mm.shape[1], places.range_mm.shape[0], stop - start
    g, h = np.empty((n, many, count), np.float32), np.empty((n, many, count), np.float32)
    legs(wave, places, path_table, start, g, h)
    x, y = np.empty(count, np.float32), np.empty(count, np.float32)
    slow = np.empty(count, np.float32)
    common = np.empty(count, np.float32)
    for f in range(count):
        k = wave.k0 + (start + f) * wave.dk
        slow[f] = 1.0 / k
        common[f] = np.sqrt(0.25 * k / np.pi)
    for way in range(one.size):
        here = pair[way]
        if path_row[here] < SKIP:
            continue
        if way == 0 or pair[way - 1] != here:
            x[:] = 0.0
            y[:] = 0.0
        i, j = one[way], other[way]
        m = 0
        while m + 1 < many - edges:
            w, v = weights[way, m], weights[way, m + 1]
            a, b, c, d = g[i, m], h[i, m], g[j, m], h[j, m]
            p, q, r, s = g[i, m + 1], h[i, m + 1], g[j, m + 1], h[j, m + 1]
            for f in range(count):
                x[f] += w * (a[f] * c[f] - b[f] * d[f]) + v * (p[f] * r[f] - q[f] * s[f])
                y[f] += w * (a[f] * d[f] + b[f] * c[f]) + v * (p[f] * s[f] + q[f] * r[f])
            m += 2
        while m < many - edges:
            w = weights[way, m]
            a, b, c, d = g[i, m], h[i, m], g[j, m], h[j, m]
            for f in range(count):
                x[f] += w * (a[f] * c[f] - b[f] * d[f])
                y[f] += w * (a[f] * d[f] + b[f] * c[f])
            m += 1
        for m in range(many - edges, many):
            w = weights[way, m]
            a, b, c, d = g[i, m], h[i, m], g[j, m], h[j, m]
            for f in range(count):
                x[f] += w * slow[f] * (a[f] * d[f] + b[f] * c[f])
                y[f] -= w * slow[f] * (a[f] * c[f] - b[f] * d[f])
        if way + 1 == one.size or pair[way + 1] != here:
            if path_row[here] >= 0.0:
                _times_table(path_table, path_row[here], start, x, y)
            up, down = out[0, here, start:stop], out[1, here, start:stop]
            for f in range(count):
                up[f] += common[f] * (x[f] + y[f])
                down[f] += common[f] * (y[f] - x[f])


@fast
def add_pattern(
    wave: Wave,
    places: Places,
    leg_table: Floats,
    path_row: Floats,
    pattern: Floats,
    start: int,
    stop: int,
    out: Floats,
) -> None:
    """Add one point reflector whose scattering (2, pairs, frequencies) is given."""
    n, count = places.range_mm.shape[1], stop - start
    g, h = np.empty((n, 1, count), np.float32), np.empty((n, 1, count), np.float32)
    legs(wave, places, leg_table, start, g, h)
    pair = 0
    for i in range(n):
        for j in range(i, n):
            if path_row[pair] >= SKIP:
                a, b, c, d = g[i, 0], h[i, 0], g[j, 0], h[j, 0]
                x, y = pattern[0, pair, start:stop], pattern[1, pair, start:stop]
                up, down = out[0, pair, start:stop], out[1, pair, start:stop]
                for f in range(count):
                    p, q = a[f] * c[f] - b[f] * d[f], a[f] * d[f] + b[f] * c[f]
                    up[f] += p * x[f] - q * y[f]
                    down[f] += p * y[f] + q * x[f]
            pair += 1
