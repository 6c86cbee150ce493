"""Rows of what the results of a study hang on: readers, numbers and verdicts of each variation."""

from dataclasses import dataclass, replace

from qualify.criteria.verdict import Status
from qualify.criteria.words import ALL_READERS
from qualify.study.told import told_size

PLANNED = "as_planned"


@dataclass(frozen=True, slots=True)
class Told:
    """One reader under one variation.

    Attributes
    ----------
    reader : its id, or `all_readers`.
    targets, hits : counts.
    a90, a90_95 : sizes; a90_95 the upper likelihood bound, of all readers the cluster-robust one,
        or None with `reason`.
    in_range : whether a90_95 lies inside the sizes tested.
    what : the model, where the row is about models; else ''.
    """

    reader: str
    targets: int
    hits: int
    a90: float | None
    a90_95: float | None
    reason: str | None
    in_range: bool | None
    what: str = ""

    def within(self, tested: tuple[float, float] | None) -> "Told":
        """Return it beside the sizes tested: whether inside, and nothing that lies far beyond."""
        bound, reason = told_size(self.a90_95, self.reason, tested)
        a90, _ = told_size(self.a90, None, tested)
        inside = None if bound is None or tested is None else tested[0] <= bound <= tested[1]
        return replace(self, a90=a90, a90_95=bound, reason=reason, in_range=inside)


@dataclass(frozen=True, slots=True)
class Row:
    """One variation of one kind and mode.

    Attributes
    ----------
    key, words : of the variation.
    absent : why it can't be shown, else None.
    readers : those with targets.
    changed : clause, verdict as planned, verdict here; where they differ.
    """

    key: str
    words: str
    absent: str | None
    readers: tuple[Told, ...]
    changed: tuple[tuple[str, Status, Status], ...]

    @property
    def worst(self) -> Told | None:
        """The reader without a bound and fewest found, else with the largest; not all together."""
        each = [told for told in self.readers if told.reader != ALL_READERS]
        return max(each, key=_badness, default=None)


def _badness(told: Told) -> tuple[bool, float]:
    if told.a90_95 is None:
        return True, -told.hits / told.targets if told.targets else 0.0
    return False, told.a90_95


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """All rows of one kind and mode, and the clauses that bear on it.

    Attributes
    ----------
    rows : that of the plan first.
    clauses : criterion, number of the clause, its name, and the verdict on likelihood bounds.
    """

    rows: tuple[Row, ...]
    clauses: tuple[tuple[str, int, str, Status], ...]

    @property
    def planned(self) -> Row:
        """The row as planned."""
        return self.rows[0]
