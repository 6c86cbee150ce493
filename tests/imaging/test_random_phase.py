"""Coherence of random phases: published walks, closed forms, and simulation with recorded seeds.

The simulations here are written apart from the code they test: whole matrices, plain definitions.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.imaging.chance import SEED as SEED_OF_THE_CODE
from qualify.imaging.random_phase import _level, random_level, random_level_of_pairs
from qualify.imaging.random_receivers import random_level_of_receivers
from qualify.imaging.resultant import below, pair_steps, rayleigh_resultant, resultant

SEED = 11
MEASURES = (
    "vector_coherence",
    "coherence_factor",
    "phase_coherence_factor",
    "sign_coherence_factor",
)


def measured(measure, signals):
    """Return a measure (draws,) of complex signals (draws, signals), by its definition."""
    if measure == "vector_coherence":
        return np.abs((signals / np.abs(signals)).mean(axis=1))
    if measure == "coherence_factor":
        power = (np.abs(signals) ** 2).sum(axis=1)
        return np.abs(signals.sum(axis=1)) ** 2 / (signals.shape[1] * power)
    if measure == "phase_coherence_factor":
        spread = np.minimum(np.angle(signals).std(axis=1), np.angle(-signals).std(axis=1))
        return np.maximum(0, 1 - spread / (math.pi / math.sqrt(3)))
    return 1 - np.sqrt(1 - np.sign(signals.real).mean(axis=1) ** 2)


def noise(rng, *shape):
    return rng.standard_normal(shape) + 1j * rng.standard_normal(shape)


def reciprocal_noise(rng, draws, elements):
    """Return all n² signals (draws, n²), in which i to j and j to i are the same."""
    half = np.triu(noise(rng, draws, elements, elements))
    whole = half + np.triu(half, 1).transpose(0, 2, 1)
    return whole.reshape(draws, -1)


def check_against(level, found, limit_error=0.0):
    """Mean and share above the 99 % level within four standard errors of a simulation.

    `limit_error` is what the code owns up to for the limit of many, as a fraction.
    """
    draws = len(found)
    error = math.hypot(found.std() / math.sqrt(draws), level.mean_error)
    assert found.mean() == pytest.approx(level.mean, abs=4 * error + limit_error * level.mean)
    spread = 4 * math.sqrt(0.01 * 0.99 / draws)
    low, high = np.quantile(found, [0.99 - spread, 0.99 + spread])
    slack = 4 * level.level_error + limit_error * level.level_99 + 1e-9
    assert low - slack <= level.level_99 <= high + slack


@pytest.mark.parametrize(("steps", "mean"), [(3, 1.5745972375), (4, 1.7990924798), (5, 2.0081618)])
def test_mean_length_of_short_walks(steps, mean):
    """Borwein, Nuyens, Straub and Wan 2011, Ramanujan J. 26, W₃(1), W₄(1), W₅(1) (from memory).

    Tolerance: the series of three steps converges as 1/m²; the last as many digits as recalled.
    """
    assert steps * resultant(((1.0, steps),)).mean == pytest.approx(mean, rel=5e-6)


def test_two_steps_by_hand():
    """R = |cos(φ/2)|: mean 2/π, and 99 % of phases lie beyond ± 1 % of a half turn."""
    found = resultant(((1.0, 2),))
    assert found.mean == pytest.approx(2 / math.pi)
    assert found.level_99 == pytest.approx(math.cos(0.005 * math.pi))


@pytest.mark.parametrize(("signals", "mean", "level"), [(20, 0.198, 0.480), (64, 0.111, 0.268)])
def test_closed_form_of_many_phases(signals, mean, level):
    """Rayleigh 1880: √(π/4N) and √(ln 100/N); 2 % suffices from 20 signals on."""
    limit = rayleigh_resultant(signals)
    assert (round(limit.mean, 3), round(limit.level_99, 3)) == (mean, level)
    assert limit.sd == pytest.approx(0.463 / math.sqrt(signals), rel=1e-3)
    exact = random_level("vector_coherence", signals)
    assert exact.how == "exact"
    assert exact.mean == pytest.approx(mean, rel=0.02)
    assert exact.level_99 == pytest.approx(level, rel=0.02)
    assert exact.sd == pytest.approx(limit.sd, rel=0.02)


def test_exact_and_limit_agree_where_the_code_changes_over():
    """1 − 1/(4N) and less: at 14,000 signals 1e-4."""
    exact, limit = resultant(((1.0, 14_000),)), rayleigh_resultant(14_000)
    assert exact.exact
    assert exact.mean == pytest.approx(limit.mean, rel=1e-4)
    assert exact.level_99 == pytest.approx(limit.level_99, rel=1e-4)
    assert not resultant(((1.0, 15_000),)).exact


@pytest.mark.parametrize("signals", [3, 8, 20, 64])
@pytest.mark.parametrize("measure", MEASURES)
def test_independent_signals_by_simulation(measure, signals):
    """Seed 11, 60,000 draws: four standard errors."""
    found = measured(measure, noise(np.random.default_rng(SEED), 60_000, signals))
    check_against(random_level(measure, signals), found)


@pytest.mark.parametrize("measure", MEASURES)
def test_many_independent_signals_by_simulation(measure):
    """150 signals, the limit of many; 20,000 draws."""
    found = measured(measure, noise(np.random.default_rng(SEED), 20_000, 150))
    check_against(random_level(measure, 150), found, limit_error=0.01)


@pytest.mark.parametrize(("elements", "draws"), [(2, 60_000), (5, 60_000), (16, 10_000)])
@pytest.mark.parametrize("measure", MEASURES)
def test_reciprocal_pairs_by_simulation(measure, elements, draws):
    """Both directions of a pair carry the same noise: whole matrices, four standard errors."""
    found = measured(measure, reciprocal_noise(np.random.default_rng(SEED), draws, elements))
    level = random_level_of_pairs(measure, elements)
    check_against(level, found, limit_error=0.01 if level.how == "limit of many" else 0.0)


@pytest.mark.parametrize(("elements", "draws"), [(2, 60_000), (6, 60_000), (24, 8_000)])
@pytest.mark.parametrize("measure", MEASURES)
def test_receivers_of_reciprocal_noise_by_simulation(measure, elements, draws):
    """Whole matrices with the same noise both ways, summed over transmitters; four errors."""
    matrix = reciprocal_noise(np.random.default_rng(SEED), draws, elements)
    received = matrix.reshape(draws, elements, elements).sum(axis=1)
    level = random_level_of_receivers(measure, elements)
    check_against(level, measured(measure, received))
    assert level.mean > random_level(measure, elements).mean


def test_receivers_of_many_elements():
    """Coherence factor near 2/n; vector coherence .886·√((1 + π/4)/n), of 200 within 1 %."""
    factor = random_level_of_receivers("coherence_factor", 200)
    assert factor.mean == pytest.approx(2 / 200, rel=0.01)
    vector = random_level_of_receivers("vector_coherence", 200)
    assert vector.mean == pytest.approx(0.8862 * math.sqrt((1 + math.pi / 4) / 200), rel=0.01)


def test_floor_of_all_pairs_of_64_elements():
    """.886/n for independent pairs, .886·√2/n for reciprocal ones (derived in the docstring)."""
    apart = random_level_of_pairs("vector_coherence", 64, reciprocal=False)
    both = random_level_of_pairs("vector_coherence", 64)
    assert apart.mean == pytest.approx(0.0138, abs=5e-5)
    assert both.mean == pytest.approx(0.0196, rel=0.01)
    assert both.mean == pytest.approx(
        math.sqrt(2 * 64**2 - 64) / 64**2 * math.sqrt(math.pi) / 2, rel=1e-3
    )
    rng = np.random.default_rng(SEED)
    found = np.concatenate(
        [measured("vector_coherence", reciprocal_noise(rng, 100, 64)) for _ in range(10)]
    )
    assert both.mean == pytest.approx(found.mean(), abs=4 * found.std() / math.sqrt(1000))


def test_sign_coherence_of_four_signals_by_hand():
    """Of 16 sign patterns 2 sum to 4, 8 to 2 and 6 to 0."""
    level = random_level("sign_coherence_factor", 4)
    assert level.mean == pytest.approx(2 / 16 + 8 / 16 * (1 - math.sqrt(0.75)))
    assert level.level_99 == 1.0


def test_the_same_number_at_every_call():
    first = random_level("phase_coherence_factor", 12)
    _level.cache_clear()
    assert random_level("phase_coherence_factor", 12) == first
    assert first.how == "simulated"
    assert first.seed == SEED_OF_THE_CODE
    assert 0 < first.level_error < 0.01 * first.level_99


@given(signals=st.integers(3, 2000))
@settings(max_examples=25, deadline=None)
def test_distribution_rises_from_0_to_1(signals):
    steps = ((1.0, signals),)
    length = np.linspace(0, 1, 60)
    found = below(length, steps)
    assert found[0] == 0
    assert found[-1] == pytest.approx(1, abs=2e-3)
    assert np.all(np.diff(found) > -2e-3)
    assert below([resultant(steps).level_99], steps)[0] == pytest.approx(0.99, abs=1e-6)


@given(elements=st.integers(2, 300), measure=st.sampled_from(MEASURES))
@settings(max_examples=30, deadline=None)
def test_reciprocal_pairs_stand_higher_than_independent_ones(elements, measure):
    """Half of the signals are copies: fewer count, and chance reads higher."""
    both = random_level_of_pairs(measure, elements)
    apart = random_level_of_pairs(measure, elements, reciprocal=False)
    assert both.effective < apart.effective
    assert both.mean > apart.mean
    assert both.mean < both.level_99 <= 1


def test_too_few_signals_are_refused():
    with pytest.raises(ValueError, match="give 2 or more"):
        random_level("vector_coherence", 1)
    with pytest.raises(ValueError, match="give 2 or more"):
        random_level_of_pairs("vector_coherence", 1)
    with pytest.raises(ValueError, match="give 2 or more"):
        random_level_of_receivers("vector_coherence", 1)
    with pytest.raises(ValueError, match="give 2 or more"):
        resultant(pair_steps(1))
