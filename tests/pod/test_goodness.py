"""Goodness of fit: statistics against outside computations, level, and power that is counted."""

import json
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import special

from qualify.pod.goodness import goodness_of_fit
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.links import LINK_NAMES, pod_of
from qualify.pod.misfit import misfit
from qualify.pod.outcome import ends_of

DATA = Path(__file__).parents[1] / "published" / "data" / "hit_miss_sets.json"
SETS = json.loads(DATA.read_text())
LINKS = {
    "logit": sm.families.links.Logit(),
    "probit": sm.families.links.Probit(),
    "cloglog": sm.families.links.CLogLog(),
    "loglog": sm.families.links.LogLog(),
}
SMALL = {"simulations": 99, "power_trials": 0}


def plain(size, hits, trials=None, **more):
    return fit_hit_miss(size, hits, trials, bound="likelihood", **more)


def glm(name, link, columns):
    one = SETS[name]
    hits, x = np.array(one["hits"]), np.log(one["size"])
    trials = np.array(one["trials"] or np.ones(len(x)))
    x = (x - x.mean()) / x.std()
    design = np.column_stack([x**k for k in range(columns)])
    model = sm.GLM(
        np.column_stack([hits, trials - hits]), design, family=sm.families.Binomial(LINKS[link])
    )
    return model.fit(tol=1e-14, maxiter=200), design, hits, trials


@pytest.mark.parametrize("link", LINK_NAMES)
@pytest.mark.parametrize("name", ["invented_n120", "menarche"])
def test_curvature_statistic_is_that_of_a_glm_with_x_squared(name, link):
    """statsmodels GLM with and without x^2; to 1e-6 of the statistic, its own digits."""
    one = SETS[name]
    found = goodness_of_fit(
        plain(one["size"], one["hits"], one["trials"], link=link), seed=1, **SMALL
    )
    gain = 2 * (glm(name, link, 3)[0].llf - glm(name, link, 2)[0].llf)
    assert found.curvature_lr == pytest.approx(gain, rel=1e-6)


@pytest.mark.parametrize("link", LINK_NAMES)
@pytest.mark.parametrize("name", ["invented_n60", "vaso_rate", "menarche"])
def test_sum_of_squares_is_the_quadratic_form_written_with_matrices(name, link):
    """d'(I - M) V (I - M)'d with d = 1 - 2 p, M the first-order hat matrix: le Cessie and van
    Houwelingen. No outside figure found for the test itself.
    """
    one = SETS[name]
    found = goodness_of_fit(
        plain(one["size"], one["hits"], one["trials"], link=link), seed=1, **SMALL
    )
    fit, design, hits, trials = glm(name, link, 2)
    p = fit.fittedvalues
    single = np.repeat(p, trials.astype(int))  # each trial by itself
    y = np.concatenate([[1] * int(h) + [0] * int(t - h) for h, t in zip(hits, trials, strict=True)])
    x = np.repeat(design, trials.astype(int), axis=0)
    density = LINKS[link].inverse_deriv(np.repeat(fit.predict(which="linear"), trials.astype(int)))
    variance = single * (1 - single)
    weighted = x * density[:, None]
    information = weighted.T @ (weighted / variance[:, None])
    hat = weighted @ np.linalg.solve(information, (weighted / variance[:, None]).T)
    rest = (np.eye(len(y)) - hat).T @ (1 - 2 * single)
    spread = np.sqrt((rest**2 * variance).sum())
    assert found.squares == pytest.approx(((y - single) ** 2).sum(), rel=1e-7)
    assert found.squares_expected == pytest.approx(variance.sum(), rel=1e-7)
    z = (((y - single) ** 2).sum() - variance.sum()) / spread
    assert found.squares_z == pytest.approx(z, rel=1e-5)


def test_with_the_logit_the_spread_is_that_of_a_weighted_regression():
    """Hosmer and others 1997: residual sum of squares of 1 - 2 p on x, weights p (1 - p)."""
    one = SETS["invented_n120"]
    found = goodness_of_fit(plain(one["size"], one["hits"]), seed=1, **SMALL)
    fit, design, _, _ = glm("invented_n120", "logit", 2)
    p = fit.fittedvalues
    rest = sm.WLS(1 - 2 * p, design, weights=p * (1 - p)).fit()
    spread = np.sqrt((p * (1 - p) * rest.resid**2).sum())
    z = (found.squares - found.squares_expected) / spread
    assert found.squares_z == pytest.approx(z, rel=1e-6)


def test_standardised_sum_of_squares_has_mean_0_and_variance_1_in_large_trials():
    """2000 trials of 400 targets on their own curve; Monte-Carlo error 0.022 and 0.032."""
    t = np.linspace(-1.7, 1.7, 400)
    hits = np.random.default_rng(2).random((2000, 400)) < special.expit(0.4 + 1.5 * t)
    found = misfit(t, hits.astype(float), np.ones(400), "logit")
    assert found.z.mean() == pytest.approx(0.0, abs=0.1)
    assert found.z.var() == pytest.approx(1.0, abs=0.12)
    assert np.mean(found.curvature > special.chdtri(1, 0.05)) == pytest.approx(0.05, abs=0.016)


def test_both_tests_keep_their_5_percent_level_at_60_targets():
    """300 trials on their own curve; 3 standard errors of 0.0126 about 0.05."""
    size, rng = np.geomspace(0.5, 8.0, 60), np.random.default_rng(4)
    pod = special.expit(3.0 * (np.log(size) - np.log(1.6)))
    found = [
        goodness_of_fit(plain(size, (rng.random(60) < pod).astype(int)), seed=k, **SMALL)
        for k in range(300)
    ]
    told = [one for one in found if one.reason is None]
    assert len(told) > 290
    for name in ("curvature_p", "squares_p"):
        level = np.mean([getattr(one, name) <= 0.05 for one in told])
        assert level == pytest.approx(0.05, abs=0.038)


@pytest.mark.parametrize("link", ["logit", "cloglog"])
def test_power_rises_with_the_number_of_targets_and_is_put_into_words(link):
    """One curve, 60 and 600 targets: the weak test says so, the strong one too."""
    powers = []
    for n in (60, 600):
        size = np.geomspace(0.5, 8.0, n)
        pod = pod_of(link, 0.2 + 3.0 * (np.log(size) - np.log(1.6)))
        hits = np.random.default_rng(n).random(n) < pod
        found = goodness_of_fit(plain(size, hits.astype(int), link=link), seed=7)
        powers.append({power.fault: power for power in found.powers})
        said = " ".join(found.sentences)
        share = powers[-1]["plateau"].curvature
        assert f"noticed a plateau at 0.90 in {100 * share:.0f} % of such trials" in said
    few, many = powers
    assert few["plateau"].curvature < 0.7
    assert many["plateau"].curvature > few["plateau"].curvature + 0.2
    assert many["link"].curvature > few["link"].curvature
    one = many["link"]
    assert one.curvature_error == pytest.approx(
        np.sqrt(one.curvature * (1 - one.curvature) / one.trials)
    )


def test_a_plateau_in_400_targets_is_noticed():
    one = SETS["invented_lapses_n400"]
    found = goodness_of_fit(plain(one["size"], one["hits"]), seed=1, **SMALL)
    assert (found.curvature_p, found.squares_p) == (0.01, 0.02)
    assert "does not fit at the 5 % level" in found.sentences[0]


def test_same_seed_same_numbers_and_another_seed_others():
    fit = plain(SETS["invented_n60"]["size"], SETS["invented_n60"]["hits"])
    assert goodness_of_fit(fit, seed=5) == goodness_of_fit(fit, seed=5)
    assert goodness_of_fit(fit, seed=5).powers != goodness_of_fit(fit, seed=6).powers


def test_sets_that_a_step_parts_are_counted_as_perfect_fits():
    t = np.linspace(-1, 1, 6)
    hits = np.array(
        [[0, 0, 0, 1, 1, 1], [1, 1, 0, 0, 0, 0], [1] * 6, [0] * 6, [0, 1, 0, 1, 0, 1]], dtype=float
    )
    found = misfit(t, hits, np.ones(6), "logit")
    assert found.apart.tolist() == [True, True, True, True, False]
    assert found.curvature[:4].tolist() == found.z[:4].tolist() == [0.0] * 4
    shared = ends_of(t, np.array([[0, 0, 1, 2, 2, 2.0]]), np.array([[2, 2, 1, 0, 0, 0.0]])).apart
    assert shared.tolist() == [True]
    steep = plain(np.geomspace(0.5, 8, 30), [0] * 14 + [1, 0] + [1] * 14)
    told = goodness_of_fit(steep, seed=1, **SMALL)
    assert told.no_overlap > 0
    assert "counted as showing no misfit" in told.sentences[-1]


@pytest.mark.parametrize("hits", [[0] * 5 + [1] * 5, [1] * 10, [1] * 5 + [0] * 5])
def test_without_a_rising_curve_there_is_a_reason_and_no_number(hits):
    found = goodness_of_fit(plain(np.arange(1, 11), hits), seed=1)
    assert found.curvature_p is None
    assert found.squares_p is None
    assert found.powers == ()
    assert "no rising curve" in found.reason


def test_two_sizes_can_t_show_misfit():
    fit = plain([1, 2], [3, 25], [10, 30])
    assert "two distinct sizes" in goodness_of_fit(fit, seed=1).reason


def test_too_few_simulations_are_refused():
    fit = plain(SETS["invented_n60"]["size"], SETS["invented_n60"]["hits"])
    with pytest.raises(ValueError, match="99"):
        goodness_of_fit(fit, seed=1, simulations=20)
