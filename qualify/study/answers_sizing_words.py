"""The lines that `sizing` prints for people."""

from collections.abc import Sequence
from typing import Any

from qualify.sizing.spread import RATIOS
from qualify.sizing.unsized import CASE_WORDS

Document = dict[str, Any]
ROUNDING = 1e-12


def sizing_lines(document: Document) -> list[str]:
    """Return the lines; with readers, a line for each before those of the one that governs."""
    lines = []
    for name, one in document.get("readers", {}).items():
        lines.append(f"reader {name}: {_counts(one)}; {_short(one)}")
    if "reader" in document:
        lines.append(f"{document['reader']} governs:")
    lines.append(_counts(document))
    if document["bias"] is None:
        lines.append(f"no sizing error: {document['reason']}")
    else:
        lines += [*_error(document), *_limits(document), *_against_size(document)]
        lines += [*_worst(document), *_counted_in(document)]
    return [*lines, *(f"note: {notice['text']}" for notice in document["notices"])]


def _counts(document: Document) -> str:
    what = "found but not sized" if document["missed"] else "without a size"
    parts = [f"{document['n']} sized", f"{document['unsized']} {what}"]
    return ", ".join([*parts, f"{document['missed']} missed"] if document["missed"] else parts)


def _short(document: Document) -> str:
    if document["bias"] is None:
        return f"no sizing error: {document['reason']}"
    unit = document["unit"]
    return f"bias {_signed(document['bias'])} {unit}, RMSE {document['rmse']:.3g} {unit}"


def _signed(value: float) -> str:
    """Return a signed size; what is only rounding error is 0."""
    return f"{0.0 if abs(value) < ROUNDING else value:+.3g}"


def _span(pair: Sequence[float], *, signed: bool = True) -> str:
    return " to ".join(_signed(end) if signed else f"{end:.3g}" for end in pair)


def _share(document: Document) -> str:
    return f"{100 * document['confidence']:g} %"


def _error(document: Document) -> list[str]:
    unit, share = document["unit"], _share(document)
    if document["sd"] is None:
        return [f"{_short(document)} (reported minus true); {document['reason']}"]
    lines = [
        f"bias {_signed(document['bias'])} {unit} ({share} interval {_span(document['bias_ci'])}), "
        "reported minus true: negative is undersized",
        f"RMSE {document['rmse']:.3g} {unit} ({share} interval "
        f"{_span(document['rmse_ci'], signed=False)}; one-sided upper {share} bound "
        f"{document['rmse_upper']:.3g})",
        f"SD {document['sd']:.3g} {unit} ({share} interval "
        f"{_span(document['sd_ci'], signed=False)})",
    ]
    method = document["method"]
    if method["sd"] is not None:
        lines.append(
            f"SD of the method alone {method['sd']:.3g} {unit} ({share} interval "
            f"{_span(method['sd_ci'], signed=False)}): the uncertainty of the true sizes, "
            f"{method['true_u']:.3g} {unit}, taken off; RMSE and SD above hold it"
        )
    return lines


def _limits(document: Document) -> list[str]:
    if document["tolerance"] is None:
        return []
    unit, share = document["unit"], _share(document)
    lines = [
        f"95 % of errors lie between {_span(document['tolerance'])} {unit}, at {share} confidence, "
        "if they are normal (tolerance interval)",
        f"95 % of errors lie above {_signed(document['undersizing_bound'])} {unit}, at {share} "
        "confidence, if they are normal (undersizing bound)",
        f"limits of agreement {_span(document['agreement']['limits'])} {unit}: an estimate, which "
        "promises nothing",
    ]
    ordered = document["ordered"]
    if ordered["undersizing_bound"] is None:
        lines.append(
            "without a law of the errors no such limit: it needs "
            f"{ordered['undersizing_needs']} sized targets on one side, "
            f"{ordered['tolerance_needs']} on two"
        )
        return lines
    words = (
        f"without a law of the errors: 95 % above {_signed(ordered['undersizing_bound'])} {unit}"
    )
    if ordered["tolerance"] is not None:
        words += f", 95 % between {_span(ordered['tolerance'])} {unit}"
    else:
        words += f"; an interval needs {ordered['tolerance_needs']} sized targets"
    return [*lines, words]


def _against_size(document: Document) -> list[str]:
    unit, share, trend, spread = (
        document["unit"], _share(document), document["trend"], document["spread"],
    )  # fmt: skip
    lines = []
    if trend["p"] is None:
        lines.append(f"change of the error with size not told: {trend['reason']}")
    else:
        lines.append(
            f"change of the error with size {_signed(trend['slope'])} {unit} by {unit} ({share} "
            f"interval {_span(trend['slope_ci'])}, p {trend['p']:.2g})"
        )
    line = document["line"]
    if document["slope"] is not None:
        scatter = "" if line["scatter"] is None else (
            f"; scatter of reported sizes, {line['scatter']:.3g} {unit}, taken from these data"
        )  # fmt: skip
        lines.append(
            f"reported against true size, both uncertain: slope {document['slope']:.3g} ({share} "
            f"interval {_span(line['slope_ci'], signed=False)}), intercept "
            f"{_signed(document['intercept'])} {unit}; least squares would say "
            f"{line['plain_slope']:.3g}{scatter}"
        )
    if spread["p"] is not None:
        seen = spread["seen_ratio"]
        words = (
            f"not even a ratio of {RATIOS[-1]:g}"
            if seen is None
            else f"a ratio of {seen:g} or more"
        )
        lines.append(
            f"scatter against size: p {spread['p']:.2g} of 'the same at all sizes'; {words} from "
            "smallest to largest size would be noticed in 80 % of trials"
        )
    return lines


def _worst(document: Document) -> list[str]:
    lines = []
    for side, rows in document["worst"].items():
        if rows:
            told = "; ".join(_case(row) for row in rows)
            lines.append(f"most {side}, true as reported: {told}")
    if not document["worst"]["undersized"]:
        lines.append("no target was undersized")
    return lines


def _case(row: Document) -> str:
    name = f"row {row['row']}" if row["target"] is None else row["target"]
    return f"{name} {row['true']:.4g} as {row['reported']:.4g} ({_signed(row['error'])})"


def _counted_in(document: Document) -> list[str]:
    unit = document["unit"]
    return [
        f"{CASE_WORDS[case['case']]} ({case['counted_in']} counted in): bias "
        f"{_signed(case['bias'])} {unit}, RMSE {case['rmse']:.3g} {unit}; no estimate, but how "
        "much hangs on them"
        for case in document["counted_in"]
    ]
