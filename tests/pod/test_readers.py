"""Pooled curves of several readers: the parts against scipy, the bound by what must hold."""

import numpy as np
import pytest
from scipy import optimize, stats

from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.links import LINK_NAMES, log_likelihood, pod_of
from qualify.pod.reader_effects import NODES, WEIGHTS, mean_level, spread_levels
from qualify.pod.reader_kernels import (
    SLOPE_PULL,
    draw_readings,
    fit_starts,
    normal_share,
    quantile_at,
    share_heights,
)
from qualify.pod.readers import ReadersFit, fit_readers
from qualify.pod.readers_beside import beside_readers
from qualify.pod.readers_table import ReadingsTable, readings_table

REPEATS = 100_000
FEW = 1_999  # simulated trials behind the bounds of these tests


def readings(seed: int = 3, *, readers: int = 3, shared: float = 0.7) -> ReadingsTable:
    """Invented readings of 60 targets; `shared` is the share of variance that is the target's."""
    rng = np.random.default_rng(seed)
    size = np.geomspace(0.5, 8.0, 60)
    hidden = np.sqrt(shared) * rng.normal(size=(60, 1))
    hidden = hidden + np.sqrt(1.0 - shared) * rng.normal(size=(60, readers))
    hits = 2.0 * np.log(size / 1.6)[:, None] > hidden
    names = [f"R{j + 1}" for j in range(readers)]
    rows = [(i, j) for i in range(60) for j in range(readers)]
    return readings_table(
        [size[i] for i, _ in rows],
        [float(hits[i, j]) for i, j in rows],
        [f"T{i}" for i, _ in rows],
        [names[j] for _, j in rows],
    )


@pytest.fixture(scope="module")
def fit() -> ReadersFit:
    """Return the fit of the invented readings."""
    return fit_readers(readings(), simulations=FEW)


def test_tables_agree_with_the_normal_distribution() -> None:
    """Against scipy, of the distribution and of the normal quantile of POD for all four links."""
    for z in np.linspace(-6.0, 6.0, 401):
        assert normal_share(float(z)) == pytest.approx(stats.norm.cdf(z), abs=1e-6)
    for number, link in enumerate(LINK_NAMES):
        for eta in np.linspace(-3.0, 3.0, 201):
            want = stats.norm.ppf(pod_of(link, np.array(eta)))
            assert quantile_at(number, float(eta)) == pytest.approx(float(want), abs=5e-5)


def test_readings_of_one_target_go_together_and_keep_their_pod() -> None:
    """Share of double hits against scipy's bivariate normal: 100,000 targets, within 4 errors."""
    quantile, trials = np.array([[0.4, -0.3]]), np.ones((1, 2))
    counts = np.zeros(3)
    hits, state, where = np.empty(1), np.uint64(7), np.zeros(1, dtype=np.int64)
    for _ in range(REPEATS):
        state = np.uint64(draw_readings(quantile, trials, where, 0.6, state, hits))
        counts[int(hits[0])] += 1
    both = stats.multivariate_normal([0, 0], [[1, 0.6], [0.6, 1]]).cdf([0.4, -0.3])
    mean = stats.norm.cdf(0.4) + stats.norm.cdf(-0.3)
    assert counts[2] / REPEATS == pytest.approx(both, abs=4 * np.sqrt(both / REPEATS))
    assert (counts[1] + 2 * counts[2]) / REPEATS == pytest.approx(mean, abs=0.01)


def test_likelihood_of_the_share_is_that_of_the_bivariate_normal() -> None:
    """Two readers, hit and hit, hit and miss: scipy's bivariate normal to 1e-5."""
    for rho in (0.2, 0.6, 0.9):
        law = stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]])
        both = float(law.cdf([0.7, 0.1]))
        want = [np.log(both), np.log(stats.norm.cdf(0.7) - both)]
        for calls, expected in zip(([1.0, 1.0], [1.0, 0.0]), want, strict=True):
            hits = np.array([calls])
            found = share_heights(
                np.array([[0.7, 0.1]]), hits, 1.0 - hits, np.array([rho]), NODES, WEIGHTS
            )
            assert found[0] == pytest.approx(expected, abs=1e-5)


def test_offsets_are_the_maximum_that_scipy_finds() -> None:
    """Starts and slope of the penalised likelihood, all four links, to 1e-4."""
    table = readings(5)
    t = np.log(table.size) - np.log(table.size).mean()
    for number, link in enumerate(LINK_NAMES):
        starts, slope, _ = fit_starts(number, t, table.hits, 1.0 - table.hits, 3.0)

        def short(p: np.ndarray, link: str = link) -> float:
            eta = p[:3] + p[3] * t[:, None]
            height = log_likelihood(link, eta, table.hits, 1.0 - table.hits).sum()
            pull = 1.5 * ((p[:3] - p[:3].mean()) ** 2).sum() + 0.5 * SLOPE_PULL * p[3] ** 2
            return float(pull - height)

        best = optimize.minimize(short, [0, 0, 0, 1], method="BFGS", options={"gtol": 1e-8}).x
        np.testing.assert_allclose([*starts, slope], best, atol=1e-4)


def test_levels_hold_the_mean_pod_at_what_is_asked() -> None:
    """The mean over readers, and over a normal class of readers (scipy quadrature), is 0.90."""
    offsets = np.array([-0.8, 0.1, 0.7])
    for link in LINK_NAMES:
        level = mean_level(link, offsets, 0.9)
        assert pod_of(link, level + offsets).mean() == pytest.approx(0.9, abs=1e-9)
    level = float(spread_levels("logit", 0.9)[10])  # a spread of 1
    law = stats.norm(0.0, 1.0)
    assert law.expect(lambda v: pod_of("logit", np.array(level + v))) == pytest.approx(
        0.9, abs=1e-7
    )


def test_bound_lies_beyond_that_of_readings_taken_for_targets(fit: ReadersFit) -> None:
    """With readings that go together; and a new reader is less sure than these readers."""
    assert fit.naive.value is not None
    assert fit.a90_95 is not None
    new = fit.new["upper"].value
    assert new is not None
    assert fit.a90 < fit.naive.value < fit.a90_95 < new
    assert fit.these["lower"].value < fit.a90
    assert 0.5 < fit.target_share < 0.9


def test_readers_who_agree_on_everything_are_worth_one() -> None:
    """The bound of three equal readers is that of one of them; of their spread nothing is told."""
    table = readings(8, readers=1 + 1, shared=0.7)
    hits = np.repeat(table.hits[:, :1], 3, axis=1)
    same = ReadingsTable(table.targets, ("A", "B", "C"), table.size, hits, np.ones_like(hits))
    together = fit_readers(same, simulations=FEW)
    one = fit_hit_miss(table.size, table.hits[:, 0])
    assert together.a90 == pytest.approx(one.a90, rel=1e-9)
    assert together.a90_95 == one.a90_95
    assert together.reader_spread is None
    assert together.naive.value < 0.95 * one.a90_95


def test_order_of_rows_and_unit_of_size_do_not_matter(fit: ReadersFit) -> None:
    """Readers and targets permuted, sizes in inches: the same fit."""
    table = readings()
    turned = ReadingsTable(
        table.targets[::-1],
        table.readers,
        table.size[::-1] / 25.4,
        np.ascontiguousarray(table.hits[::-1, :]),
        np.ascontiguousarray(table.trials[::-1, :]),
    )
    again = fit_readers(turned, simulations=FEW)
    assert again.a90 * 25.4 == pytest.approx(fit.a90, rel=1e-9)
    # targets are drawn in another order: the same within the error of the simulation
    assert again.a90_95 * 25.4 == pytest.approx(fit.a90_95, abs=5 * fit.these["upper"].error)


def test_two_readers_show_no_class_and_no_curve_no_bound() -> None:
    """What is not there is told in words."""
    two = fit_readers(readings(readers=2), simulations=FEW)
    assert two.new["upper"].value is None
    assert "2 readers who read half of the targets or more do not show" in two.new["upper"].reason
    table = readings()
    hit = ReadingsTable(table.targets, table.readers, table.size, table.trials.copy(), table.trials)
    all_hit = fit_readers(hit)
    assert all_hit.outcome == "all_hit"
    assert all_hit.a90_95 is None
    assert "no curve" in all_hit.these["upper"].reason


def test_one_size_a_target() -> None:
    """A target with two sizes is refused by name."""
    with pytest.raises(ValueError, match="target T2 has sizes 1 and 2"):
        readings_table([1, 1, 2, 1], [1, 0, 1, 0], ["T1", "T2", "T2", "T1"], ["A", "A", "B", "B"])


def test_what_stands_beside_is_smaller_and_called_a_contrast(fit: ReadersFit) -> None:
    """Typical target below average; cluster-robust and bootstrap bounds beyond the naive one."""
    beside = beside_readers(readings(), fit, "logit")
    assert beside.typical_a90 < beside.average_a90
    assert beside.average_a90 == pytest.approx(fit.a90, rel=0.12)
    assert fit.naive.value < beside.clustered.value
    assert beside.agreement.readers == 3
    assert 0.3 < beside.agreement.fleiss < 1.0
