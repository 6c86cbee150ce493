"""The curve with floor and plateau against R, and against R's two-parameter figures at the edge.

How R was used stands in `data/plateau_r.json`. R's optim stops at a relative change of the
log-likelihood of about 1e-8, so its parameters carry about 7 digits, its log-likelihood all.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from qualify.pod.mixture import mixture
from qualify.pod.mixture_fits import best, two_parameter
from qualify.pod.observations import observe
from qualify.pod.plateau import climate_of, fit_plateau

DATA = Path(__file__).parent / "data"
SETS = json.loads((DATA / "hit_miss_sets.json").read_text())
R_HIT_MISS = json.loads((DATA / "hit_miss_r.json").read_text())
LAPSES = json.loads((DATA / "plateau_r.json").read_text())["invented_lapses_n400"]
ONE = SETS["invented_lapses_n400"]


def test_floor_plateau_and_curve_agree_with_r_to_the_digits_r_supports():
    fit = fit_plateau(ONE["size"], ONE["hits"])
    found = (fit.floor, fit.plateau, fit.intercept, fit.slope, fit.a90.value)
    known = [LAPSES[key] for key in ("floor", "plateau", "b0", "b1", "ed90")]
    np.testing.assert_allclose(found, known, rtol=1e-7)


def test_log_likelihood_is_not_lower_than_r_s():
    fit = fit_plateau(ONE["size"], ONE["hits"])
    assert fit.log_likelihood >= LAPSES["loglik"] - 1e-10
    assert fit.log_likelihood == pytest.approx(LAPSES["loglik"], abs=1e-10)
    assert fit.two_parameter_log_likelihood == pytest.approx(LAPSES["loglik_2par"], abs=1e-9)
    assert fit.lr_two_parameter == pytest.approx(LAPSES["lr_vs_2par"], abs=1e-8)
    assert fit.aic == pytest.approx(8 - 2 * LAPSES["loglik"], abs=1e-9)


def test_observed_information_agrees_with_r_s_numeric_hessian():
    """R differentiates numerically: 5 digits are what its Hessian supports."""
    climate = climate_of(observe(ONE["size"], ONE["hits"], None, "log"), 0, 0, "logit")
    found = best(climate.counts, "logit", None, None, two_parameter(climate.counts, "logit"))
    a, top, b0, b1 = found.values[0]
    likelihood = mixture(climate.counts, "logit", mirrored=False)
    point = np.array([[a, (top - a) / (1 - a), b0, b1]])
    covariance = np.linalg.inv(likelihood(point, np.arange(1))[2][0])
    w = point[0, 1]
    c, s = climate.centre, climate.spread
    # from (a, w, b0, b1 of t) to (logit floor, logit plateau, intercept, slope of x)
    to = np.array(
        [
            [1 / (a * (1 - a)), 0, 0, 0],
            [(1 - w) / (top * (1 - top)), (1 - a) / (top * (1 - top)), 0, 0],
            [0, 0, 1, -c / s],
            [0, 0, 0, 1 / s],
        ]
    )
    np.testing.assert_allclose(to @ covariance @ to.T, LAPSES["vcov_working"], rtol=1e-4)


@pytest.mark.parametrize("key", ["x.logit", "logx.logit", "x.probit", "logx.probit"])
def test_with_both_limits_at_their_edge_the_figures_are_r_s_of_the_plain_curve(key):
    """Menarche: nothing speaks for a floor or a plateau; R's GLM and likelihood bound."""
    one, known = SETS["menarche"], R_HIT_MISS["menarche"][key]
    scale, link = key.split(".")
    scale = "log" if scale == "logx" else "linear"
    fit = fit_plateau(one["size"], one["hits"], one["trials"], link=link, scale=scale)
    assert (fit.floor, fit.plateau) == (0.0, 1.0)
    np.testing.assert_allclose((fit.intercept, fit.slope), known["coef"], rtol=1e-9)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-11)
    assert fit.a90.value == pytest.approx(known["ed90"], rel=1e-10)
    assert fit.a90_95.value == pytest.approx(known["ed90_upper95_lr"], rel=1e-8)


@pytest.mark.parametrize("name", ["menarche", "vaso_rate", "invented_n60", "invented_n120"])
@pytest.mark.parametrize("key", ["logx.logit", "x.probit", "logx.cloglog", "x.loglog"])
def test_limits_held_at_0_and_1_give_r_s_two_parameter_likelihood(name, key):
    one, (scale, link) = SETS[name], key.split(".")
    seen = observe(one["size"], one["hits"], one["trials"], "log" if scale == "logx" else "linear")
    held = two_parameter(climate_of(seen, 0, 0, link).counts, link)
    known = R_HIT_MISS[name][key]["loglik"]
    assert held.height[0] + seen.constant == pytest.approx(known, rel=1e-11)
