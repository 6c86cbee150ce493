"""Answers to single questions on one table, as JSON-ready documents.

The commands `pod hit-miss`, `false-calls` and `sizing` print these; scripts may call them.
The keys are documented in README.md and tested.
"""

from typing import Any

from qualify.errors import refuse
from qualify.pod.false_calls import false_call_rate
from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.raw_tables import RawTable
from qualify.sizing.error import sizing_error
from qualify.study.columns import cells, check_columns, count, number, text, unit_of, yes

Document = dict[str, Any]


def pod_hit_miss(
    table: RawTable,
    *,
    size: str,
    hit: str,
    trials: str | None = None,
    size_unit: str | None = None,
    target: str | None = None,
    reader: str | None = None,
    link: str = "logit",
    scale: str = "log",
    bound: str = "calibrated",
    confidence: float = 0.95,
) -> Document:
    """Return the POD of a table of hits and misses, the keys as README.md lists them.

    With `reader`, each reader is fitted apart and the document is that of the worst, with all
    under `readers`. With `target` alone, targets read more than once raise a notice.

    Raises
    ------
    InputError : a column is not there, a cell is empty or no number, hits are not yes or no,
        the unit is unknown.
    """
    check_columns(table, [c for c in (size, hit, trials, target, reader) if c is not None])
    unit = unit_of(table, size, size_unit)
    sizes = cells(table, size, number)
    hits = cells(table, hit, yes if trials is None else count)
    totals = None if trials is None else cells(table, trials, count)
    names = ["all"] * len(sizes) if reader is None else cells(table, reader, text)

    def document_of(name: str) -> Document:
        rows = [i for i, other in enumerate(names) if other == name]
        try:
            fit = fit_hit_miss(
                [sizes[i] for i in rows],
                [hits[i] for i in rows],
                None if totals is None else [totals[i] for i in rows],
                link=link,
                scale=scale,
                bound=bound,
                confidence=confidence,
            )
        except ValueError as error:
            raise refuse(table.place, str(error), "mend the rows named") from None
        return fit_document(fit, unit)

    readers = {name: document_of(name) for name in sorted(set(names))}
    if len(readers) > 1:
        return _worst_of(readers)
    (document,) = readers.values()
    document["notices"] += _repeats(table, target)
    return document


def _worst_of(readers: dict[str, Document]) -> Document:
    """Return the document of the worst reader, with those of all beside it."""
    worst = max(readers, key=lambda name: _badness(readers[name]))
    notice = {
        "code": "worst_reader",
        "text": f"Each reader was fitted apart; the worst is {worst}. Readings of one target by "
        "several readers are not further targets.",
    }
    return {
        **readers[worst],
        "notices": [*readers[worst]["notices"], notice],
        "reader": worst,
        "readers": readers,
    }


def fit_document(fit: HitMissFit, unit: str) -> Document:
    """Return a fit as the document that `pod hit-miss` prints."""
    notices = [{"code": n.code, "text": n.text} for n in fit.notices]
    notices += [
        {"code": f"no_{name}_bound", "text": f"No {name} bound: {bounds['upper'].reason}."}
        for name, bounds in fit.bounds.items()
        if bounds["upper"].value is None
    ]
    return {
        "outcome": fit.outcome,
        "n": fit.n,
        "hits": fit.hits,
        "unit": unit,
        "link": fit.link,
        "scale": fit.scale,
        "confidence": fit.confidence,
        "coefficients": {"intercept": fit.intercept, "slope": fit.slope},
        "covariance": [list(row) for row in fit.covariance] if fit.covariance else None,
        "log_likelihood": fit.log_likelihood,
        "aic": fit.aic,
        "deviance": fit.deviance,
        "a50": fit.a50,
        "a90": fit.a90,
        "a90_95": fit.a90_95,
        "a90_lower_95": fit.a90_lower_95,
        "bound": fit.bound,
        "bounds": {name: bounds["upper"].value for name, bounds in fit.bounds.items()},
        "tested_range": list(fit.tested_range),
        "extrapolated": fit.extrapolated,
        "notices": notices,
    }


def false_calls(
    table: RawTable,
    *,
    called: str,
    calls: str | None = None,
    kind: str | None = None,
    examined: str | None = None,
    reader: str | None = None,
) -> Document:
    """Return the false-call rate of a table with one row per blank unit.

    `kind` names a column in which only the rows that say `blank` count; rows whose `examined`
    is no leave the count; with `reader` each reader is told apart and the worst governs.

    Raises
    ------
    InputError : a column is not there, or a cell is empty or not what its column holds.
    """
    wanted = [c for c in (called, calls, kind, examined, reader) if c is not None]
    check_columns(table, wanted)
    rows = list(table.rows)
    if kind is not None:
        rows = [row for row in rows if str(row.cells.get(kind, "")).lower() == "blank"]
    blanks = RawTable(table.file, table.sheet, table.columns, tuple(rows))
    if examined is not None:
        looked = cells(blanks, examined, yes)
        rows = [row for row, yes in zip(rows, looked, strict=True) if yes]
        blanks = RawTable(table.file, table.sheet, table.columns, tuple(rows))
    hits = cells(blanks, called, yes)
    counts = hits if calls is None else cells(blanks, calls, count)
    names = ["all"] * len(rows) if reader is None else cells(blanks, reader, text)

    def rate(name: str) -> Document:
        mine = [i for i, other in enumerate(names) if other == name]
        result = false_call_rate(
            len(mine), int(sum(hits[i] for i in mine)), int(sum(counts[i] for i in mine))
        )
        return {
            "blank_units": result.blank_units,
            "units_called": result.units_called,
            "calls": result.calls,
            "rate": result.rate,
            "upper_95": result.upper_95,
            "reason": result.reason,
        }

    if reader is None:
        return rate("all")
    readers = {name: rate(name) for name in sorted(set(names))}
    if not readers:
        return rate("all")
    worst = max(readers, key=lambda name: (readers[name]["upper_95"] or 0.0, name))
    return {**readers[worst], "reader": worst, "readers": readers}


def sizing(table: RawTable, *, true: str, reported: str, size_unit: str | None = None) -> Document:
    """Return the sizing error of a table; an empty reported cell is a target not sized.

    Raises
    ------
    InputError : a column is not there, or a cell is no number above 0.
    """
    check_columns(table, [true, reported])
    unit = unit_of(table, true, size_unit)
    truths = cells(table, true, number)
    sized = [i for i, row in enumerate(table.rows) if reported in row.cells]
    rows = tuple(table.rows[i] for i in sized)
    values = cells(RawTable(table.file, table.sheet, table.columns, rows), reported, number)
    result = sizing_error([truths[i] for i in sized], values, unsized=len(truths) - len(sized))
    worst = result.largest_undersizing_index
    return {
        "n": result.n,
        "unit": unit,
        "bias": result.bias,
        "bias_ci": None if result.bias_ci is None else list(result.bias_ci),
        "sd": result.sd,
        "rmse": result.rmse,
        "tolerance": None if result.tolerance is None else list(result.tolerance),
        "undersizing_bound": result.undersizing_bound,
        "largest_undersizing": result.largest_undersizing,
        "largest_undersizing_row": None if worst is None else rows[worst].number,
        "unsized": result.unsized,
        "reason": result.reason,
    }


def _badness(document: Document) -> tuple[bool, float]:
    """Order readers' fits: no bound is worst, then the largest bound."""
    value = document["a90_95"]
    return (value is None, value or 0.0)


def _repeats(table: RawTable, target: str | None) -> list[Document]:
    if target is None:
        return []
    ids = cells(table, target, text)
    several = len(ids) - len(set(ids))
    if not several:
        return []
    words = (
        f"{several} of {len(ids)} rows are further readings of a target already counted: the "
        "same flaws read again are not more flaws, and the bound is too small. Give --reader."
    )
    return [{"code": "repeated_targets", "text": words}]


def pod_lines(document: Document) -> list[str]:
    """Return the lines that `pod hit-miss` prints for people."""
    unit = document["unit"]
    low, high = document["tested_range"]
    told = {name: _size(document[name], low, high, unit) for name in ("a50", "a90", "a90_95")}
    lines = [
        f"{document['hits']} of {document['n']} hit; sizes {low:g} to {high:g} {unit}; "
        f"outcome: {document['outcome'].replace('_', ' ')}",
        f"a50 {told['a50']}, a90 {told['a90']}",
        f"a90/95 {told['a90_95']} ({document['bound']} bound, "
        f"{document['link']} on {document['scale']} size)",
    ]
    if "reader" in document:
        lines.insert(0, f"worst reader: {document['reader']}")
    return lines + [f"note: {notice['text']}" for notice in document["notices"]]


def false_call_lines(document: Document) -> list[str]:
    """Return the lines that `false-calls` prints for people."""
    if document["rate"] is None:
        return [f"no rate: {document['reason']}"]
    lines = [
        f"{document['units_called']} of {document['blank_units']} blank units called "
        f"({document['calls']:g} calls)",
        f"rate {100 * document['rate']:.1f} %, upper 95 % bound {100 * document['upper_95']:.1f} %",
    ]
    if "reader" in document:
        lines.insert(0, f"worst reader: {document['reader']}")
    return lines


def sizing_lines(document: Document) -> list[str]:
    """Return the lines that `sizing` prints for people."""
    unit = document["unit"]
    lines = [f"{document['n']} sized, {document['unsized']} found but not sized"]
    if document["bias"] is None:
        return [*lines, f"no sizing error: {document['reason']}"]
    lines.append(
        f"bias {document['bias']:+.3g} {unit}, RMSE {document['rmse']:.3g} {unit} "
        "(reported minus true)"
    )
    if document["tolerance"] is not None:
        low, high = document["tolerance"]
        lines.append(f"95 % of errors lie between {low:+.3g} and {high:+.3g} {unit} (95/95)")
    row = document["largest_undersizing_row"]
    lines.append(f"most negative error {document['largest_undersizing']:+.3g} {unit}, row {row}")
    return lines


def _size(value: float | None, low: float, high: float, unit: str) -> str:
    if value is None:
        return "does not exist"
    if value > high:
        return f"beyond the sizes tested (> {high:.4g} {unit})"
    if value < low:
        return f"below the sizes tested (< {low:.4g} {unit})"
    return f"{value:.4g} {unit}"
