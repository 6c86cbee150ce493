"""The check of the model: every comparison holds, and a wrong model is found out."""

import numpy as np
import pytest
from made_simulation import STEEL, probe

import qualify.simulation.reflectors as reflectors
from qualify.simulation.checks import checks
from qualify.simulation.face_checks import TILTS_DEG, face_cases, tip_cases
from qualify.simulation.scene import Face, Hole, Pore, Scene
from qualify.simulation.simulate import bench_of
from qualify.simulation.validity import judge

BENCH = bench_of(probe(12), STEEL, 40.0, 512)


def test_every_comparison_holds():
    """Laws, exact solutions and published formulas, each within its tolerance."""
    found = checks(BENCH)
    assert len(found) >= 14
    assert [check.what for check in found if not check.holds] == []


def test_a_wrong_model_fails(monkeypatch):
    """Spreading left out of all legs: the laws of depth fail, and are named."""
    monkeypatch.setattr(reflectors, "line_directivity", lambda angle, ratio: np.cos(angle) * 0 + 1)
    original = reflectors.Bench.legs

    def wrong(self, *given, **more):
        places = original(self, *given, **more)
        return places._replace(size=places.size * np.sqrt(places.range_mm))

    monkeypatch.setattr(reflectors.Bench, "legs", wrong)
    failed = {check.what.split(":")[0] for check in checks(BENCH) if not check.holds}
    assert {"hole", "flat end", "pore"} <= failed


@pytest.fixture(scope="module")
def faces():
    return face_cases(BENCH)


def test_the_limits_of_validity_are_those_of_the_comparison(faces):
    """What `validity` says: from .4 waves and up to 30° within 1 dB; 45° within 1.5; smaller, up
    to 2 dB too low; more oblique than 60°, far off."""
    for case in faces:
        if case.extent_waves >= 0.4 and case.tilt_deg <= 30.0:
            assert abs(case.level_db) < 1.0
        if case.extent_waves >= 0.4 and case.tilt_deg == 45.0:
            assert abs(case.level_db) < 1.5
        if case.extent_waves < 0.4 and case.tilt_deg <= 30.0:
            assert -2.0 < case.level_db < 0.0
    assert max(abs(case.level_db) for case in faces if case.tilt_deg == TILTS_DEG[-1]) > 5.0


def test_ends_of_an_upright_face():
    """Farther over nearer end against the exact strip: 15 % from 10° to 45°, 20 % at 20°; the
    grazing case fails, as is said."""
    cases = {case.angle_deg: case for case in tip_cases(BENCH)}
    for angle in (10.0, 20.0, 30.0, 45.0):
        assert cases[angle].model_ratio == pytest.approx(cases[angle].exact_ratio, rel=0.2)
        assert cases[angle].model_ratio > 1.5
    assert cases[1.0].model_ratio < 0.2 * cases[1.0].exact_ratio


ALONG, WAVE = np.linspace(-18.3, 18.3, 60), 1.184


@pytest.mark.parametrize(
    ("scene", "codes", "refused"),
    [
        (Scene(holes=(Hole(0.0, 30.0, 1.0),)), set(), False),
        (Scene(holes=(Hole(0.0, 0.4, 1.0),)), {"above_face"}, True),
        (Scene(holes=(Hole(0.0, 1.2, 1.0),)), {"close"}, False),
        (Scene(faces=(Face(-0.1, 30.0, 0.1, 30.0),)), {"face_tiny"}, True),
        (Scene(faces=(Face(-0.2, 30.0, 0.2, 30.0),)), {"face_small"}, False),
        (Scene(faces=(Face(-2.0, 30.0, 2.0, 31.0),)), set(), False),
        (Scene(faces=(Face(-1.0, 30.0, 1.0, 32.6),)), {"face_oblique"}, False),
        (Scene(faces=(Face(0.0, 50.0, 0.0, 54.0),)), {"face_steep"}, False),
        (Scene(faces=(Face(60.0, 50.0, 60.0, 54.0),)), set(), False),
        (Scene(pores=(Pore(0.0, 30.0, 0.3),)), set(), False),
    ],
)
def test_what_is_refused_and_marked(scene, codes, refused):
    """By size, place and tilt of each target; a face far beside the array is not judged."""
    found = judge(scene, ALONG, WAVE)
    assert {remark.code for remark in found} == codes
    assert any(remark.refused for remark in found) is refused
