"""Laws of the noise against R, scipy, closed forms and tables.

`data/noise_r.json`: peaks (invented) and their fit in R. The largest of m independent Rayleigh
amplitudes has the closed law (1 - exp(-t²/2))^m. Garwood's limits (1936) are recalled from memory,
and recomputed with scipy.stats.chi2 and poisson.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats

from qualify.pod.noise import false_call_probability, fit_noise, quantile
from qualify.pod.noise_checks import fit_checks
from qualify.pod.noise_draws import noise_draws, simulated
from qualify.pod.rates import call_rate, exposure_for_zero, units_for_zero
from qualify.pod.threshold import choose_threshold, rate_at

R = json.loads((Path(__file__).parent / "data" / "noise_r.json").read_text())
PEAKS = np.array(R["peaks"])
FLOORS = np.where(np.arange(PEAKS.size) % 2, 2.8, 3.0)  # two gains: floors that differ
CENSORED = PEAKS <= FLOORS
SEEN = np.maximum(PEAKS, FLOORS)


def test_gumbel_agrees_with_r():
    """Tolerance 1e-7 of the scale where optim stopped, 1e-8 where the likelihood is flat."""
    fit = fit_noise(PEAKS)
    assert fit.location == pytest.approx(R["mu"], abs=1e-7)
    assert fit.scale == pytest.approx(R["beta"], abs=1e-7)
    assert fit.log_likelihood == pytest.approx(R["loglik"], rel=1e-10)
    assert fit.aic == pytest.approx(4.0 - 2.0 * R["loglik"], rel=1e-10)
    assert fit.covariance == pytest.approx(np.array(R["vcov_mu_logbeta"]), rel=1e-4)
    choice = choose_threshold(fit, 0.05, noise_draws(fit, seed=1, simulations=99))
    assert choice.threshold == pytest.approx(R["threshold_pfa05"], abs=3e-7)
    upper = choice.threshold + stats.norm.ppf(0.95) * choice.standard_error
    assert upper == pytest.approx(R["threshold_pfa05_upper95_delta"], rel=1e-6)
    found = rate_at(fit, choice.threshold, noise_draws(fit, seed=1, simulations=99))
    assert found.units_called == R["exceed_at_threshold"]


def test_gumbel_agrees_with_scipy():
    """scipy solves one equation for the scale: another way to the same maximum, to rounding."""
    fit = fit_noise(PEAKS)
    mu, beta = stats.gumbel_r.fit(PEAKS)
    assert (fit.location, fit.scale) == pytest.approx((mu, beta), rel=1e-12)
    assert fit.log_likelihood == pytest.approx(stats.gumbel_r.logpdf(PEAKS, mu, beta).sum())
    assert quantile(fit, 0.02) == pytest.approx(stats.gumbel_r.isf(0.02, mu, beta), rel=1e-12)
    t = [2.5, 4.0, 9.0, 40.0]
    assert false_call_probability(fit, t) == pytest.approx(
        stats.gumbel_r.sf(t, mu, beta), rel=1e-10
    )


def test_gev_agrees_with_scipy():
    """scipy's shape c is -shape. Its simplex search stops at 1e-4 of a parameter or so."""
    fit = fit_noise(PEAKS, family="gev")
    c, mu, beta = stats.genextreme.fit(PEAKS, -fit.shape, loc=fit.location, scale=fit.scale)
    assert (fit.location, fit.scale, -fit.shape) == pytest.approx((mu, beta, c), abs=1e-3)
    own = stats.genextreme.logpdf(PEAKS, -fit.shape, fit.location, fit.scale).sum()
    assert fit.log_likelihood == pytest.approx(own, rel=1e-12)
    assert fit.log_likelihood >= stats.genextreme.logpdf(PEAKS, c, mu, beta).sum() - 1e-12
    assert quantile(fit, 0.02) == pytest.approx(
        stats.genextreme.isf(0.02, -fit.shape, fit.location, fit.scale), rel=1e-12
    )
    t = np.array([1.0, 3.0, 4.5, 8.0, 12.0])  # 12 lies beyond the end of the law
    assert false_call_probability(fit, t) == pytest.approx(
        stats.genextreme.sf(t, -fit.shape, fit.location, fit.scale), rel=1e-9, abs=1e-15
    )


def censored_log_likelihood(p):
    """Of location, log scale and shape, from scipy's densities alone."""
    law = stats.genextreme(-p[2] if len(p) > 2 else 0.0, p[0], np.exp(p[1]))
    return law.logpdf(SEEN[~CENSORED]).sum() + law.logcdf(SEEN[CENSORED]).sum()


def numeric_hessian(function, at, step=1e-4):
    n = len(at)
    shift = np.eye(n) * step
    return np.array([[(function(at + i + j) - function(at + i - j)
                       - function(at - i + j) + function(at - i - j)) / (4 * step * step)
                      for j in shift] for i in shift])  # fmt: skip


@pytest.mark.parametrize("family", ["gumbel", "gev"])
def test_censored_fits_agree_with_a_likelihood_written_with_scipy(family):
    fit = fit_noise(SEEN, CENSORED, family)
    law = np.array([fit.location, np.log(fit.scale), fit.shape])[: 3 if family == "gev" else 2]
    assert fit.censored == CENSORED.sum() > 10
    assert fit.log_likelihood == pytest.approx(censored_log_likelihood(law), rel=1e-11)
    found = optimize.minimize(lambda p: -censored_log_likelihood(p), law + 0.05, tol=1e-9,
                              method="Nelder-Mead")  # fmt: skip
    assert law == pytest.approx(found.x, abs=1e-5)
    own = np.linalg.inv(-numeric_hessian(censored_log_likelihood, law))
    assert fit.covariance == pytest.approx(own, rel=1e-4, abs=1e-7)


def test_anderson_darling_agrees_with_scipy_and_stephens():
    """5 % point 0.757/(1 + 0.2/sqrt(n)): Stephens 1977, as tabled in scipy's documentation."""
    checks = fit_checks(fit_noise(PEAKS), seed=3)
    again = stats.goodness_of_fit(stats.gumbel_r, PEAKS, statistic="ad", n_mc_samples=1)
    assert checks.distance == pytest.approx(again.statistic, rel=1e-6)
    rows = simulated(False, 0.0, np.full(80, -np.inf), seed=3, simulations=9_999)
    assert np.quantile(rows[:, 4], 0.95) == pytest.approx(0.757 / (1 + 0.2 / np.sqrt(80)), rel=0.03)
    assert checks.distance_p == pytest.approx(np.mean(rows[:, 4] >= checks.distance), abs=0.08)


def test_gain_by_a_shape_is_chi_square_in_large_samples():
    """Wilks 1938: one degree of freedom. 2 % of 1999 samples: three standard errors of 5 %."""
    floors = np.full(400, -np.inf)
    both = [simulated(gev, 0.0, floors, seed=4, simulations=1_999)[:, 3] for gev in (False, True)]
    gain = 2.0 * (both[1] - both[0])
    assert gain.min() >= -1e-9
    assert np.mean(gain > stats.chi2.ppf(0.95, 1)) == pytest.approx(0.05, abs=0.015)


def rayleigh_peaks(cells, n=2_000):
    """Evenly placed quantiles of the peak amplitude of so many cells, and its rate above t."""
    u = (np.arange(n) + 0.5) / n
    peaks = np.sqrt(-2.0 * np.log(-np.expm1(np.log(u) / cells)))
    return peaks, lambda t: -np.expm1(cells * np.log1p(-np.exp(-0.5 * t * t)))


@pytest.mark.parametrize(("cells", "tolerance"), [(10, 0.2), (100, 0.03), (1000, 0.006)])
def test_peak_of_rayleigh_cells_is_gumbel_in_amplitude_squared(cells, tolerance):
    """Closed form (1 - exp(-t²/2))^m: the rate realised at a declared 2 %, relative error.

    Amplitude squared is exponential, and its maximum goes to Gumbel as 1/m.
    """
    peaks, rate = rayleigh_peaks(cells)
    threshold = np.sqrt(quantile(fit_noise(peaks**2), 0.02))
    assert rate(threshold) == pytest.approx(0.02, rel=tolerance)


@pytest.mark.parametrize("cells", [100, 1000])
def test_amplitude_and_decibels_go_to_gumbel_slowly_and_err_on_the_safe_side(cells):
    """The threshold for 2 % comes out too high: rates of 1.0 and 1.3 %, in dB 0.3 and 0.7 %."""
    peaks, rate = rayleigh_peaks(cells)
    linear = rate(quantile(fit_noise(peaks), 0.02))
    decibels = rate(10 ** (quantile(fit_noise(20 * np.log10(peaks)), 0.02) / 20))
    assert linear == pytest.approx({100: 0.0104, 1000: 0.0129}[cells], rel=0.02)
    assert decibels == pytest.approx({100: 0.0030, 1000: 0.0066}[cells], rel=0.03)
    shape = fit_noise(peaks, family="gev").shape
    assert shape == pytest.approx({100: -0.088, 1000: -0.064}[cells], abs=0.002)


def test_norming_constants_of_the_rayleigh_maximum():
    """Common in textbooks, from memory: location sqrt(2 ln m), scale 1/location, slowly reached."""
    for cells in (10**3, 10**6):
        peaks, _ = rayleigh_peaks(cells)
        fit, location = fit_noise(peaks), np.sqrt(2.0 * np.log(cells))
        assert fit.location == pytest.approx(location, rel=0.01)
        assert fit.scale == pytest.approx(1.0 / location, rel=0.05)


# two-sided 95 % limits of the mean of a Poisson count, Garwood 1936
GARWOOD = [(0, 0.0, 3.689), (1, 0.0253, 5.572), (2, 0.242, 7.225), (5, 1.623, 11.668)]
GARWOOD += [(10, 4.795, 18.390)]


@pytest.mark.parametrize(("calls", "lower", "upper"), GARWOOD)
def test_poisson_bounds_agree_with_garwood(calls, lower, upper):
    found = call_rate(calls, 1.0, confidence=0.975)
    assert found.lower == pytest.approx(lower, abs=6e-4)
    assert found.upper == pytest.approx(upper, abs=6e-4)


@pytest.mark.parametrize("calls", [0, 1, 4, 37])
def test_poisson_bounds_agree_with_scipy(calls):
    """At the upper bound so few calls, at the lower so many, happen in 5 % of cases."""
    found = call_rate(calls, 12.5, "m")
    assert found.rate == calls / 12.5
    assert found.upper == pytest.approx(stats.chi2.ppf(0.95, 2 * calls + 2) / 25.0, rel=1e-12)
    assert stats.poisson.cdf(calls, 12.5 * found.upper) == pytest.approx(0.05, rel=1e-9)
    if calls:
        assert stats.poisson.sf(calls - 1, 12.5 * found.lower) == pytest.approx(0.05, rel=1e-9)
    else:
        assert found.lower == 0.0


def test_rule_of_zero():
    """2.996 = -log(0.05), the 'rule of three'; 149 blanks show 2 %, 59 show 5 %: closed forms."""
    assert call_rate(0, 1.0).upper == pytest.approx(2.995732273554, rel=1e-12)
    assert call_rate(0, 40.0).upper == pytest.approx(-np.log(0.05) / 40.0)
    assert exposure_for_zero(0.1) == pytest.approx(29.95732273554, rel=1e-12)
    assert (units_for_zero(0.02), units_for_zero(0.05)) == (149, 59)
