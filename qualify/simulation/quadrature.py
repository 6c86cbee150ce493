"""Nodes and weights of Gauss-Legendre quadrature, computed once."""

from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
PANEL = 16  # nodes of a panel


@cache
def gauss(count: int) -> tuple[Array, Array]:
    """Return nodes from −1 to 1 and their weights."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    nodes.flags.writeable = weights.flags.writeable = False
    return nodes, weights


def panels(low: float, high: float, least: int) -> tuple[Array, Array]:
    """Return at least so many nodes from low to high, in panels of 16, and their weights."""
    edges = np.linspace(low, high, -(-least // PANEL) + 1)
    x, w = gauss(PANEL)
    half = 0.5 * np.diff(edges)[:, None]
    middle = 0.5 * (edges[:-1] + edges[1:])[:, None]
    return (middle + half * x).ravel(), (half * w).ravel()
