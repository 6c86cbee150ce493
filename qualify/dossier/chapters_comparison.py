"""Chapter 12: candidate and reference on the same targets."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.comparison.power import TRIALS
from qualify.criteria.words import ALL_READERS
from qualify.dossier.comparison_objections import objections
from qualify.dossier.comparison_targets import discordant_targets, paired_size_table
from qualify.dossier.comparison_views import compared, figures_of, names_of
from qualify.dossier.fairness import DIFFERS, set_up_table
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.lookup import BLANKS, FLAWED, estimate, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import STAR, kind_words, listed, mm, p_value, percent, size_beside, whole
from qualify.study.comparisons import TRUE_RATIOS, ModeComparison, margin_of
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.told import told_size

RECORDINGS = {
    "same": "the same recordings, processed in both modes",
    "different": "recordings of its own for each mode: what the recordings differ in counts too",
    None: "not recorded whether both modes were made from the same recordings",
}
ALL = "all together"
PAIR_WORDS = (
    "Hits: exact test on the targets that one mode alone hit; with k of them no p lies below "
    "2 / 2^k (one reader), so that a few can show nothing. Curves: whether one curve fits both "
    "modes, in place and slope, by exchanging the modes of whole targets. It has no direction: "
    "where curves cross, p is small though the candidate finds more small targets and fewer large "
    "ones; the ratio of a90 and the thirds of size below tell which way. Holm: adjusted over kinds "
    "and tests."
)


def comparison_chapter(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapter 12."""
    out = chapter("12  Modes on the same targets")
    reference, candidate = names_of(result)
    if not reference:
        return [*out, body("Not shown: the plan names no reference mode.")]
    if not result.comparisons.modes:
        return [*out, body("Not shown: nobody read a kind of the plan in both modes.")]
    out.append(
        body(
            f"Candidate {candidate} against reference {reference}, each target read in both modes "
            "by the same reader. Only targets that one mode hit and the other missed tell the "
            "modes apart. With several readers, a target counts once: all of its readings go "
            "together in every test and bound. A ratio of a90 below 1 speaks for the candidate."
        )
    )
    out += [*section("How each mode was set up"), set_up_table(result)]
    out.append(small(f"Recordings: {RECORDINGS[result.inputs.plan.comparison.recordings]}. "
                     f"A row marked {DIFFERS} differs between the modes."))  # fmt: skip
    for number, population in enumerate(result.inputs.plan.populations, start=1):
        out += _kind(result, pictures, population, number)
    return [*out, *_false_calls(result), *objections(result)]


def _readers(result: StudyResult, kind: str) -> list[tuple[str, str, ModeComparison]]:
    """Return (id, as told, comparison) of each reader, and of all together last."""
    told = [(r, r) for r in result.readers] + [(ALL_READERS, ALL)]
    return [(r, w, one) for r, w in told if (one := compared(result, kind, r)) is not None]


def _kind(
    result: StudyResult, pictures: Pictures, population: Population, number: int
) -> list[Flowable]:
    held = _readers(result, population.kind)
    if not held:
        return []
    words = kind_words(population.kind)
    out = section(f"{words[:1].upper()}{words[1:]}: who found what the other missed")
    there = [(r, w, one) for r, w, one in held if one.found is not None]
    for _, told, one in held:
        if one.found is None:
            out.append(body(f"{told}: not compared, {one.reason}."))
        elif one.left_out:
            out.append(small(f"{told}: left out, read in one mode only: {listed(one.left_out)}."))
    if not there:
        return out
    out += _pairs(result, population.kind, there)
    out += pictures.on_page(f"comparison-{number}", _caption(result, population))
    out += _ratios(result, population.kind, there)
    out += _by_size(there)
    return [
        *out,
        *discordant_targets(result, population.kind, there),
        *paired_size_table(result, population.kind),
    ]


def _caption(result: StudyResult, population: Population) -> str:
    return (
        f"Both modes on {kind_words(population.kind)}, a panel a reader. Names: targets hit in one "
        "mode only, with the mark of that mode, the smallest as far as there is room; the table "
        "below names all."
    )


def _pairs(
    result: StudyResult, kind: str, held: Sequence[tuple[str, str, ModeComparison]]
) -> list[Flowable]:
    reference, candidate = names_of(result)
    names = ("compared_both", "compared_reference_only", "compared_candidate_only",
             "compared_neither")  # fmt: skip
    tests = ("mcnemar_exact_p", "mcnemar_holm_p", "curve_difference_p", "curve_difference_holm_p")
    rows: list[list[Cell]] = []
    for reader, told, _ in held:
        counts = [whole(_value(result, name, kind, reader)) for name in names]
        p = [p_value(_value(result, name, kind, reader)) for name in tests]
        low, high = (_value(result, f"rate_difference_{n}", kind, reader)
                     for n in (("newcombe_low", "newcombe_high") if reader != ALL_READERS
                               else ("by_target_low", "by_target_high")))  # fmt: skip
        step = _points(_value(result, "rate_difference", kind, reader))
        ends = f"{step} ({_points(low)} to {_points(high)})"
        rows.append([told, *counts, ends, *p])
    heads = ["Reader", "Both hit", f"{reference} only", f"{candidate} only", "Neither",
             "Difference of rates, points (95 %)", "Hits: exact p", "Hits: p (Holm)", "Curves: p",
             "Curves: p (Holm)"]  # fmt: skip
    table = grid(heads, rows, [16, 12, 14, 16, 13, 36, 14, 14, 14, 14], align="lrrrrrrrrr")
    return [table, small(PAIR_WORDS)]


def _value(result: StudyResult, name: str, kind: str, reader: str) -> float | None:
    found = figures_of(result, name, kind, reader)
    return None if found is None else found.value


def _points(fraction: float | None) -> str:
    return "none" if fraction is None else f"{100 * fraction:+.1f}".replace("-", "−")


def _number(value: float | None) -> str:
    return "none" if value is None else f"{value:.2f}"


def _ratios(
    result: StudyResult, kind: str, held: Sequence[tuple[str, str, ModeComparison]]
) -> list[Flowable]:
    margin = margin_of(result.inputs.plan, kind)
    limits = [_value(result, "a90_ratio_upper", kind, r) for r, *_ in held if r != ALL_READERS]
    known = [v for v in limits if v is not None]
    rows: list[list[Cell]] = []
    for reader, told, one in held:
        assert one.found is not None
        ratio, upper = one.found.ratio, _value(result, "a90_ratio_upper", kind, reader)
        shown = _number(upper)
        worst = reader != ALL_READERS and upper is not None and upper == max(known)
        size = one.found.data.size
        tested = (float(size.min()), float(size.max()))
        sizes = [told_size(a90, None, tested)[0] for a90 in (ratio.a90_a, ratio.a90_b)]
        cells = [size_beside(a90, tested) for a90 in sizes]
        point = _number(_value(result, "a90_ratio", kind, reader))
        point += "*" if point != "none" and any("*" in cell for cell in cells) else ""
        row: list[Cell] = [told, *cells, point, bold(shown) if worst else shown]
        row += [
            _number(_value(result, f"a90_ratio_{name}", kind, reader))
            for name in ("lower", "low", "high", "upper_drawn")
        ]
        if margin is not None:
            row.append(p_value(_value(result, "a90_ratio_not_inferior_p", kind, reader)))
            powers = [one.power.get(true) for true in TRUE_RATIOS] if one.power else []
            row += ["–" if p is None else f"{100 * p:.0f} %" for p in powers] or ["–"] * len(
                TRUE_RATIOS
            )
        rows.append(row)
    heads = ["Reader", "a90 reference, mm", "a90 candidate, mm", "Ratio", "Upper bound",
             "Lower bound", "From (95 %)", "To (95 %)", "Upper, targets drawn anew"]  # fmt: skip
    if margin is not None:
        heads += [
            f"p of ratio ≥ {margin:g}",
            *(f"All show it if truth is {t:g}" for t in TRUE_RATIOS),
        ]
    widths = [18.0, *[14.0] * (len(heads) - 1)]
    out = [*section("Ratio of a90, candidate over reference"),
           grid(heads, rows, widths, align="l" + "r" * (len(heads) - 1))]  # fmt: skip
    reasons: dict[str, list[str]] = {}
    for reader, told, _ in held:
        found = figures_of(result, "a90_ratio_upper", kind, reader)
        if found is not None and found.reason is not None:
            reasons.setdefault(found.reason, []).append(told)
    notes = [f"{', '.join(who)}: {why}." for why, who in reasons.items()]
    if any("*" in str(cell) for row in rows for cell in row[1:4]):
        notes.append(STAR)
    return [*out, *(small(note) for note in notes), small(_ratio_words(held, margin))]


def _ratio_words(held: Sequence[tuple[str, str, ModeComparison]], margin: float | None) -> str:
    found = next(one.found for *_, one in held if one.found is not None)
    words = (
        "Bounds are one-sided 95 %, from to two-sided 95 %: a score test by target turned round, "
        f"its quantile from {found.ratio.simulations} simulated trials, seed {found.ratio.seed}. "
        "Bounds from targets drawn anew hold less often than they say and stand beside only. "
    )
    if margin is not None:
        words += (
            f"The last columns: in how many of {TRIALS} simulated trials of this design the upper "
            f"bound of every reader is at most {margin:g}, if the candidate's a90 is so many times "
            "the reference's."
        )
    return words


def _by_size(held: Sequence[tuple[str, str, ModeComparison]]) -> list[Flowable]:
    rows = [
        [told, f"{mm(c.low)} to {mm(c.high)}", str(c.targets), f"{c.hits_a} of {c.readings}",
         f"{c.hits_b} of {c.readings}", p_value(c.exact_p), p_value(c.holm_p)]
        for _, told, one in held
        if one.found is not None
        for c in one.found.classes
    ]  # fmt: skip
    heads = ["Reader", "Sizes, mm", "Targets", "Hit, reference", "Hit, candidate", "Exact p",
             "p (Holm)"]  # fmt: skip
    return [*section("Where in size"), grid(heads, rows, [24, 34, 16, 26, 26, 20, 20],
                                            align="llrrrrr")]  # fmt: skip


def _false_calls(result: StudyResult) -> list[Flowable]:
    out = section("False calls of both modes on the same blank units")
    reference, candidate = names_of(result)
    rows = []
    for reader, told in [*((r, r) for r in result.readers), (ALL_READERS, ALL)]:
        if estimate(result, "false_call_difference", BLANKS, candidate, reader) is None:
            continue
        cells = [told, whole(value(result, "compared_blank_readings", BLANKS, candidate, reader))]
        for mode in (reference, candidate):
            rate, upper = (value(result, name, BLANKS, mode, reader)
                           for name in ("false_call_rate", "false_call_rate_upper"))  # fmt: skip
            cells.append("–" if rate is None else f"{percent(rate)} (to {percent(upper)})")
        ends = [_points(value(result, f"false_call_difference{end}", BLANKS, candidate, reader))
                for end in ("", "_low", "_high")]  # fmt: skip
        p = value(result, "false_call_difference_p", BLANKS, candidate, reader)
        off = [value(result, "false_calls", FLAWED, m, reader) for m in (reference, candidate)]
        elsewhere = "–" if None in off else f"{whole(off[0])} and {whole(off[1])}"
        rows.append([*cells, f"{ends[0]} ({ends[1]} to {ends[2]})", p_value(p), elsewhere])
    if not rows:
        return [*out, body("Not shown: no blank unit was examined in both modes.")]
    heads = ["Reader", "Readings of units", f"{reference}: rate (upper bound)",
             f"{candidate}: rate (upper bound)", "Difference, points (95 %)",
             "Exact p", "Calls off target in flawed units, of both"]  # fmt: skip
    words = (
        "A mode that calls more finds more: a smaller a90 at a higher rate of false calls is no "
        "gain by itself. Equal rates are not shown by a large p. Calls off target, beside the box "
        "of every target, are counted as they stand; chapter 10 has those of every mode."
    )
    return [*out, grid(heads, rows, [20, 18, 32, 32, 34, 14, 26], align="lrrrrrr"), small(words)]
