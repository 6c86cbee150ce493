"""How often bounds from responses hold, counted by simulation of known lines.

The design: sizes 0.5 to 8 evenly in log size, log response = log 5 + 1.1 log size + 0.35 e,
threshold 9, true a90 2.565; with floor and ceiling 16/13 % or 38/22 % of the rows are censored.
What is asked of exact and calibrated bound is their name: 95 %.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import special, stats

from qualify.pod.noise import fit_noise
from qualify.pod.noise_draws import noise_draws, threshold_draws
from qualify.pod.response_bounds import exact_psi
from qualify.pod.response_calibrated import calibrated_psi, p_value
from qualify.pod.response_curve import ResponseCurve, fit_curve, signed_root
from qualify.pod.response_holds import how_often_held, root_of_statistic
from qualify.pod.response_rate import at_threshold, line_draws
from qualify.pod.responses import observe_responses

START, SLOPE, SIGMA, THRESHOLD = np.log(5.0), 1.1, 0.35, 9.0
ETA90, Z95 = special.ndtri(0.9), special.ndtri(0.95)
A90 = float(np.exp((np.log(THRESHOLD) + ETA90 * SIGMA - START) / SLOPE))
LIMITS = {"none": None, "16/13 %": (0.16, 0.13), "38/22 %": (0.38, 0.22)}


def sizes_of(n):
    return np.exp(np.linspace(np.log(0.5), np.log(8.0), n))


def limits_of(censoring):
    """Floor and ceiling at shares of the way of the line from the smallest to the largest size."""
    if LIMITS[censoring] is None:
        return {}
    (low, high), way = LIMITS[censoring], SLOPE * np.log(16.0)
    first = START + SLOPE * np.log(0.5)
    return {"floor": np.exp(first + low * way), "ceiling": np.exp(first + (1.0 - high) * way)}


def drawn(rng, size, censoring, threshold=THRESHOLD, targets=None, rho=0.0):
    e = rng.standard_normal(size.size)
    if targets is not None:
        e = np.sqrt(rho) * rng.standard_normal(size.size)[targets] + np.sqrt(1.0 - rho) * e
    response = np.exp(START + SLOPE * np.log(size) + SIGMA * e)
    return fit_curve(observe_responses(size, response, threshold=threshold, targets=targets,
                                       **limits_of(censoring)))  # fmt: skip


def true_curve(n, censoring):
    """The true line itself, in standardised units, as `how_often_held` takes it."""
    data = drawn(np.random.default_rng(1), sizes_of(n), censoring).data
    level = (START + SLOPE * data.centre - np.log(THRESHOLD)) / SIGMA
    return ResponseCurve(data, data.unit / SIGMA, SLOPE * data.spread / SIGMA, level, 0.0, False,
                         0.0, np.eye(3))  # fmt: skip


def place(curve, size):
    return float(curve.data.t_of(size))


@pytest.mark.parametrize("n", [15, 30, 60])
def test_the_exact_bound_holds_as_often_as_it_says(n):
    """95 % of 20,000 trials, standard error .0015: ordinary least squares, non-central t.

    It holds where the true a90 is not rejected. `how_often_held` says the same through roots.
    """
    rng = np.random.default_rng([3, n])
    x = np.log(sizes_of(n))
    y = START + SLOPE * x + SIGMA * rng.standard_normal((20_000, n)) - np.log(THRESHOLD)
    away, psi = x - x.mean(), np.log(A90)
    sxx = away @ away
    b = y @ away / sxx
    left = y - y.mean(axis=1)[:, None] - b[:, None] * away
    s = np.sqrt((left**2).sum(axis=1) / (n - 2))
    h = np.sqrt(1.0 / n + (psi - x.mean()) ** 2 / sxx)
    seen = (y.mean(axis=1) + b * (psi - x.mean())) / (s * h)
    held = np.mean(seen <= stats.nct.ppf(0.95, n - 2, ETA90 / h))
    assert 0.945 <= held <= 0.955
    told = how_often_held(true_curve(n, "none"), ["fit"], replicates=2_000, seed=n)[0]
    assert told.a90 == pytest.approx(A90, rel=1e-9)
    assert told.exact == pytest.approx(0.95, abs=0.015)
    assert told.calibrated == pytest.approx(told.exact, abs=0.013)
    likelihood = np.mean([root_of_statistic(v, h, n, ETA90) <= Z95 for v in seen[:4_000]])
    assert told.likelihood == pytest.approx(likelihood, abs=0.024)
    assert told.likelihood < told.exact


def test_exact_bounds_that_are_solved_hold_where_the_true_size_is_not_rejected():
    """80 data sets: bound at or above the true a90 if and only if T is not above its quantile."""
    rng, size, held = np.random.default_rng(5), sizes_of(30), []
    for _ in range(80):
        curve = drawn(rng, size, "none")
        psi = exact_psi(curve, ETA90, 0.95, "upper")
        x, y = np.log(size), np.log(curve.data.response / THRESHOLD)
        b, a = np.polyfit(x, y, 1)
        s = np.sqrt(((y - a - b * x) ** 2).sum() / 28)
        h = np.sqrt(1.0 / 30 + (np.log(A90) - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum())
        kept = (a + b * np.log(A90)) / (s * h) <= stats.nct.ppf(0.95, 28, ETA90 / h)
        held.append(psi >= place(curve, A90))
        assert held[-1] == kept
        root = signed_root(curve, place(curve, A90), ETA90)
        known = root_of_statistic((a + b * np.log(A90)) / (s * h), h, 30, ETA90)
        assert root == pytest.approx(known, abs=1e-6)
    assert 0.86 <= np.mean(held) < 1.0


@pytest.mark.parametrize("censoring", ["16/13 %", "38/22 %"])
def test_the_calibrated_bound_holds_as_often_as_it_says_with_censoring(censoring):
    """.94 to .97 of 4000 trials of 30 targets (two standard errors .007); none lost for it.

    Measured: calibrated .950 and .952, likelihood .912 and .909; all have a bound; median bound
    over true a90 1.19 and 1.32 (of 15).
    """
    told = how_often_held(true_curve(30, censoring), ["fit"], replicates=4_000, seed=5)[0]
    rng, ratios = np.random.default_rng(6), []
    for _ in range(9):
        curve = drawn(rng, sizes_of(30), censoring)
        found = calibrated_psi(curve, ETA90, 0.95, "upper", simulations=499)
        ratios.append(np.exp(curve.data.centre + curve.data.spread * found.at) / A90)
    low, high = LIMITS[censoring]
    assert (told.left, told.right) == pytest.approx((low, high), abs=0.03)
    assert 0.94 <= told.calibrated <= 0.97
    assert told.likelihood < told.calibrated
    assert told.no_bound <= told.no_likelihood_bound + 0.01
    assert 1.05 < np.median(ratios) < 1.45


def test_calibrated_bounds_that_are_solved_hold_as_often_as_those_counted():
    """50 trials of 20 targets, 299 simulated trials each: .95 - 4 standard errors of .03."""
    rng, held = np.random.default_rng(8), []
    for _ in range(50):
        curve = drawn(rng, sizes_of(20), "16/13 %")
        found = calibrated_psi(curve, ETA90, 0.95, "upper", simulations=299)
        held.append(found is None or found.at >= place(curve, A90))
    assert 0.83 <= np.mean(held) < 1.0


def test_a_wrong_law_is_told_by_how_often_bounds_hold():
    """Bent down, the line passes below the middle and errs on the safe side; bent up, it lies."""
    told = how_often_held(true_curve(30, "none"), ["fit", "bent_up", "bent_down"], replicates=600)
    found = {one.case: one for one in told}
    assert found["fit"].calibrated == pytest.approx(0.95, abs=0.03)
    assert found["bent_up"].calibrated < 0.9
    assert found["bent_down"].calibrated > 0.97
    # the a90 of a bent line, by the quadratic through its ends and middle
    u = np.roots([SIGMA, 0.5 * SLOPE * np.log(16.0),
                  START + SLOPE * np.log(2.0) - 0.5 * SIGMA - np.log(THRESHOLD)
                  - ETA90 * SIGMA])  # fmt: skip
    assert found["bent_up"].a90 == pytest.approx(2.0 * 4.0 ** u.max(), rel=1e-6)


def called_at(fit):
    """Threshold that a Gumbel law reaches with probability .05."""
    return fit.location - fit.scale * np.log(-np.log(0.95))


@pytest.mark.parametrize(("censoring", "blanks"), [("none", 0), ("38/22 %", 82)])
def test_the_bound_at_a_declared_false_call_rate_holds(censoring, blanks):
    """.92 to .98 of 400 trials of 30 targets; a threshold known, or from 82 Gumbel blanks.

    The rate is 5 % of a blank unit; the true threshold is 9. Repetitions of uncensored Gumbel
    blanks depend on their number alone, so that one set of them serves all trials. A trial with
    too few exact responses for a bound claims nothing; few do. Measured: uncensored .950; 38/22 %
    with the threshold known .950, with blanks .965 (.957 if taken for known).
    """
    rng, size, scale = np.random.default_rng([9, blanks]), sizes_of(30), 0.6
    location = THRESHOLD + scale * np.log(-np.log(0.95))
    draws, held, known, silent = None, [], [], 0
    for trial in range(400):
        threshold, thresholds = THRESHOLD, np.full(999, THRESHOLD)
        if blanks:
            fit = fit_noise(rng.gumbel(location, scale, blanks))
            draws = noise_draws(fit, seed=1, simulations=999) if draws is None else draws
            threshold, thresholds = called_at(fit), threshold_draws(fit, draws, 0.05)
        curve = drawn(rng, size, censoring)
        lines = line_draws(curve, seed=trial, simulations=999)
        if isinstance(lines, str):
            silent += 1
            continue
        told = at_threshold(curve, lines, threshold, thresholds)
        silent += told.a90_95 is None
        held.append(told.a90_95 is None or told.a90_95 >= A90)
        known.append(told.a90_95_known is None or told.a90_95_known >= A90)
    figures = (np.mean(held), np.mean(known), silent)
    assert silent <= 20, figures
    assert 0.92 <= np.mean(held) <= 0.98, figures
    if blanks:
        assert np.mean(known) < np.mean(held), figures


def test_the_calibrated_bound_holds_where_targets_have_several_responses():
    """30 targets of 3 responses, half the variance shared: .92 to .98 of 200 trials.

    It holds where the true statement is not rejected; of 10 trials the bound is solved as well. A
    bound that takes the 90 rows for 90 targets holds less often, as does the likelihood bound
    (measured: .89 and .88). POD is that of one response of a target.
    """
    rng = np.random.default_rng(11)
    size, targets = np.repeat(sizes_of(30), 3), np.repeat(np.arange(30), 3)
    held, likelihood, alone, alike = [], [], [], []
    for trial in range(200):
        curve = drawn(rng, size, "none", targets=targets, rho=0.5)
        rows = replace(curve, data=replace(curve.data, group=np.arange(90)))
        psi = place(curve, A90)
        likelihood.append(signed_root(curve, psi, ETA90) <= Z95)
        held.append(p_value(curve, psi, ETA90, seed=trial, simulations=199) > 0.05)
        if trial % 2:
            alone.append(p_value(rows, psi, ETA90, seed=trial, simulations=199) > 0.05)
        if trial < 10:
            found = calibrated_psi(curve, ETA90, 0.95, "upper", seed=trial, simulations=199)
            alike.append((found.at >= psi) == held[-1])
    figures = tuple(np.mean(one) for one in (held, likelihood, alone, alike))
    assert 0.92 <= np.mean(held) <= 0.98, figures
    assert np.mean(likelihood) < np.mean(held) - 0.02, figures
    assert np.mean(alone) < np.mean(held) - 0.02, figures
    assert np.sum(alike) >= 9, figures
