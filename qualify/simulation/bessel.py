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
    first = np.stack([special.j0(x), special.j1(x)])
    second = np.stack([special.y0(x), special.y1(x)])
    return _all(x, orders, first, second, 0.0)


def spherical(x: Array, orders: int) -> tuple[Array, Array]:
    """Return j and y (orders, values) of orders 0 to orders − 1 ≥ 1, arguments above 0."""
    sine, cosine = np.sin(x) / x, np.cos(x) / x
    first = np.stack([sine, sine / x - cosine])
    second = np.stack([-cosine, -cosine / x - sine])
    return _all(x, orders, first, second, 0.5)


def _all(x: Array, orders: int, first: Array, second: Array, h: float) -> tuple[Array, Array]:
    one, other = np.empty((2, orders, x.size))
    one[:2], other[:2] = first, second
    ratio = np.zeros((orders, x.size))
    above = np.zeros_like(x)
    for n in range(orders + int(np.ceil(x.max())) + ABOVE, 0, -1):
        above = 1.0 / (2.0 * (n + h) / x - above)
        if n < orders:
            ratio[n] = above
    one[1] = np.where(x > 1.0, one[1], one[0] * ratio[1])
    for n in range(1, orders - 1):
        upward = 2.0 * (n + h) / x * one[n] - one[n - 1]
        one[n + 1] = np.where(n < x, upward, one[n] * ratio[n + 1])
        other[n + 1] = 2.0 * (n + h) / x * other[n] - other[n - 1]
    return one, other
