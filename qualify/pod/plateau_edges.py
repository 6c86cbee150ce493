"""Likelihood-ratio tests of a plateau of 1 and of a floor of 0.

The hypotheses 'plateau 1' and 'floor 0' lie on the edge of what the parameters may be, so that
the likelihood-ratio statistic follows a 50:50 mixture of 0 and chi-square with 1 degree of freedom
(Self and Liang 1987, Journal of the American Statistical Association 82, 605-610, case 5, from
memory), in large samples, and with the other limit not itself at its edge.
`qualify.pod.plateau_bootstrap` needs neither.

In small trials the mixture is not to be trusted when the floor is free too. Our own simulation
(logit curve in log size, slope 3, sizes 0.5 to 8, half found at 1.6, 600 trials): the test of
'plateau = 1' at 5 % rejected a true plateau of 1 in 15 % of trials of 60 targets, 11 % of 120 and
7 % of 400; with the floor held at 0 in 6, 4 and 3 %, with 60 to 200 blanks in 7 to 9 % (of 60
targets). The bootstrap rejected in 3 % of 200 trials of 60 targets.
"""

from dataclasses import dataclass

from scipy import special

from qualify.pod.mixture_fits import Best, best
from qualify.pod.plateau_bounds import Climate

LEAST_GAIN = 1e-6  # of log-likelihood: a smooth curve must beat the flat one and every step by it
CALLED_BLANKS = "calls on blanks show by themselves that the floor is not 0"


@dataclass(frozen=True, slots=True)
class EdgeTest:
    """Likelihood-ratio test of a limit at its edge.

    Attributes
    ----------
    hypothesis : `plateau = 1` or `floor = 0`.
    statistic : twice the log-likelihood gained by freeing the limit, or None.
    p_value : by the 50:50 mixture of 0 and chi-square with 1 degree of freedom, or None.
    reason : why there is none, else None.
    """

    hypothesis: str
    statistic: float | None
    p_value: float | None
    reason: str | None


def _edge_test(hypothesis: str, free: float, held: float | None, reason: str | None) -> EdgeTest:
    if held is None or reason is not None:
        return EdgeTest(hypothesis, None, None, reason)
    statistic = max(0.0, 2.0 * (free - held))
    if statistic < 2.0 * LEAST_GAIN:
        return EdgeTest(hypothesis, 0.0, 1.0, None)
    return EdgeTest(hypothesis, statistic, float(special.chdtrc(1.0, statistic) / 2.0), None)


def plateau_test(
    climate: Climate, found: Best, curve: Best, held: float | None, reason: str | None
) -> EdgeTest:
    """Test 'plateau = 1'; `found` is the free fit, `curve` the two-parameter one."""
    height, name = float(found.height[0]), "plateau = 1"
    if reason is not None:
        return _edge_test(name, height, None, reason)
    if found.values[0, 1] == 1.0:  # freeing it gained nothing
        return _edge_test(name, height, height, None)
    bound = best(climate.counts, climate.link, held, 1.0, curve, found.values)
    return _edge_test(name, height, float(bound.height[0]), None)


def floor_test(
    climate: Climate, found: Best, curve: Best, held: float | None, reason: str | None
) -> EdgeTest:
    """Test 'floor = 0'; `found` is the free fit, `curve` the two-parameter one."""
    height, name = float(found.height[0]), "floor = 0"
    if reason is None and held is not None:
        reason = "the floor was held, not estimated"
    elif reason is None and climate.counts.called[0] > 0:
        reason = CALLED_BLANKS
    if reason is not None:
        return _edge_test(name, height, None, reason)
    if found.values[0, 0] == 0.0:
        return _edge_test(name, height, height, None)
    bound = best(climate.counts, climate.link, 0.0, None, curve, found.values)
    return _edge_test(name, height, float(bound.height[0]), None)
