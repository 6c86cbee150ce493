"""Thresholds and rates: invariants, dualities, and what can't be answered."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qualify.pod.noise import (
    false_call_probability,
    fit_noise,
    place_of,
    place_of_rate,
    quantile,
    rate_of_place,
    value_at,
)
from qualify.pod.noise_checks import fit_checks
from qualify.pod.noise_draws import simulated, standard_floors
from qualify.pod.noise_samples import samples
from qualify.pod.rates import rate_of_cells
from qualify.pod.threshold import (
    choose_threshold,
    noise_draws,
    rate_at,
    threshold_draws,
)

PEAKS = stats.gumbel_r.rvs(3.0, 0.5, size=82, random_state=np.random.default_rng(11))
LAWS = ("gumbel", "gev")
FAMILIES = (*LAWS, "empirical")


def fitted(family, floor=-np.inf, peaks=PEAKS):
    fit = fit_noise(np.maximum(peaks, floor), peaks <= floor, family)
    return fit, noise_draws(fit, seed=5, simulations=999)


@pytest.mark.parametrize("floor", [-np.inf, 2.9])
@pytest.mark.parametrize("family", LAWS)
@pytest.mark.parametrize("rate", [0.02, 0.05, 0.2])
def test_the_bound_on_the_rate_at_a_safe_threshold_is_the_declared_rate(family, floor, rate):
    """Safe threshold, bound on a rate and draws of the true threshold are one statement."""
    fit, draws = fitted(family, floor)
    choice = choose_threshold(fit, rate, draws)
    assert choice.threshold < choice.safe_threshold
    assert rate_at(fit, choice.safe_threshold, draws).upper == pytest.approx(rate, rel=1e-9)
    drawn = np.sort(threshold_draws(fit, draws, rate))
    assert drawn[949] == pytest.approx(choice.safe_threshold, rel=1e-12)  # ceil(0.95 * 1000)
    assert rate_at(fit, drawn[49], draws).lower == pytest.approx(rate, rel=1e-9)
    assert rate_at(fit, choice.threshold, draws).rate == pytest.approx(rate, rel=1e-9)


def test_gumbel_draws_are_the_pivot_by_its_formula():
    fit, draws = fitted("gumbel")
    k = -np.log(-np.log(0.98))
    own = fit.location + fit.scale * (k - draws.location) / draws.scale
    assert threshold_draws(fit, draws, 0.02) == pytest.approx(own, rel=1e-12)
    realised = 1.0 - np.exp(-np.exp(-(draws.location + k * draws.scale)))
    choice = choose_threshold(fit, 0.02, draws)
    assert choice.mean_rate == pytest.approx(realised.mean(), rel=1e-9)
    assert (choice.rate_low, choice.rate_high) == pytest.approx(
        tuple(np.sort(realised)[[24, 974]]), rel=1e-9
    )


@pytest.mark.parametrize("family", FAMILIES)
@settings(max_examples=10, deadline=None, derandomize=True)
@given(st.floats(-100.0, 100.0), st.floats(0.01, 100.0))
def test_another_unit_of_response_changes_no_rate(family, shift, unit):
    fit, draws = fitted(family)
    other, others = fitted(family, peaks=shift + unit * PEAKS)
    one, two = (choose_threshold(*pair) for pair in ((fit, 0.02, draws), (other, 0.02, others)))
    assert two.threshold == pytest.approx(shift + unit * one.threshold, rel=1e-6, abs=1e-6 * unit)
    for name in ("mean_rate", "rate_low", "rate_high"):
        assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-4)
    at = rate_at(fit, 4.5, draws), rate_at(other, shift + unit * 4.5, others)
    assert at[1].upper == pytest.approx(at[0].upper, rel=1e-4)


@pytest.mark.parametrize("family", LAWS)
def test_standard_error_by_delta_and_by_simulation_agree(family):
    """Independent ways; at 400 units they differ by a few per cent."""
    many = stats.genextreme.rvs(-0.1, size=400, random_state=np.random.default_rng(2))
    fit, draws = fitted(family, peaks=many)
    choice = choose_threshold(fit, 0.05, draws)
    assert choice.standard_error == pytest.approx(choice.standard_error_simulated, rel=0.1)


def test_draws_are_the_same_bytes_however_they_are_cut():
    floors = np.full(82, -np.inf)
    in_threads = simulated(False, 0.0, floors, seed=9, simulations=400)
    state = np.uint64(np.random.SeedSequence([9, *b"noise"]).generate_state(1, np.uint64)[0])
    cut = np.empty((400, 5))
    for first, last in ((300, 400), (0, 1), (1, 300)):
        samples(False, 0.0, floors, state, first, last, cut)
    assert in_threads.tobytes() == cut.tobytes()
    assert in_threads.tobytes() != simulated(False, 0.0, floors, 10, 400).tobytes()


def test_simulated_peaks_follow_the_law():
    """One unit a sample can't be fitted; so means over fits: Gumbel's are nearly without bias."""
    rows = simulated(False, 0.0, np.full(400, -np.inf), seed=1, simulations=999)
    assert rows[:, 0].mean() == pytest.approx(0.0, abs=0.01)
    assert rows[:, 1].mean() == pytest.approx(1.0, abs=0.01)
    assert rows[:, 0].std() == pytest.approx(np.sqrt(1.10867 / 400), rel=0.07)  # 1 + 6(1-γ)²/π²
    assert rows[:, 1].std() == pytest.approx(np.sqrt(6.0 / np.pi**2 / 400), rel=0.07)


@pytest.mark.parametrize("shape", [-0.4, -1e-9, 0.0, 1e-9, 0.3])
def test_places_and_values_are_inverse(shape):
    places = np.array([-1.5, 0.0, 0.3, 4.0, 9.0])
    assert place_of(value_at(places, shape), shape) == pytest.approx(places, rel=1e-6, abs=1e-9)
    assert place_of_rate(float(rate_of_place(2.0))) == pytest.approx(2.0)


def test_ends_of_a_law():
    assert place_of(3.0, -0.5) == np.inf
    assert place_of(-3.0, 0.5) == -np.inf
    assert value_at(np.inf, -0.5) == 2.0
    assert rate_of_place([np.inf, -np.inf]) == pytest.approx([0.0, 1.0])


def test_floors_of_units():
    """A censored unit has its own; an exact one the highest that its peak exceeds."""
    peaks = np.array([*np.linspace(1.0, 3.0, 12), 1.5, 2.0])
    censored = np.arange(14) >= 12
    fit = fit_noise(peaks, censored)
    floors = fit.location + fit.scale * standard_floors(fit)
    exact = peaks[:12]
    own = np.where(exact > 2.0, 2.0, np.where(exact > 1.5, 1.5, -np.inf))
    assert floors[12:] == pytest.approx([1.5, 2.0])
    assert floors[:12] == pytest.approx(own)


def test_empirical_thresholds_are_ranks():
    """Of 19 peaks the largest is reached by a further unit in 1 of 20 cases, whatever the law."""
    fit = fit_noise(np.arange(1.0, 20.0), family="empirical")
    assert quantile(fit, 0.05) == 19.0
    assert quantile(fit, 0.1) == 18.0
    assert quantile(fit, 0.099) == 19.0
    assert quantile(fit, 0.049) is None
    choice = choose_threshold(fit, 0.049, noise_draws(fit, seed=1))
    assert choice.reason == "19 blank units tell no rate below 1 in 20 without a law"
    assert (choice.threshold, choice.mean_rate) == (None, None)
    at = rate_at(fit, 18.0, noise_draws(fit, seed=1))  # a peak at the threshold is a call
    assert (at.units_called, at.rate, at.counted_rate) == (2, 2 / 19, 2 / 19)
    assert false_call_probability(fit, [19.0, 19.5, 0.0]) == pytest.approx([1 / 19, 0.0, 1.0])


@pytest.mark.parametrize(("n", "exists"), [(148, False), (149, True)])
def test_empirical_safe_threshold_needs_149_units_for_two_per_cent(n, exists):
    """Closed form: 0.98^149 < 0.05 < 0.98^148; with 149 it is the largest peak."""
    fit = fit_noise(np.arange(1.0, n + 1.0), family="empirical")
    choice = choose_threshold(fit, 0.02, noise_draws(fit, seed=1))
    assert choice.safe_threshold == (149.0 if exists else None)
    assert (choice.safe_reason is None) == exists
    if not exists:
        assert choice.safe_reason.endswith("without a law; 149 or more can")


def test_empirical_draws():
    """Beyond the largest peak in (1 - rate)^n of draws; else neighbouring order statistics."""
    fit = fit_noise(np.arange(1.0, 83.0), family="empirical")
    drawn = threshold_draws(fit, noise_draws(fit, seed=1), 0.02)
    assert np.mean(np.isinf(drawn)) == pytest.approx(0.98**82, abs=0.01)
    below = stats.binom(82, 0.98)
    for peak in (79.0, 81.0):
        assert np.mean(drawn <= peak) == pytest.approx(below.cdf(peak - 1), abs=0.012)


@pytest.mark.parametrize("family", FAMILIES)
def test_below_the_floor_of_a_censored_unit_nothing_is_said(family):
    fit, draws = fitted(family, 3.2)
    found = rate_at(fit, 3.19, draws)
    assert (found.rate, found.upper, found.counted_rate, found.units_called) == (None,) * 4
    assert "3.2" in found.reason
    choice = choose_threshold(fit, 0.9, draws)
    assert (choice.threshold, choice.mean_rate, choice.rate_high) == (None, None, None)
    assert "floor" in choice.reason
    at_floor = rate_at(fit, 3.2, draws)
    assert at_floor.units_called == int(np.sum(PEAKS > 3.2))


def test_a_threshold_beyond_all_peaks_is_told():
    fit, draws = fitted("gumbel")
    codes = [notice.code for notice in choose_threshold(fit, 0.001, draws).notices]
    assert codes == ["extrapolated", "tail_assumed"]
    assert choose_threshold(fit, 0.2, draws).notices == ()
    fit, draws = fitted("gumbel", 2.9)
    assert [n.code for n in choose_threshold(fit, 0.2, draws).notices] == ["approximate"]


def test_repetitions_that_deny_the_true_threshold_give_no_safe_one():
    """A law with a sharp end from few units: no rate as small as this can be made safe."""
    peaks = stats.genextreme.rvs(0.4, size=24, random_state=np.random.default_rng(1))
    fit, draws = fitted("gev", peaks=peaks)
    choice = choose_threshold(fit, 1e-6, draws)
    assert choice.safe_threshold is None
    assert "more blank units are needed" in choice.safe_reason


@pytest.mark.parametrize(
    ("peaks", "censored", "family", "outcome"),
    [
        (np.arange(9.0), None, "gumbel", "too_few"),
        (np.arange(12.0), np.arange(12) < 3, "gumbel", "too_few"),
        (np.arange(19.0), None, "gev", "too_few"),
        (np.ones(12), np.ones(12, dtype=bool), "gumbel", "all_censored"),
        (np.ones(12), None, "gumbel", "no_scatter"),
    ],
)
def test_no_law_is_fitted_where_peaks_do_not_support_one(peaks, censored, family, outcome):
    fit = fit_noise(peaks, censored, family)
    assert (fit.outcome, fit.location, fit.covariance, fit.aic) == (outcome, None, None, None)
    assert fit.notices[0].code == outcome
    assert quantile(fit, 0.05) is None
    with pytest.raises(ValueError, match="was not fitted"):
        noise_draws(fit, seed=1)
    with pytest.raises(ValueError, match="no law of the noise"):
        false_call_probability(fit, 1.0)


def test_ten_peaks_are_enough_for_gumbel():
    assert fit_noise(np.arange(10.0)).outcome == "fitted"


def test_remarks_of_a_fit():
    rounded = fit_noise(np.round(PEAKS))
    assert [notice.code for notice in rounded.notices] == ["rounded"]
    mostly = fitted("gumbel", 3.4)[0]
    assert [notice.code for notice in mostly.notices] == ["mostly_censored"]
    sharp = fit_noise(np.sqrt(np.linspace(0.01, 1.0, 60)), family="gev")
    assert sharp.shape is None or sharp.covariance is None


def test_checks_see_a_law_that_does_not_fit():
    fine = fit_checks(fit_noise(PEAKS), seed=1)
    assert not fine.doubtful
    assert len(fine.sentences) == 3
    heavy = stats.genextreme.rvs(-0.5, size=120, random_state=np.random.default_rng(3))
    found = fit_checks(fit_noise(heavy, family="empirical"), seed=1)
    assert found.doubtful
    assert found.shape_p == 1 / 500  # the least that 499 simulations can give
    assert "heavier than Gumbel's" in found.sentences[1]
    assert "do not follow the Gumbel law" in found.sentences[0]
    cut = fit_checks(fitted("gumbel", 3.0)[0], seed=1)
    assert (cut.statistic, cut.doubtful) == ("kolmogorov", False)
    few = fit_checks(fit_noise([1.0, 2.0]), seed=1)
    assert (few.distance_p, few.shape_p, few.doubtful) == (None, None, False)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([],), "at least one blank"),
        (([1.0, np.nan],), "not a finite number"),
        (([1.0, 2.0], [True]), "1 marks of censoring for 2 peaks"),
        (([1.0], None, "normal"), "'normal' is not known"),
    ],
)
def test_peaks_that_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        fit_noise(*arguments)


def test_draws_of_another_fit_and_impossible_wishes_are_refused():
    fit, draws = fitted("gumbel")
    other = fit_noise(PEAKS[:50])
    with pytest.raises(ValueError, match="belong to another fit"):
        choose_threshold(other, 0.02, draws)
    with pytest.raises(ValueError, match="must lie between 0 and 1"):
        choose_threshold(fit, 0.0, draws)
    with pytest.raises(ValueError, match="confidence"):
        rate_at(fit, 4.0, draws, 1.0)
    with pytest.raises(ValueError, match="no finite number"):
        rate_at(fit, np.inf, draws)
    with pytest.raises(ValueError, match="too few for limits"):
        noise_draws(fit, seed=1, simulations=50)


def test_several_cells():
    """Closed form 1 - (1 - p)^m: 2 % a cell is 33.2 % in 20 cells; tiny rates keep their digits."""
    found = rate_of_cells(0.02, 20)
    assert found.rate == pytest.approx(1 - 0.98**20)
    assert "33.2 % of cases, 0.4 calls on average" in found.text
    assert rate_of_cells(1e-18, 10).rate == pytest.approx(1e-17)
    assert (rate_of_cells(0.0, 5).rate, rate_of_cells(1.0, 5).rate) == (0.0, 1.0)
    with pytest.raises(ValueError, match="cells from 1 on"):
        rate_of_cells(0.1, 0)
