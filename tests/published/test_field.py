"""Sound fields and steering against textbook values and the equations they come from."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from qualify.imaging.field import (
    FIRST_NULL_ROUND,
    LATERAL,
    ROUND,
    STRIP,
    divergence_rectangle_deg,
    divergence_round_deg,
    first_null_rectangle_deg,
    first_null_round_deg,
    focal_spot_mm,
    lateral_width_mm,
    near_field_rectangle_mm,
    near_field_round_mm,
    wavelength_mm,
)
from qualify.imaging.steering import angles_warning, grating_free_angle, region_warning
from qualify.recording.probe import Contact, Medium, Probe, Standoff

STEEL = Medium(longitudinal_m_per_s=5900.0)
CONTACT = Contact(kind="contact")
PROBE = Probe(
    name="invented", elements=64, pitch_mm=0.6, element_width_mm=0.5, passive_width_mm=10.0,
    centre_mhz=5.0, bandwidth_fraction=0.7,
)  # fmt: skip


@pytest.mark.parametrize(
    ("diameter", "frequency", "known"), [(10, 5, 21.186), (12, 5, 30.51), (24, 2, 48.81)]
)
def test_near_field_of_round_probes(diameter, frequency, known):
    """D²f/4c, Krautkrämer 1990 (from memory), 5900 m/s; the last axial maximum within 1.5 %.

    The maximum is found on the exact axial pressure of a piston,
    2|sin(π/λ·(√(a² + z²) − z))|.
    """
    wave = wavelength_mm(5900, frequency)
    near = near_field_round_mm(diameter, wave)
    assert near == pytest.approx(known, rel=5e-4)
    z = np.linspace(0.6 * near, 1.5 * near, 200_001)
    pressure = np.abs(np.sin(math.pi / wave * (np.hypot(diameter / 2, z) - z)))
    last = z[np.argmax(pressure)]
    assert last == pytest.approx(near - wave / 4, rel=1e-4)
    assert near == pytest.approx(last, rel=0.02)


@pytest.mark.parametrize(
    ("ratio", "known"),
    [(1.0, 1.37), (0.9, 1.25), (0.8, 1.15), (0.7, 1.09), (0.5, 1.01), (0.1, 0.99)],
)  # fmt: skip
def test_near_field_of_rectangles(ratio, known):
    """Factor k by the ratio of the sides, Krautkrämer 1990 (from memory), two decimals."""
    near = near_field_rectangle_mm(20.0 * ratio, 20.0, 1.18)
    assert near == near_field_rectangle_mm(20.0, 20.0 * ratio, 1.18)
    assert near / (20.0**2 / (4 * 1.18)) == pytest.approx(known, abs=0.01)


def test_near_field_of_a_square_on_the_diffraction_integral():
    """The last axial maximum of the Rayleigh integral over 20 × 20 mm, sampled each 0.1 mm."""
    side, wave = 20.0, 1.18
    s = (np.arange(200) + 0.5) * 0.1 - side / 2
    x, y = np.meshgrid(s, s)
    near = near_field_rectangle_mm(side, side, wave)
    depth = near * np.linspace(0.8, 1.2, 81)
    pressure = []
    for z in depth:
        r = np.sqrt(x**2 + y**2 + z**2)
        pressure.append(abs(np.sum(np.exp(2j * math.pi * r / wave) / r)))
    assert depth[np.argmax(pressure)] == pytest.approx(near, rel=0.01)


def test_constants_of_divergence_solve_their_equations():
    """(2J₁(x)/x)² = 1/2, (sin x/x)² = 1/2, and one way without the square; first zero of J₁."""
    for way, power in (("pulse-echo", 2), ("one-way", 1)):
        x, y = math.pi * ROUND[way], math.pi * STRIP[way]
        assert (2 * special.j1(x) / x) ** power == pytest.approx(0.5, abs=1e-9)
        assert (math.sin(y) / y) ** power == pytest.approx(0.5, abs=1e-9)
    assert special.j1(math.pi * FIRST_NULL_ROUND) == pytest.approx(0, abs=1e-9)


def test_published_constants():
    """.51 λ/D and .44 λ/L in pulse-echo (.5145 and .4429), 1.22 λ/D; four digits."""
    assert ROUND["pulse-echo"] == pytest.approx(0.5145, abs=5e-5)
    assert pytest.approx({"pulse-echo": 0.4429, "one-way": 0.6034}, abs=5e-5) == STRIP
    assert FIRST_NULL_ROUND * math.pi == pytest.approx(3.8317, abs=5e-5)
    assert 2 * STRIP["pulse-echo"] == pytest.approx(LATERAL, abs=2e-4)
    found = divergence_round_deg(10, wavelength_mm(5900, 5))
    assert found.angle_deg == pytest.approx(3.48, abs=0.01)
    assert divergence_rectangle_deg(10, 1.18).angle_deg == pytest.approx(
        math.degrees(math.asin(0.4429 * 0.118)), abs=1e-3
    )
    assert first_null_round_deg(10, 1.18).angle_deg == pytest.approx(8.27, abs=0.01)
    assert first_null_rectangle_deg(10, 1.18).angle_deg == pytest.approx(6.78, abs=0.01)


def test_a_short_aperture_has_no_such_angle():
    assert divergence_rectangle_deg(0.5, 1.18).angle_deg is None
    assert "any angle" in (first_null_round_deg(1.0, 1.18).reason or "")


def test_lateral_resolution():
    """64 elements 0.6 mm apart, 38 mm deep, λ 1.18 mm: 1.168 and 1.035 mm."""
    assert focal_spot_mm(1.18, 38, 38.4) == pytest.approx(1.168, abs=5e-4)
    assert lateral_width_mm(1.18, 38, 38.4) == pytest.approx(1.035, abs=5e-4)


@pytest.mark.parametrize(("wave", "known"), [(1.18, 75.2), (5.9 / 7.5, 18.1), (3.23 / 5, 4.4)])
def test_angle_free_of_grating_lobes(wave, known):
    """p < λ/(1 + |sin|), p = 0.6 mm: longitudinal 5 and 7.5 MHz, shear 5 MHz."""
    assert grating_free_angle(0.6, wave).angle_deg == pytest.approx(known, abs=0.06)


@given(steer=st.floats(-89, 89), pitch=st.floats(0.2, 3))
def test_the_lobe_itself(steer, pitch):
    """The next direction in phase lies at sin(lobe) = sin(steer) − λ/p: outside ±1 if free."""
    wave = 1.18
    free = grating_free_angle(pitch, wave)
    lobe = abs(math.sin(math.radians(steer))) - wave / pitch
    if free.angle_deg is None:
        assert lobe >= -1
        assert pitch >= wave
    elif abs(steer) < free.angle_deg - 1e-6:
        assert lobe < -1
    elif abs(steer) > free.angle_deg + 1e-6:
        assert lobe >= -1 - 1e-9


def test_array_factor_shows_the_lobe_that_is_warned_of():
    """Sum over 64 elements at 7.5 MHz: within the free angle one maximum, beyond it two."""
    wave = wavelength_mm(5900, 7.5)
    probe = PROBE.model_copy(update={"centre_mhz": 7.5})
    for steer, lobes in ((15, 1), (30, 2)):
        angle = np.radians(np.linspace(-90, 90, 20_001))
        lag = np.sin(angle) - math.sin(math.radians(steer))
        place = probe.along_mm()
        factor = np.abs(np.exp(2j * math.pi * np.outer(lag, place) / wave).mean(axis=1))
        peaks = np.sum(
            (factor[1:-1] > 0.99) & (np.diff(factor)[:-1] > 0) & (np.diff(factor)[1:] <= 0)
        )
        assert peaks == lobes
        words = angles_warning(probe, CONTACT, STEEL, [-5, steer])
        assert (words is None) == (lobes == 1)
    assert words is not None
    assert "30.0°" in words
    assert "18.1°" in words


def test_the_worst_angle_counts_on_either_side():
    coarse = PROBE.model_copy(update={"pitch_mm": 0.8})
    assert "-40°" in (angles_warning(coarse, CONTACT, STEEL, [-40, 10]) or "")
    assert "40°" in (angles_warning(coarse, CONTACT, STEEL, [-10, 40]) or "")
    assert angles_warning(coarse, CONTACT, STEEL, [-28, 28]) is None  # asin(1.18/.8 − 1) = 28.4


def test_regions_in_words():
    assert region_warning(PROBE, CONTACT, STEEL, (-20, 20), (10, 50)) is None
    words = region_warning(PROBE, CONTACT, STEEL, (-20, 40), (5, 50))
    assert words is not None
    assert "x = 40 mm, z = 5 mm" in words
    assert "82.9°" in words
    coarse = PROBE.model_copy(update={"pitch_mm": 1.5})
    assert "every steering angle" in (region_warning(coarse, CONTACT, STEEL, (0, 1), (9, 9)) or "")


def test_a_wedge_steers_by_the_law_of_snell():
    """A wedge of 15°, 2330 m/s, sends the beam along the normal of the array to 40.95° in steel.

    The wavelength in it is .466 mm: a pitch of 0.6 mm is too coarse at any angle, one of 0.3 mm
    is free up to sin = .553, 33.6°.
    """
    wedge = Standoff(kind="wedge", longitudinal_m_per_s=2330.0, height_mm=15.0, angle_deg=15.0)
    fine = PROBE.model_copy(update={"pitch_mm": 0.3, "element_width_mm": 0.25})
    assert "every steering angle" in (angles_warning(PROBE, wedge, STEEL, [0.0]) or "")
    assert angles_warning(fine, wedge, STEEL, [40.95]) is None
    words = angles_warning(fine, wedge, STEEL, [-60.0])
    assert words is not None
    assert "steered 35.0° in the wedge" in words  # asin(2330/5900·sin 60°) = 20.0, and 15
    straight = (15.0 * math.tan(math.radians(15)), 15.0)
    along = straight[0] + 30 * math.tan(math.radians(40.95))
    assert region_warning(fine, wedge, STEEL, (along, along), (30, 30)) is None
    assert "33.6°" in (region_warning(fine, wedge, STEEL, (-300, -300), (30, 30)) or "")
