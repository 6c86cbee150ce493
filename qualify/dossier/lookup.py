"""Finding numbers on the basis of the claim box."""

from qualify.criteria.estimate import Estimate
from qualify.study.result import StudyResult

BLANKS, FLAWED = "blank_units", "flawed_units"


def estimate(result: StudyResult, name: str, kind: str, mode: str, reader: str) -> Estimate | None:
    """Return an estimate on the headline basis, None where there is none."""
    return result.estimates.get(result.headline, name, kind, mode, reader)


def value(result: StudyResult, name: str, kind: str, mode: str, reader: str) -> float | None:
    """Return the value of an estimate on the headline basis, None where there is none."""
    return result.estimates.value(result.headline, name, kind, mode, reader)


def passes(result: StudyResult, kind: str, statistic: str) -> list[tuple[str, str]]:
    """Return (mode, reader) for which a statistic was told, in the plan's order."""
    return [
        (mode.id, reader)
        for mode in result.inputs.plan.modes
        for reader in result.readers
        if estimate(result, statistic, kind, mode.id, reader) is not None
    ]


def readers_of(result: StudyResult, kind: str, mode: str, basis: str | None = None) -> list[str]:
    """Return the readers with numbers on this kind in this mode, in order."""
    known = result.estimates.readers(basis or result.headline, kind, mode)
    return [reader for reader in result.readers if reader in known]


def worst_reader(result: StudyResult, kind: str, mode: str, basis: str | None = None) -> str | None:
    """Return the reader whose a90/95 is largest; one without a bound comes first."""
    on = basis or result.headline
    readers = readers_of(result, kind, mode, on)
    return max(readers, key=lambda r: badness(result, kind, mode, r, on), default=None)


def governing(result: StudyResult, kind: str, mode: str) -> list[str]:
    """Return the readers whose a90/95 is the one told: the worst, then those equal in print."""
    worst = worst_reader(result, kind, mode)
    if worst is None:
        return []
    size = value(result, "a90_95", kind, mode, worst)
    if size is None:
        return [worst]
    equal = [
        reader
        for reader in readers_of(result, kind, mode)
        if reader != worst and value(result, "a90_95", kind, mode, reader) == size
    ]
    return [worst, *equal]


def badness(
    result: StudyResult, kind: str, mode: str, reader: str, basis: str | None = None
) -> tuple[bool, float]:
    """Order readers by a90/95; those without a bound come last, by the share they found."""
    on = basis or result.headline
    bound = result.estimates.value(on, "a90_95", kind, mode, reader)
    if bound is not None:
        fit = result.fits.get((on, kind, mode, reader))  # the bound in print is rounded
        exact = None if fit is None else fit.a90_95
        return (False, bound if exact is None else exact)
    share = result.estimates.value(on, "detection_rate", kind, mode, reader)
    return (True, -(share or 0.0))


def worst_caller(result: StudyResult, mode: str, basis: str | None = None) -> str | None:
    """Return the reader with the largest upper bound of the false-call rate, None if unknown."""
    on = basis or result.headline
    known = [
        (upper, reader)
        for reader in result.readers
        if (upper := result.estimates.value(on, "false_call_rate_upper", BLANKS, mode, reader))
        is not None
    ]
    return max(known, key=lambda item: item[0])[1] if known else None
