"""How often intervals of sizing errors hold, counted by simulation of known errors.

2000 to 4000 trials each; what is asked of an interval is its name, 95 %, within four standard
errors of the count and the shares that `qualify.sizing.rmse` states.
"""

import numpy as np
import pytest
from scipy import special

from qualify.sizing.agreement import limits_of_agreement
from qualify.sizing.metrology import method_scatter
from qualify.sizing.order_tolerance import order_tolerance
from qualify.sizing.rmse import rmse_probability
from qualify.sizing.spread import LEVEL, _residuals, _statistic, spread_trend
from qualify.sizing.york import york_line

Z975 = special.ndtri(0.975)


@pytest.mark.parametrize("ratio", [0.0, 0.5, 2.0])
@pytest.mark.parametrize("n", [10, 25])
def test_bounds_of_the_rmse_hold_in_95_of_100_trials(n, ratio):
    """Bias 0, 0.5 and 2 SD; a bound holds if the true RMSE lies on its side: p above 0.05."""
    errors = np.random.default_rng(n).standard_normal((2000, n)) + ratio
    true = np.sqrt(1.0 + ratio**2)
    p = np.array([
        rmse_probability(n, e.mean(), np.sqrt((e**2).mean()), true) for e in errors
    ])  # fmt: skip
    allowed = 4 * np.sqrt(0.95 * 0.05 / 2000)
    assert np.mean(p > 0.05) == pytest.approx(0.946, abs=allowed)
    assert np.mean(p < 0.95) == pytest.approx(0.946, abs=allowed)


def test_below_ten_targets_bounds_of_the_rmse_hold_at_least_as_often():
    for ratio in (0.0, 1.0):
        errors = np.random.default_rng(5).standard_normal((2000, 5)) + ratio
        true = np.sqrt(1.0 + ratio**2)
        p = np.array([rmse_probability(5, e.mean(), np.sqrt((e**2).mean()), true) for e in errors])
        assert min(np.mean(p > 0.05), np.mean(p < 0.95)) > 0.95 - 0.02


def test_method_sd_is_apart_from_metrology():
    """Method SD 0.4, true sizes with u 0.3, 20 targets: right on the average, and its interval."""
    rng = np.random.default_rng(3)
    true = np.linspace(2.0, 8.0, 20)
    said = true + 0.3 * rng.standard_normal((2000, 20))
    sds = (true + 0.4 * rng.standard_normal((2000, 20)) + 0.1 - said).std(axis=1, ddof=1)
    low, high = (np.sqrt(19.0 / special.chdtri(19.0, tail)) for tail in (0.025, 0.975))
    found = [method_scatter(sd, (sd * low, sd * high), np.full(20, 0.3)) for sd in sds]
    squares = sds**2 - 0.09
    held = sum(f.sd_ci is not None and f.sd_ci[0] <= 0.4 <= f.sd_ci[1] for f in found)
    assert sum(f.sd is None for f in found) == np.sum(squares < 0.0)
    assert np.mean(squares) == pytest.approx(0.16, abs=4 * np.std(squares) / np.sqrt(2000))
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


def test_the_line_is_right_where_ordinary_least_squares_is_flat():
    """Slope 0.9, u 0.8 of true sizes with SD 2.3: least squares keeps 0.89 of it."""
    rng = np.random.default_rng(4)
    true = np.linspace(1.0, 9.0, 25)
    lines = []
    for _ in range(600):
        said = true + 0.8 * rng.standard_normal(25)
        reported = 0.5 + 0.9 * true + 0.5 * rng.standard_normal(25)
        lines.append(york_line(said, reported, np.full(25, 0.8), np.full(25, 0.5)))
    slope, plain = (np.array([getattr(x, n) for x in lines]) for n in ("slope", "plain_slope"))
    assert slope.mean() == pytest.approx(0.9, abs=0.015)
    kept = np.mean([line.attenuation for line in lines])
    assert plain.mean() == pytest.approx(0.9 * kept, abs=0.015)
    assert plain.mean() < 0.85
    held = np.mean([line.slope_ci[0] <= 0.9 <= line.slope_ci[1] for line in lines])
    assert 0.93 <= held <= 0.985  # errors are widened where chi-square is large by chance


def test_the_scatter_taken_from_the_data_is_that_of_the_method():
    rng = np.random.default_rng(6)
    true = np.linspace(1.0, 9.0, 25)
    found = [
        york_line(true + 0.3 * rng.standard_normal(25), true + 0.5 * rng.standard_normal(25),
                  np.full(25, 0.3), None)
        for _ in range(100)
    ]  # fmt: skip
    assert np.mean([x.scatter**2 for x in found]) == pytest.approx(0.25, abs=0.04)
    assert np.mean([x.slope_ci[0] <= 1.0 <= x.slope_ci[1] for x in found]) >= 0.88


def test_intervals_of_limits_of_agreement_hold():
    errors = np.random.default_rng(8).standard_normal((4000, 12))
    held = [
        f.low_ci[0] <= -Z975 <= f.low_ci[1]
        for e in errors
        if (f := limits_of_agreement(12, e.mean(), e.std(ddof=1)))
    ]
    assert np.mean(held) == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / 4000))


def test_limits_without_a_law_hold_for_a_skewed_law():
    """Exponential errors, 59: share above the limit is 0.95 or more in 95 % of trials."""
    errors = np.random.default_rng(9).exponential(size=(4000, 59))
    above = [np.exp(-order_tolerance(e).lower) for e in errors]
    assert np.mean(np.array(above) >= 0.95) == pytest.approx(1 - 0.95**59, abs=0.014)


def test_the_ratio_of_scatter_that_is_told_is_noticed_as_often_as_told():
    """Fresh trials at the ratio told, 30 sizes even in log: noticed in about 80 % or more."""
    sizes = np.geomspace(0.5, 8.0, 30)
    ratio = spread_trend(sizes, np.random.default_rng(1).standard_normal(30)).seen_ratio
    normal = np.random.default_rng(99).standard_normal((4000, 30))
    log_size = np.log(sizes) - np.log(sizes).mean()
    shares = []
    for told in (1.0, ratio):
        errors = normal * np.exp(np.log(told) / np.log(16.0) * log_size)
        statistic = _statistic(log_size, _residuals(sizes, errors))
        shares.append(np.mean(special.chdtrc(1.0, statistic) < LEVEL))
    assert 0.03 <= shares[0] <= 0.06
    assert shares[1] >= 0.77
