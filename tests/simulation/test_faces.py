"""Faces and edges: the nodes along a face, both its sides, the limit in the specular direction."""

import numpy as np
import pytest

from qualify.simulation.edge import edge_difference
from qualify.simulation.face import face_nodes, face_weight
from qualify.simulation.scene import Face

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
@pytest.mark.parametrize("beta_deg", [10.0, 35.0, 90.0, 150.0])
def test_the_edge_in_reflection_and_shadow_is_its_limit(beta_deg, side):
    """The value at the direction itself lies on the cubic through its neighbours; 2e-4."""
    beta = np.radians(beta_deg)
    away = np.radians(np.array([-3.0, -2.0, -1.0, 1.0, 2.0, 3.0]))
    theta = side * (np.pi - beta)
    around = edge_difference(theta + away, np.full_like(away, beta), STEEL)
    wanted = np.polynomial.Polynomial.fit(away, around, 4)(0.0)
    assert edge_difference(theta, beta, STEEL) == pytest.approx(wanted, abs=2e-4)
