"""Two modes on the same targets beside R, statsmodels, scipy and published examples."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.stats.contingency_tables import mcnemar as mcnemar_statsmodels
from statsmodels.stats.multitest import multipletests

from qualify.comparison.curve_difference import curve_difference
from qualify.comparison.holm import holm
from qualify.comparison.modes import Asked, compare_modes
from qualify.comparison.paired_counts import PairedCounts, counts_of, mcnemar, odds_ratio, sign_test
from qualify.comparison.paired_targets import paired_targets
from qualify.comparison.rate_difference import (
    rate_difference,
    rate_difference_by_target,
    tango_score,
)

KNOWN = json.loads((Path(__file__).parent / "data" / "comparison_r.json").read_text("utf-8"))
R = KNOWN["paired"]


def the_paired_set():
    names = [f"T{i}" for i in range(len(R["size_mm"]))]
    return paired_targets(names, R["size_mm"], R["mode_a"], R["mode_b"])


@pytest.mark.parametrize(
    ("counts", "known"),
    [
        (PairedCounts(*KNOWN["agresti"]["counts"]), KNOWN["agresti"]),
        (counts_of(R["mode_a"], R["mode_b"]), R["mcnemar"]),
    ],
    ids=["agresti", "paired"],
)
def test_exact_p_mid_p_and_odds_are_those_of_r(counts, known):
    """R's binom.test and the interval made from it; 1e-10 relative, closed forms."""
    test, odds = mcnemar(counts), odds_ratio(counts)
    assert (counts.a_only, counts.b_only) == (known["b"], known["c"])
    assert test.exact_p == pytest.approx(known["p_exact"], rel=1e-10)
    assert test.mid_p == pytest.approx(known["p_midp"], rel=1e-10)
    assert odds.value == pytest.approx(known["cond_or"], rel=1e-10)
    assert [odds.low, odds.high] == pytest.approx(known["cond_or_ci_exact"], rel=1e-10)


@pytest.mark.parametrize(("up", "down"), [(7, 1), (0, 5), (12, 12), (16, 6), (1, 0), (250, 190)])
def test_exact_p_is_that_of_scipy_and_statsmodels(up, down):
    """Two routes more, from the binomial law; 1e-10."""
    test = mcnemar(PairedCounts(30, down, up, 20))
    both = stats.binomtest(up, up + down).pvalue
    assert test.exact_p == pytest.approx(both, rel=1e-10)
    table = [[30, down], [up, 20]]
    assert test.exact_p == pytest.approx(mcnemar_statsmodels(table, exact=True).pvalue, rel=1e-10)
    one = stats.binomtest(up, up + down, alternative="greater").pvalue
    assert test.b_better_p == pytest.approx(one, rel=1e-10)


@pytest.mark.parametrize(
    ("counts", "newcombe", "tango"),
    [
        # Bentur et al. 2009 as in Fagerland, Lydersen and Laake 2014, Statistics in Medicine 33,
        # 2850-2875: airway response of 21 children; from memory, to the digits printed there
        (PairedCounts(1, 7, 1, 12), (-0.507, -0.026), (-0.517, -0.026)),
        # Tango 1998, 44 wearers of contact lenses, both procedures good in 43: 90 per cent
        (PairedCounts(43, 1, 0, 0), None, (-0.096, 0.037)),
    ],
)  # fmt: skip
def test_intervals_of_published_examples(counts, newcombe, tango):
    """Newcombe 1998 method 10 and Tango 1998; recalled from memory, to the third digit."""
    found = rate_difference(counts, 0.95 if newcombe else 0.90)
    assert found.tango == pytest.approx(tango, abs=6e-4)
    if newcombe is not None:
        assert found.newcombe == pytest.approx(newcombe, abs=6e-4)


def test_p_of_the_published_children():
    """Fagerland et al. 2013 and 2014, from memory: exact 0.070, mid-p 0.039."""
    test = mcnemar(PairedCounts(1, 7, 1, 12))
    assert test.exact_p == pytest.approx(0.0703, abs=5e-5)
    assert test.mid_p == pytest.approx(0.0391, abs=5e-5)


@pytest.mark.parametrize("counts", [PairedCounts(1, 7, 1, 12), PairedCounts(30, 9, 4, 17)])
@pytest.mark.parametrize("difference", [-0.4, -0.1, 0.05, 0.3])
def test_tango_score_from_the_likelihood_climbed_by_hand(counts, difference):
    """The restricted maximum by scipy in place of Tango's closed form; 1e-6."""

    def share_to_lose(share):
        rest = 1.0 - 2.0 * share - difference
        parts = ((counts.a_only, share), (counts.b_only, share + difference),
                 (counts.both + counts.neither, rest))  # fmt: skip
        return -sum(n * math.log(max(p, 1e-300)) for n, p in parts if n)

    low, high = max(0.0, -difference), 0.5 * (1.0 - difference)
    best = optimize.minimize_scalar(share_to_lose, bounds=(low, high), method="bounded",
                                    options={"xatol": 1e-13}).x  # fmt: skip
    variance = counts.n * (2.0 * best + difference * (1.0 - difference))
    score = (counts.b_only - counts.a_only - counts.n * difference) / math.sqrt(variance)
    assert tango_score(counts, difference) == pytest.approx(score, abs=1e-6)


def test_tango_at_no_difference_is_mcnemar():
    """At difference 0 the score is (up - down) / sqrt(up + down): Agresti's 4.17 (published)."""
    counts = PairedCounts(*KNOWN["agresti"]["counts"])
    assert tango_score(counts, 0.0) ** 2 == pytest.approx(KNOWN["agresti"]["statistic"], rel=1e-12)
    assert abs(tango_score(counts, 0.0)) == pytest.approx(4.17, abs=0.005)


def test_the_joint_model_is_that_of_r():
    """Coefficients, covariance by target (CR1) and Wald statistic of R; 1e-8."""
    found = curve_difference(the_paired_set(), "logit")
    assert found.coef == pytest.approx(R["coef_x_mode"], rel=1e-8)
    assert np.allclose(found.cr1, R["vcov_cluster"]["CR1_G"], rtol=0, atol=1e-8)
    assert found.wald == pytest.approx(R["wald_cluster_df2"], rel=1e-8)
    assert found.chi_square_p == pytest.approx(R["p_wald_cluster"], rel=1e-8)


def test_both_a90_are_those_of_r():
    """Log a90 of both curves by glm; 1e-8 of the log."""
    found = compare_modes(the_paired_set(), Asked(resamples=19)).ratio
    assert math.log(found.a90_a) == pytest.approx(R["log_a90_A"], abs=1e-8)
    assert math.log(found.a90_b) == pytest.approx(R["log_a90_B"], abs=1e-8)
    assert math.log(found.ratio) == pytest.approx(R["diff_log_a90"], abs=1e-8)
    wide = 1.6449 * R["diff_se_cluster_CR1"]
    assert math.log(found.upper / found.ratio) == pytest.approx(wide, rel=0.35)


def test_wald_by_cluster_is_that_of_statsmodels():
    """GLM with cov_type 'cluster' (CR1 without the factor of parameters); three readers; 1e-6."""
    rng = np.random.default_rng(4)
    size = np.exp(np.linspace(-1.0, 1.4, 40))
    base = np.log(size)[:, None] * 2.5 + rng.normal(size=(40, 1))
    hits = [(base + shift + rng.logistic(size=(40, 3)) > 0).astype(float) for shift in (0.0, 0.6)]
    data = paired_targets([f"T{i}" for i in range(40)], size, *hits, readers=("R1", "R2", "R3"))
    found = curve_difference(data, "logit")
    x, group = np.repeat(np.log(size), 3), np.repeat(np.arange(40), 3)
    one, zero = np.ones_like(x), np.zeros_like(x)
    design = np.vstack([np.column_stack([one, x, zero, zero]), np.column_stack([one, x, one, x])])
    model = GLM(np.concatenate([h.ravel() for h in hits]), design, family=Binomial())
    by = {"groups": np.concatenate([group, group]), "use_correction": False}
    fit = model.fit(cov_type="cluster", cov_kwds=by, tol=1e-12)
    assert found.cr1 == pytest.approx(fit.cov_params() * 40 / 39, rel=1e-6)


def test_holm_is_that_of_statsmodels():
    """multipletests(method='holm'); 1e-14."""
    p = [0.04, 0.001, 0.03, 0.2, 0.011]
    assert holm(p) == pytest.approx(list(multipletests(p, method="holm")[1]), rel=1e-14)


def test_readers_together_by_every_exchange_of_signs():
    """The law of the sum of steps of +-3..0 beside all 2^9 exchanges written out; 1e-12."""
    steps = [3, -1, 2, 1, 1, -2, 3, 1, 0, 2]
    moved = np.array([s for s in steps if s])
    signs = 1 - 2 * ((np.arange(2**9)[:, None] >> np.arange(9)) & 1)
    sums = signs @ np.abs(moved)
    up, down = np.mean(sums >= sum(steps)), np.mean(sums <= sum(steps))
    assert sign_test(steps).exact_p == pytest.approx(min(1.0, 2 * min(up, down)), rel=1e-12)


def test_rates_of_several_readers_are_a_regression_by_cluster():
    """The interval by target is that of a linear model of steps with CR1 and t, by statsmodels."""
    rng = np.random.default_rng(8)
    a, b = (rng.binomial(3, rng.uniform(size=30)) for _ in range(2))
    found = rate_difference_by_target(a, b, np.full(30, 3))
    step = (b - a) / 3
    error = stats.sem(step)
    half = stats.t.ppf(0.975, 29) * error
    assert found.value == pytest.approx(step.mean(), rel=1e-12)
    assert found.by_target == pytest.approx((step.mean() - half, step.mean() + half), rel=1e-10)
