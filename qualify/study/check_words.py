"""Checks of a line of responses in words: which failed, and what that does to the claim."""

from typing import Any

from qualify.pod.response_agreement import Agreement
from qualify.pod.response_checks import LEVEL, ResponseChecks
from qualify.pod.response_in_noise import InNoise
from qualify.pod.signal_response import ResponseFit

Document = dict[str, Any]
MUCH = 0.10  # of a90: a change by more is told; our own rule, no source
MUST = "a90 and its bound rest on what the data speak against"


def p_words(p: float | None) -> str:
    """Return a p value in words of two digits."""
    if p is None:
        return "no test"
    return "p below 0.001" if p < 0.001 else f"p {p:.3f}" if p < 0.1 else f"p {p:.2f}"


def _size(value: float | None, unit: str) -> str:
    return "none" if value is None else f"{value:.3g} {unit}"


def in_noise_notice(fit: ResponseFit, found: InNoise | None, unit: str) -> Document | None:
    """Return the notice of responses that lie within the noise of blanks."""
    if found is None:
        return None
    number = found.responses
    text = (
        f"{number} recorded {'response lies' if number == 1 else 'responses lie'} within noise: "
        f"at or below {found.level:.3g}, which one blank unit in twenty exceeds. There a response "
        "is partly noise, the line is flattened, and a90 comes out too small without any check "
        "noticing. "
    )
    if found.a90 is None:
        text += "With the floor raised to that level no a90 can be told."
    else:
        text += (
            f"With the floor raised to that level a90 is {_size(found.a90, unit)} instead of "
            f"{_size(fit.a90, unit)}, and its likelihood bound {_size(found.a90_95, unit)}: "
            "declare such a floor."
        )
    return {"code": "within_noise", "text": text}


def check_notices(
    fit: ResponseFit, checks: ResponseChecks, beside: Agreement, unit: str
) -> list[Document]:
    """Return a notice for each check that failed, with what the failure does to the claim."""
    found = [
        _bent(checks),
        _spread(fit, checks, unit),
        _scatter(fit, checks, unit),
        _influence(fit, checks, unit),
        _axes(fit, checks, unit),
        _disagree(fit, beside, unit),
    ]
    return [{"code": code, "text": text} for code, text in (f for f in found if f is not None)]


def _bent(checks: ResponseChecks) -> tuple[str, str] | None:
    line = checks.linearity
    if line.p_value is None or line.p_value > LEVEL:
        return None
    way = "" if line.bend is None else "upwards" if line.bend > 0 else "downwards"
    text = (
        f"Responses do not follow a straight line ({p_words(line.p_value)}, bending {way}): "
        f"{MUST}. Look at the figure; another axis, a narrower range of sizes about a90, or hits "
        "and misses may do."
    )
    return "not_straight", text


def _spread(fit: ResponseFit, checks: ResponseChecks, unit: str) -> tuple[str, str] | None:
    spread = checks.spread
    if spread.p_value > LEVEL or (fit.curve is not None and fit.curve.growing):
        return None
    way = "grows" if spread.ratio > 1.0 else "shrinks"
    if spread.a90 is None:
        return "spread_not_constant", (
            f"The spread of responses {way} with size ({p_words(spread.p_value)}; factor "
            f"{spread.ratio:.2f} over the sizes), and with a spread that does so there is no a90: "
            f"{MUST}. Check units and limits."
        )
    text = (
        f"The spread of responses {way} with size ({p_words(spread.p_value)}; factor "
        f"{spread.ratio:.2f} over the sizes). With a spread that does so a90 is "
        f"{_size(spread.a90, unit)} instead of {_size(fit.a90, unit)}: use the model with a "
        "growing spread, or another axis."
    )
    return "spread_not_constant", text


def _scatter(fit: ResponseFit, checks: ResponseChecks, unit: str) -> tuple[str, str] | None:
    scatter = checks.scatter
    worst = min(scatter.p_value, scatter.tail_p_value)
    if worst > LEVEL:
        return None
    where = " in the lower tail, which decides a90" if scatter.tail_p_value <= LEVEL else ""
    text = (
        f"The scatter of responses is not normal{where} ({p_words(worst)}). With its own tenth "
        f"percentile a90 is {_size(scatter.a90, unit)} instead of {_size(fit.a90, unit)}; the "
        "bound may hold less often than it says."
    )
    return "not_normal", text


def _influence(fit: ResponseFit, checks: ResponseChecks, unit: str) -> tuple[str, str] | None:
    worst = max(checks.influence, key=lambda one: abs(one.change or 0.0))
    if worst.change is None or abs(worst.change) <= MUCH:
        return None
    text = (
        f"One target, of {worst.size:.3g} {unit}, moves a90 by {100 * worst.change:+.0f} % when it "
        "is left out: check its size and its response. It stays in the analysis unless a fault is "
        "found and told (10 % is our own rule, no source)."
    )
    return "influential", text


def _axes(fit: ResponseFit, checks: ResponseChecks, unit: str) -> tuple[str, str] | None:
    primary = next(one for one in checks.axes if one.primary)
    best = checks.axes[0]
    if primary.near or best.aic is None or primary.aic is None:
        return None
    text = (
        f"The axes {best.scale}-{best.axis} describe these responses far better than "
        f"{primary.scale}-{primary.axis} (AIC lower by {primary.aic - best.aic:.1f}); a90 there is "
        f"{_size(best.a90, unit)}. Axes are chosen before truth is opened; chosen after, the bound "
        "does not count with the choice."
    )
    return "other_axes", text


def _disagree(fit: ResponseFit, beside: Agreement, unit: str) -> tuple[str, str] | None:
    if beside.agrees is not False:
        return None
    text = (
        f"Hits and misses of the same responses do not agree with the line "
        f"({p_words(beside.p_value)}): their a90 is {_size(beside.fit.a90, unit)}, the line's "
        f"{_size(fit.a90, unit)}. The line is then doubtful near the threshold; use hits and "
        "misses."
    )
    return "hits_disagree", text
