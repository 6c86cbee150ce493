"""Bessel functions of many orders at many arguments at once, of the cylinder and the sphere.

Recurrences after Abramowitz and Stegun 1964, 9.1.27 and 10.1.19: f_{n+1} = (2(n + h)/x) f_n −
f_{n−1}, h = 0 for cylinder and ½ for spherical functions. The second kind goes upwards; the first
upwards below its turning point, and above it by the ratio of neighbours, which a downward
recurrence gives to full accuracy.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]
ABOVE = 24  # orders above the last wanted, from which the downward recurrence starts


def cylinder(x: Array, orders: int) -> tuple[Array, Array]:
    """Return J and Y (orders, values) of orders 0 to orders − 1 ≥ 1, arguments above 0."""
    second = np.stack([special.y0(x), special.y1(x)])
    return cylinder_first(x, orders), _upwards(x, orders, second, 0.0)


def cylinder_first(x: Array, orders: int) -> Array:
    """Return J (orders, values) of orders 0 to orders − 1 ≥ 1, arguments above 0."""
    return _first(x, orders, np.stack([special.j0(x), special.j1(x)]), 0.0)


def spherical(x: Array, orders: int) -> tuple[Array, Array]:
    """Return j and y (orders, values) of orders 0 to orders − 1 ≥ 1, arguments above 0."""
    sine, cosine = np.sin(x) / x, np.cos(x) / x
    first = np.stack([sine, sine / x - cosine])
    second = np.stack([-cosine, -cosine / x - sine])
    return _first(x, orders, first, 0.5), _upwards(x, orders, second, 0.5)


def _upwards(x: Array, orders: int, start: Array, h: float) -> Array:
    out = np.empty((orders, x.size))
    out[:2] = start
    for n in range(1, orders - 1):
        out[n + 1] = 2.0 * (n + h) / x * out[n] - out[n - 1]
    return out


def _first(x: Array, orders: int, start: Array, h: float) -> Array:
    out = np.empty((orders, x.size))
    out[:2] = start
    ratio = np.zeros((orders, x.size))
    above = np.zeros_like(x)
    for n in range(orders + int(np.ceil(x.max())) + ABOVE, 0, -1):
        above = 1.0 / (2.0 * (n + h) / x - above)
        if n < orders:
            ratio[n] = above
    out[1] = np.where(x > 1.0, out[1], out[0] * ratio[1])
    for n in range(1, orders - 1):
        upward = 2.0 * (n + h) / x * out[n] - out[n - 1]
        out[n + 1] = np.where(n < x, upward, out[n] * ratio[n + 1])
    return out
