"""The lines that `compare` prints for people."""

from typing import Any

from qualify.study.answers_told import counted

Document = dict[str, Any]
SHOWN = 12


def compare_lines(document: Document) -> list[str]:
    """Return what a comparison says, line by line."""
    lines: list[str] = []
    if "readers" in document:
        lines += [f"reader {name}: {_short(one)}" for name, one in document["readers"].items()]
        if document["all_readers"] is not None:
            lines.append(f"all readers together: {_short(document['all_readers'])}")
        lines.append(f"{document['reader']} governs, for whom {document['names'][1]} looks worst:")
    lines += _one(document)
    by_reader = [
        f"{name}: {line}"
        for name, one in document.get("readers", {}).items()
        if one.get("false_calls") is not None
        for line in _false_calls(one["false_calls"], document["names"])
    ]
    if document["false_calls"] is not None and not by_reader:
        lines += _false_calls(document["false_calls"], document["names"])
    lines += by_reader
    if document["responses"] is not None:
        lines += _responses(document["responses"], document)
    lines += [f"note: {notice['text']}" for notice in document["notices"]]
    return lines


def p_told(p: float | None) -> str:
    """Return a p as it is printed."""
    if p is None:
        return "no p"
    return f"p = {p:.3f}" if p >= 0.001 else f"p = {p:.1e}"


def ratio_told(document: Document) -> str:
    """Return the ratio of a90 with its one-sided upper bound."""
    if document["a90_ratio"] is None:
        return "no ratio of a90"
    upper = document["a90_ratio_upper_95"]
    share = f"{100 * document['confidence']:g} %"
    end = "no upper bound" if upper is None else f"upper {share} bound {upper:.3g}"
    return f"ratio of a90 {document['a90_ratio']:.3g}, {end}"


def _short(document: Document) -> str:
    a, b = document["names"]
    return (
        f"{a} alone hit {document['a_only']}, {b} alone {document['b_only']} "
        f"({p_told(document['mcnemar_exact_p'])}); {ratio_told(document)}"
    )


def _one(document: Document) -> list[str]:
    a, b = document["names"]
    unit, share = document["unit"], f"{100 * document['confidence']:g} %"
    lines = [
        f"{counted(document['n'], 'target')} read in both modes; hit in both {document['both']}, "
        f"{a} alone {document['a_only']}, {b} alone {document['b_only']}, neither "
        f"{document['neither']}",
        f"hits: exact {p_told(document['mcnemar_exact_p'])} (mid-p "
        f"{p_told(document['mcnemar_mid_p'])[4:]}), two-sided",
    ]
    if document["rate_difference"] is not None:
        ends = document["newcombe_ci"] or document["by_target_ci"]
        told = [f"{100 * end:+.1f}" for end in ends or ()]
        between = f", {share} between {told[0]} and {told[1]}" if told else ""
        lines.append(
            f"detection rate {b} less {a}: {100 * document['rate_difference']:+.1f} points{between}"
        )
    lines.append(f"curves: {p_told(document['curves']['exchange_p'])} (modes exchanged by target)")
    for name, value in ((a, document["a90_a"]), (b, document["a90_b"])):
        size = "does not exist" if value is None else f"{value:.4g} {unit}"
        lines.append(f"a90 in {name}: {size}")
    lines.append(f"{ratio_told(document)} ({b} over {a})")
    if document["margin"] is not None:
        lines.append(_margin(document))
    lines += [_class(one, unit, a, b) for one in document["by_size"]]
    return [*lines, *_discordant(document)]


def _margin(document: Document) -> str:
    margin, upper = document["margin"], document["a90_ratio_upper_95"]
    if upper is None:
        return f"margin {margin:g}: not shown, there is no upper bound"
    shown = upper <= margin
    words = "at most the margin is shown" if shown else "not shown"
    return f"margin {margin:g}: {words} ({p_told(document['not_inferior_p'])}, one-sided)"


def _class(one: Document, unit: str, a: str, b: str) -> str:
    return (
        f"  {one['from']:.3g} to {one['to']:.3g} {unit}: {a} {one['hits_a']}, {b} {one['hits_b']} "
        f"of {one['readings']} ({p_told(one['exact_p'])}, adjusted {one['holm_p']:.3g})"
    )


def _discordant(document: Document) -> list[str]:
    out = []
    for side, name in zip("ab", document["names"], strict=True):
        told = [
            f"{one['target']} ({one['size']:.3g})"
            for one in document["discordant"]
            if one["hit_in"] == side
        ]
        if told:
            more = f" and {len(told) - SHOWN} more" if len(told) > SHOWN else ""
            out.append(f"{name} alone hit {', '.join(told[:SHOWN])}{more}")
    return out


def _false_calls(found: Document, names: list[str]) -> list[str]:
    if found["rate_a"] is None:
        return [f"no false-call rate: {found['reason']}"]
    rates = [
        f"{name} {100 * found[f'rate_{k}']:.1f} %"
        + ("" if found[f"upper_95_{k}"] is None else f" (upper {100 * found[f'upper_95_{k}']:.1f})")
        for name, k in zip(names, "ab", strict=True)
    ]
    return [
        f"false calls on {found['blank_units']} blank units: {', '.join(rates)}; difference "
        f"{p_told(found['mcnemar_exact_p'])}"
    ]


def _responses(found: Document, document: Document) -> list[str]:
    head = f"responses, each mode at its threshold for {100 * found['rate']:g} % false calls: "
    if found["a90_ratio"] is None:
        return [f"{head}no ratio, {found['reason']}"]
    return [
        head + f"thresholds {found['threshold_a']:.4g} and {found['threshold_b']:.4g}; "
        + ratio_told({**found, "confidence": document["confidence"]})
    ]  # fmt: skip
