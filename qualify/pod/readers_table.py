"""Readings of several readers checked, and brought into a table of targets and readers."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.links import Array
from qualify.pod.observations import checked_scale, checked_sizes


@dataclass(frozen=True, slots=True)
class ReadingsTable:
    """Counts of hits and readings by target and reader.

    Attributes
    ----------
    targets, readers : names, in the order of rows and columns.
    size : (targets,).
    hits, trials : (targets, readers), counts; 0 trials where a reader did not read a target.
    """

    targets: tuple[Hashable, ...]
    readers: tuple[str, ...]
    size: Array
    hits: Array
    trials: Array


def readings_table(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    targets: Sequence[Hashable],
    readers: Sequence[str],
    *,
    scale: str = "log",
) -> ReadingsTable:
    """Gather readings, one a row, by target and reader.

    Parameters
    ----------
    size, hits, targets, readers : (rows,); hits 0 or 1, one size a target.

    Raises
    ------
    ValueError : for lists of unequal length, sizes off the scale, hits other than 0 and 1, a target
        with two sizes, fewer than two targets or two readers.
    """
    a = checked_sizes(size, checked_scale(scale))
    h = np.asarray(hits, dtype=float)
    if not len(a) == len(h) == len(targets) == len(readers):
        message = (
            f"{len(a)} sizes, {len(h)} hits, {len(targets)} targets and {len(readers)} readers"
        )
        raise ValueError(message + "; one each a reading is wanted")
    if not np.all((h == 0.0) | (h == 1.0)):
        message = "hits must be 0 or 1"
        raise ValueError(message)
    names, row = list(dict.fromkeys(targets)), {}
    for number, name in enumerate(names):
        row[name] = number
    who = sorted(set(readers))
    if len(names) < 2 or len(who) < 2:
        message = f"{len(names)} targets and {len(who)} readers; two of each are the least"
        raise ValueError(message)
    sizes = np.full(len(names), np.nan)
    found, read = np.zeros((len(names), len(who))), np.zeros((len(names), len(who)))
    for k, target in enumerate(targets):
        i, j = row[target], who.index(readers[k])
        if not np.isnan(sizes[i]) and sizes[i] != a[k]:
            message = f"target {target} has sizes {sizes[i]:g} and {a[k]:g}; one size is wanted"
            raise ValueError(message)
        sizes[i] = a[k]
        found[i, j] += h[k]
        read[i, j] += 1.0
    return ReadingsTable(tuple(names), tuple(who), sizes, found, read)
