"""What the data allow is decided before the fit, and said in words."""

import json
from pathlib import Path

import pytest

from qualify.pod.along import pod_lower_bound_at, size_upper_bounds
from qualify.pod.hit_miss import curve, fit_hit_miss

SETS = json.loads(
    (Path(__file__).parents[1] / "published" / "data" / "hit_miss_sets.json").read_text()
)
FIGURES = ("intercept", "slope", "covariance", "log_likelihood", "a50", "a90", "aic")


def fit_set(name, **more):
    return fit_hit_miss(SETS[name]["size"], SETS[name]["hits"], SETS[name]["trials"], **more)


@pytest.mark.parametrize(
    ("sizes", "hits", "outcome"),
    [
        ([1, 2, 3, 4, 5, 6], [0, 0, 0, 1, 1, 1], "separated"),
        ([1, 2, 3, 3, 5, 6], [0, 0, 0, 1, 1, 1], "quasi_separated"),
        ([1, 2, 3, 4, 5, 6], [1, 1, 1, 0, 0, 0], "decreasing"),
        ([1, 2, 3, 3, 5, 6], [1, 1, 1, 0, 0, 0], "decreasing"),
        ([1, 2, 3, 4, 5, 6], [1, 1, 0, 1, 0, 0], "decreasing"),
        ([1, 2, 2, 1, 1, 2], [1, 1, 0, 0, 1, 1], "decreasing"),
        ([1, 2, 3, 4, 5, 6], [1] * 6, "all_hit"),
        ([1, 2, 3, 4, 5, 6], [0] * 6, "all_missed"),
        ([1, 2, 3, 4], [0, 1, 0, 1], "too_few"),
        ([2] * 6, [0, 1, 0, 1, 1, 1], "too_few"),
        ([1, 2, 3, 4, 5, 6], [0, 0, 1, 0, 1, 1], "fitted"),
    ],
)
def test_outcomes(sizes, hits, outcome):
    fit = fit_hit_miss(sizes, hits)
    if sizes == [1, 2, 2, 1, 1, 2]:  # equal shares at both sizes: no rise at all
        assert fit.slope_lr == pytest.approx(0.0, abs=1e-12)
    assert fit.outcome == outcome
    if outcome != "fitted":
        assert (fit.a50, fit.a90) == (None, None)
        assert outcome in [notice.code for notice in fit.notices]
        for name, pair in fit.bounds.items():
            if name == "calibrated" and outcome.endswith("separated"):
                continue
            assert pair["upper"].value is pair["lower"].value is None
            assert pair["upper"].reason


@pytest.mark.parametrize("name", ["invented_separated", "invented_quasi_separated"])
@pytest.mark.parametrize("link", ["logit", "probit", "cloglog", "loglog"])
def test_separated_sets_give_no_curve_but_a_calibrated_bound(name, link):
    """The bound lies beyond the smallest hit: up to there no curve is excluded."""
    fit = fit_set(name, link=link, simulations=999)
    assert fit.outcome == name.removeprefix("invented_")
    assert [getattr(fit, figure) for figure in FIGURES] == [None] * len(FIGURES)
    assert "far less often than it says" in fit.bounds["likelihood"]["upper"].reason
    assert fit.a90_95 > fit.smallest_hit
    assert fit.a90_lower_95 < fit.largest_miss


def test_separation_names_the_gap():
    fit = fit_set("invented_separated")
    assert (fit.largest_miss, fit.smallest_hit) == (1.8, 2.1)
    text = fit.notices[0].text
    assert "up to 1.8 was missed" in text
    assert "from 2.1 was hit" in text


def test_grouped_rows_are_judged_by_their_trials():
    """A size with hits and misses overlaps with itself only."""
    assert fit_hit_miss([1, 2, 3], [0, 2, 5], [5, 4, 5]).outcome == "quasi_separated"
    assert fit_hit_miss([1, 2, 3], [1, 2, 5], [5, 4, 5]).outcome == "fitted"


def test_all_hit_gives_the_exact_lower_bound():
    """29 of 29: 0.05^(1/29) = 0.9019 (closed form)."""
    fit = fit_hit_miss([3.0] * 29, [1] * 29)
    assert fit.outcome == "all_hit"
    assert fit.all_hit_lower_bound == pytest.approx(0.05 ** (1 / 29), rel=1e-12)
    assert "90.2 %" in fit.notices[0].text


@pytest.mark.parametrize("ask", [curve, size_upper_bounds])
def test_no_curve_is_drawn_where_there_is_none(ask):
    with pytest.raises(ValueError, match="there is no POD curve: the outcome is separated"):
        ask(fit_set("invented_separated"), [0.5])


def test_a_lower_bound_of_pod_needs_no_curve_but_a_likelihood_bound_does():
    """Above the gap POD is shown to be more than one half; below it nothing is shown."""
    fit = fit_set("invented_separated")
    below, above = pod_lower_bound_at(fit, [0.9, 6.0])
    assert below < 0.05
    assert 0.5 < above < 1.0
    with pytest.raises(ValueError, match="there is no POD curve"):
        pod_lower_bound_at(fit, [6.0], method="likelihood")
    with pytest.raises(ValueError, match="there is no POD curve: the outcome is all_hit"):
        pod_lower_bound_at(fit_hit_miss([1, 2, 3, 4, 5], [1] * 5), [3.0])


@pytest.mark.parametrize(
    ("sizes", "hits", "trials", "more", "words"),
    [
        ([1, 0, 2], [0, 1, 1], None, {}, "a size is 0, which has no logarithm"),
        ([1, -1, 2], [0, 1, 1], None, {"scale": "linear"}, "a size is negative"),
        ([1, float("nan")], [0, 1], None, {}, "missing or not a finite number"),
        ([1, 2], [0, 2], None, {}, "hits must be 0 or 1"),
        ([1, 2], [0, float("nan")], None, {}, "a hit or trial is missing"),
        ([1, 2], [0, 4], [3, 3], {}, "hits must be whole, from 0 to trials"),
        ([1, 2], [0, 1.5], [3, 3], {}, "hits must be whole, from 0 to trials"),
        ([1, 2], [0, 0], [3, 0], {}, "trials must be whole numbers from 1"),
        ([1, 2, 3], [0, 1], None, {}, "2 numbers of hits for 3 sizes"),
        ([], [], None, {}, "at least one size"),
        ([1, 2], [0, 1], None, {"link": "cauchit"}, "link 'cauchit' is not known"),
        ([1, 2], [0, 1], None, {"scale": "root"}, "scale 'root' is not known"),
        ([1, 2], [0, 1], None, {"bound": "exact"}, "bound 'exact' is not known"),
        ([1, 2], [0, 1], None, {"confidence": 95}, "must lie between 0.5 and 1"),
    ],
)
def test_bad_input_is_refused_in_words(sizes, hits, trials, more, words):
    with pytest.raises(ValueError, match=words):
        fit_hit_miss(sizes, hits, trials, **more)


def test_size_zero_is_allowed_on_the_linear_scale():
    assert fit_hit_miss([0, 1, 2, 3, 4], [0, 0, 1, 0, 1], scale="linear").outcome == "fitted"


def test_small_sets_say_so_and_say_how_often_their_bound_holds():
    codes = {
        notice.code: notice.text for notice in fit_set("vaso_volume", bound="likelihood").notices
    }
    assert "39 trials: fewer than 60 targets" in codes["few_targets"]
    assert "91 to 94 %" in codes["bound_holds_less"]
    assert "few_targets" not in {notice.code for notice in fit_set("invented_n60").notices}
    assert "bound_holds_less" not in {n.code for n in fit_set("vaso_volume").notices}


def test_extrapolation_is_flagged():
    """Vasoconstriction by rate: a90 8.0 lies beyond the largest rate tested, 3.75."""
    fit = fit_set("vaso_rate")
    assert fit.extrapolated is True
    assert fit.a90 > fit.tested_range[1]
    assert "greater than 3.75" in {n.code: n.text for n in fit.notices}["extrapolated"]
    assert fit_set("invented_n120").extrapolated is False


def test_an_overlap_within_a_millionth_of_the_range_is_one_size():
    hits = [0, 0, 0, 1, 0, 1, 1, 1]
    assert fit_hit_miss([1, 2, 3, 4, 4 + 1e-7, 5, 6, 7], hits).outcome == "quasi_separated"
    assert fit_hit_miss([1, 2, 3, 4, 4.01, 5, 6, 7], hits).outcome == "fitted"
