"""A bound that stands beside the one reported, so that a reader sees what other methods give."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from qualify.pod.problem import Side

ContrastName: TypeAlias = Literal[
    "independent_wald", "clustered_wald", "whole_target_bootstrap", "marginal_random_intercept"
]

CONTRAST_WORDS: dict[ContrastName, str] = {
    "independent_wald": "delta method (Wald), every reading taken as a target of its own",
    "clustered_wald": "delta method (Wald) with cluster-robust covariance, clusters the targets",
    "whole_target_bootstrap": "bootstrap of whole targets, percentile",
    "marginal_random_intercept": "random intercept of targets, averaged over targets; estimate",
}
NO_RISE = "POD does not rise with size in these readings: no size can be given"


@dataclass(frozen=True, slots=True)
class Contrast:
    """A one-sided bound on a size with given POD, not for claims.

    Attributes
    ----------
    value : in the caller's size unit, or None.
    reason : in words when there is no value, else None.
    method : a name of `CONTRAST_WORDS`.
    side : `upper` or `lower`.
    """

    value: float | None
    reason: str | None
    method: ContrastName
    side: Side
