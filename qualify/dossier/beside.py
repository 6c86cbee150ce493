"""The other result of a study with deviations, to stand beside the claim where it differs."""

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.lookup import BLANKS, worst_caller, worst_reader
from qualify.dossier.words import mm, percent, sentence, whole
from qualify.study.result import StudyResult


def beside(result: StudyResult, kind: str, mode: str) -> str:
    """Return size and false calls on the other basis, and size without units not examined.

    '' where they read the same.
    """
    other = "as_found" if result.headline == "after_remedy" else "after_remedy"
    told = [_told(result, kind, mode, basis) for basis in (other, result.headline)]
    parts = []
    if told[0] != told[1]:
        parts.append(f"{sentence(BASIS_WORDS[other])[:-1]}: {told[0]}")
    seen = _size(result, kind, mode, "examined_only")
    if seen is not None and seen != _size(result, kind, mode, result.headline):
        parts.append(f"Examined only: {seen}.")
    return " ".join(parts)


def _size(result: StudyResult, kind: str, mode: str, basis: str) -> str | None:
    """Return a90/95 of the worst reader and its reader, None where nobody read the kind."""
    reader = worst_reader(result, kind, mode, basis)
    if reader is None:
        return None
    bound = result.estimates.get(basis, "a90_95", kind, mode, reader)
    if bound is None or bound.value is None:
        return f"no a90/95 ({reader})"
    return f"a90/95 {mm(bound.value)} mm ({reader})"


def _told(result: StudyResult, kind: str, mode: str, basis: str) -> str:
    get = result.estimates.value
    reader = worst_reader(result, kind, mode, basis)
    if reader is None:
        return "not read."
    bound = result.estimates.get(basis, "a90_95", kind, mode, reader)
    if bound is None or bound.value is None:
        size = "no a90/95"
    elif bound.in_range is False:
        size = f"a90/95 {mm(bound.value)} mm, outside the sizes tested"
    else:
        size = f"a90/95 {mm(bound.value)} mm"
    hits = get(basis, "hits", kind, mode, reader)
    targets = get(basis, "targets", kind, mode, reader)
    return (
        f"{size} ({reader}; {whole(hits)} of {whole(targets)} found); "
        f"{_false_calls(result, mode, basis)}."
    )


def _false_calls(result: StudyResult, mode: str, basis: str) -> str:
    get, reader = result.estimates.value, worst_caller(result, mode, basis)
    if reader is None:
        return "false calls not known"
    called = get(basis, "units_called", BLANKS, mode, reader)
    blank = get(basis, "blank_units", BLANKS, mode, reader)
    upper = get(basis, "false_call_rate_upper", BLANKS, mode, reader)
    return f"false calls {whole(called)} of {whole(blank)} ({reader}; upper bound {percent(upper)})"
