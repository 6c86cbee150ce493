"""Chapters 10, 11 and 14: false calls, sizing, one basis against another."""

from collections import Counter
from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.chapters_bases import bases_chapter
from qualify.dossier.chapters_comparison import comparison_chapter
from qualify.dossier.chapters_noise import noise_sections
from qualify.dossier.chapters_rule import rule_sections
from qualify.dossier.chapters_sensitivity import sensitivity_chapter
from qualify.dossier.chapters_sizing import sizing_chapter
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.lookup import BLANKS, FLAWED, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.pod_views import limit_of
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import percent, whole
from qualify.dossier.worst import BOLD_WORDS, marks
from qualify.study.result import StudyResult

Pass = tuple[str, str]
HIT, NO_CAUSE = "hit", "no_cause_given"


def result_chapters(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapters 10, 11 and 14."""
    return [
        *_false_calls(result, pictures),
        *sizing_chapter(result, pictures),
        *comparison_chapter(result, pictures),
        *rule_sections(result, pictures),
        *sensitivity_chapter(result),
        *bases_chapter(result),
    ]


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
    """Return the calls by the cause that the reader gave: units called, rates, and hits."""
    calls = result.views[result.headline].calls
    given = calls["cause"].fillna("").replace("", NO_CAUSE)
    hit = calls["match"] == HIT
    hits = Counter(zip(calls["mode"][hit], calls["reader"][hit], given[hit], strict=True))
    rows = []
    for mode, reader in told:
        units = {
            item.statistic.removeprefix("false_call_rate_").removesuffix("_units"): item.value
            for item in result.estimates.items
            if (item.basis, item.population) == (result.headline, BLANKS)
            and (item.mode, item.reader) == (mode, reader)
            and item.statistic.startswith("false_call_rate_")
            and item.statistic.endswith("_units")
        }
        mine = {at[2] for at in hits if at[:2] == (mode, reader)}
        for cause in sorted({*units, *mine}):
            ends = [
                value(result, f"false_call_rate_{cause}{end}", BLANKS, mode, reader)
                for end in ("", "_upper")
            ]
            rows.append([
                mode, reader, cause.replace("_", " "), whole(units.get(cause, 0)),
                *("–" if end is None else percent(end) for end in ends),
                whole(hits[(mode, reader, cause)]),
            ])  # fmt: skip
    out = section("By the cause that the reader gave")
    if not rows:
        return [*out, body("Nothing was called.")]
    heads = ["Mode", "Reader", "Cause given", "Blank units called", "Rate", "Upper bound",
             "Calls that hit a target"]  # fmt: skip
    return [*out, grid(heads, rows, [30, 22, 34, 24, 20, 22, 28], align="lllrrrr"),
            small("A call counts whatever its cause; chapter 13 tells the result without those "
                  "that their reader took for no flaw.")]  # fmt: skip
