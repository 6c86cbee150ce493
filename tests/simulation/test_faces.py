"""Faces and edges: the nodes along a face, both its sides, the limit in the specular direction."""

import numpy as np
import pytest
from made_simulation import LOSSLESS, probe

from qualify.simulation.band import to_time
from qualify.simulation.edge import edge_difference, grazing_most
from qualify.simulation.face import face_nodes, face_weight
from qualify.simulation.reflectors import add_scene
from qualify.simulation.scene import Face, Scene
from qualify.simulation.simulate import bench_of
from qualify.simulation.strip import strip_far_field

STEEL = 5920.0 / 3255.0


@pytest.mark.parametrize("waves", [0.2, 1.0, 5.0, 10.0, 20.0, 40.0])
def test_nodes_suffice_for_legs_along_the_face(waves):
    """∫ exp(−iks) ds over a face, k up to 2k_L: the sine in closed form; 2e-4 of a wave, which is
    a four-hundredth of the echo of an edge, and 1e-9 where the frequency is two thirds of it."""
    nodes, weights, tangent = face_nodes(Face(1.0, 30.0, 1.0, 30.0 + waves), 1.0)
    along = (nodes - [1.0, 30.0]) @ tangent - 0.5 * waves
    assert weights.sum() == pytest.approx(waves)
    for share, tolerance in ((1.0, 2e-4), (2.0 / 3.0, 1e-9)):
        turns = np.linspace(-2.0, 2.0, 401) * share
        found = weights @ np.exp(2j * np.pi * np.outer(along, turns))
        assert np.abs(found - waves * np.sinc(turns * waves)).max() < tolerance


def test_a_face_looks_the_same_from_both_sides():
    """Both elements beyond the face see what both before it do, and opposite ones are exchanged
    with it; turned end for end it is the same face. 1e-12, of face and edge."""
    rng = np.random.default_rng(5)
    a, b = np.pi * rng.uniform(-0.95, 0.95, (2, 200))
    for of in (face_weight, edge_difference):
        assert np.allclose(of(a, b, STEEL), of(-a, -b, STEEL), rtol=1e-9, atol=1e-12)
    assert np.allclose(face_weight(a, b, STEEL), face_weight(np.pi - a, np.pi - b, STEEL))


def test_straight_through_a_face_casts_a_shadow():
    """Behind the face the scattered wave is the incident one reversed: w = −|sin| at β − π."""
    beta = np.radians(np.array([20.0, 50.0, 90.0, 130.0]))
    assert np.allclose(face_weight(beta - np.pi, beta, STEEL), -np.sin(beta), atol=1e-12)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("beta_deg", [20.0, 35.0, 90.0, 150.0])
def test_the_edge_in_reflection_and_shadow_is_its_limit(beta_deg, side):
    """The value at the direction itself lies on the curve through its neighbours; 1e-5."""
    beta = np.radians(beta_deg)
    away = np.radians(np.array([-3.0, -2.0, -1.0, 1.0, 2.0, 3.0]))
    theta = side * (np.pi - beta)
    around = edge_difference(theta + away, np.full_like(away, beta), STEEL, 1e6)
    wanted = np.polynomial.Polynomial.fit(away, around, 5)(0.0)
    found = edge_difference(theta, beta, STEEL, 1e6)
    assert found == pytest.approx(wanted, abs=1e-5)
    assert found == pytest.approx(edge_difference(beta, theta, STEEL, 1e6), abs=1e-9)


@pytest.mark.parametrize("ratio", [1.76, STEEL, 6320.0 / 3130.0])
@pytest.mark.parametrize("waves", [1.0, 4.2, 16.9])
def test_what_grazes_a_face_is_bounded_as_in_the_exact_strip(waves, ratio):
    """Straight on and 1° off the face: both edges together within 3 dB of the exact strip, where
    those of half-planes are 10 dB and more too strong. Exactly along it they are finite."""
    k = 1.0
    beta = np.radians(1.0)
    exact = strip_far_field(k, 2 * np.pi * waves, np.array([beta]), np.array([beta - np.pi]), ratio)
    one = edge_difference(beta, beta - np.pi, ratio, waves)
    other = edge_difference(np.pi - beta, 2 * np.pi - beta, ratio, waves)
    found = (one + other) / np.sqrt(2 * np.pi * k)
    assert abs(20 * np.log10(found / abs(exact[0]))) < 3.0
    free = edge_difference(beta, beta - np.pi, ratio, 1e6) / np.sqrt(2 * np.pi * k)
    assert 20 * np.log10(2 * free / abs(exact[0])) > 10.0
    along = edge_difference(np.array([0.0, np.pi]), np.array([np.pi, 0.0]), ratio, waves)
    assert along == pytest.approx(np.full(2, grazing_most(waves, ratio)), rel=1e-3)


def test_an_upright_notch_under_an_element_is_no_mirror():
    """The element looks along the notch; the leg by the wall comes up along it. What it hears is
    far below the echo of the wall: the exact strip sends on a sixth of it. Below a half."""
    bench = bench_of(probe(9, pitch_mm=0.6), LOSSLESS, 50.0, 1024)
    shape = (2, len(bench.one), len(bench.k_per_mm))
    wall, both = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    add_scene(bench, Scene(wall_mm=40.0), wall)
    notch = Face(0.0, 36.0, 0.0, 40.0, breaks_wall=True)
    add_scene(bench, Scene(faces=(notch,), wall_mm=40.0), both)
    pulse = bench.band.pulse.astype(np.float32)
    peaks = [np.abs(to_time(v * pulse, bench.band)).max(1) for v in (both - wall, wall)]
    assert (peaks[0] / peaks[1]).max() < 0.5
