"""Holm's adjustment of a declared family of p-values.

Source: Holm 1979, Scandinavian Journal of Statistics 6, 65-70. From memory; checked in
`tests/published` against statsmodels.
"""

from collections.abc import Sequence


def holm(p_values: Sequence[float | None]) -> list[float | None]:
    """Return adjusted p in the order given; a missing one stays missing but counts in the family.

    A test that could not be made was planned all the same: it takes its share of the error.
    """
    there = sorted((p, i) for i, p in enumerate(p_values) if p is not None)
    adjusted: list[float | None] = [None] * len(p_values)
    highest = 0.0
    for rank, (p, i) in enumerate(there):
        highest = max(highest, min(1.0, (len(p_values) - rank) * p))
        adjusted[i] = highest
    return adjusted
