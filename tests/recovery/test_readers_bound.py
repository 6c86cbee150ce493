"""How often the bound of several readers holds: 60 targets, readings that go together.

Flaws of one size differ by 0.30, readers by 0.15, in ln size; curves with a50 1.5 or 2.2 and a90
3.0 of one reader on one target; the truth is the mean over flaws and these readers (or over the
class). The true trials come from another model (logistic with normal shifts) than the bound uses.
"""

import numpy as np
import pytest

from qualify.pod.reader_holds import ReaderTruth, count_readers

X = np.log(0.5) + np.log(16.0) * (np.arange(60) + 0.5) / 60
REPLICATES = 2000


def truth(a50: float) -> ReaderTruth:
    """Return the true curve through a50 and a90 = 3 on log size."""
    slope = np.log(9.0) / np.log(3.0 / a50)
    return ReaderTruth("logit", -slope * np.log(a50), slope, 0.30, 0.15)


@pytest.mark.parametrize(("a50", "readers"), [(1.5, 3), (2.2, 5)])
def test_bound_for_these_readers_holds_in_93_to_97_of_100(a50: float, readers: int) -> None:
    """2,000 trials (standard error .005); readings taken for targets hold less often."""
    held, naive = count_readers(
        X, readers, truth(a50), "these_readers", replicates=REPLICATES, seed=1
    )
    assert 0.93 <= held.share <= 0.97
    assert naive.share < held.share - 0.02
    if readers == 5:
        assert naive.share < 0.85


def test_bound_for_a_new_reader_holds_at_least_as_often_as_it_says() -> None:
    """Of a class, from five readers: 93 of 100 or more; the naive bound in fewer than 82."""
    held, naive = count_readers(X, 5, truth(2.2), "new_reader", replicates=600, seed=1)
    assert held.share >= 0.93
    assert naive.share < 0.82
