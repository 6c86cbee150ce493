"""Censored normal regression against R, certified values of NIST, and lifelines.

Data, certified values and fits, each with its source, stand in `data/censored_regression.json`.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from qualify.pod.response_design import fit_censored

DATA = Path(__file__).parent / "data"
SETS = json.loads((DATA / "censored_regression.json").read_text())
TOBIN, NIST, REMISSION = SETS["tobin"], SETS["nist"], SETS["remission"]


@pytest.mark.parametrize("name", ["gaussian", "two_sided"])
def test_tobin_1958_agrees_with_r(name):
    """Expenditure on durable goods, left-censored at 0; `two_sided`: also at 10 and more, ours.

    To 1e-8, where R's survreg stopped.
    """
    y = np.array(TOBIN["durable"])
    code = np.where(y == 0.0, -1, 0)
    if name == "two_sided":
        code, y = np.where(y >= 10.0, 1, code), np.minimum(y, 10.0)
    design = np.column_stack([np.ones_like(y), TOBIN["age"], TOBIN["quant"]])
    fit, known = fit_censored(design, y, code.astype(np.int8)), TOBIN[name]
    assert fit.coefficients == pytest.approx(known["coef"], rel=1e-8)
    assert fit.sigma == pytest.approx(known["scale"], rel=1e-8)
    np.testing.assert_allclose(fit.covariance, known["vcov_incl_logscale"], rtol=1e-8)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-10)
    assert 8.0 - 2.0 * fit.log_likelihood == pytest.approx(known["aic"], rel=1e-10)
    assert fit.residual_sum is None


def design_of(name):
    x = np.array(NIST[name]["x"])
    if name == "wampler1":
        return x ** np.arange(6)
    return x if name.startswith("noint") else np.column_stack([np.ones(len(x)), x])


@pytest.mark.parametrize(
    ("name", "tolerance"), [("norris", 1e-11), ("noint1", 1e-13), ("noint2", 1e-13),
                            ("longley", 1e-9), ("wampler1", 1e-8)])  # fmt: skip
def test_least_squares_reaches_the_certified_values_of_nist(name, tolerance):
    """Tolerance: condition of the scaled columns (4000 Longley, 10^4 Wampler) times rounding."""
    design, y, known = design_of(name), np.array(NIST[name]["y"]), NIST[name]["certified"]
    fit = fit_censored(design, y)
    free = len(y) - design.shape[1]
    sigma = np.sqrt(fit.residual_sum / free)
    assert fit.coefficients == pytest.approx(known["coef"], rel=tolerance)
    assert sigma == pytest.approx(known["sigma"], rel=tolerance, abs=1e-8)
    if known["sigma"] == 0.0:
        return
    assert fit.sigma == pytest.approx(sigma * np.sqrt(free / len(y)), rel=1e-13)
    errors = np.sqrt(np.diag(fit.covariance)[:-1] * len(y) / free)
    assert errors == pytest.approx(known["se"], rel=tolerance)


def test_least_squares_has_the_covariance_and_likelihood_of_r():
    """The uncensored set of `data/responses_r.json` (invented; R 4.2.2), log sigma included."""
    one = json.loads((DATA / "responses_r.json").read_text())["uncensored"]
    x = np.log(one["size"])
    fit = fit_censored(np.column_stack([np.ones_like(x), x]), np.log(one["response"]))
    np.testing.assert_allclose(
        fit.covariance, one["r"]["vcov_incl_logsigma"], rtol=1e-8, atol=1e-14
    )
    assert fit.log_likelihood == pytest.approx(one["r"]["loglik"], rel=1e-10)


def test_a_right_censored_log_normal_fit_agrees_with_lifelines():
    """Weeks of remission (Freireich and others 1963), three columns, against lifelines 0.30.3.

    Its optimiser (tolerance 1e-12 of the mean log-likelihood) stops within 3e-5 standard errors of
    the maximum, where the likelihood is flat to 1e-9; hence 2e-5 for parameters and 1e-4 for
    variances, and its likelihood may not lie above ours. It takes the density of t, not of log t.
    """
    known = REMISSION["lifelines"]
    t, seen = np.array(REMISSION["t"], dtype=float), np.array(REMISSION["status"]) == 1
    columns = [REMISSION["Rx"], REMISSION["logWBC"], REMISSION["sex"], np.ones_like(t)]
    fit = fit_censored(np.column_stack(columns), np.log(t), np.where(seen, 0, 1).astype(np.int8))
    assert [*fit.coefficients, np.log(fit.sigma)] == pytest.approx(known["params"], abs=2e-5)
    np.testing.assert_allclose(np.diag(fit.covariance), known["variances"], rtol=1e-4)
    height = fit.log_likelihood - np.log(t[seen]).sum()
    assert height == pytest.approx(known["log_likelihood"], abs=1e-8)
    assert height >= known["log_likelihood"] - 1e-12


def test_too_few_exact_rows_are_refused():
    with pytest.raises(ValueError, match="1 exact rows for 2 columns"):
        fit_censored(np.ones((3, 2)), [1.0, 2.0, 3.0], np.array([0, 1, -1], dtype=np.int8))
