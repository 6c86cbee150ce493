"""Compiled delay laws: one-way times, carrier phases and weights of a tile of pixels.

A law says for each pixel when each element has to be fired or read. In contact and through a flat
standoff it follows from the places of element and pixel; a scan with beams gives a table of its
own. Times through a standoff are those of `qualify.recording.paths`, by the same Newton steps.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from qualify.threads import fast

PIXELS = 256  # of a tile: one signal's stretch and all sums of a tile stay in the nearest cache
CONTACT, STANDOFF, TABLE = 0, 1, 2
STEPS = 8
OFFSET = 0.75  # half of what a sum of two times needs: one zero before the signal, and rounding
ZERO, HALF = np.float32(0.0), np.float32(0.5)
LEAST_MM = 1e-3  # of a distance, so that a pixel on an element divides nothing by zero
Floats = NDArray[np.float32]
Array = NDArray[np.float64]


class Law(NamedTuple):
    """All that a tile needs to know; arrays of pixels are padded to whole tiles.

    Attributes
    ----------
    kind : CONTACT, STANDOFF or TABLE.
    x_mm, height_mm : (elements,) places of the elements, height above the scan face.
    pixel_x_mm, pixel_z_mm : (pixels,).
    table_us : (elements, pixels) one-way times of a TABLE, else (1, 1).
    first, last : (tiles,) elements first to last − 1 take part.
    window : weight by place in the aperture: element first + k has window[k].
    above, below : velocities in mm/µs above and below the scan face.
    zero_us : half of the time of the first sample; one-way times count from it.
    rate_mhz : samples a microsecond.
    carrier_mhz : frequency the signals were moved down by.
    largest_sine : elements that see a pixel under a larger angle (in the block) take no part.
    width : element width over wavelength (above the face) for the directivity, 0 for none.
    between : whether to interpolate between samples, else the nearest is taken.
    spreading : whether each leg is multiplied by the root of its length.
    """

    kind: int
    x_mm: Array
    height_mm: Array
    pixel_x_mm: Array
    pixel_z_mm: Array
    table_us: Floats
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    window: Floats
    above: float
    below: float
    zero_us: float
    rate_mhz: float
    carrier_mhz: float
    largest_sine: float
    width: float
    between: bool
    spreading: bool


@fast
def _crossing(across: float, height: float, depth: float, above: float, below: float) -> float:
    """Distance from below the element to where the fastest path crosses the face.

    `across` ≥ 0 is the distance from element to pixel along the face. See
    `qualify.recording.paths.crossings_mm`.
    """
    low, high = 0.0, across
    x = across * height / (height + depth * below / above)
    for _ in range(STEPS):
        d1 = np.sqrt(x * x + height * height)
        d2 = np.sqrt((across - x) ** 2 + depth * depth) + 1e-12
        slope = x / (above * d1) - (across - x) / (below * d2)
        curve = height * height / (above * d1**3) + depth * depth / (below * d2**3)
        low = x if slope < 0.0 else low
        high = x if slope > 0.0 else high
        new = x - slope / (curve + 1e-300)
        x = 0.5 * (low + high) if (new < low or new > high) else new
    return x


@fast
def _legs(law: Law, tile: int, i: int, time: Array, sine: Array, steep: Array, leg: Array) -> None:
    """One-way time, sine of the angle in the block and at the element, and length in the block."""
    ex, height = law.x_mm[i], law.height_mm[i]
    here = slice(tile * PIXELS, (tile + 1) * PIXELS)
    pixel_x, pixel_z = law.pixel_x_mm[here], law.pixel_z_mm[here]
    if law.kind == CONTACT:
        for p in range(PIXELS):
            x, z = pixel_x[p] - ex, pixel_z[p]
            r = np.sqrt(x * x + z * z)
            time[p] = r / law.below
            leg[p] = r
            sine[p] = x / (r + LEAST_MM)
            steep[p] = sine[p]
    elif law.kind == STANDOFF:
        for p in range(PIXELS):
            x, z = np.abs(pixel_x[p] - ex), pixel_z[p]
            c = _crossing(x, height, z, law.above, law.below)
            d1, d2 = np.sqrt(c * c + height * height), np.sqrt((x - c) ** 2 + z * z)
            time[p] = d1 / law.above + d2 / law.below
            leg[p] = d2
            steep[p] = c / d1
            sine[p] = min(steep[p] * law.below / law.above, 1.0)
    else:
        table = law.table_us[i, here]
        for p in range(PIXELS):
            time[p] = table[p]
            leg[p] = 1.0
            sine[p] = 0.0
            steep[p] = 0.0


@fast
def _turns(law: Law, time: Array, sine: Array, turn: Floats) -> None:
    """Cosine and sine of the carrier's phase; zero where the angle is too large.

    Taylor series over half a quarter turn, error below 2e-8 (Abramowitz and Stegun 4.3.65 and
    4.3.66), folded to the octant.
    """
    for p in range(PIXELS):
        cycles = time[p] * law.carrier_mhz
        a = (cycles - np.floor(cycles + 0.5)) * 4.0
        quarter = np.floor(a + 0.5)
        t = (a - quarter) * (np.pi / 2)
        q = t * t
        sin = t * (1.0 + q * (-1.0 / 6 + q * (1.0 / 120 + q * (-1.0 / 5040 + q / 362880))))
        cos = 1.0 + q * (-0.5 + q * (1.0 / 24 + q * (-1.0 / 720 + q * (1.0 / 40320))))
        odd = np.abs(np.abs(quarter) - 1.0) < 0.5
        back = np.abs(quarter) > 1.5
        c = -quarter * sin if odd else (-cos if back else cos)
        s = quarter * cos if odd else (-sin if back else sin)
        part = 1.0 if np.abs(sine[p]) <= law.largest_sine else 0.0
        turn[p] = np.float32(part * c)
        turn[PIXELS + p] = np.float32(part * s)


@fast
def _weights(law: Law, k: int, steep: Array, leg: Array, turn: Floats) -> None:
    """Weight of an element in the amplitude: window, directivity, spreading."""
    window = law.window[k]
    for p in range(PIXELS):
        weight = window * np.sqrt(leg[p]) if law.spreading else window
        u = np.pi * law.width * steep[p]
        if law.width > 0.0 and np.abs(u) > 1e-6:
            weight *= max(np.sin(u) / u, 0.0)
        turn[2 * PIXELS + p] = np.float32(weight)


@fast
def tile_laws(law: Law, tile: int, samples: int, late: Floats, turn: Floats, taken: Floats) -> None:
    """Fill `late` (elements, PIXELS), `turn` (elements, 3·PIXELS) and `taken` for one tile.

    taken : (3, PIXELS): number of elements that take part, sum of their weights, and 1 where every
        sum of two of their times lies inside the `samples` recorded (one zero is held before and
        after), else 0.

    `late` is then held so that the sum of any two times is a sample of the signal or its zeros;
    that changes nothing where all of them lie inside what was recorded.
    """
    time, sine = np.empty(PIXELS, np.float64), np.empty(PIXELS, np.float64)
    steep, leg = np.empty(PIXELS, np.float64), np.empty(PIXELS, np.float64)
    soon, far = np.empty(PIXELS, np.float32), np.empty(PIXELS, np.float32)
    soon[:] = 1e30
    far[:] = -1e30
    taken[:] = 0.0
    count, weight, inside = taken[0], taken[1], taken[2]
    end = np.float32(samples + 1)
    for i in range(law.first[tile], law.last[tile]):
        _legs(law, tile, i, time, sine, steep, leg)
        row, phasor = late[i], turn[i]
        for p in range(PIXELS):
            time[p] -= law.zero_us
            row[p] = np.float32(time[p] * law.rate_mhz + OFFSET)
        _turns(law, time, sine, phasor)
        _weights(law, i - law.first[tile], steep, leg, phasor)
        for p in range(PIXELS):
            part = phasor[p] * phasor[p] + phasor[PIXELS + p] * phasor[PIXELS + p]
            count[p] += part
            weight[p] += part * phasor[2 * PIXELS + p]
            soon[p] = min(soon[p], row[p]) if part > HALF else soon[p]
            far[p] = max(far[p], row[p]) if part > HALF else far[p]
            row[p] = min(max(row[p], ZERO), HALF * end)
    for p in range(PIXELS):
        held = soon[p] >= HALF and far[p] + far[p] < end and count[p] > HALF
        inside[p] = 1.0 if held else 0.0
