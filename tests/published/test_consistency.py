"""Consistency of readers against published examples and statsmodels."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats import inter_rater

from qualify.pod.consistency import (
    agreement,
    agreement_of_counts,
    between_readers,
    cohens_kappa,
    fleiss_kappa,
)

# Fleiss 1971, table 1: six psychiatrists, 30 patients, five categories; as in the tests of
# statsmodels 0.14 (one string a patient, one figure a psychiatrist)
FLEISS_1971 = """444444 222555 233335 555555 222444 113333 333355 113334 114444 555555 144444 124444
222333 144444 224445 333335 111455 111112 224444 133555 555555 244444 224555 114444 144445 222224
111155 224444 133333 555555"""


def test_kappa_of_a_textbook_table():
    """50 cases, 20 yes-yes, 5, 10, 15 no-no: kappa 0.40; textbook example, from memory."""
    found = agreement_of_counts([[20, 5], [10, 15]])
    assert found.kappa == pytest.approx(0.4, abs=1e-12)
    assert found.share == pytest.approx(0.7, abs=1e-12)


def test_kappa_and_its_error_of_two_psychiatrists():
    """Fleiss, Levin and Paik, chapter 18, table 18.1, from memory: kappa 0.676, error 0.087."""
    kappa, error = cohens_kappa([[75, 1, 4], [5, 4, 1], [0, 0, 10]])
    assert kappa == pytest.approx(0.676, abs=5e-4)
    assert error == pytest.approx(0.087, abs=2e-3)


@pytest.mark.parametrize("table", [[[20, 5], [10, 15]], [[60, 3], [1, 9]], [[2, 9], [8, 1]]])
def test_kappa_is_that_of_statsmodels(table):
    """Kappa, standard error and interval to 1e-12; the interval cut to -1..1."""
    ours, theirs = agreement_of_counts(table), inter_rater.cohens_kappa(np.array(table))
    assert ours.kappa == pytest.approx(theirs.kappa, rel=1e-12)
    assert ours.kappa_error == pytest.approx(theirs.std_kappa, rel=1e-12)
    assert ours.kappa_low == pytest.approx(max(-1.0, theirs.kappa_low), rel=1e-12)
    assert ours.kappa_high == pytest.approx(min(1.0, theirs.kappa_upp), rel=1e-12)


def test_kappa_of_several_is_that_of_fleiss():
    """Fleiss 1971: kappa 0.430 for the diagnoses; statsmodels to 1e-12."""
    counts = np.array([[one.count(str(k)) for k in range(1, 6)] for one in FLEISS_1971.split()])
    assert fleiss_kappa(counts) == pytest.approx(0.430, abs=5e-4)
    assert fleiss_kappa(counts) == pytest.approx(inter_rater.fleiss_kappa(counts), rel=1e-12)
    with pytest.raises(ValueError, match="same number of readings"):
        fleiss_kappa([[1, 2], [2, 2]])


def test_second_reading_beside_the_first():
    """Share with the exact interval of scipy, direction by the exact binomial test."""
    first = np.array([1] * 40 + [0] * 20)
    second = np.array([1] * 38 + [0] * 2 + [1] * 11 + [0] * 9)
    found = agreement(first, second)
    assert (found.both, found.first_only, found.second_only, found.neither) == (38, 2, 11, 9)
    interval = stats.binomtest(47, 60).proportion_ci(0.95, "exact")
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-12)
    assert found.change_p == pytest.approx(stats.binomtest(2, 13).pvalue, rel=1e-12)
    assert "more called the second time" in found.change_words
    turned = agreement(second, first)
    assert turned.kappa == pytest.approx(found.kappa, rel=1e-12)
    assert "fewer called the second time" in turned.change_words
    with pytest.raises(ValueError, match="one each a target"):
        agreement([1, 0], [1])


def test_no_kappa_where_all_is_alike_and_no_target_at_all():
    alike = agreement([1, 1, 1], [1, 1, 1])
    assert (alike.kappa, alike.kappa_low, alike.share) == (None, None, 1.0)
    assert "beyond chance" in alike.reason
    assert alike.low == pytest.approx(0.025 ** (1 / 3), rel=1e-12)
    none = agreement([], [])
    assert (none.share, none.reason) == (None, "no target was read twice")


def test_readers_with_each_other():
    """Three readers: pairs by name, Fleiss of all; two readers of unequal habits."""
    rng = np.random.default_rng(4)
    calls = {name: (rng.random(30) < 0.6).astype(int) for name in "ABC"}
    found = between_readers(calls)
    assert list(found.pairs) == [("A", "B"), ("A", "C"), ("B", "C")]
    table = np.column_stack(list(calls.values()))
    theirs = inter_rater.fleiss_kappa(inter_rater.aggregate_raters(table)[0])
    assert found.fleiss == pytest.approx(theirs, rel=1e-12)
    assert found.alike == int(np.sum(np.ptp(table, axis=1) == 0))
    with pytest.raises(ValueError, match="two readers"):
        between_readers({"A": [1, 0]})
