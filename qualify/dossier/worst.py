"""Who is worst on a number, and where all readers tie."""

from collections.abc import Mapping, Sequence

from qualify.dossier.lookup import badness, readers_of
from qualify.study.result import StudyResult

BOLD_WORDS = (
    "Bold: worst of the mode's readers on the number of that column; none where all are equal."
)


def worst_of(values: Mapping[str, float | None]) -> set[str]:
    """Return the names with the largest value, none where all values are equal."""
    known = {name: value for name, value in values.items() if value is not None}
    if len(set(known.values())) < 2:
        return set()
    most = max(known.values())
    return {name for name, value in known.items() if value == most}


def worst_words(result: StudyResult, kind: str, mode: str) -> dict[str, str]:
    """Return for each reader ' (worst)' by a90/95, ' (all equal)' where readers tie, or ''."""
    readers = readers_of(result, kind, mode)
    held = {reader: badness(result, kind, mode, reader) for reader in readers}
    if len(readers) > 1 and len(set(held.values())) == 1:
        return dict.fromkeys(readers, " (all equal)")
    most = max(held.values(), default=None)
    several = len(readers) > 1
    return {r: " (worst)" if several and held[r] == most else "" for r in readers}


def marks(
    numbers: Mapping[tuple[str, str], Sequence[float | None]],
) -> set[tuple[tuple[str, str], int]]:
    """Return ((mode, reader), column) of the worst number of each mode in each column."""
    out: set[tuple[tuple[str, str], int]] = set()
    for mode in {mode for mode, _ in numbers}:
        part = {reader: values for (m, reader), values in numbers.items() if m == mode}
        for column in range(max(map(len, part.values()), default=0)):
            worst = worst_of({reader: values[column] for reader, values in part.items()})
            out |= {((mode, reader), column) for reader in worst}
    return out
