"""False calls by length, area and cause, and whether they cluster in specimens."""

from dataclasses import dataclass
from typing import Any

from qualify.errors import refuse
from qualify.pod.false_calls import false_call_rate
from qualify.pod.rates import call_rate, dispersion
from qualify.raw_tables import RawTable
from qualify.study.columns import cells, number, text

Document = dict[str, Any]
SEED = 1
CLUSTERED = 0.05
LENGTHS = {"_m": 1.0, "_mm": 1e-3}
AREAS = {"_m2": 1.0, "_mm2": 1e-6}


@dataclass(frozen=True, slots=True)
class More:
    """Columns beside the call; None where not told."""

    length: str | None = None
    area: str | None = None
    cause: str | None = None
    specimen: str | None = None

    def told(self) -> list[str]:
        """Return the columns that were told."""
        every = (self.length, self.area, self.cause, self.specimen)
        return [column for column in every if column is not None]


NOTHING_MORE = More()


@dataclass(frozen=True, slots=True)
class Read:
    """The columns of `More` as read; None where not told. Causes are of called rows only."""

    length: list[float] | None
    area: list[float] | None
    cause: dict[int, str] | None
    specimen: list[str] | None


def _amounts(table: RawTable, name: str | None, units: dict[str, float]) -> list[float] | None:
    """Return a column in metres or square metres; its name tells its unit.

    Raises
    ------
    InputError : the name tells no unit.
    """
    if name is None:
        return None
    end = next((end for end in sorted(units, key=len, reverse=True) if name.endswith(end)), None)
    if end is None:
        found = f"its unit is not known (the name ends in none of {', '.join(units)})"
        raise refuse(f"{table.place}: column '{name}'", found, "rename it with its unit")
    return [units[end] * value for value in cells(table, name, number)]


def read_more(table: RawTable, more: More, hits: list[float]) -> Read:
    """Read the columns told; a cause is wanted of called rows only.

    Raises
    ------
    InputError : a cell is empty or not what its column holds.
    """
    length = _amounts(table, more.length, LENGTHS)
    area = _amounts(table, more.area, AREAS)
    causes = None
    if more.cause is not None:
        rows = [i for i, hit in enumerate(hits) if hit]
        part = RawTable(table.file, table.sheet, table.columns, [table.rows[i] for i in rows])
        causes = dict(zip(rows, cells(part, more.cause, text), strict=True))
    specimen = None if more.specimen is None else cells(table, more.specimen, text)
    return Read(length, area, causes, specimen)


def more_document(read: Read, mine: list[int], hits: list[float], counts: list[float]) -> Document:
    """Return rates by amount, by cause, and the test for clusters, of some rows; null if not told.

    `per_metre` and `per_square_metre`: calls per amount with exact one-sided 95 % bounds.
    """
    calls = int(sum(counts[i] for i in mine))
    told: Document = {"per_metre": None, "per_square_metre": None, "causes": None, "clusters": None}
    for key, column in (("per_metre", read.length), ("per_square_metre", read.area)):
        if column is not None and mine:
            unit = "m" if key == "per_metre" else "m²"
            found = call_rate(calls, sum(column[i] for i in mine), unit)
            told[key] = {
                "calls": found.calls,
                "amount": found.exposure,
                "rate": found.rate,
                "lower_95": found.lower,
                "upper_95": found.upper,
            }
    if read.cause is not None:
        names = sorted({read.cause[i] for i in mine if i in read.cause})
        told["causes"] = {name: _cause(read.cause, name, mine) for name in names}
    if read.specimen is not None and mine:
        told["clusters"] = _clusters(read.specimen, mine, counts)
    return told


def _cause(causes: dict[int, str], name: str, mine: list[int]) -> Document:
    called = sum(1 for i in mine if causes.get(i) == name)
    found = false_call_rate(len(mine), called)
    return {"units_called": called, "rate": found.rate, "upper_95": found.upper_95}


def _clusters(specimens: list[str], mine: list[int], counts: list[float]) -> Document:
    names = sorted({specimens[i] for i in mine})
    rows = [[i for i in mine if specimens[i] == name] for name in names]
    calls = [sum(counts[i] for i in part) for part in rows]
    found = dispersion([int(c) for c in calls], [float(len(part)) for part in rows], seed=SEED)
    return {
        "specimens": len(names),
        "specimens_called": found.specimens_called,
        "calls": dict(zip(names, [int(c) for c in calls], strict=True)),
        "index": found.index,
        "p": found.p,
        "clustered": found.p is not None and found.p <= CLUSTERED,
        "specimens_upper_95": found.share_upper,
        "simulations": found.simulations,
        "seed": found.seed,
    }


def more_lines(document: Document) -> list[str]:
    """Return lines for people of what was told beside the rate per unit."""
    lines = []
    for key, unit in (("per_metre", "m"), ("per_square_metre", "m²")):
        found = document[key]
        if found is not None:
            lines.append(
                f"{found['calls']} calls in {found['amount']:g} {unit}: {found['rate']:.3g} per "
                f"{unit}, upper 95 % bound {found['upper_95']:.3g} per {unit} (exact Poisson)"
            )
    for name, one in (document["causes"] or {}).items():
        lines.append(
            f"cause {name}: {one['units_called']} units, upper 95 % bound "
            f"{100 * one['upper_95']:.1f} %"
        )
    return [*lines, *_cluster_lines(document["clusters"])]


def _cluster_lines(found: Document | None) -> list[str]:
    if found is None:
        return []
    head = f"{found['specimens_called']} of {found['specimens']} specimens have a call"
    if found["p"] is None:
        return [f"{head}; too few calls or specimens to tell whether calls cluster"]
    if not found["clustered"]:
        return [f"{head}; calls are not shown to cluster in specimens (p {found['p']:.3f})"]
    upper = 100 * found["specimens_upper_95"]
    return [
        f"{head}; calls cluster in specimens (p {found['p']:.4f}): units of one specimen are not "
        "independent, and the upper bounds above are too small. Of specimens, at most "
        f"{upper:.0f} % have a call (upper 95 % bound)"
    ]
