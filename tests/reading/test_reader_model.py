"""The model of readers: how often it calls, against its closed form."""

import numpy as np
import pytest
from scipy import stats

from qualify.reading.detection import Background
from qualify.reading.reader_model import ModelReader, raised, seen_by_model
from qualify.reading.rule import Looked, Rule
from tests.reading.noise_images import LOOKING, image_of

FLAT = Background((0.0, 50.0), (-60.0, -60.0), 20.0, -60.0, 1)
RULE = Rule(LOOKING, FLAT, -40.0, ("six_db_drop",))
READER = ModelReader(
    reader="R",
    caution_db=1.0,
    scatter_db=0.8,
    lapse_fraction=0.1,
    x_sd_mm=0.5,
    z_sd_mm=0.3,
    slip_fraction=0.0,
    size_sd_fraction=0.1,
    unsized_fraction=0.2,
    given_up_fraction=0.05,
)


def _echo(level_db):
    amplitude = np.full((30, 20), 1e-6)
    x, z = np.meshgrid(np.arange(20), np.arange(30))
    spot = 10 ** (level_db / 20) * np.exp(-((x - 10) ** 2) / 8 - (z - 15) ** 2 / 2)
    return image_of(np.maximum(amplitude, spot))


def test_a_reader_calls_an_echo_as_often_as_threshold_scatter_and_lapses_say():
    """P = (1 - given up)(1 - lapse) Φ((level - threshold - caution)/scatter); 4 errors."""
    looked, over = Looked.at(_echo(-38.5), RULE), 1.5
    looks = [seen_by_model(looked, READER, np.random.default_rng(k)) for k in range(2000)]
    p = 0.95 * 0.9 * stats.norm.cdf((over - 1.0) / 0.8)
    found = np.mean([bool(look) for look in looks])
    assert found == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 2000))
    assert np.mean([look is None for look in looks]) == pytest.approx(0.05, abs=0.02)
    seen = [look[0] for look in looks if look]
    told = looked.by_rule()[0]
    assert np.std([one.x_mm - told.x_mm for one in seen]) == pytest.approx(0.5, rel=0.1)
    assert np.mean([one.size_mm is None for one in seen]) == pytest.approx(0.2, abs=0.05)


def test_the_rule_waits_for_its_threshold_and_no_more():
    assert Looked.at(_echo(-40.01), RULE).by_rule() == ()
    assert len(Looked.at(_echo(-39.99), RULE).by_rule()) == 1


def test_a_threshold_on_coherence_is_raised_by_the_ratio_and_never_beyond_reach():
    coherence = image_of(np.zeros((30, 20)), "coherence")
    assert raised(0.4, 6.0206, coherence) == pytest.approx(0.8, rel=1e-4)
    assert raised(0.4, 20.0, coherence) == 0.98
