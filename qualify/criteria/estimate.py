"""The Estimate: what a study reports, flat, and named by one id."""

from dataclasses import dataclass
from typing import Literal

Basis = Literal["as_found", "after_remedy", "examined_only"]
BASES: tuple[Basis, ...] = ("as_found", "after_remedy", "examined_only")
BASIS_WORDS: dict[str, str] = {
    "as_found": "as found",
    "after_remedy": "after remedy",
    "examined_only": "after remedy, units not examined left out",
}
Side = Literal["none", "upper", "lower", "two-sided"]


@dataclass(frozen=True, slots=True)
class Estimate:
    """One reported number, or the reason why there is none.

    Attributes
    ----------
    basis : the evidence it stands on: as found, after remedy, or examined units only.
    statistic : its name, as `a90_95`.
    population : kind of target, `blank_units`, `flawed_units` or `study`.
    mode, reader : ids, empty where they do not apply.
    side : which side a bound is on; `none` for an estimate.
    method : how it was computed.
    value : the number, None where the data do not support one.
    unit : unit of `value`.
    reason : why there is no value, or why it must not be used as it stands; None if sound.
    rows : how many rows of the three tables it rests on.
    in_range : for sizes, whether the value lies inside the tested sizes.
    """

    basis: Basis
    statistic: str
    population: str
    mode: str
    reader: str
    side: Side
    method: str
    value: float | int | None
    unit: str
    reason: str | None
    rows: int
    in_range: bool | None = None

    @property
    def id(self) -> str:
        """The id by which criteria, tables and pages refer to it."""
        parts = (self.basis, self.statistic, self.population, self.mode, self.reader)
        return "/".join(part for part in parts if part)


class Estimates:
    """The estimates of a study, found by basis, statistic, population, mode and reader."""

    def __init__(self, items: tuple[Estimate, ...]) -> None:
        self.items = items
        self._by_id = {item.id: item for item in items}
        readers: dict[tuple[str, str, str], set[str]] = {}
        for item in items:
            if item.reader:
                where = (item.basis, item.population, item.mode)
                readers.setdefault(where, set()).add(item.reader)
        self._readers = {where: tuple(sorted(names)) for where, names in readers.items()}

    def get(
        self, basis: str, statistic: str, population: str, mode: str = "", reader: str = ""
    ) -> Estimate | None:
        """Return the estimate, None where the analysis made none."""
        parts = (basis, statistic, population, mode, reader)
        return self._by_id.get("/".join(part for part in parts if part))

    def value(
        self, basis: str, statistic: str, population: str, mode: str = "", reader: str = ""
    ) -> float | None:
        """Return the value of the estimate, None where there is none."""
        found = self.get(basis, statistic, population, mode, reader)
        return None if found is None else found.value

    def readers(self, basis: str, population: str, mode: str) -> tuple[str, ...]:
        """Return the readers with estimates of this population and mode, sorted."""
        return self._readers.get((basis, population, mode), ())
