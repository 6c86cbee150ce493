"""Regression on several columns against R, against 50-digit arithmetic and statsmodels.

Data: Finney 1947, vasoconstriction by log volume and log rate, in `data/hit_miss_sets.json`; the
fits made in R in `data/regression_r.json`.
"""

import json
from decimal import Decimal, localcontext
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm

from qualify.pod.regression import fit_regression, separation

DATA = Path(__file__).parent / "data"
SETS = json.loads((DATA / "hit_miss_sets.json").read_text())
R = json.loads((DATA / "regression_r.json").read_text())
FIRTH = json.loads((DATA / "firth_r.json").read_text())
LINKS = ("logit", "probit", "cloglog")
VOLUME, RATE = SETS["vaso_volume"]["size"], SETS["vaso_rate"]["size"]
HITS = np.array(SETS["vaso_rate"]["hits"], dtype=float)
DESIGN = np.column_stack([np.ones(len(HITS)), np.log(VOLUME), np.log(RATE)])


@pytest.mark.parametrize("link", LINKS)
def test_two_covariates_agree_with_r(link):
    """Likelihood to 1e-10; coefficients to 1e-8 and covariances to 1e-7, where R stopped.

    The iteration of R's glm stops early, and its covariance belongs to a step before the last.
    That ours is the exact side is shown below, in 50 digits.
    """
    fit, known = fit_regression(DESIGN, HITS, 1, link), R[link]
    assert fit.converged
    assert fit.score < 1e-13 * len(HITS)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-10)
    assert -2 * fit.log_likelihood == pytest.approx(known["deviance"], rel=1e-10)
    assert 6 - 2 * fit.log_likelihood == pytest.approx(known["aic"], rel=1e-10)
    np.testing.assert_allclose(fit.coef, known["coef"], rtol=1e-10 if link == "logit" else 1e-8)
    np.testing.assert_allclose(fit.covariance_expected, known["vcov_expected"], rtol=1e-7)


def normal(eta):
    """Normal distribution function by its series 1/2 + phi (eta + eta^3/3 + eta^5/15 + ...)."""
    pi = Decimal("3.14159265358979323846264338327950288419716939937510582097494459")
    term, total, k = eta, eta, 1
    while abs(term) > Decimal(10) ** -55:
        k += 2
        term *= eta * eta / k
        total += term
    density = (-eta * eta / 2).exp() / (2 * pi).sqrt()
    return Decimal("0.5") + density * total, density


def pod_and_slope(link, eta):
    if link == "probit":
        return normal(eta)
    if link == "logit":
        pod = 1 / (1 + (-eta).exp())
        return pod, pod * (1 - pod)
    return 1 - (-eta.exp()).exp(), (eta - eta.exp()).exp()


def solve(matrix, right):
    """Gauss elimination; right (k, m)."""
    k = len(matrix)
    rows = [list(matrix[i]) + list(right[i]) for i in range(k)]
    for i in range(k):
        rows[i] = [value / rows[i][i] for value in rows[i]]
        for j in range(k):
            if j != i:
                rows[j] = [a - rows[j][i] * b for a, b in zip(rows[j], rows[i], strict=True)]
    return [row[k:] for row in rows]


def scoring_in_50_digits(link, start):
    """Fisher scoring in decimal arithmetic until the score is below 1e-25; shares no code."""
    one = Decimal(1)
    rows = [
        (one, Decimal(str(v)).ln(), Decimal(str(r)).ln()) for v, r in zip(VOLUME, RATE, strict=True)
    ]
    coef = [Decimal(value) for value in start]
    for _ in range(60):
        score, info = [Decimal(0)] * 3, [[Decimal(0)] * 3 for _ in range(3)]
        for x, hit in zip(rows, HITS, strict=True):
            pod, slope = pod_and_slope(link, sum(b * v for b, v in zip(coef, x, strict=True)))
            spread = pod * (1 - pod)
            for j in range(3):
                score[j] += x[j] * (int(hit) - pod) * slope / spread
                for k in range(3):
                    info[j][k] += x[j] * x[k] * slope * slope / spread
        if max(map(abs, score)) < Decimal(10) ** -25:
            break
        step = solve(info, [[s] for s in score])
        coef = [b + d[0] for b, d in zip(coef, step, strict=True)]
    unit = [[Decimal(int(j == k)) for k in range(3)] for j in range(3)]
    return np.array(coef, dtype=float), np.array(solve(info, unit), dtype=float)


@pytest.mark.parametrize("link", LINKS)
def test_where_r_stopped_early_50_digits_decide_for_ours(link):
    """Coefficients to 1e-12 and covariances to 1e-11 of 50-digit scoring."""
    fit = fit_regression(DESIGN, HITS, 1, link)
    with localcontext() as context:
        context.prec = 60
        coef, covariance = scoring_in_50_digits(link, R[link]["coef"])
    np.testing.assert_allclose(fit.coef, coef, rtol=1e-12)
    np.testing.assert_allclose(fit.covariance_expected, covariance, rtol=1e-11)


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog", "loglog"])
def test_statsmodels_agrees_on_an_interaction_model(link):
    """GLM of statsmodels iterated far: coefficients to 1e-8, both covariances to 1e-7."""
    design = np.column_stack([DESIGN, DESIGN[:, 1] * DESIGN[:, 2]])
    links = {"logit": "Logit", "probit": "Probit", "cloglog": "CLogLog", "loglog": "LogLog"}
    family = sm.families.Binomial(link=getattr(sm.families.links, links[link])())
    other = sm.GLM(HITS, design, family=family)
    result = other.fit(tol=1e-13, tol_criterion="params", maxiter=500)
    fit = fit_regression(design, HITS, 1, link)
    np.testing.assert_allclose(fit.coef, result.params, rtol=1e-8)
    np.testing.assert_allclose(fit.covariance_expected, result.cov_params(), rtol=1e-7)
    observed = np.linalg.inv(-other.hessian(fit.coef, observed=True))
    np.testing.assert_allclose(fit.covariance_observed, observed, rtol=1e-7)
    assert fit.log_likelihood == pytest.approx(result.llf, rel=1e-12)


def test_units_offsets_order_and_grouping_do_not_matter():
    """Sizes in other units and far from 0, rows turned round, and rows summed to trials."""
    fit = fit_regression(DESIGN, HITS, 1, "probit")
    moved = fit_regression((DESIGN * [1, 1e-6, 1] + [0, 0, 1e4])[::-1], HITS[::-1], 1, "probit")
    assert moved.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-12)
    np.testing.assert_allclose(moved.coef[1:] * [1e-6, 1], fit.coef[1:], rtol=1e-9)
    twice = fit_regression(DESIGN, 2 * HITS, 2, "probit")
    np.testing.assert_allclose(twice.coef, fit.coef, rtol=1e-11)
    np.testing.assert_allclose(2 * twice.covariance_observed, fit.covariance_observed, rtol=1e-9)


def test_endometrial_set_is_quasi_separated_as_published():
    """Heinze and Schemper 2002: every patient with NV has HG, so NV has no finite estimate."""
    one = FIRTH["endometrial_set"]
    design = np.column_stack([np.ones(len(one["HG"])), one["NV"], one["PI"], one["EH"]])
    assert separation(design, one["HG"]) == "quasi_separated"
    assert separation(design[:, [0, 2, 3]], one["HG"]) == "overlap"
    with pytest.raises(ValueError, match="separated by a combination"):
        fit_regression(design, one["HG"], 1, "logit")


@pytest.mark.parametrize(
    ("hits", "trials", "state"),
    [
        ([0, 0, 0, 1, 1, 1], 1, "separated"),
        ([1, 1, 1, 0, 0, 0], 1, "separated"),
        ([1] * 6, 1, "separated"),
        ([0] * 6, 1, "separated"),
        ([0, 0, 1, 2, 2, 2], 2, "quasi_separated"),
        ([0, 0, 1, 1, 2, 2], 2, "overlap"),
        ([0, 1, 0, 1, 1, 1], 1, "overlap"),
    ],
)
def test_separation_on_one_axis_is_that_of_sorted_hits_and_misses(hits, trials, state):
    """Albert and Anderson 1984: on one axis overlap can be read off the sorted sizes."""
    for size in (np.arange(6.0), 1e-3 * np.arange(6.0), 50.0 + 1e-3 * np.arange(6.0)):
        assert separation(np.column_stack([np.ones(6), size]), hits, trials) == state


def test_separation_by_two_columns_together_is_seen():
    """No column separates by itself; their sum does."""
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=(2, 40))
    hits = (a + b > 0.1).astype(float)
    one = np.ones(40)
    assert separation(np.column_stack([one, a]), hits) == "overlap"
    assert separation(np.column_stack([one, b]), hits) == "overlap"
    assert separation(np.column_stack([one, a, b]), hits) == "separated"


@pytest.mark.parametrize(
    ("design", "hits", "words"),
    [
        ([[1, 2], [1, 2], [1, 2]], [0, 1, 0], "not independent"),
        ([[1, 2, 4], [1, 3, 6], [1, 5, 10], [1, 7, 14]], [0, 1, 0, 1], "not independent"),
        ([[1, 2], [1, np.nan], [1, 3]], [0, 1, 0], "finite"),
        ([[1, 2], [1, 4], [1, 3]], [0, 1], "one a row"),
        ([[1, 2], [1, 4], [1, 3]], [0, 2, 0], "from 0 to trials"),
        ([[1, 2], [1, 4], [1, 3]], [0, 0.5, 0], "from 0 to trials"),
    ],
)
def test_what_can_not_be_fitted_is_refused_in_words(design, hits, words):
    with pytest.raises(ValueError, match=words):
        fit_regression(design, hits, 1, "logit")
