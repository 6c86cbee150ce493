"""As-built values: stated uncertainties become standard uncertainties after the GUM.

Source: JCGM 100:2008 (GUM), 4.3.3 for a multiple k of u, 4.3.7 for a rectangular distribution
of half-width a, u = a/sqrt(3), variance a**2/3; clause numbers from memory. The rectangular
variance is also integrated here, which needs no memory.
"""

import math

import pytest
from pydantic import ValidationError
from scipy.integrate import quad

from qualify.blocks.metrology import Quantity, expanded

GAUGED = {"nominal": 1.0, "measured": 1.01, "method": "pin gauge", "certificate": "X-1"}


def test_u_is_taken_as_stated():
    quantity = Quantity(**GAUGED, u=0.008)
    assert quantity.standard_uncertainty == 0.008
    assert quantity.conversion == "u = 0.008 as stated"


@pytest.mark.parametrize(
    ("stated", "k", "u"), [(0.02, 2, 0.01), (0.0329, 1.645, 0.02), (0.0774, 2.58, 0.03)]
)
def test_expanded_uncertainty_is_divided_by_its_own_k(stated, k, u):
    """1.645 and 2.58 are the normal quantiles of 90 % and 99 % (GUM 4.3.4, from memory)."""
    quantity = Quantity(**GAUGED, U=stated, k=k)
    assert quantity.standard_uncertainty == pytest.approx(u, rel=1e-12)
    assert expanded(quantity.standard_uncertainty, k) == pytest.approx(stated, rel=1e-12)


@pytest.mark.parametrize("half", [0.015, 0.03, 1.0])
def test_tolerance_is_a_rectangular_distribution(half):
    quantity = Quantity(**GAUGED, tolerance=half)
    variance, _ = quad(lambda x: x**2 / (2 * half), -half, half)
    assert quantity.standard_uncertainty == pytest.approx(math.sqrt(variance), rel=1e-9)
    assert "√3" in quantity.conversion


def test_measured_value_counts_and_a_drawing_value_needs_its_waiver():
    assert Quantity(**GAUGED, u=0.01).value == 1.01
    drawn = Quantity(nominal=1.5, tolerance=0.03, waiver="gauging report lost")
    assert (drawn.value, drawn.basis) == (1.5, "drawing")
    with pytest.raises(ValidationError, match="waiver"):
        Quantity(nominal=1.5, tolerance=0.03)


@pytest.mark.parametrize(
    "statement", [{}, {"u": 0.01, "tolerance": 0.02}, {"u": 0.01, "U": 0.02, "k": 2}]
)
def test_uncertainty_is_stated_exactly_once(statement):
    with pytest.raises(ValidationError, match="statements of uncertainty"):
        Quantity(**GAUGED, **statement)


@pytest.mark.parametrize("lone", [{"U": 0.02}, {"k": 2}, {"u": 0.01, "k": 2}])
def test_expanded_uncertainty_and_k_belong_together(lone):
    with pytest.raises(ValidationError, match="U and k belong together"):
        Quantity(**GAUGED, **lone)
