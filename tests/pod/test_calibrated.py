"""The calibrated bound: against exact enumeration, and what must hold of it whatever the data."""

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, special

from qualify.pod.calibrated import calibrated_bound, calibrated_pod_bound, p_value
from qualify.pod.farthest import farthest_kept
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.links import eta_of, log_likelihood, pod_of
from qualify.pod.observations import observe
from qualify.pod.problem import sized_hits
from qualify.pod.simulation import GAMMA, mixed
from tests.pod.plain_engine import fit_curves as plain_fit
from tests.pod.plain_engine import fit_through as plain_hold

SETS = json.loads(
    (Path(__file__).parents[1] / "published" / "data" / "hit_miss_sets.json").read_text()
)
FINELY = {"xatol": 1e-10}
SMALL = (np.array([0.8, 1.0, 1.3, 1.7, 2.2, 2.9, 3.7, 4.8]), np.array([0, 0, 1, 0, 1, 0, 1, 1]))


def data_of(sizes, hits, trials=None, link="logit", scale="log"):
    return sized_hits(observe(sizes, hits, trials, scale), link)


def test_the_generator_gives_the_published_numbers():
    """First outputs of SplitMix64 from seed 0, as in its reference code (from memory)."""
    known = [0xE220A8397B1DCDAF, 0x6E789E6AA1B965F4, 0x06C45D188009454F, 0xF88BB8A8724C81EC]
    with np.errstate(over="ignore"):
        states = [np.uint64(k) * GAMMA for k in (1, 2, 3, 4)]
    assert [int(mixed(np.uint64(state))) for state in states] == known


def enumerated_p(data, psi, pod, link):
    """Exact p of the statement: every outcome of the trial, its probability and its root.

    Free and held fits by scipy and by the plain engine; a separated outcome by its supremum.
    """
    level = float(eta_of(link, pod))
    t = data.t

    def profile(hits, at):
        def loss(slope):
            return -float(log_likelihood(link, at + slope * (t - psi), hits, 1.0 - hits))

        ways = [(-60, 60), (-1, 10), (0, 200)]
        found = [optimize.minimize_scalar(loss, bounds=way, options=FINELY) for way in ways]
        return -min(one.fun for one in found)

    def root(hits):
        top = 0.0
        if hits.any() and not hits.all():
            first, last = t[hits == 1].min(), t[hits == 0].max()
            if first < last and t[hits == 0].min() < t[hits == 1].max():
                top = float(plain_fit(t, hits, 1.0, link).log_likelihood[0])
        rise = profile(hits, level + 1e-3) - profile(hits, level - 1e-3)
        return np.sign(rise) * np.sqrt(max(0.0, 2 * (top - profile(hits, level))))

    observed = root(data.hits)
    slope = plain_hold(t, data.hits, 1.0, link, np.array([psi]), np.array([level])).slope[0]
    pods = pod_of(link, level + slope * (t - psi))
    total = 0.0
    for outcome in itertools.product((0, 1), repeat=len(t)):
        hits = np.array(outcome, dtype=float)
        if root(hits) >= observed - 1e-6:
            total += np.prod(np.where(hits == 1, pods, 1 - pods))
    return total


@pytest.mark.parametrize(
    ("link", "psi"),
    [("logit", 1.2), ("logit", 2.0), ("probit", 2.0), ("cloglog", 2.0), ("loglog", 3.0)],
)
def test_p_agrees_with_the_enumeration_of_all_outcomes(link, psi):
    """Eight targets have 256 outcomes; 40,000 simulated trials, four standard errors."""
    data = data_of(*SMALL, link=link)
    exact = enumerated_p(data, psi, 0.9, link)
    found = p_value(data, psi, 0.9, simulations=39_999)
    assert found == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 39_999) + 1e-4)
    assert 0.005 < exact < 0.9  # the statement is neither trivial nor hopeless


def test_at_the_bound_p_is_what_the_confidence_leaves():
    one = SETS["invented_n60"]
    data = data_of(one["size"], one["hits"])
    bound = calibrated_bound(data, 0.9, 0.95, "upper")
    psi = (np.log(bound.value) - data.centre) / data.spread
    assert p_value(data, psi, 0.9) == pytest.approx(0.05, abs=5e-4)
    assert p_value(data, psi, 0.9, seed=99) == pytest.approx(0.05, abs=4 * 0.00154 + 0.0022)


@pytest.mark.parametrize("name", ["invented_n60", "invented_separated"])
def test_the_error_told_is_the_scatter_over_seeds(name):
    one = SETS[name]
    data = data_of(one["size"], one["hits"])
    bounds = [
        calibrated_bound(data, 0.9, 0.95, "upper", seed=seed, simulations=999) for seed in range(24)
    ]
    scatter = np.std([b.value for b in bounds], ddof=1)
    told = np.median([b.error for b in bounds])
    # 24 values: chi-square with 23 degrees of freedom, 99.9 % within a factor 1.7; 2 for the rest
    assert told / 2 < scatter < 2 * told


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_the_same_seed_gives_the_same_bound_in_any_order_of_rows(side):
    sizes, hits = SMALL
    order = np.random.default_rng(4).permutation(len(sizes))
    one = calibrated_bound(data_of(sizes, hits), 0.7, 0.9, side, simulations=999)
    other = calibrated_bound(data_of(sizes[order], hits[order]), 0.7, 0.9, side, simulations=999)
    assert one == other
    assert one != calibrated_bound(data_of(sizes, hits), 0.7, 0.9, side, seed=2, simulations=999)


def test_another_unit_scales_the_bound():
    one = SETS["invented_n60"]
    mm = calibrated_bound(data_of(one["size"], one["hits"]), 0.9, 0.95, "upper", simulations=999)
    inch = calibrated_bound(
        data_of(np.array(one["size"]) / 25.4, one["hits"]), 0.9, 0.95, "upper", simulations=999
    )
    assert inch.value * 25.4 == pytest.approx(mm.value, rel=1e-9)
    assert inch.error * 25.4 == pytest.approx(mm.error, rel=1e-6)


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog", "loglog"])
@pytest.mark.parametrize("name", ["invented_n60", "invented_separated", "vaso_volume"])
def test_more_confidence_gives_a_farther_bound(name, link):
    one = SETS[name]
    data = data_of(one["size"], one["hits"], one["trials"], link=link)
    bounds = [
        calibrated_bound(data, 0.9, c, "upper", simulations=1999).value for c in (0.8, 0.9, 0.95)
    ]
    assert bounds[0] < bounds[1] < bounds[2]


def test_bounds_on_size_and_on_pod_are_one_statement():
    """POD at a90/95 is above 0.90 with just 95 % confidence."""
    one = SETS["invented_n120"]
    data = data_of(one["size"], one["hits"])
    bound = calibrated_bound(data, 0.9, 0.95, "upper", simulations=3999)
    psi = (np.log(bound.value) - data.centre) / data.spread
    assert calibrated_pod_bound(data, psi, 0.95, simulations=3999) == pytest.approx(0.9, abs=2e-3)


def test_in_a_large_trial_the_likelihood_bound_is_reproduced():
    """Normal theory: the calibration is of order 1/n. 3918 girls, 25 ages (Milicer 1966)."""
    one = SETS["menarche"]
    fit = fit_hit_miss(one["size"], one["hits"], one["trials"])
    calibrated, plain = fit.bounds["calibrated"]["upper"], fit.bounds["likelihood"]["upper"]
    assert calibrated.value == pytest.approx(plain.value, abs=4 * calibrated.error)
    assert calibrated.error < 0.001 * plain.value


def test_separated_sets_get_a_pod_bound_of_zero_below_and_a_useful_one_above():
    one = SETS["invented_separated"]
    data = data_of(one["size"], one["hits"])
    psi = (np.log([0.9, 6.0]) - data.centre) / data.spread
    below, above = (calibrated_pod_bound(data, float(p), 0.95, simulations=1999) for p in psi)
    assert below < 0.05
    assert 0.5 < above < 1.0


def test_a_level_pod_has_no_bound_and_costs_no_search():
    one = SETS["invented_flat"]
    bound = calibrated_bound(data_of(one["size"], one["hits"]), 0.9, 0.95, "upper")
    assert bound.value is None
    assert "not shown to rise" in bound.reason


def test_the_p_value_of_a_certain_statement_is_large():
    """At the estimate itself nothing speaks against it: r = 0, about half of all trials exceed."""
    one = SETS["invented_n120"]
    data = data_of(one["size"], one["hits"])
    estimate = (float(special.logit(0.9)) - data.intercept) / data.slope
    assert 0.3 < p_value(data, estimate, 0.9, simulations=1999) < 0.7


def test_where_p_rises_again_the_bound_is_the_farthest_size_kept():
    """p falls to 0.157 at 3.0, jumps to 0.185 at 3.1, and falls for good."""
    one = SETS["invented_quasi_separated"]
    data = data_of(one["size"], one["hits"], one["trials"])

    def p_at(size):
        psi = (np.log(size) - data.centre) / data.spread
        return p_value(data, float(psi), 0.9, simulations=9999)

    assert p_at(3.0) < 0.17 < p_at(3.1)
    bound = calibrated_bound(data, 0.9, 0.83, "upper", simulations=9999).value
    assert bound > 3.1
    assert p_at(bound) == pytest.approx(0.17, abs=2e-3)
    beyond = [p_at(size) for size in bound * np.linspace(1.01, 1.6, 25)]
    assert max(beyond) < 0.172


class _ClosesForFew:
    """A way on which few simulated trials reject far places and many reject none."""

    readings, confidence = 40.0, 0.95

    def margin(self, at, simulations):
        far = 0.5 if simulations <= 1999 else -0.2
        return far if at > 5.0 else -0.5


def test_a_bound_that_only_few_trials_close_is_none_and_the_search_ends():
    """It went on outwards for ever where all trials rejected no place that few had rejected."""
    assert farthest_kept(_ClosesForFew(), 19_999) is None
    assert farthest_kept(_ClosesForFew(), 1_999).at == pytest.approx(5.0, rel=1e-3)
