"""Sizing error and tolerance factors against R, Bland and Altman, and NIST."""

import json
from pathlib import Path

import pytest

from qualify.sizing.error import sizing_error
from qualify.sizing.tolerance import one_sided_factor, two_sided_factor

R = json.loads((Path(__file__).parent / "data" / "sizing_r.json").read_text())
NINE = {"rel": 1e-9}  # R integrates and solves to about 1e-12


@pytest.mark.parametrize("share", [95, 90])
def test_tolerance_factors_agree_with_r(share):
    """n = 5 to 100, confidence 95 %."""
    for row in R["two_sided_factors"]:
        known = row[f"k_{share}_95"]
        assert two_sided_factor(row["n"], share=share / 100) == pytest.approx(known, **NINE)
    for row in R["one_sided_factors"]:
        known = row[f"k_{share}_95"]
        assert one_sided_factor(row["n"], share=share / 100) == pytest.approx(known, **NINE)
    assert len(R["two_sided_factors"]) == len(R["one_sided_factors"]) == 96


def test_factors_of_the_nist_handbook_example():
    """NIST/SEMATECH e-Handbook 7.2.6.3, n = 43, 90 % with 99 % confidence.

    From memory: one-sided 1.8740 by the non-central t, two-sided 2.217 by Howe's
    approximation; the exact two-sided value, 0.3 % higher, is from R.
    """
    known = R["n43_share90_confidence99"]
    one = one_sided_factor(43, share=0.9, confidence=0.99)
    two = two_sided_factor(43, share=0.9, confidence=0.99)
    assert one == pytest.approx(known["k1_n43_p90_c99"], **NINE)
    assert two == pytest.approx(known["k2_n43_p90_c99_exact"], **NINE)
    assert one == pytest.approx(1.8740, abs=5e-5)
    assert two == pytest.approx(2.217, rel=3e-3)


def test_factor_for_17_values_is_not_1_96():
    """R: 2.868 for n = 17."""
    assert round(two_sided_factor(17), 3) == 2.868


def test_bland_and_altman_1986():
    """Published: mean difference -2.1, SD 38.8; digits beyond from R."""
    known = R["bland_altman"]
    found = sizing_error(known["mini"], known["large"])
    assert round(found.bias, 1) == -2.1
    assert round(found.sd, 1) == 38.8
    assert found.bias == pytest.approx(known["mean"], **NINE)
    assert found.sd == pytest.approx(known["sd"], **NINE)
    assert found.bias_ci == pytest.approx(known["mean_ci95"], **NINE)
    assert found.tolerance == pytest.approx(known["tol_95_95"], **NINE)


def test_forty_invented_notches_agree_with_r():
    known = R["invented_n40"]
    found = sizing_error(known["true"], known["reported"], unsized=3)
    assert (found.n, found.unsized) == (40, 3)
    assert found.bias == pytest.approx(known["bias"], **NINE)
    assert found.sd == pytest.approx(known["sd"], **NINE)
    assert found.rmse == pytest.approx(known["rmse"], **NINE)
    assert found.bias_ci == pytest.approx(known["bias_ci95"], **NINE)
    assert found.sd_ci == pytest.approx(known["sd_ci95"], **NINE)
    assert found.tolerance == pytest.approx(known["tol_two_sided_95_95"], **NINE)
    assert found.undersizing_bound == pytest.approx(known["lower_tol_one_sided_95_95"], **NINE)
