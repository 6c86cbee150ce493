"""Several readers of one table: which one governs, and a line for each."""

from typing import Any

from qualify.study.answers_told import bound_head, joined, told_a90_95, why_no_bound

Document = dict[str, Any]
NOT_MORE = "Readings of one target by several readers are not further targets."


def governing(readers: dict[str, Document]) -> Document:
    """Return the document of the reader that governs, with those of all beside it.

    A reader without a bound governs over those with one, as nothing is shown of him; among
    several the one with the smallest share hit. Else the largest bound governs.
    """
    chosen = max(readers, key=lambda name: _badness(readers[name]))
    told = worst_sentence(readers)
    notice = {
        "code": "worst_reader",
        "text": f"Each reader was fitted apart: {told}. {NOT_MORE}",
    }
    own = readers[chosen]
    return {**own, "notices": [*own["notices"], notice], "reader": chosen, "readers": readers}


def _badness(document: Document) -> tuple[bool, float]:
    value = document["a90_95"]
    return value is None, -document["hits"] / document["n"] if value is None else value


def largest(readers: dict[str, Document]) -> str | None:
    """Return the reader with the largest bound, None where no reader has one."""
    there = {name: d["a90_95"] for name, d in readers.items() if d["a90_95"] is not None}
    return max(there, key=lambda name: float(there[name]), default=None)


def worst_sentence(readers: dict[str, Document]) -> str:
    """Say which reader is the worst, or that it can't be told."""
    name = largest(readers)
    head = bound_head(next(iter(readers.values())))
    if name is None:
        return f"no {head} for any reader: the worst reader can't be told"
    told = told_a90_95(readers[name])
    without = [other for other, d in readers.items() if d["a90_95"] is None]
    if not without:
        return f"the worst reader, with the largest {head}, is {name}, {told}"
    return (
        f"no {head} for {joined(without)}: the worst reader can't be told; the largest of those "
        f"with one is {name}, {told}"
    )


def reader_lines(document: Document) -> list[str]:
    """Return a line for each reader, and which one is the worst."""
    if "readers" not in document:
        return []
    lines = [_line(name, one) for name, one in document["readers"].items()]
    return [*lines, worst_sentence(document["readers"])]


def _line(name: str, document: Document) -> str:
    head = bound_head(document)
    bound = (
        f"no {head}: {why_no_bound(document)}"
        if document["a90_95"] is None
        else f"{head} {told_a90_95(document)}"
    )
    outcome = document["outcome"].replace("_", " ")
    return f"reader {name}: {document['hits']} of {document['n']} hit; {outcome}; {bound}"


def told_in_full(document: Document) -> list[tuple[str | None, Document]]:
    """Return whose numbers are told line by line: the one that governs, and the largest bound."""
    if "readers" not in document:
        return [(None, document)]
    name, top = document["reader"], largest(document["readers"])
    told: list[tuple[str | None, Document]] = [(name, document)]
    if top is not None and top != name:
        told.append((top, document["readers"][top]))
    return told
