"""Recorded responses in chapter 9: lines, their checks, and how often their bounds hold."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.layout import body, section, small
from qualify.dossier.lookup import BLANKS, estimate, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.tables import grid
from qualify.dossier.words import (
    RESPONSE_UNITS,
    kind_words,
    p_value,
    percent,
    plain,
    size_cell,
    whole,
)
from qualify.pod.response_holds import CASE_WORDS
from qualify.study.plan import Population
from qualify.study.result import StudyResult

AXES = {"log": "log", "linear": "as it is", "logit": "logit"}
NOT_SHOWN = "Signal response: not shown, as the plan declares no recorded responses."
CHECKED = (
    "Checks: p below 0.05 speaks against the line. 'Line' tests for a bend, 'spread' for a spread "
    "that changes with size, 'scatter' for normal scatter, 'tail' its lower tail, which decides "
    "a90, 'hits' whether hits and misses at the threshold agree with the line. Beside them a90 if "
    "the spread changes with size, and with the scatter's own tenth percentile in place of the "
    "normal one; then the probit curve of hits and misses of the same responses. A check that "
    "passes with few targets shows little."
)


def response_sections(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return the part of chapter 9 on recorded responses."""
    plan = result.inputs.plan
    if not plan.responses:
        return [small(NOT_SHOWN)]
    out: list[Flowable] = []
    for number, population in enumerate(plan.populations, start=1):
        told = passes(result, population.kind, "response_a90_95")
        if told:
            out += _population(result, number, population, told, pictures)
    return out


def _population(
    result: StudyResult,
    number: int,
    population: Population,
    told: Sequence[tuple[str, str]],
    pictures: Pictures,
) -> list[Flowable]:
    plan, kind = result.inputs.plan, population.kind
    out = section(f"Signal response: {kind_words(kind)}", 60)
    axes = "; ".join(
        f"{how.mode}: {RESPONSE_UNITS[how.unit]}, size {AXES[how.size_axis]}, response "
        f"{AXES[how.response_axis]}, {_limits(how.floor, how.ceiling)} ({how.reason})"
        for how in plan.responses
    )
    out.append(
        body(
            f"Results {BASIS_WORDS[result.headline]}. Pages 1 and 2 rest on hits and misses; a "
            "line of responses counts there only where a criterion names it. A line is fitted to "
            "the recorded responses, censored at floor and ceiling; POD is the chance that a "
            "response of that size reaches the threshold. A target that was examined and missed "
            "counts as at most the floor, or the threshold where nothing below it was recorded; "
            "none is left out, and no value is made up. Axes fixed in the plan: "
            f"{axes}."
        )
    )
    out += [_sizes(result, kind, told), *_reasons(result, kind, told)]
    for m, how in enumerate(plan.responses, start=1):
        caption = (
            f"Responses of {kind_words(kind)} against {population.size_in_words}, mode {how.mode}, "
            "a panel a reader; thin lines: 1.645 standard deviations about the line."
        )
        out += pictures.on_page(f"response-{number}-{m}", caption)
    checked = [one for one in told if value(result, "response_hits_p", kind, *one) is not None
               or value(result, "response_spread_p", kind, *one) is not None]  # fmt: skip
    if checked:
        out += [small(CHECKED), _check_table(result, kind, checked)]
        out += _holds_table(result, kind, checked)
        out += _line_table(result, kind, checked)
    for m, how in enumerate(plan.responses, start=1):
        caption = (
            f"Checks of the lines of {kind_words(kind)}, mode {how.mode}: residuals, normal plot "
            "with a simulated 95 % band a point, and change of a90 when one target is left out."
        )
        out += pictures.on_page(f"response-checks-{number}-{m}", caption)
    return out


def _limits(floor: float | None, ceiling: float | None) -> str:
    low = "no floor" if floor is None else f"floor {plain(floor)}"
    high = "no ceiling" if ceiling is None else f"ceiling {plain(ceiling)}"
    return f"{low}, {high}"


def _sizes(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> Flowable:
    heads = [
        "Mode", "Reader", "Targets", "Missed / at floor / ceiling", "a50", "a90", "a90/95",
        "a90, lower bound", "Bound", "False calls, upper bound", "a90, declared rate",
        "Its a90/95", "Hits: a90/95",
    ]  # fmt: skip
    rows = []
    for mode, reader in told:
        line = result.responses[(result.headline, kind, mode, reader)]
        where = (kind, mode, reader)
        counts = [
            whole(value(result, name, *where))
            for name in ("response_missed", "response_left", "response_right")
        ]
        sizes = [
            size_cell(estimate(result, name, *where))
            for name in ("response_a50", "response_a90", "response_a90_95",
                         "response_a90_lower_95")
        ]  # fmt: skip
        if line.failed():
            sizes = [f"{text}\u00a0†" if text != "none" else text for text in sizes]
        more = [
            size_cell(estimate(result, name, *where))
            for name in ("at_rate_a90", "at_rate_a90_95", "response_hits_a90_95")
        ]
        rows.append([
            mode, reader, whole(value(result, "response_targets", *where)), " / ".join(counts),
            *sizes, "none" if line.fit is None else line.fit.bound,
            percent(value(result, "false_call_rate_upper", BLANKS, mode, reader)), *more,
        ])  # fmt: skip
    widths = [17, 13, 13, 16, 11, 11, 12, 12, 17, 13, 15, 13, 13]
    return grid(heads, rows, widths, align="llrlrrrrlrrrr")


def _reasons(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    held: dict[str, list[str]] = {}
    star = False
    for mode, reader in told:
        for name, words in (("response_a90_95", "a90/95"),
                            ("at_rate_a90_95", "a90/95 at the declared rate")):  # fmt: skip
            found = estimate(result, name, kind, mode, reader)
            if found is not None and found.value is None:
                held.setdefault(f"No {words} for @: {found.reason}.", []).append(f"{mode} {reader}")
            star = star or (found is not None and found.in_range is False)
    lines = [small(text.replace("@", ", ".join(who))) for text, who in held.items()]
    lines.append(
        small(
            "The a90/95 at the declared rate carries the uncertainty of the threshold: targets and "
            "blanks are simulated together. False calls: exact upper bound of the rate per blank "
            "unit at the threshold in use. At floor: missed targets among them. a90/95 of hits: "
            "the calibrated bound of a probit curve through hits and misses of the same responses "
            "at the threshold in use."
        )
    )
    if any(result.responses[(result.headline, kind, *one)].failed() for one in told):
        lines.append(
            small("† A check speaks against the line (table below): the number rests on a model "
                  "that these data do not support, and no claim should rest on it.")
        )  # fmt: skip
    if star:
        lines.append(
            small("An asterisk: outside the tested sizes, or a threshold outside the uncensored "
                  "responses; an extrapolation and no claim.")
        )  # fmt: skip
    return lines


def _check_table(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> Flowable:
    heads = [
        "Mode", "Reader", "Line, p", "Spread, p", "Scatter, p", "Tail, p", "Hits, p",
        "a90", "a90, spread changes", "a90, own tail", "a90 of hits",
    ]  # fmt: skip
    names = ["linearity", "spread", "scatter", "tail", "hits"]
    sizes = [
        "response_a90", "response_a90_growing_spread", "response_a90_own_tail",
        "response_hits_a90",
    ]  # fmt: skip
    rows = [
        [
            mode, reader,
            *[p_value(value(result, f"response_{n}_p", kind, mode, reader)) for n in names],
            *[size_cell(estimate(result, n, kind, mode, reader)) for n in sizes],
        ]
        for mode, reader in told
    ]  # fmt: skip
    return grid(heads, rows, [22, 16, 15, 16, 17, 14, 14, 13, 20, 18, 15], align="llrrrrrrrrr")


def _holds_table(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    cases = list(CASE_WORDS)
    heads = ["Mode", "Reader", *[case.replace("_", " ") for case in cases]]
    rows = [
        [mode, reader,
         *[percent(value(result, f"response_holds_{c}", kind, mode, reader)) for c in cases]]
        for mode, reader in told
    ]  # fmt: skip
    words = "; ".join(f"{case.replace('_', ' ')}: {text}" for case, text in CASE_WORDS.items())
    text = (
        "How often the bound holds in simulation of this design (95 % is meant; standard error "
        f"about 1 %), if this is true: {words}."
    )
    return [small(text), grid(heads, rows, [22, 16, *[20.0] * len(cases)], align="ll" + "r" * 7)]


def _line_table(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    """Intercept, slope, spread and their covariance, so that all can be checked from paper."""
    rows = []
    for mode, reader in told:
        fit = result.responses[(result.headline, kind, mode, reader)].fit
        if fit is None or fit.covariance is None:
            continue
        c = fit.covariance
        numbers = (fit.intercept, fit.slope, fit.sigma, c[0][0], c[0][1], c[1][1], c[2][2],
                   fit.log_likelihood)  # fmt: skip
        rows.append([mode, reader, *[plain(n) for n in numbers]])
    heads = [
        "Mode", "Reader", "Intercept", "Slope", "Sigma", "Variance of intercept", "Covariance",
        "Variance of slope", "Variance of log sigma", "Log-likelihood",
    ]  # fmt: skip
    text = (
        "The lines: response on its axis = intercept + slope × size on its axis (natural "
        "logarithms); sigma by maximum likelihood; covariance from the observed information."
    )
    table = grid(heads, rows, [20, 14, 17, 15, 13, 19, 18, 18, 19, 19], align="llrrrrrrrr")
    return [small(text), table]
