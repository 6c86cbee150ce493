"""Chapter 9: detection, a curve for each reader, mode and kind of target."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.chapters_parts import by_tilt_and_depth
from qualify.dossier.chapters_readers import readers_section, repeats_section
from qualify.dossier.chapters_response import response_sections
from qualify.dossier.checks_bounds import BOUND_HEADS, holds_table, methods_table
from qualify.dossier.checks_fit import covariate_table, fit_table
from qualify.dossier.checks_level import level_table
from qualify.dossier.checks_models import model_tables
from qualify.dossier.checks_parts import checked
from qualify.dossier.detection_notices import notices, parameters
from qualify.dossier.detection_objections import objections, simulated
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.lookup import estimate, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.pod_views import pod_caption
from qualify.dossier.tables import grid
from qualify.dossier.words import (
    OUTCOMES,
    kind_words,
    mm,
    percent,
    rough,
    sentence,
    size_cell,
    whole,
)
from qualify.dossier.worst import worst_words
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.told import ERRORS_A_STEP

MODELS_CAPTION = (
    "c, d: the worst reader of each mode, with the near-equal models and, where it fits below 1, "
    "the curve with a plateau: how far they part is what these data do not decide."
)
COVARIATES_CAPTION = (
    "f: the worst reader of each mode, with curves at the lowest, middle and highest value, from "
    "the model of size and that covariate, on targets examined."
)
TOLD = {
    "fitted": "fitted",
    "separated": "no overlap",
    "quasi_separated": "no overlap",
    "decreasing": "no rise",
    "all_hit": "all found",
    "all_missed": "none found",
    "too_few": "too few",
}
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
    own, other = BOUND_HEADS[used], BOUND_HEADS[BESIDE[used]]
    out.append(
        body(
            f"Results {BASIS_WORDS[result.headline]}. Kinds are never pooled. Each "
            "reader is fitted apart; all readers together stand below, with targets as the "
            f"sample. Sizes in mm; bounds are one-sided 95 %.{star} a90/95 is the {own} bound, "
            f"which the criteria use; the {other} bound stands beside it to compare. Worst: "
            "the reader whose a90/95 is largest or does not exist. n.e.: not examined, counted as "
            "missed; the largest miss is of examined targets only."
        )
    )
    out += [body(text) for text in simulated(result)]
    out += objections(result)
    for number, population in enumerate(plan.populations, start=1):
        out += _kind(result, number, population, pictures)
        out += readers_section(result, population)
    out += repeats_section(result)
    out += response_sections(result, pictures)
    return [*out, *parameters(result), *notices(result)]


def _kind(
    result: StudyResult, number: int, population: Population, pictures: Pictures
) -> list[Flowable]:
    kind = population.kind
    told = passes(result, kind, "targets")
    title = f"{sentence(kind_words(kind))[:-1]}, size = {population.size_in_words}"
    out = section(title, 60.0)
    if not told:
        return [*out, body(f"No {kind_words(kind)} were read.")]
    out += [_size_table(result, kind, told), *_rounded(result, kind, told)]
    out += [*_no_curve(result, kind, told), *_reasons(result, kind, told)]
    for m, mode in enumerate(result.inputs.plan.modes, start=1):
        caption = pod_caption(result, kind, mode.id)
        out += pictures.on_page(f"pod-{number}-{m}", caption)
    return [*out, *_checks(result, number, kind, pictures)]


def _checks(result: StudyResult, number: int, kind: str, pictures: Pictures) -> list[Flowable]:
    """Return the lettered tables of a kind, a to f."""
    rows = checked(result, kind)
    if not rows:
        return by_tilt_and_depth(result, kind)
    return [
        *holds_table(rows),
        *methods_table(rows),
        *model_tables(rows),
        *level_table(rows),
        *pictures.on_page(f"models-{number}", MODELS_CAPTION),
        *fit_table(rows),
        *covariate_table(rows),
        *pictures.on_page(f"covariates-{number}", COVARIATES_CAPTION),
        *by_tilt_and_depth(result, kind),
    ]


def _no_curve(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    held: dict[str, list[str]] = {}
    for mode, reader in told:
        fit = result.fits.get((result.headline, kind, mode, reader))
        if fit is not None and fit.outcome != "fitted":
            reason = OUTCOMES[fit.outcome].removeprefix("no curve: ")
            held.setdefault(reason, []).append(f"{mode} {reader}")
    return [small(f"No curve for {', '.join(who)}: {why}.") for why, who in held.items()]


def _rounded(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    """Say how a simulated bound was rounded, and the largest error of its simulation."""
    errors = [
        error
        for one in told
        if (error := value(result, "a90_95_simulation_error", kind, *one)) is not None
    ]
    if not errors:
        return []
    return [
        small(
            "Each a90/95 is rounded to the safe side, by a step of at least "
            f"{ERRORS_A_STEP:g} times the error of its simulation; the largest such error here: "
            f"{rough(max(errors))} mm."
        )
    ]


def _size_table(result: StudyResult, kind: str, told: Sequence[tuple[str, str]]) -> Flowable:
    used = result.inputs.plan.analysis.bound
    other = BESIDE[used]
    heads = [
        "Mode", "Reader", "n (n.e.)", "Hits", "Share", "Its lower bound", "a50", "a90",
        "a90/95", f"{BOUND_HEADS[other]} a90/95", "a90, lower bound", "Sizes tested",
        "Largest miss", "Curve",
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
                "no target" if fit is None else TOLD[fit.outcome],
            ]
        )
    widths = [16, 16.5, 9.5, 7, 12.5, 12, 8.5, 8.5, 11.5, 14.5, 11, 23, 11.5, 12]
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
