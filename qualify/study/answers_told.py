"""Sizes and counts of an answer as people read them."""

from collections.abc import Mapping, Sequence
from typing import Any

from qualify.pod.notices import Notice
from qualify.pod.problem import BoundValue
from qualify.study.told import told_bound

Document = dict[str, Any]


def fit_notices(
    notices: Sequence[Notice], bounds: Mapping[str, Mapping[str, BoundValue]]
) -> list[Document]:
    """Return the notices of a fit, and for each kind of upper bound that lacks the reason."""
    told = [{"code": notice.code, "text": notice.text} for notice in notices]
    return told + [
        {"code": f"no_{name}_bound", "text": f"No {name} bound: {sides['upper'].reason}."}
        for name, sides in bounds.items()
        if sides["upper"].value is None
    ]


def counted(number: int, what: str) -> str:
    """Return a number with its noun, in the plural unless it is one."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def pair(interval: tuple[float, float] | None) -> list[float] | None:
    """Return an interval as JSON has it."""
    return None if interval is None else [float(end) for end in interval]


def joined(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: A, B and C."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def told_size(value: float | None, document: Document) -> str:
    """Return a size with its unit, or on which side of the sizes tested it lies."""
    low, high = document["tested_range"]
    if value is None:
        return "does not exist"
    if value > high:
        return f"beyond the sizes tested (> {high:.4g} {document['unit']})"
    if value < low:
        return f"below the sizes tested (< {low:.4g} {document['unit']})"
    return f"{value:.4g} {document['unit']}"


def told_a90_95(document: Document) -> str:
    """Return the bound on a90, rounded to the safe side where it is simulated."""
    value = document["a90_95"]
    if value is None:
        return "does not exist"
    low, high = document["tested_range"]
    told = _rounded(document) if low <= value <= high else value
    if told > high >= value:  # rounding up led out of the sizes tested
        return f"{told:.6g} {document['unit']}"
    return told_size(told, document)


def _rounded(document: Document) -> float:
    bound = BoundValue(
        document["a90_95"],
        None,
        document["bound"],
        "upper",
        document["simulation_error"],
        document["simulations"],
    )
    told = told_bound(bound, document["seed"]).value
    return float(document["a90_95"] if told is None else told)


def bound_head(document: Document) -> str:
    """Return the name of the bound at its confidence, a90/95."""
    return f"a90/{100 * document['confidence']:g}"


def why_no_bound(document: Document) -> str:
    """Return the reason why the bound reported does not exist."""
    name = document["bound"]
    for notice in document["notices"]:
        if notice["code"] == f"no_{name}_bound":
            return str(notice["text"].split(": ", 1)[1].rstrip("."))
    return "see the notes"
