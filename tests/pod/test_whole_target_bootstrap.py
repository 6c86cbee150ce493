"""Whole targets drawn anew, beside plain refits and the bootstrap of single readings."""

import json
from pathlib import Path

import numpy as np
import pytest

from qualify.pod.engine import fit_curves
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.links import eta_of
from qualify.pod.observations import observe
from qualify.pod.other_bounds import bootstrap_bound
from qualify.pod.problem import sized_hits
from qualify.pod.whole_target_bootstrap import _drawn, whole_target_bootstrap

DATA = json.loads((Path(__file__).parents[1] / "published/data/readers_r.json").read_text())
READ = DATA["inspectors"]
HOW = {"link": "logit", "scale": "log"}


def test_it_is_the_percentile_of_plain_refits_of_resampled_targets():
    """The same draws of targets, all readings listed out and fitted: bound to 1e-6."""
    found = whole_target_bootstrap(READ["size"], READ["hit"], READ["target"], **HOW, resamples=199)
    size, hits = (np.array(READ[name], dtype=float).reshape(50, 4) for name in ("size", "hit"))
    place = np.searchsorted(np.unique(size[:, 0]), size[:, 0])
    a90 = []
    for drawn in _drawn(place, 1, 199, 3).astype(int):
        x, h = (np.repeat(rows, drawn, axis=0).ravel() for rows in (np.log(size), hits))
        fit = fit_curves(x, h, 1, "logit")
        a90.append(np.exp((eta_of("logit", 0.9) - fit.intercept[0]) / fit.slope[0]))
    rank = int(np.ceil(0.95 * 200)) - 1
    assert found.upper.value == pytest.approx(np.sort(a90)[rank], rel=1e-6)
    assert found.lower.value == pytest.approx(np.sort(a90)[::-1][rank], rel=1e-6)
    assert (found.not_rising, found.not_overlapping, found.targets) == (0.0, 0.0, 50)


def test_each_third_keeps_its_number_of_targets():
    drawn = _drawn(np.arange(50), 3, 500, 3)
    for part in np.array_split(np.arange(50), 3):
        assert set(drawn[:, part].sum(axis=1)) == {float(len(part))}
    assert drawn.std(axis=0).min() > 0.8


def test_with_one_reading_a_target_it_is_the_bootstrap_of_readings():
    """One stratum, one reading a target: the percentile of `other_bounds`, to 3 % of chance."""
    size, hit = READ["size"][::4], READ["hit"][::4]
    own = whole_target_bootstrap(size, hit, range(50), **HOW, resamples=9999, strata=1)
    data = sized_hits(observe(size, hit, None, "log"), "logit")
    other = bootstrap_bound(data, 0.9, 0.95, "upper", resamples=9999)
    assert own.upper.value == pytest.approx(other.value, rel=0.03)


def test_four_readings_of_a_target_do_not_count_as_four_targets():
    """Every reading four times over: the same bound as once, where readings apart say less."""
    size, hit = READ["size"][::4], READ["hit"][::4]
    once = whole_target_bootstrap(size, hit, range(50), **HOW)
    four = whole_target_bootstrap(
        np.repeat(size, 4), np.repeat(hit, 4), np.repeat(range(50), 4), **HOW
    )
    assert four.upper.value == pytest.approx(once.upper.value, rel=1e-6)
    naive = fit_hit_miss(np.repeat(size, 4), np.repeat(hit, 4), bound="likelihood")
    assert naive.a90_95 < 0.9 * four.upper.value


def test_resamples_without_a_rising_curve_are_kept():
    """A flat set: infinite resamples in the tail leave no upper bound, with the reason."""
    size = np.repeat(np.linspace(1, 3, 20), 3)
    hit = np.tile([0, 1, 1, 1, 0, 1], 10)
    found = whole_target_bootstrap(size, hit, np.repeat(range(20), 3), **HOW, strata=1)
    assert found.not_rising > 0.2
    assert found.upper.value is None
    assert "does not rise" in found.upper.reason
    with pytest.raises(ValueError, match="two sizes"):
        whole_target_bootstrap([1, 2, 3, 3], [0, 1, 0, 1], [1, 1, 2, 2], **HOW)
