"""Angles and times of flight against handbook velocities and closed forms.

Velocities are round handbook values (J. and H. Krautkrämer, Ultrasonic Testing of Materials, 4th
ed. 1990, from memory): PMMA 2730, polystyrene 2330, water 1480, steel 5900 and 3230 m/s. The
angles beside them were computed once by hand from Snell's law, arcsin(c1/c2).
"""

import pytest

from qualify.recording.paths import times_us
from qualify.recording.probe import Contact, Medium, Probe
from qualify.recording.refraction import critical_deg, refracted_deg
from qualify.recording.wall import wall_times_us

STEEL_L, STEEL_S = 5900.0, 3230.0
HAND_DEG = 0.02  # two decimals, of velocities known to about a per cent
CONTACT = Contact(kind="contact")


@pytest.mark.parametrize(
    ("wedge_m_per_s", "first_deg", "second_deg"),
    [(2730.0, 27.56, 57.69), (2330.0, 23.26, 46.17), (1480.0, 14.53, 27.27)],
    ids=["PMMA", "polystyrene", "water"],
)
def test_critical_angles_into_steel(wedge_m_per_s, first_deg, second_deg):
    """Beyond the first no longitudinal wave is left in the steel, beyond the second no shear."""
    assert critical_deg(wedge_m_per_s, STEEL_L) == pytest.approx(first_deg, abs=HAND_DEG)
    assert critical_deg(wedge_m_per_s, STEEL_S) == pytest.approx(second_deg, abs=HAND_DEG)
    assert refracted_deg(first_deg + 0.1, wedge_m_per_s, STEEL_L) is None
    assert refracted_deg(first_deg - 0.1, wedge_m_per_s, STEEL_L) > 80.0


@pytest.mark.parametrize(("shear_deg", "wedge_deg"), [(45, 30.67), (60, 38.66), (70, 42.68)])
def test_wedge_angles_of_the_usual_shear_probes(shear_deg, wedge_deg):
    """Polystyrene wedge for 45, 60 and 70 degrees of shear in steel; and back."""
    assert refracted_deg(shear_deg, STEEL_S, 2330.0) == pytest.approx(wedge_deg, abs=HAND_DEG)
    assert refracted_deg(wedge_deg, 2330.0, STEEL_S) == pytest.approx(shear_deg, abs=0.05)


def test_mode_conversion_in_steel():
    """L at 30 degrees is reflected as S at 15.886; S beyond 33.193 leaves no reflected L."""
    assert refracted_deg(30.0, STEEL_L, STEEL_S) == pytest.approx(15.886, abs=1e-3)
    assert critical_deg(STEEL_S, STEEL_L) == pytest.approx(33.193, abs=1e-3)


def test_there_is_no_critical_angle_into_the_slower_medium():
    assert critical_deg(STEEL_L, STEEL_S) is None
    assert critical_deg(STEEL_L, STEEL_L) is None


@pytest.mark.parametrize(
    ("angle", "first", "second"), [(91.0, 1.0, 2.0), (10.0, 0.0, 2.0), (10.0, 2.0, -1.0)]
)
def test_what_is_no_angle_or_velocity_is_refused(angle, first, second):
    with pytest.raises(ValueError, match="give"):
        refracted_deg(angle, first, second)


@pytest.mark.parametrize(
    ("velocity_m_per_s", "one_way_us"), [(STEEL_L, 12.9153), (STEEL_S, 23.5913)], ids=["L", "S"]
)
def test_back_wall_at_76_2_mm(velocity_m_per_s, one_way_us):
    """Time is distance over velocity: 25.8305 µs there and back for L, 47.183 for S."""
    medium = Medium(longitudinal_m_per_s=velocity_m_per_s, thickness_mm=76.2)
    one_way = times_us([[0.0, 0.0]], [[0.0, 76.2]], CONTACT, medium)[0, 0]
    assert one_way == pytest.approx(one_way_us, abs=1e-3)
    probe = Probe(
        name="p", elements=2, pitch_mm=0.6, element_width_mm=0.5, passive_width_mm=10.0,
        centre_mhz=5.0, bandwidth_fraction=0.7,
    )  # fmt: skip
    there_and_back = wall_times_us(probe, CONTACT, medium)
    assert there_and_back[0] == pytest.approx(2 * one_way_us, abs=1e-3)


def test_the_echo_of_a_hole_comes_from_its_top():
    """A hole of 1 mm, centre at 38.1 mm, seen from above: 12.7458 µs; its centre would be later
    by 0.339 µs for each millimetre."""
    medium = Medium(longitudinal_m_per_s=STEEL_L)
    top, centre = 2 * times_us([[0.0, 0.0]], [[0.0, 37.6], [0.0, 38.1]], CONTACT, medium)[0]
    assert top == pytest.approx(12.7458, abs=1e-3)
    assert (centre - top) / 0.5 == pytest.approx(0.339, abs=1e-3)
