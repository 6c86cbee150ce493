"""Chapter 9: detection, a curve for each reader, mode and kind of target."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.chapters_parts import by_tilt_and_depth
from qualify.dossier.figures import pod_caption
from qualify.dossier.layout import body, bullets, chapter, section, small
from qualify.dossier.lookup import estimate, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.tables import grid
from qualify.dossier.words import (
    OUTCOMES,
    kind_words,
    mm,
    percent,
    plain,
    sentence,
    size_cell,
    whole,
)
from qualify.dossier.worst import worst_words
from qualify.study.plan import Population
from qualify.study.result import StudyResult

BESIDE = {"calibrated": "likelihood", "likelihood": "wald", "wald": "likelihood"}
SIZES = ("a50", "a90", "a90_95", "a90_95_wald", "a90_95_likelihood", "a90_lower_95")


def detection_chapter(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapter 9."""
    plan = result.inputs.plan
    out = chapter("9  Detection")
    star = (
        " An asterisk marks a value outside the tested sizes: an extrapolation and no claim."
        if _starred(result)
        else ""
    )
    used = plan.analysis.bound
    out.append(
        body(
            f"Results {BASIS_WORDS[result.headline]}. Readers and kinds are fitted apart; nothing "
            f"is pooled. Sizes in mm; bounds are one-sided 95 %.{star} a90/95 is the {used} bound, "
            f"which the criteria use; the {BESIDE[used]} bound stands beside it to compare. Worst: "
            "the reader whose a90/95 is largest or does not exist. n.e.: not examined, counted as "
            "missed; the largest miss is of examined targets only."
        )
    )
    for number, population in enumerate(plan.populations, start=1):
        out += _kind(result, number, population, pictures)
    return [*out, *_parameters(result), *_notices(result)]


def _kind(
    result: StudyResult, number: int, population: Population, pictures: Pictures
) -> list[Flowable]:
    kind = population.kind
    told = passes(result, kind, "targets")
    title = f"{sentence(kind_words(kind))[:-1]}, size = {population.size_in_words}"
    out = section(title, 60.0)
    if not told:
        return [*out, body(f"No {kind_words(kind)} were read.")]
    out += [_size_table(result, kind, told), *_reasons(result, kind, told)]
    for m, mode in enumerate(result.inputs.plan.modes, start=1):
        caption = pod_caption(result, kind, mode.id)
        out += pictures.on_page(f"pod-{number}-{m}", caption)
    return [*out, *by_tilt_and_depth(result, kind)]


def _size_table(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> Flowable:
    used = result.inputs.plan.analysis.bound
    other = BESIDE[used]
    heads = [
        "Mode", "Reader", "n (n.e.)", "Hits", "Share", "Its lower bound", "a50", "a90",
        "a90/95", f"{other} a90/95", "a90, lower bound", "Sizes tested",
        "Largest miss, examined", "Outcome",
    ]  # fmt: skip
    rows = []
    for mode, reader in told:
        where = (kind, mode, reader)
        fit = result.fits.get((result.headline, *where))
        low, high = (value(result, s, *where) for s in ("smallest_size", "largest_size"))
        rows.append(
            [
                mode,
                reader + worst_words(result, kind, mode)[reader],
                _with_lost(result, *where),
                whole(value(result, "hits", *where)),
                percent(value(result, "detection_rate", *where)),
                percent(value(result, "detection_rate_lower", *where)),
                size_cell(estimate(result, "a50", *where)),
                size_cell(estimate(result, "a90", *where)),
                size_cell(estimate(result, "a90_95", *where)),
                size_cell(estimate(result, f"a90_95_{other}", *where)),
                size_cell(estimate(result, "a90_lower_95", *where)),
                "none" if low is None else f"{mm(low)} to {mm(high)}",
                mm(value(result, "largest_miss", *where)),
                "no target" if fit is None else OUTCOMES[fit.outcome],
            ]
        )
    widths = [17, 15, 7, 8, 12, 12, 10, 10, 12, 12, 12, 20, 13.5, 17]
    return grid(heads, rows, widths, align="llrrrrrrrrrlrl")


def _with_lost(result: StudyResult, kind: str, mode: str, reader: str) -> str:
    lost = value(result, "not_examined", kind, mode, reader)
    n = whole(value(result, "targets", kind, mode, reader))
    return f"{n}\u00a0({whole(lost)})" if lost else n


def _starred(result: StudyResult) -> bool:
    """Whether any size of the chapter lies outside the tested sizes."""
    return any(
        item.basis == result.headline and item.statistic in SIZES and item.in_range is False
        for item in result.estimates.items
    )


def _reasons(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    held: dict[str, list[str]] = {}
    for mode, reader in told:
        found = estimate(result, "a90_95", kind, mode, reader)
        if found is None:
            held.setdefault("no target of this kind was read", []).append(f"{mode} {reader}")
        elif found.value is None:
            reason = found.reason or "no curve was fitted"
            held.setdefault(reason, []).append(f"{mode} {reader}")
    return [small(f"No a90/95 for {', '.join(who)}: {why}.") for why, who in held.items()]


def _parameters(result: StudyResult) -> list[Flowable]:
    names = [
        "pod_intercept", "pod_slope", "pod_intercept_variance", "pod_covariance",
        "pod_slope_variance", "pod_log_likelihood", "pod_slope_likelihood_ratio",
    ]  # fmt: skip
    heads = [
        "Targets", "Mode", "Reader", "Intercept", "Slope", "Variance of intercept",
        "Covariance", "Variance of slope", "Log-likelihood", "Slope, likelihood ratio",
    ]  # fmt: skip
    rows = [
        [
            kind_words(population.kind),
            mode,
            reader,
            *[plain(value(result, n, population.kind, mode, reader)) for n in names],
        ]
        for population in result.inputs.plan.populations
        for mode, reader in passes(result, population.kind, "pod_slope")
    ]
    if not rows:
        return []
    chosen = result.inputs.plan.analysis
    axis = "natural logarithm of size in mm" if chosen.scale == "log" else "size in mm"
    told = (
        f"{chosen.link} of POD = intercept + slope × {axis}; covariance from the expected "
        "information. 'None': no such value exists for these data. Slope, likelihood ratio: twice "
        "the gain in log-likelihood over a curve without slope; the larger, the surer it is that "
        "detection rises with size (one degree of freedom: 3.84 at 5 %)."
    )
    widths = [27, 18, 12, 15, 11, 16, 17, 16, 21, 17]
    table = grid(heads, rows, widths, align="lllrrrrrrr")
    return [*section("Fitted parameters"), small(told), table]


def _notices(result: StudyResult) -> list[Flowable]:
    held: dict[str, dict[str, list[str]]] = {}
    for notice in result.notices:
        parts = notice.about.split("/")
        if notice.about == "study":
            held.setdefault(notice.text, {}).setdefault("study", [])
        elif parts[0] == result.headline or notice.code == "identical_readers":
            place = f"{kind_words(parts[1])}, {parts[2]}"
            held.setdefault(notice.text, {}).setdefault(place, []).append(parts[3])
    if not held:
        return []
    lines = []
    for text, about in held.items():
        places = [f"{place} {', '.join(readers)}".strip() for place, readers in about.items()]
        lines.append(f"{text} [{'; '.join(places)}]")
    return [*section("Notices"), *bullets(lines)]
