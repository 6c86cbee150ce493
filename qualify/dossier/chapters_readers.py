"""Part of chapter 9: all readers of a mode together, and how far readers agree."""

from collections.abc import Sequence
from itertools import combinations

from reportlab.platypus import Flowable

from qualify.criteria.words import ALL_READERS, NEW_READER
from qualify.dossier.layout import body, section, small
from qualify.dossier.lookup import BLANKS, FLAWED, estimate, value
from qualify.dossier.tables import grid
from qualify.dossier.words import kind_words, listed, percent, size_cell, whole
from qualify.pod.readers import FEW_READERS
from qualify.study.plan import Population
from qualify.study.readers_analysis import CASES
from qualify.study.result import StudyResult

WHAT = (
    "Readings of one target by several readers are not further targets: the targets are the "
    "sample. One curve is fitted through all readings; it stands for the mean POD of the "
    "readers. Its a90/95 compares the likelihood ratio of the readings with that of simulated "
    "trials in which readings of one target go together and readers differ, as far as these "
    "readings show; it is about these readers. For a class of readers those of every simulated "
    "trial are drawn anew: a statement about the mean of the class, from which these must have "
    f"been drawn, and not about its worst; one reader may be worse than it. {FEW_READERS} or "
    "more readers are wanted for it (house rule, no source). Criteria are held against these "
    "only where they say so."
)
BESIDE = (
    "To compare only: cluster-robust (CR1, t) and bootstrap of whole targets hold less often than "
    "they say with so few targets. 'Readings as targets' is a warning example and no bound: it "
    "takes every reading for another target. Typical target: a90 of the middle target of its size, "
    "by a random intercept; average: over all targets, by the same model; a claim on POD is about "
    "the average. Share: of the hidden variance of a reading, what belongs to the target."
)
LEAST_KAPPA = 0.1
AGREE = (
    "Called alike: share of the targets examined by all on which two readers agree, with its "
    "exact two-sided 95 % interval. Kappa (Cohen 1960; Fleiss 1971) is 1 for full agreement and "
    "0 for what chance would give; sizes that everybody finds or misses raise it. Agreement is "
    "no proof of being right."
)


def readers_section(result: StudyResult, population: Population) -> list[Flowable]:
    """Return what all readers together come to on one kind; nothing where fewer than two read."""
    kind = population.kind
    modes = [
        mode.id
        for mode in result.inputs.plan.modes
        if (result.headline, kind, mode.id, ALL_READERS) in result.together
    ]
    if not modes:
        return []
    out = section(f"Readers together: {kind_words(kind)}", 60)
    out += [body(WHAT), _bounds(result, kind, modes), *_reasons(result, kind, modes)]
    out += [small(BESIDE), _contrasts(result, kind, modes)]
    out += _holds(result, kind, modes)
    return [*out, *_agreement(result, kind, modes)]


def _bounds(result: StudyResult, kind: str, modes: Sequence[str]) -> Flowable:
    heads = [
        "Mode", "Readers", "Targets", "Readings", "Hits", "a50", "a90", "a90/95, these readers",
        "a90, lower bound", "a90/95, class of readers", "Readings as targets (no bound)",
    ]  # fmt: skip
    rows = []
    for mode in modes:
        counts = [
            whole(value(result, name, kind, mode, ALL_READERS))
            for name in ("readers", "targets", "readings", "hits")
        ]
        sizes = [
            size_cell(estimate(result, name, kind, mode, reader))
            for name, reader in (
                ("a50", ALL_READERS),
                ("a90", ALL_READERS),
                ("a90_95", ALL_READERS),
                ("a90_lower_95", ALL_READERS),
                ("a90_95", NEW_READER),
                ("a90_95_readings_as_targets", ALL_READERS),
            )
        ]
        rows.append([mode, *counts, *sizes])
    widths = [26, 14, 13, 15, 10, 11, 11, 19, 17, 18, 21]
    return grid(heads, rows, widths, align="l" + "r" * 10)


def _reasons(result: StudyResult, kind: str, modes: Sequence[str]) -> list[Flowable]:
    held: dict[str, list[str]] = {}
    for mode in modes:
        for reader, words in ((ALL_READERS, "these readers"), (NEW_READER, "a class of readers")):
            found = estimate(result, "a90_95", kind, mode, reader)
            if found is not None and found.value is None:
                held.setdefault(f"No a90/95 for {words} in @: {found.reason}.", []).append(mode)
    return [small(text.replace("@", listed(who))) for text, who in held.items()]


def _contrasts(result: StudyResult, kind: str, modes: Sequence[str]) -> Flowable:
    heads = [
        "Mode", "a90/95, cluster-robust", "a90/95, whole targets resampled", "a90, typical target",
        "a90, average target", "Share of the target", "Spread of readers, link units",
    ]  # fmt: skip
    rows = []
    for mode in modes:
        where = (kind, mode, ALL_READERS)
        sizes = [
            size_cell(estimate(result, name, *where))
            for name in ("a90_95_clustered", "a90_95_whole_targets", "a90_typical_target",
                         "a90_average_target")
        ]  # fmt: skip
        spread = _two(value(result, "reader_spread", *where))
        rows.append([mode, *sizes, percent(value(result, "target_share", *where)), spread])
    return grid(heads, rows, [26, 24, 27, 22, 22, 22, 26], align="l" + "r" * 6)


def _holds(result: StudyResult, kind: str, modes: Sequence[str]) -> list[Flowable]:
    known = [
        mode for mode in modes if value(result, "holds_fit", kind, mode, ALL_READERS) is not None
    ]
    if not known:
        return []
    first = result.together[(result.headline, kind, known[0], ALL_READERS)]
    number = next(iter(first.holds.values()))[0].replicates
    told = [result.together[(result.headline, kind, mode, ALL_READERS)].holds for mode in known]
    error = max(one.error for holds in told for one, _ in holds.values())
    words = small(
        f"How often the a90/95 for these readers holds in {number} simulated trials of this "
        "design (95 % is meant; standard error at most "
        f"{100 * error:.1f} %), by another model than its own, if "
        "targets and readers differ so; behind the stroke readings as targets."
    )
    rows = []
    for mode in known:
        cells = [
            " / ".join(
                percent(value(result, f"{name}_{case}", kind, mode, ALL_READERS))
                for name in ("holds", "holds_readings_as_targets")
            )
            for case in CASES
        ]
        rows.append([mode, *cells])
    heads = ["Mode", *CASES.values()]
    return [words, grid(heads, rows, [40, 40, 45, 50], align="lrrr")]


def _agreement(result: StudyResult, kind: str, modes: Sequence[str]) -> list[Flowable]:
    rows = []
    for mode in modes:
        found = result.together[(result.headline, kind, mode, ALL_READERS)]
        names = found.fit.readers
        if found.beside is None or found.beside.agreement is None:
            continue
        for first, second in combinations(names, 2):
            name = f"agreement_{first}_{second}"
            rows.append(
                [mode, f"{first} and {second}", *_pair(result, name, (kind, mode, ALL_READERS))]
            )
        alike = whole(value(result, "alike", kind, mode, ALL_READERS))
        fleiss = _two(value(result, "fleiss_kappa", kind, mode, ALL_READERS))
        rows.append([mode, "all (Fleiss' kappa)", alike, *[""] * 2, fleiss, ""])
    if not rows:
        return []
    heads = ["Mode", "Readers", "Called alike", "Share", "95 % of it", "Kappa", "95 % of it"]
    table = grid(heads, rows, [28, 38, 22, 18, 28, 16, 24], align="llrrrrr")
    return [small(AGREE), table]


def _pair(result: StudyResult, name: str, where: tuple[str, str, str]) -> list[str]:
    share, units = value(result, name, *where), value(result, f"{name}_units", *where)
    ends = [percent(value(result, f"{name}_{end}", *where)) for end in ("low", "high")]
    kappa, *rest = (
        value(result, f"{name}_{k}", *where) for k in ("kappa", "kappa_low", "kappa_high")
    )
    alike = "none" if share is None or units is None else f"{share * units:.0f} of {units:.0f}"
    # full agreement leaves nothing to estimate its spread from; below 0.1 its law is not normal
    open_ended = rest[0] is None or rest[0] == rest[1] or kappa is None or kappa < LEAST_KAPPA
    interval = "none" if open_ended else f"{_two(rest[0])} to {_two(rest[1])}"
    return [alike, percent(share), " to ".join(ends), _two(kappa), interval]


def _two(number: float | None) -> str:
    return "none" if number is None else f"{number:.2f}".replace("-", "\u2212")


def repeats_section(result: StudyResult) -> list[Flowable]:
    """Return how first readings and re-readings agree; a sentence where nothing was read twice."""
    out = section("Consistency of each reader on units read twice")
    rows = []
    for one in result.repeats:
        for kind, words, found in (
            (FLAWED, "targets", one.targets), (BLANKS, "blank units", one.blanks)
        ):  # fmt: skip
            if found is not None:
                cells = _pair(result, "re_reading", (kind, one.mode, one.reader))
                rows.append([one.mode, one.reader, words, *cells, found.change_words])
    if not rows:
        return [*out, body("Not shown: no unit was read twice by the same reader in one mode.")]
    out.append(
        body(
            "First readings against re-readings of the same units. A re-reading after a remedy is "
            "not blind to the first: agreement may flatter."
        )
    )
    heads = [
        "Mode", "Reader", "Units", "Called alike", "Share", "95 % of it", "Kappa", "95 % of it",
        "Change of calls",
    ]  # fmt: skip
    widths = [18, 12, 16, 18, 14, 28, 12, 26, 36]
    return [*out, grid(heads, rows, widths, align="lllrrrrrl")]
