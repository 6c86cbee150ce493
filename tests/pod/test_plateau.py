"""Floor and plateau: recovery, bounds, blanks, tests at the edge, and data that allow no curve."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, special

from qualify.pod.links import LINK_NAMES
from qualify.pod.mixture import Counts, held_mixture, mixture
from qualify.pod.mixture_fits import best, two_parameter
from qualify.pod.plateau import fit_plateau, plateau_pod
from qualify.pod.plateau_bootstrap import plateau_bootstrap
from qualify.pod.plateau_words import plateau_sentences

DATA = Path(__file__).parents[1] / "published" / "data" / "hit_miss_sets.json"
SETS = json.loads(DATA.read_text())
Z2 = 2.7055434540954  # square of the normal quantile of 0.95, any table


def invented(seed, n, plateau, floor=0.0, a90_slope=4.0):
    rng = np.random.default_rng(seed)
    size = np.exp(rng.uniform(np.log(0.5), np.log(8.0), n))
    pod = floor + (plateau - floor) * special.expit(a90_slope * (np.log(size) - np.log(1.5)))
    return size, (rng.random(n) < pod).astype(int)


def joint(v, x, hits, curve=special.expit):
    """Textbook log-likelihood apart from our engine; v = floor, plateau, intercept, slope."""
    p = np.clip(v[0] + (v[1] - v[0]) * curve(v[2] + v[3] * x), 1e-12, 1 - 1e-12)
    return float((hits * np.log(p) + (1 - hits) * np.log(1 - p)).sum())


def differences(likelihood, at, moves, part):
    """Central differences of the height (part 0) or the gradient (part 1)."""
    one = np.arange(1)
    return [
        (likelihood(at + m, one)[part] - likelihood(at - m, one)[part]) / 2 / np.abs(m).sum()
        for m in moves
    ]


@pytest.mark.parametrize("link", LINK_NAMES)
@pytest.mark.parametrize("mirrored", [False, True])
def test_gradient_and_observed_information_are_those_of_the_likelihood(link, mirrored):
    """Central differences of the height and of the gradient; blanks included."""
    size, hits = invented(1, 80, 0.9)
    t = np.sort(np.log(size))
    data = Counts(t, hits[None] * 1.0, 1.0 - hits[None], np.array([3.0]), np.array([40.0]))
    likelihood = mixture(data, link, mirrored)
    one, at, step = np.arange(1), np.array([[0.06, 0.9, 0.3, 1.7]]), 1e-5
    _, gradient, observed, _ = likelihood(at, one)
    moves = step * np.eye(4)
    by_height = [d[0] for d in differences(likelihood, at, moves, 0)]
    by_slope = [d[0] for d in differences(likelihood, at, moves, 1)]
    np.testing.assert_allclose(gradient[0], by_height, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(-observed[0], by_slope, rtol=1e-6, atol=1e-4)
    likelihood = held_mixture(data, link, 0.7, 0.9)
    at, moves = np.array([[0.05, 0.4, 2.0]]), step * np.eye(3)
    by_height = [d[0] for d in differences(likelihood, at, moves, 0)]
    np.testing.assert_allclose(likelihood(at, one)[1][0], by_height, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize(("seed", "plateau"), [(1, 0.85), (2, 0.92), (3, 1.0), (4, 0.95)])
def test_no_general_minimiser_finds_a_higher_likelihood(seed, plateau):
    size, hits = invented(seed, 150, plateau, 0.03)
    fit, x = fit_plateau(size, hits), np.log(size)
    limits = [(0, 1), (0, 1), (-30, 30), (0, 60)]
    highest = max(
        -optimize.minimize(
            lambda v: -joint(v, x, hits), start, bounds=limits, method="L-BFGS-B"
        ).fun
        for start in ([0.05, 0.9, -1, 3], [0.01, 0.99, -3, 8], [0.1, 0.8, -2, 15])
    )
    assert fit.log_likelihood >= highest - 1e-7
    own = joint((fit.floor, fit.plateau, fit.intercept, fit.slope), x, hits)
    assert own == pytest.approx(fit.log_likelihood, abs=1e-6)


def test_at_both_bounds_a_separate_constrained_fit_has_dropped_by_z_squared():
    """Profiles by scipy's SLSQP with the hypothesis as an equality constraint."""
    size, hits = invented(11, 400, 0.985, 0.02)
    fit, x = fit_plateau(size, hits), np.log(size)
    start = [fit.floor, fit.plateau, fit.intercept, fit.slope]
    limits = [(0, 1), (0, 1), (-30, 30), (0.1, 60)]
    at = np.log(fit.a90_95.value)
    rules = (
        lambda v: v[0] + (v[1] - v[0]) * special.expit(v[2] + v[3] * at) - 0.9,
        lambda v: v[1] - fit.plateau_lower_95.value,
    )
    for rule in rules:
        held = optimize.minimize(
            lambda v: -joint(v, x, hits),
            start,
            bounds=limits,
            method="SLSQP",
            constraints={"type": "eq", "fun": rule},
            options={"ftol": 1e-13, "maxiter": 500},
        )
        assert 2 * (fit.log_likelihood + held.fun) == pytest.approx(Z2, abs=2e-5)
    assert fit.a90.value < fit.a90_95.value
    assert fit.plateau_lower_95.value < fit.plateau


def test_a_plateau_of_085_is_recovered_and_bounded():
    """400 targets, 40 trials: mean within 0.02; the 95 % lower bound holds in 34 or more of 40.

    34 of 40 or fewer has a probability of 0.014 at 0.95. No a90 may be claimed with a bound.
    """
    fits = [fit_plateau(*invented(seed, 400, 0.85), floor="none") for seed in range(100, 140)]
    tops = np.array([fit.plateau for fit in fits])
    assert abs(tops.mean() - 0.85) < 0.02
    assert sum(fit.plateau_lower_95.value <= 0.85 for fit in fits) >= 34
    assert sum(fit.a90_95.value is not None for fit in fits) <= 4
    told = [fit for fit in fits if fit.plateau <= 0.9]
    assert told
    assert all("at or below 0.90" in fit.a90.reason for fit in told)


def test_with_a_plateau_of_1_the_statistic_is_a_mixture_and_the_test_keeps_its_level():
    """400 batched trials of 400 targets: half of the statistics are 0; 5 % above 2.706.

    Large-sample theory: with a curve twice as steep 70 % are 0 and the test is cautious.
    """
    rng = np.random.default_rng(5)
    t = np.sort(rng.uniform(-1.7, 1.7, 400))
    pod = special.expit(1.0 + 1.5 * t)
    hits = (rng.random((400, 400)) < pod).astype(float)
    data = Counts(t, hits, 1.0 - hits, np.zeros(400), np.zeros(400))
    curve = two_parameter(data, "logit")
    free = best(data, "logit", 0.0, None, curve)
    statistic = 2 * (free.height - curve.height)
    assert statistic.min() > -1e-8
    assert np.mean(statistic < 1e-6) == pytest.approx(0.5, abs=0.08)
    assert np.mean(statistic > Z2) == pytest.approx(0.05, abs=0.033)


def test_large_sample_theory_is_too_eager_at_60_targets_when_the_floor_is_free():
    """Plateau truly 1: 15 % rejected at the 5 % level, 6 % with the floor held; 400 trials."""
    x = np.linspace(np.log(0.5), np.log(8.0), 60)
    pod = special.expit(3.0 * (x - np.log(1.6)))
    hits = (np.random.default_rng(5).random((400, 60)) < pod).astype(float)
    data = Counts((x - x.mean()) / x.std(), hits, 1.0 - hits, np.zeros(400), np.zeros(400))
    curve = two_parameter(data, "logit")
    level = []
    for floor in (None, 0.0):
        free = best(data, "logit", floor, None, curve)
        held = best(data, "logit", floor, 1.0, curve)
        level.append(np.mean(2 * (free.height - held.height) > Z2))
    assert level[0] > 0.09
    assert level[1] < 0.09


def test_words_follow_the_numbers():
    one = SETS["invented_lapses_n400"]
    fit = fit_plateau(one["size"], one["hits"])
    said = " ".join(plateau_sentences(fit))
    assert "Plateau of POD 0.931, floor 0.021 (estimated from the targets alone)" in said
    assert "at least 0.893 at 95 % confidence" in said
    assert "is not excluded" in said
    assert "too eager" in said
    assert "without an upper bound: the data don't exclude a plateau at or below 0.90" in said
    drawn = plateau_bootstrap(fit, seed=3, replicates=99)
    said = " ".join(plateau_sentences(fit, drawn))
    assert "p = 0.010 by 99 simulations; the data speak against a curve that rises to 1" in said
    one = SETS["menarche"]
    fit = fit_plateau(one["size"], one["hits"], one["trials"], floor="none")
    said = " ".join(plateau_sentences(fit))
    assert "no size has POD 0.90, is excluded" in said
    assert f"at most {fit.a90_95.value:.4g} at 95 %" in said
    none = SETS["invented_separated"]
    (said,) = plateau_sentences(fit_plateau(none["size"], none["hits"]))
    assert "do not overlap" in said


@pytest.mark.parametrize("called_share", [0.02, 0.10])
def test_blanks_pull_the_floor_to_their_own_rate_as_they_grow(called_share):
    size, hits = invented(21, 400, 0.97, 0.05)
    away = []
    for units in (100, 10_000, 1_000_000):
        called = int(called_share * units)
        fit = fit_plateau(size, hits, blank_units=units, blank_called=called)
        away.append(abs(fit.floor - called_share))
        assert fit.floor_test.statistic is None
        assert "not 0" in fit.floor_test.reason
        assert fit.lr_two_parameter is None
    assert away[0] > away[1] > away[2]
    assert away[2] < 1e-5
    held = fit_plateau(size, hits, floor=called_share)
    assert fit.plateau == pytest.approx(held.plateau, abs=1e-4)
    assert held.n_parameters == 3


def test_edge_tests_and_their_bootstrap_on_the_set_with_lapses():
    one = SETS["invented_lapses_n400"]
    fit = fit_plateau(one["size"], one["hits"])
    assert fit.plateau_test.p_value == pytest.approx(special.chdtrc(1, 33.25188505) / 2, rel=1e-6)
    drawn = plateau_bootstrap(fit, seed=3, replicates=99)
    assert (drawn.count, drawn.p_value) == (0, 0.01)
    floor = plateau_bootstrap(fit, hypothesis="floor", seed=3, replicates=99)
    assert floor.p_value == pytest.approx(fit.floor_test.p_value, abs=0.05)
    assert floor == plateau_bootstrap(fit, hypothesis="floor", seed=3, replicates=99)


def test_bootstrap_of_small_steep_sets_keeps_those_without_overlap():
    size, hits = invented(0, 30, 1.0, 0.0, 12.0)
    fit = fit_plateau(size, hits, floor="none")
    drawn = plateau_bootstrap(fit, seed=1, replicates=99)
    assert drawn.no_overlap > 0
    assert drawn.p_value == (drawn.count + 1) / 100


@pytest.mark.parametrize("scale", ["log", "linear"])
@pytest.mark.parametrize("link", LINK_NAMES)
def test_data_without_a_curve_get_an_outcome_and_a_reason(link, scale):
    size = np.linspace(1, 3, 40)
    cases = {
        "all_hit": np.ones(40),
        "all_missed": np.zeros(40),
        "separated": size > 2,
        "decreasing": size < 2,
        "too_few": None,
    }
    for outcome, hits in cases.items():
        a, h = (size[:3], [0, 1, 0]) if hits is None else (size, hits.astype(int))
        fit = fit_plateau(a, h, link=link, scale=scale, blank_units=20, blank_called=1)
        assert fit.outcome == outcome
        assert fit.reason
        assert (fit.plateau, fit.a90.value, fit.a90_95.value) == (None, None, None)
        assert fit.a90.reason == fit.plateau_test.reason == fit.reason
        assert plateau_bootstrap(fit, seed=1).p_value is None


def test_one_lapse_among_parted_data_is_a_step_with_a_plateau_but_no_a90():
    """All up to 2 missed, all above hit but one of 20: plateau 19 of 20, slope not estimable."""
    size = np.linspace(1, 3, 40)
    hits = (size > 2).astype(int)
    hits[-3] = 0
    fit = fit_plateau(size, hits, floor="none")
    assert fit.outcome == "step"
    assert fit.plateau == pytest.approx(0.95)
    assert fit.log_likelihood == pytest.approx(19 * np.log(0.95) + np.log(0.05), abs=1e-9)
    assert (fit.a90.value, fit.slope) == (None, None)
    # a binomial likelihood: at the bound it has dropped by z^2 / 2
    low = fit.plateau_lower_95.value
    assert 2 * (fit.log_likelihood - 19 * np.log(low) - np.log1p(-low)) == pytest.approx(Z2)


def test_random_small_sets_never_raise_and_never_contradict_themselves():
    rng = np.random.default_rng(8)
    for k in range(45):
        n = int(rng.integers(1, 50))
        size = np.round(np.exp(rng.uniform(-1, 2, n)), int(rng.integers(0, 3))) + 0.1
        hits = (rng.random(n) < 0.1 + 0.85 * (size > 1.5)).astype(int)
        floor = ("free", "none", 0.1)[k % 3]
        fit = fit_plateau(size, hits, link=LINK_NAMES[k % 4], floor=floor)
        assert fit.outcome == "fitted" or fit.reason
        if fit.outcome == "fitted":
            assert fit.floor <= fit.plateau
            assert fit.plateau_lower_95.value <= fit.plateau
            if fit.a90_95.value is not None:
                assert fit.a90.value <= fit.a90_95.value
                assert fit.plateau_lower_95.value > 0.9
                assert plateau_pod(fit, fit.a90.value)[0] == pytest.approx(0.9, abs=1e-9)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"floor": "low"}, "not known"),
        ({"floor": 0.95}, "below 0.9"),
        ({"blank_units": 5}, "belong together"),
        ({"blank_units": 5, "blank_called": 6}, "no count"),
        ({"floor": "none", "blank_units": 5, "blank_called": 1}, "takes no blanks"),
        ({"confidence": 0.4}, "confidence"),
    ],
)
def test_what_can_t_be_asked_is_refused_in_words(more, words):
    with pytest.raises(ValueError, match=words):
        fit_plateau([1, 2, 3, 4, 5], [0, 1, 0, 1, 1], **more)
