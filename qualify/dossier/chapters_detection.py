"""Chapter 9: detection, a curve for each reader, mode and kind of target."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.figures import pod_caption
from qualify.dossier.layout import body, bullets, chapter, section, small
from qualify.dossier.lookup import estimate, passes, value, worst_reader
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
from qualify.study.plan import Population
from qualify.study.result import StudyResult

WORDS = {"likelihood": "LR", "wald": "Wald"}


def detection_chapter(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapter 9."""
    plan = result.inputs.plan
    out = chapter("9  Detection")
    out.append(
        body(
            f"Results {BASIS_WORDS[result.headline]}. Readers and kinds are fitted apart; "
            "nothing is pooled. Sizes in mm; bounds are one-sided 95 %. A value with an asterisk "
            "would lie outside the tested sizes, an extrapolation and no claim. "
            f"a90/95 is the {result.inputs.plan.analysis.bound} bound, which the criteria use; "
            "the other method stands beside it to compare. Largest miss: examined targets only."
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
    out = section(title, min(35.0 + 9.0 * len(told), 120.0))
    if not told:
        return [*out, body(f"No {kind_words(kind)} were read.")]
    out += [_size_table(result, kind, told), *_reasons(result, kind, told)]
    for m, mode in enumerate(result.inputs.plan.modes, start=1):
        caption = pod_caption(result, kind, mode.id)
        out += pictures.on_page(f"pod-{number}-{m}", caption)
    return out


def _size_table(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> Flowable:
    used = result.inputs.plan.analysis.bound
    other = "wald" if used == "likelihood" else "likelihood"
    heads = [
        "Mode", "Reader", "n", "Hits", "Share", "Its lower bound", "a50", "a90",
        "a90/95", f"{WORDS[other]} a90/95", "a90, lower bound", "Sizes tested", "Largest miss",
        "Outcome",
    ]  # fmt: skip
    rows = []
    for mode, reader in told:
        where = (kind, mode, reader)
        fit = result.fits.get((result.headline, *where))
        worst = reader == worst_reader(result, kind, mode)
        low, high = (value(result, s, *where) for s in ("smallest_size", "largest_size"))
        rows.append(
            [
                mode,
                reader + (" (worst)" if worst else ""),
                whole(value(result, "targets", *where)),
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
        "information. 'None': no such value exists for these data."
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
        elif parts[0] == result.headline:
            place = f"{kind_words(parts[1])}, {parts[2]}"
            held.setdefault(notice.text, {}).setdefault(place, []).append(parts[3])
    if not held:
        return []
    lines = []
    for text, about in held.items():
        places = [f"{place} {', '.join(readers)}".strip() for place, readers in about.items()]
        lines.append(f"{text} [{'; '.join(places)}]")
    return [*section("Notices"), *bullets(lines)]
