"""The lines that `pod hit-miss` prints for people."""

import math
from typing import Any

from qualify.pod.holds import Case
from qualify.pod.problem import BOUND_WORDS, BoundName
from qualify.study.answers_readers import NOT_MORE, reader_lines, told_in_full
from qualify.study.answers_together import together_lines
from qualify.study.answers_told import bound_head, counted, told_a90_95, told_size
from qualify.study.check_estimates import CASE_WORDS
from qualify.study.told import step_for

Document = dict[str, Any]
NO_ESTIMATE = "no estimate"
FIRST = ("pooled_readers", "repeated_targets", "trials_as_targets")
BLIND = 0.3  # of trials in which a fault is noticed; our own line, no source
TWO_SIZES = "fit: with two sizes every curve fits: its shape is assumed"
OTHER_LINKS: tuple[Case, ...] = ("logit", "probit", "cloglog", "loglog")
SHORT: dict[BoundName, str] = {
    "calibrated": "calibrated",
    "likelihood": "likelihood",
    "wald": "Wald",
    "r_star": "r*",
    "firth": "Firth",
    "cheng_iles": "whole curve",
    "bootstrap": "bootstrap",
}
HELPS = {
    "fitted": (
        "More targets, spread over the sizes where some are hit and some missed, would show "
        "whether POD rises with size."
    ),
    "decreasing": "Mend the labels, the size column or the coding of hits, then run this again.",
    "all_hit": "Smaller targets, of which some are missed, would show where detection fails.",
    "all_missed": (
        "Check the coding of hits; if it is right, larger targets, of which some are hit, would "
        "show where detection begins."
    ),
    "too_few": "Add targets of further sizes; some 60 or more are usual for a bound on a90.",
}


def what_helps(outcome: str) -> str | None:
    """Return what would give a bound where there is none, in one sentence."""
    return HELPS.get(outcome)


def pod_lines(document: Document) -> list[str]:
    """Return the lines that `pod hit-miss` prints for people; what is pooled is told first."""
    first = [n for n in document["notices"] if n["code"] in FIRST]
    lines = [f"note: {notice['text']}" for notice in first] + reader_lines(document)
    for name, one in told_in_full(document):
        rest = [n for n in one["notices"] if n["code"] not in (*FIRST, "worst_reader")]
        head = [] if name is None else [f"reader {name} in full:"]
        lines += head + _full({**one, "notices": rest})
    if "readers" in document:
        lines += [*together_lines(document), f"note: {NOT_MORE}"]
    return lines


def _full(document: Document) -> list[str]:
    low, high = document["tested_range"]
    lines = [
        f"{document['hits']} of {document['n']} hit; sizes {low:g} to {high:g} "
        f"{document['unit']}; outcome: {document['outcome'].replace('_', ' ')}",
        _estimates(document),
        *_bound_lines(document),
        *_beside_lines(document),
        *_at_lines(document),
        *_holds_lines(document),
        *_models_lines(document),
    ]
    if document["plateau"] is not None:
        lines += [f"plateau: {sentence}" for sentence in document["plateau"]["sentences"]]
    if document["size_uncertainty"] is not None:
        lines += _size_lines(document)
    return [*lines, *_covariate_lines(document), *_fit_lines(document), *_notes(document)]


def _size_lines(document: Document) -> list[str]:
    """Tell the curve with the uncertainty of sizes, and its bound beside that without."""
    found = document["size_uncertainty"]
    lines = [f"sizes: {found['sentence']}"]
    if found["a90_95_integrated"] is not None:
        new, old = (told_size(found[n], document) for n in ("a90_95_integrated", "a90_95"))
        lines.append(f"sizes: likelihood bound on a90 {new}; with sizes as exact {old}")
    return lines


def _estimates(document: Document) -> str:
    if document["a50"] is None and document["a90"] is None:
        return "a50 and a90: no estimate, see the notes"
    a50, a90 = (told_size(document[name], document) for name in ("a50", "a90"))
    return f"a50 {a50}, a90 {a90}"


def _bound_lines(document: Document) -> list[str]:
    error, head = document["simulation_error"], bound_head(document)
    how = f"({document['bound']} bound, {document['link']} on {document['scale']} size)"
    lines = [f"{head} {told_a90_95(document)} {how}"]
    if document["a90_95"] is not None and error:
        unit = document["unit"]
        lines.append(
            f"simulated: the bound rests on {document['simulations']} simulated trials, seed "
            f"{document['seed']}; its simulation error is {error:.2g} {unit}, and it is rounded "
            f"up to the next {step_for(error):g} {unit}"
        )
    return lines


def _beside_lines(document: Document) -> list[str]:
    """All bounds side by side, where more than the usual three were asked for."""
    if len(document["bounds"]) <= 3:
        return []
    return [
        f"other bounds: {BOUND_WORDS[name]}: {told_size(value, document)}"
        for name, value in document["bounds"].items()
        if name != document["bound"]
    ]


def _at_lines(document: Document) -> list[str]:
    return [_at_line(one, document) for one in document["pod_at"]]


def _at_line(one: Document, document: Document) -> str:
    head = f"POD at {one['size']:g} {document['unit']}"
    if not one["in_range"]:
        return f"{head}: {one['reason']}"
    if one["lower_95"] is None:
        return f"{head}: no bound: {one['reason']}"
    estimate = NO_ESTIMATE if one["pod"] is None else f"{one['pod']:.2f}"
    least = math.floor(100.0 * one["lower_95"]) / 100.0
    if one["lower_95"] == 0.0:
        return f"{head}: {estimate}; no POD, however low, is excluded"
    if least == 0.0:
        return f"{head}: {estimate}; its lower bound is below 0.01"
    return (
        f"{head}: {estimate}; at least {least:.2f} at {100 * document['confidence']:g} % "
        f"confidence (calibrated bound, {one['simulations']} simulated trials, rounded down)"
    )


def _fit_lines(document: Document) -> list[str]:
    """Both tests of fit, and for each fault how often the better of them would have noticed it."""
    found = document["goodness"]
    if found["reason"] is not None:
        return [TWO_SIZES] if document["outcome"] == "fitted" else []
    lines = [f"fit: {sentence}" for sentence in found["sentences"][:2]]
    worth = ", ".join(
        f"{power['words']} in {100 * max(power['curvature'], power['squares']):.0f} %"
        for power in found["power"]
    )
    lines.append(f"fit: the better of the two would have noticed {worth} of such trials")
    best = max((max(p["curvature"], p["squares"]) for p in found["power"]), default=1.0)
    noticed = any(notice["code"] == "misfit" for notice in document["notices"])
    if best < BLIND and not noticed:
        told = counted(document["n"], "target")
        lines.append(f"fit: this check sees almost nothing with {told}")
    return lines


def _holds_lines(document: Document) -> list[str]:
    holds = document["holds"]
    if holds is None:
        return []
    cases = holds["cases"]
    links = [name for name in OTHER_LINKS if name in cases]
    lowest = min(links, key=lambda name: cases[name]["share"], default=None)
    separated = document["outcome"] != "fitted"
    lines = [
        f"how often the {holds['bound']} bound holds in simulation of this design, "
        f"{holds['replicates']} trials a line, seed {holds['seed']}; in brackets the standard "
        "error of the simulation; a trial without a bound claims nothing and counts as holding"
    ]
    told: tuple[Case | None, ...] = ("fit", "steeper", "shallower", lowest, "plateau")
    for case in told:
        if case is None or case not in cases:
            continue
        words = CASE_WORDS[case]
        if separated:
            words = words.replace("the fitted curve", "the curve held at the bound")
        if case == lowest:
            words += f" (the lowest of {len(links)} other links)"
        lines.append(_holds_line(cases[case], words))
    return lines


def _holds_line(held: Document, words: str) -> str:
    line = (
        f"simulated: holds in {100 * held['share']:.1f} % (± {100 * held['error']:.1f}) of such "
        f"trials if {words} is true"
    )
    if held["no_bound"] < 0.0005:
        return line
    line += f"; {100 * held['no_bound']:.1f} % have no bound"
    if held["share_given_a_bound"] is not None:
        line += f", and {100 * held['share_given_a_bound']:.1f} % of the bounds there are hold"
    return line


def _models_lines(document: Document) -> list[str]:
    models = document["models"]
    if models is None:
        return []
    unit, lines = document["unit"], ["models: link and scale, AIC, a90, likelihood bound on a90"]
    rows = models["rows"]
    if all(row["aic"] is None for row in rows):
        lines, rows = [], []
    for row in rows:
        marks = [m for m, there in (("primary", row["primary"]), ("near-equal", row["near_equal"]))
                 if there]  # fmt: skip
        aic = "no fit" if row["aic"] is None else f"{row['aic']:.1f}"
        a90, upper = (_plain(row[name], unit) for name in ("a90", "a90_95"))
        name = f"{row['link']} in {'log size' if row['scale'] == 'log' else 'size'}"
        mark = f" ({', '.join(marks)})" if marks else ""
        lines.append(f"models: {name}{mark}: {aic}, {a90}, {upper}")
    return lines + [f"models: {sentence}" for sentence in models["sentences"]]


def _covariate_lines(document: Document) -> list[str]:
    found = document["covariate"]
    if found is None:
        return []
    lines = [
        f"covariate {found['name']}: at {one['value']}: a90 {_plain(one['a90'], document['unit'])}"
        f", likelihood bound {_plain(one['a90_95'], document['unit'])}"
        for one in found["a90"]
    ]
    return lines + [f"covariate {found['name']}: {notice['text']}" for notice in found["notices"]]


def _notes(document: Document) -> list[str]:
    """Notices as lines; missing bounds that share one reason share one line."""
    lines: list[str] = []
    missing: dict[str, list[str]] = {}
    for notice in document["notices"]:
        code, text = notice["code"], notice["text"]
        name = code.removeprefix("no_").removesuffix("_bound")
        if name not in document["bounds"] or code != f"no_{name}_bound":
            lines.append(f"note: {text}")
        elif name != document["bound"]:
            missing.setdefault(text.split(": ", 1)[1], []).append(SHORT[name])
    told = {line for line in lines if line.startswith("note: No upper bound on a90: ")}
    for reason, names in missing.items():
        if not any(line.endswith(reason) for line in told):
            lines.append(f"note: No {' or '.join(names)} bound: {reason}")
    return lines


def _plain(value: float | None, unit: str) -> str:
    return "does not exist" if value is None else f"{value:.4g} {unit}"
