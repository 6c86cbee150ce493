"""All readers of one table together, as a JSON-ready document and as lines."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from qualify.errors import refuse
from qualify.pod.consistency import Agreement
from qualify.pod.links import link_named
from qualify.pod.problem import BoundValue
from qualify.pod.reader_holds import count_readers, truth_of
from qualify.pod.readers import ReadersFit, fit_readers
from qualify.pod.readers_beside import ReadersBeside, beside_readers
from qualify.pod.readers_table import readings_table
from qualify.raw_tables import RawTable
from qualify.study.answers_readings import Readings
from qualify.study.answers_told import counted, told_size
from qualify.study.told import step_for

Document = dict[str, Any]
REPLICATES = 1000
SHOWN = 8  # names of targets that are wrong in the same way


def together_document(
    readers: Mapping[str, Readings],
    unit: str,
    *,
    link: str,
    scale: str,
    confidence: float,
    seed: int,
    replicates: int | None,
) -> Document:
    """Return what all readers come to, with targets as the sample.

    `replicates` is None unless it was asked how often the bound holds.

    Raises
    ------
    ValueError : a target has two sizes; a reader read no target that another read.
    """
    rows = [
        (size, hit, target, name)
        for name, mine in readers.items()
        for size, hit, target in zip(mine.size, mine.hits, mine.targets or [], strict=True)
    ]
    size, hits, targets, names = zip(*rows, strict=True)
    table = readings_table(size, hits, targets, names, scale=scale)
    fit = fit_readers(table, link=link, scale=scale, confidence=confidence, seed=seed)
    with_both = 0 < fit.hits < fit.readings
    beside = beside_readers(table, fit, link_named(link)) if with_both else None
    document = {
        "readers": list(fit.readers),
        "targets": fit.targets,
        "readings": fit.readings,
        "hits": fit.hits,
        "unit": unit,
        "outcome": fit.outcome,
        "a50": fit.curve.a50,
        "a90": fit.a90,
        "a90_95": fit.a90_95,
        "a90_lower_95": fit.these["lower"].value,
        "new_reader": {
            "a90_95": fit.new["upper"].value,
            "a90_lower_95": fit.new["lower"].value,
            "simulation_error": fit.new["upper"].error,
        },
        "readings_as_targets_a90_95": fit.naive.value,
        "target_share": fit.target_share,
        "offsets": None
        if fit.offsets is None
        else dict(zip(fit.readers, fit.offsets, strict=True)),
        "reader_spread": fit.reader_spread,
        "simulations": fit.these["upper"].simulations,
        "simulation_error": fit.these["upper"].error,
        "seed": fit.seed,
        "tested_range": list(fit.curve.tested_range),
        "extrapolated": fit.extrapolated,
        "beside": None if beside is None else _beside(beside),
        "holds": None,
        "notices": _notices(fit),
    }
    if replicates is not None:
        x = np.log(table.size) if scale == "log" else table.size
        document["holds"] = _holds(fit, x, replicates)
    return document


def one_size_each(table: RawTable, readers: Mapping[str, Readings]) -> None:
    """Raise an `InputError` that names every target with two sizes."""
    sizes: dict[str, float] = {}
    other: dict[str, str] = {}
    for name, mine in readers.items():
        for target, size in zip(mine.targets or [], mine.size, strict=True):
            if sizes.setdefault(target, size) != size:
                other[target] = f"{target} {sizes[target]:g} and {size:g} (reader {name})"
    if other:
        told = list(other.values())
        more = f" and {len(told) - SHOWN} more" if len(told) > SHOWN else ""
        found = f"targets with two sizes: {', '.join(told[:SHOWN])}{more}"
        raise refuse(table.place, found, "give one size a target")


def _beside(found: ReadersBeside) -> Document:
    between = found.agreement
    pairs = {} if between is None else between.pairs
    return {
        "clustered_a90_95": found.clustered.value,
        "whole_targets_a90_95": found.bootstrap.value,
        "typical_target_a90": found.typical_a90,
        "average_target_a90": found.average_a90,
        "target_spread": found.target_spread,
        "spread_words": found.spread_words,
        "fleiss_kappa": None if between is None else between.fleiss,
        "pairs": [_pair(names, one) for names, one in pairs.items()],
    }


def _pair(names: tuple[str, str], one: Agreement) -> Document:
    return {
        "readers": list(names),
        "targets": one.targets,
        "alike": one.both + one.neither,
        "share_ci": [one.low, one.high],
        "kappa": one.kappa,
        "kappa_ci": [one.kappa_low, one.kappa_high],
    }


def _notices(fit: ReadersFit) -> list[Document]:
    out = [{"code": notice.code, "text": notice.text} for notice in fit.notices]
    none: BoundValue = fit.new["upper"]
    if none.value is None:
        text = f"No bound for a new reader of the class: {none.reason}."
        out.append({"code": "no_new_reader", "text": text})
    return out


def _holds(fit: ReadersFit, x: np.ndarray, replicates: int) -> Document | None:
    truth = truth_of(fit)
    if truth is None or fit.a90_95 is None:
        return None
    held, naive = count_readers(
        x,
        len(fit.readers),
        truth,
        "these_readers",
        replicates=replicates,
        seed=fit.seed,
        confidence=fit.confidence,
    )
    return {
        "replicates": replicates,
        "share": held.share,
        "error": held.error,
        "readings_as_targets": naive.share,
    }


def together_lines(document: Document) -> list[str]:
    """Return the lines that tell of all readers together; nothing where there are none."""
    told = document.get("together")
    if told is None:
        return []
    head = f"{100 * document['confidence']:g} %"
    document = told  # sizes are told against the sizes that all readers read
    count = counted(len(told["readers"]), "reader")
    lines = [
        f"all readers together: {count}, {counted(told['targets'], 'target')}, "
        f"{told['hits']} of {told['readings']} readings hit; a90 {_size(told, 'a90', document)}",
        f"  a90 bound ({head}), these readers: {_bound(told, document)}",
        f"  a90 bound ({head}), a new reader: {_bound(told['new_reader'], document)}",
    ]
    if told["holds"] is not None:
        held = told["holds"]
        lines.append(
            f"  the bound for these readers holds in {100 * held['share']:.1f} % of "
            f"{held['replicates']} simulated trials of this design; readings taken for targets: "
            f"{100 * held['readings_as_targets']:.1f} %"
        )
    if told["beside"] is not None:
        found = told["beside"]
        lines.append(
            "  to compare only: cluster-robust "
            f"{_size(found, 'clustered_a90_95', document)}, whole targets resampled "
            f"{_size(found, 'whole_targets_a90_95', document)}; a90 of the typical target "
            f"{_size(found, 'typical_target_a90', document)}"
        )
    return [*lines, *(f"  note: {notice['text']}" for notice in told["notices"])]


def _size(where: Document, name: str, document: Document) -> str:
    return "none" if where[name] is None else told_size(where[name], document)


def _bound(where: Document, document: Document) -> str:
    """Return an upper bound rounded up as far as its simulation supports, as all bounds are."""
    value, error = where["a90_95"], where["simulation_error"]
    if value is None or not error:
        return _size(where, "a90_95", document)
    step = step_for(error)
    return told_size(round(math.ceil(value / step) * step, 12), document)
