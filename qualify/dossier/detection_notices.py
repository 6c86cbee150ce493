"""End of chapter 9: the fitted parameters, and what the analysis warns of."""

from reportlab.platypus import Flowable

from qualify.dossier.layout import bullets, section, small
from qualify.dossier.lookup import passes, readers_of, value
from qualify.dossier.tables import grid
from qualify.dossier.words import kind_words, mm, plain
from qualify.study.result import StudyResult

SPREAD_LIMIT = 1.25
"""Readers whose a90 differ by more are told apart in words; common practice, no source."""


def parameters(result: StudyResult) -> list[Flowable]:
    """Return the table of intercepts, slopes and their covariance."""
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


def notices(result: StudyResult) -> list[Flowable]:
    """Return what the analysis warns of, each text once with the curves it is about."""
    held: dict[str, dict[str, list[str]]] = {}
    for notice in result.notices:
        if notice.code.startswith("sizing_"):  # they stand in chapter 11
            continue
        parts = notice.about.split("/")
        if notice.about == "study":
            held.setdefault(notice.text, {}).setdefault("study", [])
        elif parts[0] == result.headline or notice.code == "identical_readers":
            place = f"{kind_words(parts[1])}, {parts[2]}"
            held.setdefault(notice.text, {}).setdefault(place, []).append(parts[3])
    lines = reader_spread(result)
    if not held and not lines:
        return []
    for text, about in held.items():
        places = [f"{place} {', '.join(readers)}".strip() for place, readers in about.items()]
        lines.append(f"{text} [{'; '.join(places)}]")
    return [*section("Notices"), *bullets(lines)]


def reader_spread(result: StudyResult) -> list[str]:
    """Say where the readers' a90 of one kind and mode differ by more than a quarter."""
    lines = []
    for population in result.inputs.plan.populations:
        for mode in result.inputs.plan.modes:
            known = {
                reader: a90
                for reader in readers_of(result, population.kind, mode.id)
                if (a90 := value(result, "a90", population.kind, mode.id, reader)) is not None
            }
            if not known:
                continue
            low, high = min(known, key=lambda r: known[r]), max(known, key=lambda r: known[r])
            if known[high] > SPREAD_LIMIT * known[low]:
                lines.append(
                    f"Readers differ: a90 runs from {mm(known[low])} mm ({low}) to "
                    f"{mm(known[high])} mm ({high}), more than a quarter apart (our own rule, no "
                    "source). The mode is then as good as its reader, and readers outside this "
                    f"trial may be worse than its worst. [{kind_words(population.kind)}, {mode.id}]"
                )
    return lines
