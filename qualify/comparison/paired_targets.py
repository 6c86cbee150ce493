"""Hits and misses of two modes on the same targets, by reader, ready for every comparison."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.links import Array, Indices
from qualify.pod.observations import Scale, checked_scale, checked_sizes


@dataclass(frozen=True, slots=True)
class PairedTargets:
    """Two modes on the same targets, sizes rising; a is the reference, b the candidate.

    Attributes
    ----------
    names : (targets,), ids.
    size : (targets,), in the caller's unit.
    a, b : (targets, readers), 1 hit, 0 miss; nan in both where a reader did not read a target in
        both modes.
    readers : (readers,), ids.
    scale : of the size axis.
    centre, spread : of x, the size or its logarithm.
    """

    names: tuple[str, ...]
    size: Array
    a: Array
    b: Array
    readers: tuple[str, ...]
    scale: Scale
    centre: float
    spread: float

    @property
    def n(self) -> int:
        """Number of targets."""
        return int(self.size.size)

    @property
    def x(self) -> Array:
        """Size axis (targets,): log size or size."""
        return np.log(self.size) if self.scale == "log" else self.size

    @property
    def t(self) -> Array:
        """Standardised places (targets,)."""
        return np.ascontiguousarray((self.x - self.centre) / self.spread)

    @property
    def readings(self) -> Array:
        """How many readers read each target in both modes (targets,)."""
        return np.asarray(np.sum(np.isfinite(self.a), axis=1), dtype=float)

    @property
    def hits(self) -> Array:
        """Readers that hit each target, (2, targets): in a, in b."""
        return np.ascontiguousarray([np.nansum(self.a, axis=1), np.nansum(self.b, axis=1)])

    @property
    def steps(self) -> Array:
        """Readers that hit in b less those that hit in a, (targets,)."""
        hits = self.hits
        return np.asarray(hits[1] - hits[0])

    def thirds(self) -> Indices:
        """First target of each third by size, and the number of all; equal sizes stay together."""
        edges = [0]
        for k in (1, 2):
            i = round(k * self.n / 3)
            while 0 < i < self.n and self.size[i] == self.size[i - 1]:
                i += 1
            if edges[-1] < i < self.n:
                edges.append(i)
        return np.array([*edges, self.n], dtype=np.intp)

    def where(self, keep: npt.NDArray[np.bool_]) -> "PairedTargets":
        """Return some targets (targets,), the standardisation kept."""
        names = tuple(name for name, k in zip(self.names, keep, strict=True) if k)
        return PairedTargets(names, self.size[keep], self.a[keep], self.b[keep], self.readers,
                             self.scale, self.centre, self.spread)  # fmt: skip


def paired_targets(
    names: Sequence[str],
    size: npt.ArrayLike,
    a: npt.ArrayLike,
    b: npt.ArrayLike,
    *,
    readers: Sequence[str] = ("",),
    scale: str = "log",
) -> PairedTargets:
    """Check two modes on the same targets and order them by size.

    Parameters
    ----------
    names : (targets,), each once.
    size : (targets,), any unit.
    a, b : (targets,) or (targets, readers), 0 or 1, nan where not read. A reading counts where the
        same reader read the target in both modes; others are left out of the comparison.
    readers : (readers,).
    scale : `log` or `linear`.

    Raises
    ------
    ValueError : with the fault in words: no targets, a target twice, sizes without a place on the
        scale, hits that are not 0 or 1, lists of unequal length.
    """
    chosen = checked_scale(scale)
    sizes = checked_sizes(size, chosen)
    if len(names) != sizes.size or len(set(names)) != len(names):
        message = f"{len(set(names))} names for {sizes.size} targets; give each one name of its own"
        raise ValueError(message)
    shape = (sizes.size, len(readers))
    hits = [np.asarray(h, dtype=float) for h in (a, b)]
    hits = [h[:, None] if h.ndim == 1 else h for h in hits]
    for h in hits:
        if h.shape != shape:
            message = f"hits of shape {h.shape}; give {shape[0]} targets by {shape[1]} readers"
            raise ValueError(message)
        if not np.all(np.isnan(h) | (h == 0.0) | (h == 1.0)):
            message = "hits must be 0 or 1"
            raise ValueError(message)
    unread = np.isnan(hits[0]) | np.isnan(hits[1])
    a_hits, b_hits = (np.where(unread, np.nan, h) for h in hits)
    order = np.lexsort((np.asarray(names), sizes))
    x = np.log(sizes) if chosen == "log" else sizes
    spread = float(np.std(x))
    return PairedTargets(
        names=tuple(str(names[i]) for i in order),
        size=sizes[order],
        a=a_hits[order],
        b=b_hits[order],
        readers=tuple(readers),
        scale=chosen,
        centre=float(np.mean(x)),
        spread=spread if spread > 0.0 else 1.0,
    )
