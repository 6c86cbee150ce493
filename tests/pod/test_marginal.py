"""Quadrature about the mode of each target's integrand: the mode is the one that scipy finds."""

import numpy as np
import pytest
from scipy import optimize, special

from qualify.pod.marginal import Grouped, _modes


@pytest.mark.parametrize("sd", [0.5, 3.5, 12.0])
def test_modes_are_where_the_slope_of_the_integrand_is_0(sd):
    """Three readings a target, logit, spreads up to 12: scipy's root to 1e-9.

    At large spreads Newton's step alone jumps to and fro between two places.
    """
    eta = np.linspace(-6.0, 6.0, 60)
    hits = np.array([[0, 0, 0], [1, 1, 1], [0, 1, 1], [1, 0, 0]] * 15, dtype=float).ravel()
    first, group = np.arange(0, 180, 3), np.repeat(np.arange(60), 3)
    data = Grouped(np.ones((180, 1)), hits, 1.0 - hits, first, group, "logit")
    found, width = _modes(data, np.repeat(eta, 3), sd)
    for k in range(60):
        n = hits[first[k] : first[k] + 3].sum()

        def slope(u, k=k, n=n):
            return sd * (n - 3.0 * special.expit(eta[k] + sd * u)) - u

        root = optimize.brentq(slope, -40.0, 40.0, xtol=1e-13)
        assert found[k] == pytest.approx(root, abs=1e-9)
        pod = special.expit(eta[k] + sd * root)
        assert width[k] == pytest.approx(
            (1.0 + 3.0 * sd * sd * pod * (1.0 - pod)) ** -0.5, rel=1e-7
        )
