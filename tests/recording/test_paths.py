"""Times of flight: Fermat's path against Snell's law, brute-force search, and limits."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from qualify.recording.paths import crossings_mm, times_us
from qualify.recording.probe import Contact, Medium, Standoff, element_centres_mm
from qualify.recording.record import half_pairs
from qualify.recording.refraction import critical_deg, refracted_deg
from qualify.recording.wall import wall_times_us
from tests.recording.made import PROBE, STEEL

POINTS = np.array([[-9.0, 4.0], [0.0, 0.5], [2.5, 30.0], [14.0, 11.0], [40.0, 2.0]])
STANDOFFS = [
    Standoff(kind="water", longitudinal_m_per_s=1480.0, height_mm=12.0, angle_deg=8.0),
    Standoff(kind="wedge", longitudinal_m_per_s=2330.0, height_mm=18.0, angle_deg=-30.0),
    Standoff(kind="wedge", longitudinal_m_per_s=5900.0, height_mm=9.0),
]


@pytest.mark.parametrize("standoff", STANDOFFS)
def test_the_path_is_the_fastest_of_all(standoff):
    """The same minimum found by a bounded search over the crossing (scipy, Brent), 1e-9 µs."""
    elements = element_centres_mm(PROBE, standoff)[::5]
    found = times_us(elements, POINTS, standoff, STEEL)
    for (ex, ez), row in zip(elements, found, strict=True):
        for (px, pz), time in zip(POINTS, row, strict=True):
            best = minimize_scalar(
                lambda x, ex=ex, ez=ez, px=px, pz=pz: (
                    (
                        np.hypot(x - ex, ez) / standoff.longitudinal_m_per_s
                        + np.hypot(px - x, pz) / STEEL.longitudinal_m_per_s
                    )
                    * 1e3
                ),
                bounds=(min(ex, px) - 1e-3, max(ex, px) + 1e-3),
                method="bounded",
                options={"xatol": 1e-9},
            )
            assert time == pytest.approx(best.fun, abs=1e-9)


@pytest.mark.parametrize("standoff", STANDOFFS)
def test_the_crossing_obeys_snells_law(standoff):
    """The angle below is the refraction of the angle above, and never beyond the critical one."""
    elements = element_centres_mm(PROBE, standoff)[::3]
    deep = POINTS
    above, below = standoff.longitudinal_m_per_s, STEEL.longitudinal_m_per_s
    crossing = crossings_mm(elements, deep, above * 1e-3, below * 1e-3)
    for k, (ex, ez) in enumerate(elements):
        for m, (px, pz) in enumerate(deep):
            incident = np.degrees(np.arctan2(crossing[k, m] - ex, -ez))
            refracted = np.degrees(np.arctan2(px - crossing[k, m], pz))
            assert np.sin(np.radians(refracted)) / below == pytest.approx(
                np.sin(np.radians(incident)) / above, abs=1e-10
            )
            if above < below:
                assert abs(incident) < critical_deg(above, below)
                told = refracted_deg(float(incident), above, below)
                assert told == pytest.approx(refracted, abs=1e-3)


def test_equal_velocities_give_the_straight_path():
    same = STANDOFFS[2]
    elements = element_centres_mm(PROBE, same)
    straight = np.hypot(
        POINTS[None, :, 0] - elements[:, None, 0], POINTS[None, :, 1] - elements[:, None, 1]
    )
    np.testing.assert_allclose(
        times_us(elements, POINTS, same, STEEL), straight / 5.9, rtol=0, atol=1e-10
    )


def test_a_point_on_the_face_is_the_limit_of_points_below_it():
    """Within the critical angle it is reached through the wedge alone; beyond it, faster, along
    the face after a crossing at the critical angle: h cos(α)/c₁ + x/c₂ with sin α = c₁/c₂."""
    wedge = Standoff(kind="wedge", longitudinal_m_per_s=2330.0, height_mm=18.0)
    elements = element_centres_mm(PROBE, wedge)
    x = np.array([0.0, 5.0, 30.0, 60.0])
    found = times_us(elements, np.column_stack([x, 0 * x]), wedge, STEEL)
    below = times_us(elements, np.column_stack([x, 0 * x + 1e-7]), wedge, STEEL)
    np.testing.assert_allclose(found, below, atol=1e-5)
    apart = np.abs(x[None, :] - elements[:, :1])
    alone = np.hypot(apart, 18.0) / 2.33
    alpha = np.arcsin(2.33 / 5.9)
    along = 18.0 * np.cos(alpha) / 2.33 + apart / 5.9
    within = apart < 18.0 * np.tan(alpha)
    np.testing.assert_allclose(found, np.where(within, alone, along), atol=1e-7)
    assert within.any()
    assert not within.all()


@pytest.mark.parametrize("coupling", [Contact(kind="contact"), *STANDOFFS[:2]])
def test_the_wall_seen_by_each_pair_is_the_fastest_way_over_the_wall(coupling):
    """The wall time of a pair is the least, over points on the wall, of the way there and back."""
    medium = Medium(longitudinal_m_per_s=5900.0, thickness_mm=20.0)
    centres = element_centres_mm(PROBE, coupling)
    x = np.linspace(-60.0, 60.0, 4801)
    way = times_us(centres, np.column_stack([x, np.full_like(x, 20.0)]), coupling, medium)
    transmit, receive = half_pairs(PROBE.elements)
    brute = (way[transmit] + way[receive]).min(axis=1)
    found = wall_times_us(PROBE, coupling, medium)
    assert np.all(found <= brute + 1e-9)
    np.testing.assert_allclose(found, brute, atol=2e-5)


def test_in_contact_the_wall_follows_the_square_law():
    """t² = t₀² + (distance between elements / velocity)², pair by pair."""
    medium = Medium(longitudinal_m_per_s=5900.0, thickness_mm=20.0)
    found = wall_times_us(PROBE, Contact(kind="contact"), medium)
    transmit, receive = half_pairs(PROBE.elements)
    apart = (receive - transmit) * PROBE.pitch_mm
    np.testing.assert_allclose(found**2, (40.0 / 5.9) ** 2 + (apart / 5.9) ** 2, rtol=1e-12)


@pytest.mark.parametrize(
    ("elements", "points", "coupling", "words"),
    [
        ([[0.0, 0.0]], [[0.0, -1.0]], Contact(kind="contact"), "above the scan face"),
        ([[0.0, -1.0]], [[0.0, 1.0]], Contact(kind="contact"), "in contact the elements lie"),
        ([[0.0, 0.0]], [[0.0, 1.0]], STANDOFFS[0], "raise the array"),
        ([[0.0, 0.0]], [[0.0, 1.0, 2.0]], Contact(kind="contact"), "x and z"),
    ],
)
def test_places_on_the_wrong_side_are_refused(elements, points, coupling, words):
    with pytest.raises(ValueError, match=words):
        times_us(elements, points, coupling, STEEL)
