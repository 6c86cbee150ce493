"""Chapters 10, 11 and 14: false calls, sizing, one basis against another."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.chapters_bases import bases_chapter
from qualify.dossier.chapters_noise import noise_sections
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.lookup import BLANKS, FLAWED, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.pod_views import limit_of
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import kind_words, mm, percent, sentence, signed, whole
from qualify.dossier.worst import BOLD_WORDS, marks
from qualify.study.plan import Population
from qualify.study.result import StudyResult

Pass = tuple[str, str]


def result_chapters(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapters 10, 11 and 14."""
    return [*_false_calls(result, pictures), *_sizing(result, pictures), *bases_chapter(result)]


def _false_calls(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    out = chapter("10  False calls")
    told = passes(result, BLANKS, BLANKS)
    if not told:
        return [*out, body("Not shown: nobody read a blank unit.")]
    out.append(
        body(
            f"Counted per examined blank unit under {_same(result)} as the hits; bounds are exact "
            "and one-sided 95 %. Calls away from targets in flawed units and outside all units "
            "stand apart and are not in the rate."
        )
    )
    out += pictures.on_page("false-calls", _caption(result))
    out += [_rate_table(result, told), small(BOLD_WORDS)]
    return [*out, *_causes(result, told), *noise_sections(result, pictures)]


def _same(result: StudyResult) -> str:
    by_eye = any(mode.threshold is None for mode in result.inputs.plan.modes)
    words = "reading rule and in the same readings"
    return f"the same {words}" if by_eye else f"the same threshold, {words}"


def _caption(result: StudyResult) -> str:
    told = "Share of blank units with a call, by reader and mode, with its bounds."
    candidate = result.inputs.plan.claim.candidate_mode
    names = ("false_call_rate", "false_call_rate_upper")
    if all(limit_of(result, name, candidate, BLANKS) is None for name in names):
        return told
    return f"{told} The limits are those of mode {candidate} only; no other mode is held to them."


def _rate_table(result: StudyResult, told: Sequence[Pass]) -> Flowable:
    numbers = {one: _numbers(result, one) for one in told}
    worst = marks({one: [None, None, *values[2:]] for one, values in numbers.items()})
    rows: list[list[Cell]] = []
    for one, values in numbers.items():
        texts = [percent(v) if 4 <= i <= 6 else whole(v) for i, v in enumerate(values)]
        cells: list[Cell] = [
            bold(text) if (one, i) in worst else text for i, text in enumerate(texts)
        ]
        calls = result.views[result.headline].calls
        own = calls[(calls["mode"] == one[0]) & (calls["reader"] == one[1])]
        rows.append([*one, *cells, str(len(own))])
    heads = [
        "Mode", "Reader", "Blank units", "Not examined", "Units called", "Calls in blank units",
        "Rate", "Upper bound", "Lower bound", "Calls off target in flawed units",
        "Calls outside units", "False calls in all", "All calls with hits",
    ]  # fmt: skip
    widths = [17, 12, 11, 16, 12, 12, 12, 12, 12, 15, 13, 12, 13]
    return grid(heads, rows, widths, align="ll" + "r" * 11)


def _numbers(result: StudyResult, one: Pass) -> list[float | None]:
    """Return the numbers of the table of false calls: six of blank units, then the others."""
    names = [
        "blank_units", "not_examined", "units_called", "false_calls",
        "false_call_rate", "false_call_rate_upper", "false_call_rate_lower",
    ]  # fmt: skip
    values = [value(result, name, BLANKS, *one) for name in names]
    values += [value(result, name, FLAWED, *one) for name in ("false_calls", "false_calls_outside")]
    return [*values, sum(values[i] or 0.0 for i in (3, 7, 8))]


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
            "Error = reported − true size, found and sized targets only; negative = "
            "undersized. Targets missed or not sized flatter these numbers: their counts stand "
            "beside. Intervals are two-sided 95 %; the tolerance interval is meant to hold 95 % of "
            "errors, at 95 %, if they are normally distributed. All numbers in mm."
        )
    )
    for number, population in enumerate(plan.populations, start=1):
        if not population.sized:
            continue
        out += section(
            f"{sentence(kind_words(population.kind))[:-1]}: {population.size_in_words}", 60
        )
        out += [_sizing_table(result, population), small(BOLD_WORDS)]
        for m, mode in enumerate(plan.modes, start=1):
            caption = (
                f"Reported against true {population.size_in_words}, {kind_words(population.kind)}, "
                f"mode {mode.id}, a panel a reader."
            )
            out += pictures.on_page(f"sizing-{number}-{m}", caption)
    return out


def _sizing_table(result: StudyResult, population: Population) -> Flowable:
    kind = population.kind
    told = [
        (mode.id, reader)
        for mode in result.inputs.plan.modes
        for reader in result.readers
        if (result.headline, kind, mode.id, reader) in result.sizings
    ]
    worst = marks({one: _sizing_badness(result, kind, one) for one in told})
    rows: list[list[Cell]] = []
    for one in told:
        cells = _sizing_cells(result, kind, one)
        rows.append([*one, *[bold(t) if (one, i) in worst else t for i, t in enumerate(cells)]])
    heads = [
        "Mode", "Reader", "Sized", "Found, not sized", "Missed", "Bias", "95 % of bias", "SD",
        "RMSE", "Tolerance 95/95", "Lower bound 95/95", "Largest under-sizing",
    ]  # fmt: skip
    widths = [16, 12, 11, 12, 13, 11, 25, 10, 11, 27, 13, 19]
    return grid(heads, rows, widths, align="llrrrrlrrlrl")


def _sizing_badness(result: StudyResult, kind: str, one: Pass) -> list[float | None]:
    """Return numbers of which the largest is the worst, in the order of the cells."""

    def get(name: str) -> float | None:
        return value(result, name, kind, *one)

    bias, lower = get("sizing_bias"), get("undersizing_bound")
    return [
        None, get("unsized"), get("missed_not_sized"), None if bias is None else abs(bias), None,
        get("sizing_sd"), get("sizing_rmse"), None, None if lower is None else -lower,
        get("largest_undersizing"),
    ]  # fmt: skip


def _sizing_cells(result: StudyResult, kind: str, one: Pass) -> list[str]:
    def get(name: str) -> float | None:
        return value(result, name, kind, *one)

    def span(name: str) -> str:
        low, high = get(f"{name}_low"), get(f"{name}_high")
        return "none" if low is None else f"{signed(low)} to {signed(high)}"

    return [
        whole(get("sized")), whole(get("unsized")), whole(get("missed_not_sized")),
        signed(get("sizing_bias")), span("sizing_bias"), mm(get("sizing_sd")),
        mm(get("sizing_rmse")), span("sizing_tolerance"), signed(get("undersizing_bound")),
        _largest(result, kind, *one),
    ]  # fmt: skip


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
