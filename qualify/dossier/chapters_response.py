"""Recorded responses in chapters 9 and 10: lines and their checks; noise and thresholds."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.layout import body, section, small
from qualify.dossier.lookup import BLANKS, estimate, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.tables import grid
from qualify.dossier.words import (
    kind_words,
    p_value,
    percent,
    plain,
    size_cell,
    whole,
)
from qualify.study.plan import Population
from qualify.study.result import StudyResult

AXES = {"log": "log", "linear": "as it is", "logit": "logit"}
UNITS = {"db": "dB", "linear": "amplitude", "coherence": "coherence"}
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
        f"{how.mode}: {UNITS[how.unit]}, size {AXES[how.size_axis]}, response "
        f"{AXES[how.response_axis]}, {_limits(how.floor, how.ceiling)} ({how.reason})"
        for how in plan.responses
    )
    out.append(
        body(
            f"Results {BASIS_WORDS[result.headline]}. A line is fitted to the recorded responses, "
            "censored at floor and ceiling; POD is the chance that a response of that size reaches "
            "the threshold. A target that was examined and missed counts as at most the floor, or "
            "the threshold; none is left out, and no value is made up. Axes fixed in the plan: "
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
        "Mode", "Reader", "Targets", "Missed", "At floor", "At ceiling", "a50", "a90", "a90/95",
        "a90, lower bound", "Bound", "a90 at declared rate", "Its a90/95", "a90/95 of hits",
    ]  # fmt: skip
    rows = []
    for mode, reader in told:
        fit = result.responses[(result.headline, kind, mode, reader)].fit
        where = (kind, mode, reader)
        counts = [
            whole(value(result, name, *where))
            for name in ("response_targets", "response_missed", "response_left", "response_right")
        ]
        sizes = [
            size_cell(estimate(result, name, *where))
            for name in ("response_a50", "response_a90", "response_a90_95",
                         "response_a90_lower_95")
        ]  # fmt: skip
        more = [
            size_cell(estimate(result, name, *where))
            for name in ("at_rate_a90", "at_rate_a90_95", "response_hits_a90_95")
        ]
        rows.append([mode, reader, *counts, *sizes, "none" if fit is None else fit.bound, *more])
    widths = [18, 13, 12, 12, 11, 12, 10, 10, 12, 13, 16, 15, 13, 13]
    return grid(heads, rows, widths, align="llrrrrrrrrlrrr")


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
            "blanks are simulated together. 'a90/95 of hits': the calibrated bound of a probit "
            "curve through hits and misses of the same responses at the threshold in use."
        )
    )
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


def noise_sections(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return the part of chapter 10 on noise, thresholds and the trade against POD."""
    plan = result.inputs.plan
    told = passes(result, BLANKS, "noise_units")
    if not told:
        return []
    out = section("Noise of blank units, and what a threshold is worth", 60)
    out.append(
        body(
            "The highest response in each examined blank unit, described by the law that the plan "
            "names; a unit in which nothing was recorded lies at or below its floor. The rate is "
            "that of false calls per unit at the threshold in use, by the law, with its one-sided "
            "95 % bound; the exact bound from counts stands in the table above and needs no law. "
            "Where a rate was declared: the threshold that these blanks give for it, the rate it "
            "will really have (two-sided 95 %), and the threshold from which the rate is kept at "
            "95 % confidence."
        )
    )
    out.append(_noise_table(result, told))
    out += _noise_reasons(result, told)
    out += [small(text) for text in _law_checks(result)]
    for m, how in enumerate(plan.responses, start=1):
        caption = f"Share of blank units at or above each threshold, mode {how.mode}."
        out += pictures.on_page(f"noise-{m}", caption)
    for number, population in enumerate(plan.populations, start=1):
        for m, how in enumerate(plan.responses, start=1):
            caption = (
                f"POD of {kind_words(population.kind)} at the qualification size against the rate "
                f"of false calls, mode {how.mode}; bounds are one-sided 95 %. The mark is the "
                "threshold in use."
            )
            out += pictures.on_page(f"trade-{number}-{m}", caption)
    return out


def _noise_table(result: StudyResult, told: Sequence[tuple[str, str]]) -> Flowable:
    heads = [
        "Mode", "Reader", "Blank units", "Nothing recorded", "Law", "Threshold in use",
        "Rate by the law", "Its upper bound", "Declared rate", "Threshold for it",
        "Its standard error", "Real rate, 95 %", "Safe threshold",
    ]  # fmt: skip
    rows = []
    for mode, reader in told:
        how = next(one for one in result.inputs.plan.responses if one.mode == mode)

        def get(name: str, at: tuple[str, str] = (mode, reader)) -> float | None:
            return value(result, name, BLANKS, *at)

        ends = (get("noise_realised_low"), get("noise_realised_high"))
        real = "none" if ends[0] is None else f"{percent(ends[0])} to {percent(ends[1])}"
        rows.append(
            [
                mode, reader, whole(get("noise_units")), whole(get("noise_censored")), how.law,
                plain(result.inputs.plan.mode(mode).threshold),
                percent(get("noise_rate")), percent(get("noise_rate_upper")),
                percent(how.declared_rate), plain(get("noise_threshold")),
                plain(get("noise_threshold_error")), real,
                plain(get("noise_safe_threshold")),
            ]
        )  # fmt: skip
    widths = [17, 12, 11, 14, 14, 14, 12, 12, 13, 14, 14, 24, 14]
    return grid(heads, rows, widths, align="llrrlrrrrrrlr")


def _noise_reasons(result: StudyResult, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    held: dict[str, list[str]] = {}
    names = {
        "noise_rate": "rate by the law",
        "noise_threshold": "threshold for the declared rate",
        "noise_safe_threshold": "safe threshold",
    }
    for mode, reader in told:
        for name, words in names.items():
            found = estimate(result, name, BLANKS, mode, reader)
            if found is not None and found.value is None and found.reason:
                held.setdefault(f"No {words} for @: {found.reason}.", []).append(f"{mode} {reader}")
    return [small(text.replace("@", ", ".join(who))) for text, who in held.items()]


def _law_checks(result: StudyResult) -> list[str]:
    lines = []
    for (basis, _, mode, reader), noise in result.noises.items():
        if basis == result.headline and noise.checks is not None:
            told = " ".join(noise.checks.sentences)
            lines.append(f"{mode} {reader}: {told}")
    return lines
