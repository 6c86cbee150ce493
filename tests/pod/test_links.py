"""Links: inverse of each other, right derivatives, finite far out in both tails."""

import numpy as np
import pytest
from scipy import stats

from qualify.pod.links import LINK_NAMES, eta_of, link_named, pod_of, terms

ETAS = np.array([-30.0, -7.0, -6.5, -3.0, -0.4, 0.0, 0.7, 2.0, 3.5, 6.8, 7.2, 30.0])


@pytest.mark.parametrize(
    ("link", "distribution"),
    [
        ("logit", stats.logistic),
        ("probit", stats.norm),
        ("cloglog", stats.gumbel_l),
        ("loglog", stats.gumbel_r),
    ],
)
def test_each_link_is_the_distribution_scipy_knows(link, distribution):
    at = terms(link, ETAS)
    np.testing.assert_allclose(at.log_hit, distribution.logcdf(ETAS), rtol=1e-12, atol=1e-120)
    np.testing.assert_allclose(at.log_miss, distribution.logsf(ETAS), rtol=1e-12, atol=1e-120)
    inside = np.array([0.01, 0.3, 0.5, 0.9, 0.999])
    np.testing.assert_allclose(
        eta_of(link, inside), distribution.ppf(inside), rtol=1e-10, atol=1e-12
    )


@pytest.mark.parametrize("link", LINK_NAMES)
def test_derivatives_agree_with_differences(link):
    step = 1e-5
    up, at, down = (terms(link, ETAS[1:-1] + k * step) for k in (1, 0, -1))
    for value, slope, bend in (
        ("log_hit", "hit_slope", "hit_bend"),
        ("log_miss", "miss_slope", "miss_bend"),
    ):
        first = (getattr(up, value) - getattr(down, value)) / (2 * step)
        second = (getattr(up, slope) - getattr(down, slope)) / (2 * step)
        np.testing.assert_allclose(getattr(at, slope), first, rtol=1e-6, atol=1e-9)
        np.testing.assert_allclose(getattr(at, bend), second, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("link", LINK_NAMES)
@pytest.mark.filterwarnings("error")
def test_tails_stay_finite_and_concave(link):
    at = terms(link, np.array([-1e9, -1e4, -800.0, -40.0, 40.0, 800.0, 1e4, 1e9]))
    for name in ("log_hit", "log_miss", "hit_slope", "miss_slope", "hit_bend", "miss_bend"):
        assert np.all(np.isfinite(getattr(at, name))), name
    assert np.all(at.hit_bend <= 0.0)
    assert np.all(at.miss_bend <= 0.0)


def test_log_log_link_is_the_mirror_of_the_complementary_one():
    np.testing.assert_allclose(pod_of("loglog", ETAS), 1 - pod_of("cloglog", -ETAS), atol=1e-15)


@pytest.mark.parametrize("pod", [0.0, 1.0, -0.1, np.nan])
def test_pods_off_the_scale_are_refused(pod):
    with pytest.raises(ValueError, match="between 0 and 1"):
        eta_of("logit", pod)


def test_unknown_links_are_refused():
    with pytest.raises(ValueError, match="use one of logit, probit, cloglog, loglog"):
        link_named("cauchit")
