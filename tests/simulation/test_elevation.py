"""The passive width in the plane model, against numerical integration of the paraxial wave."""

import numpy as np
import pytest

from qualify.simulation.elevation import (
    NODES,
    elevation_of,
    grain_leg,
    point_as_line,
    range_row,
    strip_to_line,
    strip_to_strip,
)

K = 2 * np.pi * 5.0 / 5.92
WIDTH = 11.0
LINE = np.exp(0.25j * np.pi)


@pytest.mark.parametrize("range_mm", [4.0, 20.0, 60.0, 150.0])
def test_the_field_of_a_strip_is_the_integral_over_its_width(range_mm):
    """E = ∫ exp(iky²/2r) dy over the width, by the same without ends; trapezoid rule, 1e-6."""
    y = np.linspace(-WIDTH / 2, WIDTH / 2, 40001)
    endless = np.sqrt(2 * np.pi * range_mm / K) * LINE
    wanted = np.trapezoid(np.exp(0.5j * K * y**2 / range_mm), y) / endless
    assert strip_to_line(np.array(K), WIDTH, np.array(range_mm)) == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("path_mm", [10.0, 40.0, 120.0, 300.0])
def test_from_strip_to_strip_is_the_double_integral_over_both_widths(path_mm):
    """L = ∬ exp(ik(y−y')²/2R) dy dy' by width and endless line; on a grid, 1e-4."""
    y = np.linspace(-WIDTH / 2, WIDTH / 2, 1601)
    kernel = np.exp(0.5j * K * (y[:, None] - y[None, :]) ** 2 / path_mm)
    double = np.trapezoid(np.trapezoid(kernel, y, axis=1), y)
    wanted = double / (WIDTH * np.sqrt(2 * np.pi * path_mm / K) * LINE)
    found = strip_to_strip(np.array(K), WIDTH, np.array(path_mm))
    assert found == pytest.approx(wanted, abs=1e-4)


def test_a_wide_array_and_a_short_range_know_no_elevation():
    """Both factors tend to 1: the ends of a strip of 400 mm at 5 mm change little."""
    assert abs(strip_to_line(np.array(K), 400.0, np.array(5.0))) == pytest.approx(1.0, abs=0.01)
    assert abs(strip_to_strip(np.array(K), 400.0, np.array(5.0))) == pytest.approx(1.0, abs=0.01)


def test_a_point_far_away_obeys_the_law_of_a_spherical_wave():
    """Far field: |E|² λ/W·f₃/r over one way and back is W·f₃/(λ r²)·λ..., −12.04 dB a doubling.

    A point's echo goes with |E|²/r, the far field with 1/r² in amplitude: −12.04 dB, within 0.05.
    """
    near, far = 2000.0, 4000.0
    echo = [abs(strip_to_line(np.array(K), WIDTH, np.array(r))) ** 2 / r for r in (near, far)]
    assert 20 * np.log10(echo[1] / echo[0]) == pytest.approx(-12.04, abs=0.05)


def test_a_point_equals_a_short_stretch_of_line():
    """A line that scatters f₂ is, over a stretch dy, a point f₃ = f₂ √(k/2π) e^{−iπ/4} dy.

    So points along an endless line add up to it: ∫ E(y)² dy over the elevation, by point_as_line,
    gives L. Numerical integral over ±60 mm with offset fields, 2e-3.
    """
    range_mm = 40.0
    y = np.linspace(-60.0, 60.0, 6001)
    source = np.linspace(-WIDTH / 2, WIDTH / 2, 801)
    endless = np.sqrt(2 * np.pi * range_mm / K) * LINE
    field = np.array(
        [np.trapezoid(np.exp(0.5j * K * (source - at) ** 2 / range_mm), source) for at in y]
    )
    each = (field / endless) ** 2 * np.exp(-((y / 45.0) ** 8))
    f3 = np.sqrt(K / (2 * np.pi)) * np.exp(-0.25j * np.pi)
    total = np.trapezoid(each, y) * f3 * point_as_line(np.array(K), WIDTH)
    wanted = strip_to_strip(np.array(K), WIDTH, np.array(2 * range_mm))
    assert total == pytest.approx(wanted, abs=2e-3)


def test_grain_on_all_sides_is_the_fourth_power_integral():
    """Near: every leg is 1 (a beam as wide as the array); far: (∫|E|⁴dy/W)^¼ falls as r^−¼."""
    near, far, farther = grain_leg(K, WIDTH, np.array([3.0, 2000.0, 32000.0]))
    assert near == pytest.approx(1.0, abs=0.02)
    assert farther / far == pytest.approx(16.0**-0.25, rel=0.02)


def test_tables_between_their_rows():
    """Linear between ranges even in their logarithm: within 1e-2 of the function from 5 mm on."""
    k = np.linspace(0.4, 11.6, 40)
    table = elevation_of(k, K, WIDTH)
    for range_mm in (5.3, 17.1, 63.0, 140.0):
        row = float(range_row(np.array([range_mm]))[0])
        low = int(row)
        assert 0 <= low < NODES - 1
        for held, function in ((table.leg, strip_to_line), (table.path, strip_to_strip)):
            planes = held[low] + (row - low) * (held[low + 1] - held[low])
            exact = function(k, WIDTH, np.array(range_mm))
            assert np.max(np.abs(planes[0] + 1j * planes[1] - exact)) < 1e-2
