"""The line through responses, its a90 and its bounds against R, scipy and plain quadrature.

`data/responses_r.json`: two invented sets and their fits in R 4.2.2 (survival 3.5-3; bounds by own
profile likelihood and by non-central t).
"""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, optimize, special, stats

from qualify.pod.response_bounds import (
    exact_eta,
    exact_psi,
    least_squares,
    likelihood_eta,
    likelihood_psi,
)
from qualify.pod.response_curve import fit_curve, signed_root
from qualify.pod.responses import observe_responses, on_axis
from qualify.pod.signal_response import fit_response, response_pod

SETS = json.loads((Path(__file__).parent / "data" / "responses_r.json").read_text())
NAMES = ("uncensored", "twosided")
ETA90, Z95 = special.ndtri(0.9), special.ndtri(0.95)


def fitted(name, **more):
    one = SETS[name]
    return fit_response(one["size"], one["response"], threshold=one["threshold"],
                        floor=one.get("floor"), ceiling=one.get("ceiling"),
                        bound="likelihood", **more)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_line_covariance_and_likelihood_agree_with_r(name):
    """To 1e-8: R's survreg iterates to about 1e-9 of the likelihood, its figures to 1e-11."""
    fit, known = fitted(name), SETS[name]["r"]
    assert (fit.intercept, fit.slope) == pytest.approx(known["coef"], rel=1e-8)
    assert fit.sigma == pytest.approx(known["sigma"], rel=1e-8)
    np.testing.assert_allclose(fit.covariance, known["vcov_incl_logsigma"], rtol=1e-8, atol=1e-14)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-10)
    assert fit.aic == pytest.approx(6.0 - 2.0 * known["loglik"], rel=1e-10)
    assert (fit.a50, fit.a90) == pytest.approx((known["a50"], known["a90"]), rel=1e-8)
    status = SETS[name].get("status", ["exact"] * fit.rows)
    counted = [status.count(kind) for kind in ("exact", "left", "right")]
    assert [fit.exact, fit.left, fit.right] == counted


@pytest.mark.parametrize("name", NAMES)
def test_bounds_agree_with_r(name):
    """R's uniroot stopped near 1e-8 in the profile bound: 1e-7; the others are closed forms."""
    fit, known = fitted(name), SETS[name]["r"]
    assert fit.a90_95 == pytest.approx(known["a90_95_lr"], rel=1e-7)
    assert fit.bounds["wald"]["upper"].value == pytest.approx(known["a90_95_wald"], rel=1e-8)
    error = np.log(fit.bounds["wald"]["upper"].value / fit.a90) / Z95
    assert error == pytest.approx(known["log_a90_se"], rel=1e-8)
    if name == "uncensored":
        exact = fit.bounds["exact"]["upper"].value
        assert exact == pytest.approx(known["a90_95_exact_noncentral_t"], rel=1e-8)
    else:
        assert "exact" not in fit.bounds


def nct_cdf(x, df, shift):
    """P(T <= x) = E of Phi(x sqrt(V / df) - shift) over chi-square V: the definition of T."""
    place = df / 2.0 - 1.0

    def density(v):
        log = place * np.log(v) - 0.5 * v - special.gammaln(df / 2.0) - 0.5 * df * np.log(2.0)
        return np.exp(log) * special.ndtr(x * np.sqrt(v / df) - shift)

    low, high = max(df - 14.0 * np.sqrt(2.0 * df), 0.0), df + 25.0 * np.sqrt(2.0 * df)
    return integrate.quad(density, low, high, epsabs=1e-13, epsrel=1e-12, limit=400)[0]


@pytest.mark.parametrize(("side", "wanted"), [("upper", 0.95), ("lower", 0.05)])
@pytest.mark.parametrize("rows", [9, 45])
def test_exact_bound_agrees_with_the_definition_of_non_central_t(rows, side, wanted):
    """The statistic of the line at the bound, in a distribution integrated apart from scipy's."""
    one = SETS["uncensored"]
    step = 45 // rows
    size, response = one["size"][::step], one["response"][::step]
    fit = fit_response(size, response, threshold=15, bound="exact")
    x, y = np.log(size), np.log(response)
    b, a = np.polyfit(x, y, 1)
    s = np.sqrt(((y - a - b * x) ** 2).sum() / (rows - 2))
    at = np.log(fit.bounds["exact"][side].value)
    h = np.sqrt(1.0 / rows + (at - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum())
    seen = (a + b * at - np.log(15)) / (s * h)
    assert nct_cdf(seen, rows - 2, ETA90 / h) == pytest.approx(wanted, abs=1e-8)


def random_set(seed, axis, scale="log", n=35):
    """Sizes, responses and limits of each row, threshold 1 (0.4 for coherence); from a seed."""
    rng = np.random.default_rng(seed)
    size = np.exp(rng.uniform(np.log(0.5), np.log(8.0), n))
    x = np.log(size) if scale == "log" else size
    value = -0.6 + 0.9 * (x - x.mean()) / x.std() + 0.5 * rng.standard_normal(n)
    low, high = rng.uniform(-2.0, -1.0, n), rng.uniform(0.3, 1.2, n)
    low[::5], high[::4] = -np.inf, np.inf
    out = {"log": np.exp, "logit": special.expit, "linear": np.asarray}[axis]
    floor = np.where(np.isinf(low), np.nan, out(low))
    ceiling = np.where(np.isinf(high), np.nan, out(high))
    threshold = float(out(np.array(-0.3)))
    return size, out(value), threshold, floor, ceiling


def plain_log_likelihood(p, size, response, threshold, floor, ceiling, scale, axis):
    """Of intercept, slope and log sigma, on the caller's axes, written with scipy's normal law."""
    x = np.log(size) if scale == "log" else size
    mean, sigma = p[0] + p[1] * x, np.exp(p[2])
    y, low, high = (on_axis(np.asarray(v, dtype=float), axis) for v in (response, floor, ceiling))
    left, right = response <= floor, response >= ceiling
    dense = -0.5 * ((y - mean) / sigma) ** 2 - np.log(sigma) - 0.5 * np.log(2.0 * np.pi)
    under, over = special.log_ndtr((low - mean) / sigma), special.log_ndtr((mean - high) / sigma)
    return float(np.where(left, under, np.where(right, over, dense)).sum())


@pytest.mark.parametrize(("seed", "scale", "axis"), [
    (1, "log", "log"), (2, "log", "logit"), (3, "linear", "linear"), (4, "linear", "logit"),
])  # fmt: skip
def test_a_search_over_the_plain_likelihood_finds_nothing_higher(seed, scale, axis):
    """scipy's simplex search over a likelihood written row by row, every row its own limits."""
    size, response, threshold, floor, ceiling = random_set(seed, axis, scale)
    fit = fit_response(size, response, threshold=threshold, floor=floor, ceiling=ceiling,
                       scale=scale, axis=axis, bound="likelihood")  # fmt: skip
    assert min(fit.left, fit.right) >= 2
    own = np.array([fit.intercept, fit.slope, np.log(fit.sigma)])
    rest = (size, response, threshold, floor, ceiling, scale, axis)
    assert plain_log_likelihood(own, *rest) == pytest.approx(fit.log_likelihood, rel=1e-11)
    found = optimize.minimize(lambda p: -plain_log_likelihood(p, *rest), own + 0.05,
                              method="Nelder-Mead",
                              options={"xatol": 1e-7, "fatol": 1e-11})  # fmt: skip
    assert -found.fun == pytest.approx(fit.log_likelihood, abs=1e-9)
    assert own == pytest.approx(found.x, abs=1e-5)
    assert (fit.a90, fit.a50) == pytest.approx([
        (np.exp if scale == "log" else float)(
            (on_axis(np.array([threshold]), axis)[0] + eta * fit.sigma - fit.intercept) / fit.slope
        ) for eta in (ETA90, 0.0)], rel=1e-10)  # fmt: skip


@pytest.mark.parametrize("growing", [False, True])
@pytest.mark.parametrize("seed", [5, 6])
def test_signed_root_agrees_with_a_profile_found_by_scipy(seed, growing):
    """The likelihood held at POD 0.90 at a size, in free parameters, by scipy's own searches."""
    size, response, threshold, floor, ceiling = random_set(seed, "log")
    data = observe_responses(size, response, threshold=threshold, floor=floor, ceiling=ceiling)
    curve = fit_curve(data, growing=growing)

    def lost(slope, log_theta, k, level=None, psi=None):
        theta = np.exp(log_theta)
        if level is None:  # held: eta(psi) = (level + slope psi) exp(-k psi) = ETA90
            level = ETA90 * np.exp(k * psi) - slope * psi
        z = (theta * data.y - level - slope * data.t) * np.exp(-k * data.t)
        exact = data.code == 0
        side = np.where(data.code < 0, 1.0, -1.0)
        dense = stats.norm.logpdf(z[exact]) + log_theta - k * data.t[exact]
        return -dense.sum() - special.log_ndtr(side * z)[~exact].sum()

    start = [curve.slope, np.log(curve.theta), curve.growth]
    n = 3 if growing else 2
    options = {"xatol": 1e-8, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000}

    def lowest(function, at):
        for _ in range(3):
            found = optimize.minimize(function, at, method="Nelder-Mead", options=options)
            at = found.x
        return found.fun

    k0 = [] if growing else [0.0]
    free = lowest(lambda p: lost(*p[:n], *k0, level=p[n]), [*start[:n], curve.level])
    assert -free == pytest.approx(curve.height, abs=1e-7)
    for psi in (curve.psi(ETA90) + 0.4, curve.psi(ETA90) - 0.3):
        held = lowest(lambda p, psi=psi: lost(*p, *k0, psi=psi), start[:n])
        root = np.sign(psi - curve.psi(ETA90)) * np.sqrt(2.0 * (held - free))
        assert signed_root(curve, psi, ETA90) == pytest.approx(root, abs=2e-6)


def test_bounds_along_the_curve_are_the_same_statement_as_bounds_on_size():
    """POD is above 0.90 at a90/95 with just 95 % confidence, exact and likelihood."""
    curve = fitted("uncensored").curve
    at = exact_psi(curve, ETA90, 0.95, "upper")
    assert exact_eta(curve, at, 0.95) == pytest.approx(ETA90, abs=1e-9)
    for name in NAMES:
        curve = fitted(name).curve
        at = likelihood_psi(curve, ETA90, 0.95, "upper")
        assert likelihood_eta(curve, at, 0.95) == pytest.approx(ETA90, abs=1e-8)
        assert signed_root(curve, at, ETA90) == pytest.approx(Z95, abs=1e-9)


def test_root_without_a_slope_is_that_of_the_correlation():
    """Uncensored: r^2 = -n log(1 - R^2), the textbook likelihood ratio of a slope."""
    one = SETS["uncensored"]
    share = np.corrcoef(np.log(one["size"]), np.log(one["response"]))[0, 1] ** 2
    fit = fitted("uncensored")
    assert fit.slope_root == pytest.approx(np.sqrt(-45 * np.log1p(-share)), rel=1e-9)
    assert least_squares(fit.data).s * fit.data.unit == pytest.approx(
        SETS["uncensored"]["r"]["ols_sigma"], rel=1e-10
    )


def test_pod_is_the_normal_probability_of_reaching_the_threshold():
    fit = fitted("twosided")
    sizes = np.array([0.4, 1.5, 2.3, 6.0])
    law = stats.norm(fit.intercept + fit.slope * np.log(sizes), fit.sigma)
    np.testing.assert_allclose(response_pod(fit, sizes), law.sf(np.log(15)), rtol=1e-11)
    assert response_pod(fit, [fit.a50, fit.a90]) == pytest.approx([0.5, 0.9], abs=1e-12)
