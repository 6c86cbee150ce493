"""Plain-language notices of a fit of responses: what a reader must know beside the numbers."""

from dataclasses import dataclass

import numpy as np

from qualify.pod.notices import Notice, beyond_notices, count, lower_notices, upper_notices
from qualify.pod.problem import BoundName, BoundValue
from qualify.pod.responses import Responses

FEWEST_TARGETS = 40  # handbook figure, see `_few_targets`
SAME = 1e-9  # on the axis of y
HOLDS: dict[BoundName, str] = {
    "likelihood": "the 95 % likelihood bound on a90 held in 89 to 93 % of trials",
    "wald": "the 95 % delta-method (Wald) bound on a90 held in 83 to 90 % of trials",
}
DESIGN = (
    "our own simulation of 15 to 60 targets of sizes 0.5 to 8 (straight line in log size and log "
    "response, 4000 trials each)"
)


@dataclass(frozen=True, slots=True)
class ResponseFindings:
    """What the notices are written from; sizes and responses in the caller's units."""

    data: Responses
    outcome: str
    confidence: float
    bound: BoundName
    bounds: dict[str, dict[str, BoundValue]]
    slope_shown: bool
    a50: float | None
    a90: float | None
    threshold_inside: bool | None
    shared: float | None


def _outcome(found: ResponseFindings) -> Notice | None:
    exact = int(found.data.exact.sum())
    texts = {
        "all_censored": (
            "Every response is censored: none was recorded exactly, so there is no line and no POD "
            "curve of responses. Hits and misses at the threshold can still be analysed."
        ),
        "too_few": (
            f"Too few for a line and its spread: {count(exact, 'uncensored response')}; at least "
            "5, at two sizes, are needed (our own choice), and far more for a useful bound."
        ),
        "decreasing": (
            "Responses do not rise with size, so no a50 or a90 is given. Check the columns and the "
            "unit of response."
        ),
        "no_scatter": (
            "The uncensored responses lie on a straight line without scatter. Measured responses "
            "never do: check whether they were computed from the sizes."
        ),
        "not_settled": "No line of highest likelihood was found; look at the data for outliers.",
    }
    text = texts.get(found.outcome)
    return None if text is None else Notice(found.outcome, text)


def _few_targets(found: ResponseFindings) -> Notice | None:
    """Sample size; the figure 40 is recalled from MIL-HDBK-1823A from memory, not verified."""
    if found.data.targets >= FEWEST_TARGETS:
        return None
    text = (
        f"{count(found.data.targets, 'target')}: fewer than 40, the least for response data in "
        "MIL-HDBK-1823A (figure recalled from memory, not verified). Below it line, constant "
        "spread and normal scatter can hardly be checked."
    )
    return Notice("few_targets", text)


def _censoring(found: ResponseFindings) -> list[Notice]:
    data, notices = found.data, []
    missed = int(data.missed.sum())
    if missed:
        verb = "was" if missed == 1 else "were"
        text = (
            f"{count(missed, 'target' if not data.repeated else 'row')} {verb} missed: nothing "
            "was recorded. Such a target counts as a response at or below the floor; it is not "
            "left out, and no value is made up for it."
        )
        notices.append(Notice("missed", text))
        notices += _only_calls(data)
    for name, where, words in (
        ("above_ceiling", data.beyond > 0, "above the ceiling"),
        ("below_floor", data.beyond < 0, "below the floor"),
    ):
        if np.any(where):
            number = int(where.sum())
            verb = "counts" if number == 1 else "count"
            text = (
                f"{count(number, 'response')} stood {words} and {verb} as censored there. Right "
                "where floor and ceiling say what can be trusted; wrong if they were guessed."
            )
            notices.append(Notice(name, text))
    share = 1.0 - float(data.exact.mean())
    if share > 0.5 and found.outcome in ("fitted", "decreasing"):
        text = (
            f"{100 * share:.0f} % of the responses are censored: the line rests on the rest, and "
            "the model carries more of the result than the data do."
        )
        notices.append(Notice("much_censored", text))
    if found.threshold_inside is False:
        exact = data.response[data.exact]
        text = (
            f"The threshold {data.threshold:g} lies outside the uncensored responses "
            f"({float(exact.min()):g} to {float(exact.max()):g}): POD there is an extrapolation of "
            "the line and its scatter, and no claim should rest on it."
        )
        notices.append(Notice("threshold_outside", text))
    return notices


def _only_calls(data: Responses) -> list[Notice]:
    """Doubt a floor below the threshold where nothing was recorded between the two."""
    given = data.y_of(data.threshold)
    between = np.any(data.exact & (data.response < data.threshold))
    if between or not np.any(data.low[data.missed] < given - SAME):
        return []
    text = (
        "No response between floor and threshold was recorded, although targets were missed. If "
        "only calls were written down, a missed target is known to lie below the threshold, not "
        "below the floor: leave the floor out."
    )
    return [Notice("only_calls", text)]


def _bound_notices(found: ResponseFindings) -> list[Notice]:
    notices: list[Notice] = []
    if found.outcome == "fitted" and not found.slope_shown:
        text = (
            f"Responses are not shown to rise with size at {100 * found.confidence:g} % "
            "confidence, so a50, a90 and their bounds do not exist."
        )
        notices.append(Notice("slope_not_shown", text))
    upper, lower = (found.bounds[found.bound][side] for side in ("upper", "lower"))
    return [*notices, *upper_notices(upper, HOLDS, DESIGN), *lower_notices(lower)]


def _repeated(found: ResponseFindings) -> Notice | None:
    data = found.data
    if found.shared is None:
        return None
    text = (
        f"{data.rows} responses of {data.targets} targets: the targets are the sample size. "
        f"Responses of one target share {100 * found.shared:.0f} % of the variance; the calibrated "
        "bound counts with that, exact, likelihood and Wald bounds do not. POD is that of one "
        "response of a target."
    )
    return Notice("repeated_targets", text)


def response_notices(found: ResponseFindings) -> tuple[Notice, ...]:
    """All notices that apply, the most serious first."""
    notices: list[Notice | None] = [_outcome(found)]
    if found.outcome == "fitted":
        notices += _bound_notices(found)
        upper = found.bounds[found.bound]["upper"].value
        low, high = float(found.data.size.min()), float(found.data.size.max())
        notices += beyond_notices((found.a90, upper), low, high)
    notices += _censoring(found)
    notices += [_repeated(found), _few_targets(found)]
    return tuple(notice for notice in notices if notice is not None)
