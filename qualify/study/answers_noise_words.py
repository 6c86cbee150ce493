"""The lines that tell of noise, thresholds and false-call rates to people."""

import math
from typing import Any

from qualify.study.answers_noise import law_words
from qualify.study.answers_told import bound_head, counted, told_size

Document = dict[str, Any]
LEAST_TOLD = 0.05  # of one unit in all blanks: rates below are the law's word alone
UNITS = {"db": " dB", "linear": "", "coherence": " coherence"}


def percent(value: float | None) -> str:
    """Return a fraction in per cent, with the digits that small rates need."""
    if value is None:
        return "none"
    return f"{100 * value:.2g} %" if value < 0.1 else f"{100 * value:.1f} %"


def _down(pod: float) -> str:
    """Return a POD rounded down to three decimals."""
    return f"{math.floor(1000.0 * pod) / 1000.0:.3f}"


def noise_lines(found: Document) -> list[str]:
    """Return lines on the law of the noise, the threshold in use and that of a declared rate."""
    unit = UNITS[found["response_unit"]]
    censored = f", {found['censored']} with nothing above the floor" if found["censored"] else ""
    lines = [f"blanks: {counted(found['blank_units'], 'unit')}{censored}; {_law(found)}"]
    lines += [f"blanks: {sentence}" for sentence in found["sentences"]]
    use, declared = found["in_use"], found["declared"]
    if use is not None:
        lines.append(_in_use(use, found, unit))
    if declared is not None:
        lines += _declared(declared, unit)
    return lines


def _law(found: Document) -> str:
    if found["outcome"] != "fitted":
        return f"no law: {found['outcome'].replace('_', ' ')}"
    words = {"log": " of log response", "logit": " of logit response"}.get(found["axis"], "")
    if found["law"] == "empirical":
        return law_words("empirical")
    shape = f", shape {found['shape']:.3g}" if found["law"] == "gev" else ""
    return (
        f"{law_words(found['law'])}{words}, location {found['location']:.4g}, scale "
        f"{found['scale']:.3g}{shape}"
    )


def _in_use(use: Document, found: Document, unit: str) -> str:
    head = f"false calls at the threshold {use['threshold']:.4g}{unit}"
    seen = (
        f"observed {use['units_above']} of {found['blank_units']}, exact upper bound "
        f"{percent(use['observed_upper_95'])}"
    )
    if use["rate"] is None:
        return f"{head}: {use['reason']}; {seen}" if use["units_above"] is not None else (
            f"{head}: {use['reason']}"
        )  # fmt: skip
    if found["law"] == "empirical":
        return f"{head}: {seen}"
    if use["rate"] < LEAST_TOLD / found["blank_units"]:
        return (
            f"{head}: by the law far below what {found['blank_units']} blank units can show; {seen}"
        )
    return (
        f"{head}: {percent(use['rate'])} per unit by the law, upper 95 % bound "
        f"{percent(use['upper_95'])}; {seen}"
    )


def _declared(declared: Document, unit: str) -> list[str]:
    head = f"declared rate {percent(declared['rate'])}"
    if declared["threshold"] is None:
        return [f"{head}: no threshold: {declared['reason']}"]
    error = declared["standard_error"]
    told = "" if error is None else f" ± {error:.2g} (standard error)"
    lines = [f"{head}: threshold {declared['threshold']:.4g}{told}{unit}"]
    if declared["realised_interval_95"] is not None:
        low, high = declared["realised_interval_95"]
        lines.append(
            f"{head}: if the law is true, the rate is really {percent(low)} to {percent(high)} "
            f"(two-sided 95 %), {percent(declared['realised_mean'])} on the mean over such blanks"
        )
    lines += [f"{head}: {notice['text']}" for notice in declared["notices"]]
    safe = declared["safe_threshold"]
    lines.append(
        f"{head}: kept at 95 % confidence from a threshold of {safe:.4g}{unit}"
        if safe is not None
        else f"{head}: no threshold keeps it at 95 % confidence: {declared['safe_reason']}"
    )
    return lines


def rate_lines(found: Document, document: Document) -> list[str]:
    """Return lines on POD at the declared rate and on the trade against it."""
    lines = []
    at = found.get("at_rate")
    if at is not None:
        if at["a90"] is None:
            why = at["reason"] or "there is no a90"
            return [f"POD at a declared rate of {percent(at['rate'])}: none: {why}"]
        upper = told_size(at["a90_95"], document)
        known = told_size(at["a90_95_threshold_known"], document)
        lines.append(
            f"POD at a declared rate of {percent(at['rate'])}: a90 {told_size(at['a90'], document)}"
            f", {bound_head(document)} {upper}, with the uncertainty of the threshold (targets and "
            f"blanks simulated together); {known} if the threshold were known"
        )
        if not at["inside"]:
            lines.append(
                "POD at a declared rate: its threshold lies outside the uncensored responses; this "
                "is an extrapolation and no claim"
            )
    for one in found.get("trade", []):
        if not one["pod_at"]:
            lines.append(f"trade: false calls {percent(one['rate'])}: none: {one['reason']}")
            continue
        told = ", ".join(
            f"POD at {p['size']:g} {document['unit']} {_down(p['pod'])}, at least "
            f"{_down(p['lower_95'])}"
            for p in one["pod_at"]
        )
        outside = "" if one["inside"] else " (threshold outside the uncensored responses: no claim)"
        lines.append(f"trade: false calls {percent(one['rate'])}: {told}{outside}")
    return lines
