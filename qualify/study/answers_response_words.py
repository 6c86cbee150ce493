"""The lines that `pod response` prints for people."""

import math
from typing import Any

from qualify.study.answers_noise_words import noise_lines, rate_lines
from qualify.study.answers_readers import NOT_MORE, reader_lines, told_in_full
from qualify.study.answers_response_rows import UNIT_WORDS
from qualify.study.answers_told import bound_head, counted, told_a90_95, told_size
from qualify.study.check_words import p_words
from qualify.study.told import step_for

Document = dict[str, Any]
SHORT = {"exact": "exact", "calibrated": "calibrated", "likelihood": "likelihood", "wald": "Wald"}


def response_lines(document: Document) -> list[str]:
    """Return the lines that `pod response` prints for people."""
    lines = reader_lines(document)
    for name, one in told_in_full(document):
        rest = [n for n in one["notices"] if n["code"] != "worst_reader"]
        head = [] if name is None else [f"reader {name} in full:"]
        lines += head + _full({**one, "notices": rest})
    return [*lines, f"note: {NOT_MORE}"] if "readers" in document else lines


def _full(document: Document) -> list[str]:
    first = [n for n in document["notices"] if n["code"] == "repeated_targets"]
    return [
        *(f"note: {n['text']}" for n in first),
        _counts(document),
        *_estimates(document),
        *_claim(document),
        *_checks(document),
        *(_at(one, document) for one in document["pod_at"]),
        *_holds(document),
        *_false_calls(document),
        *(f"note: {n['text']}" for n in document["notices"] if n not in first and _tells(n)),
    ]


def _tells(notice: Document) -> bool:
    """Whether a notice is more than the reason of one kind of bound, told once already."""
    kinds = {f"no_{name}_bound" for name in SHORT}
    return notice["code"] not in kinds


def _counts(document: Document) -> str:
    low, high = document["tested_range"]
    censored = document["censored"]
    told = counted(document["n"], "target")
    if document["rows"] != document["n"]:
        told += f", {document['rows']} responses"
    missed = f" ({document['missed']} missed)" if document["missed"] else ""
    return (
        f"{told}; sizes {low:g} to {high:g} {document['unit']}; responses in "
        f"{UNIT_WORDS[document['response_unit']]}; {censored['left']} left-censored{missed}, "
        f"{censored['right']} right-censored; {document['hits']} at or above the threshold "
        f"{document['threshold']:.4g}; outcome: {document['outcome'].replace('_', ' ')}"
    )


def _estimates(document: Document) -> list[str]:
    if document["a50"] is None and document["a90"] is None:
        lines = ["a50 and a90: no estimate, see the notes"]
    else:
        a50, a90 = (told_size(document[name], document) for name in ("a50", "a90"))
        lines = [f"a50 {a50}, a90 {a90}"]
    size, response = document["scale"].split("-")
    words = {"log": "log response", "linear": "response as it is", "logit": "logit of response"}
    axes = f"{'log size' if size == 'log' else 'size'}, {words[response]}"
    how = f"({SHORT[document['bound']]} bound; {axes})"
    lines.append(f"{bound_head(document)} {told_a90_95(document)} {how}")
    error = document["simulation_error"]
    if document["a90_95"] is not None and error:
        unit = document["unit"]
        lines.append(
            f"simulated: the bound rests on {document['simulations']} simulated trials, seed "
            f"{document['seed']}; its simulation error is {error:.2g} {unit}, and it is rounded "
            f"up to the next {step_for(error):g} {unit}"
        )
    others = [
        f"{SHORT[name]} {told_size(value, document)}"
        for name, value in document["bounds"].items()
        if name != document["bound"]
    ]
    return [*lines, f"other bounds: {'; '.join(others)}"] if others else lines


def _claim(document: Document) -> list[str]:
    """Say what stands beside the bound: the threshold's uncertainty, or that false calls lack."""
    found = document["false_calls"]
    if found is None:
        return [
            "false calls at this threshold: not told; no claim on detection stands without them"
        ]
    at = found.get("at_rate")
    if at is None or not found["threshold_from_rate"]:
        return []
    return [
        f"the threshold was estimated from {found['blank_units']} blanks; with its uncertainty "
        f"{bound_head(document)} {told_size(at['a90_95'], document)}: this is the one to claim"
    ]


def _checks(document: Document) -> list[str]:
    checks, beside = document["checks"], document["agreement"]
    if checks is None:
        return []
    line, spread, scatter = checks["linearity"], checks["spread"], checks["scatter"]
    first = checks["influence"][0]
    change = first["change"]
    near = [f"{one['scale']}-{one['axis']}" for one in checks["axes"] if one["near"]]
    return [
        f"check: straight line: {p_words(line['p_value'])}; constant spread: "
        f"{p_words(spread['p_value'])}; normal scatter: {p_words(scatter['p'])}, its lower tail "
        f"{p_words(scatter['tail_p'])}",
        f"check: a90 with a spread that varies with size {_plain(spread['a90'], document)}, with "
        f"the scatter's own tenth percentile {_plain(scatter['a90_without_a_law'], document)}",
        f"check: most influential: {first['target']} ({first['size']:g} {document['unit']}): "
        + ("a90 is lost without it" if change is None else f"a90 {100 * change:+.1f} % without it"),
        f"check: axes within 2 AIC of the best: {', '.join(near)}",
        f"check: hits and misses at this threshold (probit): a90 {_plain(beside['a90'], document)}"
        f", bound {_plain(beside['a90_95'], document)}; agreement: {p_words(beside['p'])}",
    ]


def _plain(value: float | None, document: Document) -> str:
    return "none" if value is None or document["a90"] is None else told_size(value, document)


def _at(one: Document, document: Document) -> str:
    head = f"POD at {one['size']:g} {document['unit']}"
    if one["lower_95"] is None:
        return f"{head}: no bound: {one['reason']}"
    least = math.floor(1000.0 * one["lower_95"]) / 1000.0
    behind = "" if one["simulations"] is None else f", {one['simulations']} simulated trials"
    return (
        f"{head}: {one['pod']:.3f}; at least {least:.3f} at {100 * document['confidence']:g} % "
        f"confidence ({SHORT[one['method']]} bound{behind}, rounded down)"
    )


def _holds(document: Document) -> list[str]:
    holds = document["holds"]
    if holds is None:
        return []
    lines = [
        f"how often a calibrated bound holds in simulation of this design, {holds['replicates']} "
        f"trials a line, seed {holds['seed']}; in brackets the standard error"
    ]
    for one in holds["cases"].values():
        told = f"simulated: {100 * one['calibrated']:.1f} % (± {100 * one['error']:.1f})"
        exact = "" if one["exact"] is None else f", exact {100 * one['exact']:.1f} %"
        none = f"; {100 * one['no_bound']:.1f} % have no bound" if one["no_bound"] else ""
        lines.append(
            f"{told} if this is true: {one['words']}; likelihood {100 * one['likelihood']:.1f} %"
            f"{exact}{none}"
        )
    return lines


def _false_calls(document: Document) -> list[str]:
    found = document["false_calls"]
    if found is None:
        return []
    return [*noise_lines(found), *rate_lines(found, document)]
