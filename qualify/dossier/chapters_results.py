"""Chapters 10 to 12: false calls, sizing, one basis against another."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.estimate import BASES, BASIS_WORDS
from qualify.dossier.layout import body, chapter, section
from qualify.dossier.lookup import BLANKS, FLAWED, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.tables import grid
from qualify.dossier.words import kind_words, mm, percent, sentence, signed, value_cell, whole
from qualify.study.plan import Population
from qualify.study.result import StudyResult

NAMES = {
    "targets": "targets",
    "hits": "found",
    "not_examined": "not examined",
    "detection_rate": "share found",
    "a90": "a90",
    "a90_95": "a90/95",
    "blank_units": "blank units",
    "units_called": "blank units called",
    "false_call_rate": "false-call rate",
    "false_call_rate_upper": "false-call rate, upper bound",
    "sizing_bias": "sizing bias",
    "sizing_rmse": "sizing RMSE",
    "largest_undersizing": "largest undersizing",
    "set_overlap": "targets in two sets",
    "software_revisions": "software revisions",
}


def result_chapters(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapters 10 to 12."""
    return [*_false_calls(result, pictures), *_sizing(result, pictures), *_bases(result)]


def _false_calls(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    out = chapter("10  False calls")
    told = passes(result, BLANKS, BLANKS)
    if not told:
        return [*out, body("Not shown: nobody read a blank unit.")]
    out.append(
        body(
            "Counted per examined blank unit under the same reading rule and in the same readings "
            "as the hits; bounds are exact and one-sided 95 %. Calls away from targets in flawed "
            "units and outside all units stand apart and are not in the rate."
        )
    )
    out += pictures.on_page(
        "false-calls", "Share of blank units with a call, by reader and mode, with its bounds."
    )
    out.append(_rate_table(result, told))
    return [*out, *_causes(result, told)]


def _rate_table(result: StudyResult, told: Sequence[tuple[str, str]]) -> Flowable:
    rows = []
    for mode, reader in told:
        rate = [
            value(result, f"false_call_rate{end}", BLANKS, mode, reader)
            for end in ("", "_upper", "_lower")
        ]
        rows.append(
            [
                mode,
                reader,
                whole(value(result, "blank_units", BLANKS, mode, reader)),
                whole(value(result, "not_examined", BLANKS, mode, reader)),
                whole(value(result, "units_called", BLANKS, mode, reader)),
                whole(value(result, "false_calls", BLANKS, mode, reader)),
                *[percent(value) for value in rate],
                whole(value(result, "false_calls", FLAWED, mode, reader)),
                whole(value(result, "false_calls_outside", FLAWED, mode, reader)),
            ]
        )
    heads = [
        "Mode", "Reader", "Blank units", "Not examined", "Units called", "Calls", "Rate",
        "Upper bound", "Lower bound", "In flawed units", "Outside units",
    ]  # fmt: skip
    widths = [24, 18, 14, 16, 14, 12, 14, 14, 14, 15, 15]
    return grid(heads, rows, widths, align="ll" + "r" * 9)


def _causes(result: StudyResult, told: Sequence[tuple[str, str]]) -> list[Flowable]:
    rows = []
    for item in result.estimates.items:
        if item.basis != result.headline or item.population != BLANKS:
            continue
        name = item.statistic.removeprefix("false_call_rate_")
        if name == item.statistic or not name.endswith("_units"):
            continue
        if (item.mode, item.reader) not in told:
            continue
        cause = name.removesuffix("_units")
        ends = [
            percent(value(result, f"false_call_rate_{cause}{e}", BLANKS, item.mode, item.reader))
            for e in ("", "_upper")
        ]
        words = cause.replace("_", " ")
        rows.append([item.mode, item.reader, words, whole(item.value), *ends])
    out = section("By the cause that the reader gave")
    if not rows:
        return [*out, body("No blank unit was called.")]
    heads = ["Mode", "Reader", "Cause given", "Units called", "Rate", "Upper bound"]
    return [*out, grid(heads, rows, [34, 26, 40, 22, 24, 24], align="lllrrr")]


def _sizing(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    out = chapter("11  Sizing")
    plan = result.inputs.plan
    if not result.sizings:
        return [*out, body("Not shown: the plan names no kind whose size is judged.")]
    out.append(
        body(
            "Error = reported − true size, found and sized targets only, mm; negative = "
            "undersized. Targets missed or not sized flatter these numbers: their counts stand "
            "beside. Intervals are two-sided 95 %; the tolerance interval is meant to hold 95 % of "
            "errors, at 95 %, if they are normally distributed."
        )
    )
    for number, population in enumerate(plan.populations, start=1):
        if not population.sized:
            continue
        out += section(
            f"{sentence(kind_words(population.kind))[:-1]}: {population.size_in_words}", 60
        )
        out.append(_sizing_table(result, population))
        for m, mode in enumerate(plan.modes, start=1):
            caption = (
                f"Reported against true {population.size_in_words}, {kind_words(population.kind)}, "
                f"mode {mode.id}, a panel a reader."
            )
            out += pictures.on_page(f"sizing-{number}-{m}", caption)
    return out


def _sizing_table(result: StudyResult, population: Population) -> Flowable:
    kind, rows = population.kind, []
    for mode in result.inputs.plan.modes:
        for reader in result.readers:
            where = (kind, mode.id, reader)
            if (result.headline, *where) not in result.sizings:
                continue
            low, high = (value(result, f"sizing_bias_{e}", *where) for e in ("low", "high"))
            t_low, t_high = (
                value(result, f"sizing_tolerance_{e}", *where) for e in ("low", "high")
            )
            rows.append(
                [
                    mode.id,
                    reader,
                    whole(value(result, "sized", *where)),
                    whole(value(result, "unsized", *where)),
                    whole(value(result, "missed_not_sized", *where)),
                    signed(value(result, "sizing_bias", *where)),
                    "none" if low is None else f"{signed(low)} to {signed(high)}",
                    mm(value(result, "sizing_sd", *where)),
                    mm(value(result, "sizing_rmse", *where)),
                    "none" if t_low is None else f"{signed(t_low)} to {signed(t_high)}",
                    signed(value(result, "undersizing_bound", *where)),
                    _largest(result, *where),
                ]
            )
    heads = [
        "Mode", "Reader", "Sized", "Found, not sized", "Missed", "Bias", "95 % of bias", "SD",
        "RMSE", "Tolerance 95/95", "Lower bound 95/95", "Largest under- sizing",
    ]  # fmt: skip
    widths = [16, 13, 11, 12, 13, 11, 25, 9, 11, 27, 13, 20]
    return grid(heads, rows, widths, align="llrrrrlrrlrl")


def _largest(result: StudyResult, kind: str, mode: str, reader: str) -> str:
    worst = value(result, "largest_undersizing", kind, mode, reader)
    index = result.sizings[(result.headline, kind, mode, reader)].largest_undersizing_index
    if worst is None or index is None:
        return "none"
    if worst == 0.0:
        return "none undersized"
    table = result.views[result.headline].measurements
    quantity = result.inputs.plan.population(kind).size_quantity
    rows = table[(table["kind"] == kind) & (table["mode"] == mode) & (table["reader"] == reader)]
    rows = rows[(rows["quantity"] == quantity) & (rows["found"] == 1) & rows["reported"].notna()]
    return f"{mm(worst)} ({rows.iloc[index]['target']})"


def _bases(result: StudyResult) -> list[Flowable]:
    out = chapter("12  One basis against another", 45)
    keys = [
        (e.statistic, e.population, e.mode, e.reader)
        for e in result.estimates.items
        if e.basis == result.headline and e.statistic in NAMES
    ]
    rows, used = [], [b for b in BASES if any(e.basis == b for e in result.estimates.items)]
    for key in dict.fromkeys(keys):
        found = [result.estimates.get(basis, *key) for basis in used]
        values = {None if e is None else e.value for e in found}
        if len(values) > 1:
            statistic, population, mode, reader = key
            where = ", ".join(t for t in (kind_words(population), mode, reader) if t)
            rows.append([NAMES[statistic], where, *[value_cell(e) for e in found]])
    words = [BASIS_WORDS[basis] for basis in used]
    if not rows:
        same = "All bases give the same numbers: nothing was put right that changed a result, and "
        return [*out, body(same + "no flawed unit that was not examined was in the count.")]
    out.append(
        body(
            "Only what differs. The claim on page 1 stands on results "
            f"{BASIS_WORDS[result.headline]}. {result.headline_reason}"
        )
    )
    heads = ["Number", "Of", *[w[:1].upper() + w[1:] for w in words]]
    each = [90 / len(used)] * len(used)
    return [*out, grid(heads, rows, [36, 44, *each], align="ll" + "r" * len(used))]
