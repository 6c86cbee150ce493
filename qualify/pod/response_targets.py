"""Several responses of one target: the share of variance that they have in common.

Rows of one target share an effect: z = sqrt(rho) u + sqrt(1 - rho) e, both standard normal, u one
for each target. rho is the value of highest likelihood with the line held fixed, where the effect
is integrated by Gauss and Hermite's rule for targets with a censored row, and in closed form for
the others.

Source: Searle, Casella and McCulloch 1992, Variance Components, chapter 3, for the normal
likelihood of a group (from memory); checked in `tests/pod` against a multivariate normal of scipy.
"""

import numpy as np
from scipy import optimize, special

from qualify.pod.links import Array, Indices
from qualify.pod.response_curve import weights
from qualify.pod.response_kernels import Codes
from qualify.pod.responses import Responses

NODES = 31
MOST = 0.999
LEAST = 1e-4  # a smaller share counts as none


def shared_variance(
    data: Responses, theta: float, slope: float, level: float, growth: float = 0.0
) -> float:
    """Return rho, 0 where no target is repeated.

    Parameters
    ----------
    data : responses, rows of one target in one group.
    theta, slope, level, growth : of the line, in standardised units.
    """
    if not data.repeated:
        return 0.0
    w = weights(data.t, growth)
    z = w * (theta * data.y - level - slope * data.t)
    groups = [np.flatnonzero(data.group == g) for g in range(data.targets)]

    def lost(rho: float) -> float:
        return -group_log_likelihood(z, data.code, groups, rho)

    found = optimize.minimize_scalar(lost, bounds=(0.0, MOST), method="bounded",
                                     options={"xatol": 1e-6})  # fmt: skip
    rho = float(found.x)
    return 0.0 if rho < LEAST or lost(rho) >= lost(0.0) else rho


def group_log_likelihood(z: Array, code: Codes, groups: list[Indices], rho: float) -> float:
    """Log-likelihood of standardised residuals z (rows,) whose groups share rho of the variance."""
    total = 0.0
    for rows in groups:
        exact = z[rows[code[rows] == 0]]
        k, own = exact.size, 1.0 - rho
        # exact rows: covariance own I + rho J; given them, the effect is normal again
        spread = own + k * rho
        quad = (exact @ exact - rho * exact.sum() ** 2 / spread) / own
        total -= 0.5 * (k * np.log(2.0 * np.pi) + (k - 1) * np.log(own) + np.log(spread) + quad
                        ) if k else 0.0  # fmt: skip
        rest = rows[code[rows] != 0]
        if rest.size:
            mean, variance = np.sqrt(rho) * exact.sum() / spread, own / spread
            total += _censored(z[rest], code[rest], rho, mean if k else 0.0,
                               variance if k else 1.0)  # fmt: skip
    return float(total)


def _censored(z: Array, code: Codes, rho: float, mean: float, variance: float) -> float:
    """Log of the mean, over the effect, of the probabilities of the censored rows."""
    nodes, share = np.polynomial.hermite_e.hermegauss(NODES)
    effect = mean + np.sqrt(variance) * nodes
    side = np.where(code < 0, 1.0, -1.0)
    each = special.log_ndtr(side * (z - np.sqrt(rho) * effect[:, None]) / np.sqrt(1.0 - rho))
    return float(special.logsumexp(each.sum(axis=1), b=share / share.sum()))
