"""Hole and pore by another way: tractions by numerical differentiation of the potentials.

The systems in `hole` and `pore` are worked out by hand. Here nothing is: displacements are
derivatives of the potentials, strains derivatives of the displacements, by differences in double
precision, and the conditions on the wall are solved for one order.
"""

import numpy as np
import pytest
from scipy import special

from qualify.simulation import hole, pore
from qualify.simulation.disc import disc_amplitude
from qualify.simulation.hole import hole_series, modal_amplitudes
from qualify.simulation.pore import pore_series, sphere_amplitudes

STEEL = 5920.0 / 3255.0
PUBLISHED = 5900.0 / 3230.0
STEP = 0.02
WEIGHTS = ((1, 4 / 5), (2, -1 / 5), (3, 4 / 105), (4, -1 / 280))  # central, of eighth order


def by_r(f):
    return lambda r, t: sum(
        w * (f(r + n * STEP, t) - f(r - n * STEP, t)) for n, w in WEIGHTS
    ) / STEP  # fmt: skip


def by_t(f):
    return lambda r, t: sum(
        w * (f(r, t + n * STEP) - f(r, t - n * STEP)) for n, w in WEIGHTS
    ) / STEP  # fmt: skip


def tractions(radial, along, ratio, *, sphere):
    """Return normal and shear traction over µ at the wall r = 1, at one angle."""
    r, t = 1.0, 0.7

    def spread(r, t):
        around = by_t(along)(r, t) + (1 + sphere) * radial(r, t)
        return by_r(radial)(r, t) + (around + sphere * along(r, t) / np.tan(t)) / r

    normal = (ratio**2 - 2) * spread(r, t) + 2 * by_r(radial)(r, t)
    return normal, by_r(along)(r, t) - along(r, t) / r + by_t(radial)(r, t) / r


def solved(ka, n, ratio, *, sphere):
    """Return A and B of order n from the two conditions at one angle of the wall."""
    if sphere:
        first = special.spherical_jn

        def third(n, x):
            return special.spherical_jn(n, x) + 1j * special.spherical_yn(n, x)

        def turn(t):
            return special.eval_legendre(n, np.cos(t))
    else:
        first, third = special.jv, special.hankel1

        def turn(t):
            return np.cos(n * t)

    def potential(f):
        return lambda r, t: f(n, ka * r) * turn(t)

    def over_r(f):
        return lambda r, t: f(r, t) / r

    def stream(r, t):
        wave = third(n, ratio * ka * r)
        return r * wave * turn(t) if sphere else wave * np.sin(n * t)

    fields = [
        tractions(by_r(potential(f)), over_r(by_t(potential(f))), ratio, sphere=sphere)
        for f in (first, third)
    ]
    if sphere:
        radial, along = over_r(over_r(stream)), over_r(by_r(by_t(stream)))
        fields.append(
            tractions(lambda r, t: n * (n + 1) * radial(r, t), along, ratio, sphere=sphere)
        )
    else:
        slope = by_r(stream)
        radial = over_r(by_t(stream))
        fields.append(tractions(radial, lambda r, t: -slope(r, t), ratio, sphere=sphere))
    incident, long, shear = np.array(fields)
    return np.linalg.solve(np.stack([long, shear], axis=1), -incident)


@pytest.mark.parametrize(("ka", "n"), [(0.6, 1), (1.3, 2), (2.66, 3)])
def test_an_order_of_a_hole_leaves_its_wall_without_traction(ka, n):
    """A to 1e-7; B by its size, as its sign is that of the potential chosen."""
    one, other = modal_amplitudes(np.array([ka]), STEEL)
    a, b = solved(ka, n, STEEL, sphere=False)
    assert one[n, 0] == pytest.approx(a, abs=1e-7)
    assert abs(other[n, 0]) == pytest.approx(abs(b), abs=1e-7)


@pytest.mark.parametrize(("ka", "n"), [(0.6, 1), (1.3, 2), (2.66, 3)])
def test_an_order_of_a_pore_leaves_its_wall_without_traction(ka, n):
    """A and B to 1e-6: three differentiations lose some digits."""
    one, other = sphere_amplitudes(np.array([ka]), STEEL)
    a, b = solved(ka, n, STEEL, sphere=True)
    assert one[n, 0] == pytest.approx(a, abs=1e-6)
    assert abs(other[n, 0]) == pytest.approx(abs(b), abs=1e-6)


@pytest.mark.parametrize(
    ("ka", "size", "phase_deg"),
    [(0.5, 0.7783, -26.3), (1.33, 1.0949, -6.2), (2.66, 1.0147, -7.6), (8.0, 1.0117, -0.4),
     (30.0, 1.0016, None)],
)  # fmt: skip
def test_hole_against_kirchhoff_theory_in_size_and_phase(ka, size, phase_deg):
    """−√(k/2π) a ∫ cos γ exp(−2ika cos γ) dγ over the lit side, a mirror of a free surface; values
    computed with another program, 1e-4 and 0.1°; the phase is that of the exact series over it, and
    ties the series to the arrival time."""
    g, w = np.polynomial.legendre.leggauss(400)
    g, w = 0.5 * np.pi * g, 0.5 * np.pi * w
    kirchhoff = -np.sqrt(ka / (2 * np.pi)) * np.exp(-0.25j * np.pi)
    kirchhoff = kirchhoff * np.sum(w * np.cos(g) * np.exp(-2j * ka * np.cos(g)))
    assert abs(kirchhoff) / np.sqrt(0.5) == pytest.approx(size, abs=1e-4)
    exact = hole_series(np.array([ka]), 1.0, PUBLISHED).sum()
    if phase_deg is not None:
        found = np.angle(exact / kirchhoff, deg=True)
        assert found == pytest.approx(phase_deg, abs=0.1)


def test_a_large_pore_mirrors_from_its_top_with_sign_reversed():
    """f₃ → −(a/2) exp(−2ika): a free surface reverses, the path ends a radius early; 3 % at 60."""
    found = pore_series(np.array([60.0]), 1.0, STEEL).sum() * np.exp(120j)
    assert abs(found + 0.5) < 0.015


@pytest.mark.parametrize("ka", [0.3, 2.0, 10.0])
def test_optical_theorem_of_a_pore(ka):
    """(4π/k) Im f₃ forward is the cross-section of both kinds of waves; 1e-10."""
    series = pore_series(np.array([ka]), 1.0, STEEL)[:, 0]
    n = np.arange(len(series))
    forward = np.sum(series * np.where(n % 2 == 0, 1.0, -1.0))
    one, other = (v[:, 0] for v in sphere_amplitudes(np.array([ka]), STEEL))
    each = np.abs(one) ** 2 + n * (n + 1) / STEEL * np.abs(other) ** 2
    cross = 4 * np.pi / ka**2 * np.sum((2 * n + 1) * each)
    assert 4 * np.pi / ka * forward.imag == pytest.approx(cross, rel=1e-10)


@pytest.mark.parametrize("ka", [0.01, 0.3, 3.0, 20.0, 60.0])
@pytest.mark.parametrize("room", [hole, pore])
def test_orders_left_out_do_not_count(ka, room, monkeypatch):
    """Ten more orders change the sum by less than 1e-9."""
    series = hole_series if room is hole else pore_series
    found = series(np.array([ka]), 1.0, STEEL)
    monkeypatch.setattr(room, "SPARE", room.SPARE + 10.0)
    more = series(np.array([ka]), 1.0, STEEL)
    assert len(more) == len(found) + 10
    assert np.count_nonzero(more) == len(more)
    assert abs(more.sum() - found.sum()) < 1e-9 * abs(found.sum())


@pytest.mark.parametrize("series", [hole_series, pore_series])
def test_a_wide_band_on_a_large_hole_overflows_nowhere(series):
    """ka of 10 and of 600 in one call: no warning, and each as it is alone; 1e-9."""
    together = series(np.array([10.0, 600.0]), 1.0, STEEL)
    assert np.isfinite(together).all()
    for column, ka in enumerate((10.0, 600.0)):
        alone = series(np.array([ka]), 1.0, STEEL).sum()
        assert together[:, column].sum() == pytest.approx(alone, rel=1e-9)
    assert abs(together[:, 1].sum()) == pytest.approx(
        np.sqrt(0.5) if series is hole_series else 0.5, rel=0.01
    )


def test_a_disc_reverses_the_wave():
    """The field on the axis of a piston is exp(ikz) − exp(ik√(z² + a²)) (Rayleigh's integral); of
    a free surface its negative. Far away it is f₃ exp(ikz)/z in size and phase, 1e-4."""
    k, a, z = 5.3, 1.0, 3e4
    beyond = np.hypot(z, a) - z
    wanted = -z * (1.0 - np.exp(1j * k * beyond))
    found = disc_amplitude(np.array([k]), 2 * a, np.array(0.0), np.array(0.0), STEEL)[0]
    assert abs(found - wanted) < 1e-4 * abs(wanted)
