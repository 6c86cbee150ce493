"""Noise of blank units, thresholds and the trade of POD against false calls: in chapter 10."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.layout import body, section, small
from qualify.dossier.lookup import BLANKS, estimate, passes, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.tables import grid
from qualify.dossier.words import kind_words, percent, plain, whole
from qualify.reading.tables import BLANK
from qualify.study.response_back import choice_notices
from qualify.study.result import StudyResult


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
            "will really have if the law is true (two-sided 95 %), and the threshold from which "
            "the rate is kept at 95 % confidence."
        )
    )
    out.append(_noise_table(result, told))
    out += _noise_reasons(result, told)
    out += [small(text) for text in (*_kept(result, told), *_law_checks(result))]
    for m, how in enumerate(plan.responses, start=1):
        caption = f"Share of blank units at or above each threshold, mode {how.mode}."
        out += pictures.on_page(f"noise-{m}", caption)
    for number, population in enumerate(plan.populations, start=1):
        for m, how in enumerate(plan.responses, start=1):
            caption = (
                f"POD of {kind_words(population.kind)} at the size that the plan names against the "
                f"rate of false calls, mode {how.mode}; bounds are one-sided 95 %, and stand only "
                "where no check speaks against the line. The mark is the threshold in use."
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
                mode, reader, whole(get("noise_units")), whole(get("noise_censored")),
                _law_name(how.law, how.response_axis),
                plain(result.inputs.plan.mode(mode).threshold),
                percent(get("noise_rate")), percent(get("noise_rate_upper")),
                percent(how.declared_rate), plain(get("noise_threshold")),
                plain(get("noise_threshold_error")), real,
                plain(get("noise_safe_threshold")),
            ]
        )  # fmt: skip
    widths = [17, 12, 11, 14, 14, 14, 12, 12, 13, 14, 14, 24, 14]
    return grid(heads, rows, widths, align="llrrlrrrrrrlr")


def _law_name(law: str, axis: str) -> str:
    words = {"log": " of log", "logit": " of logit"}.get(axis, "") if law != "empirical" else ""
    return law + words


def _kept(result: StudyResult, told: Sequence[tuple[str, str]]) -> list[str]:
    """Say whether the threshold in use keeps the declared rate, and what it rests on."""
    lines = []
    for mode, reader in told:
        noise = result.noises[(result.headline, BLANK, mode, reader)]
        rate = value(result, "noise_rate", BLANKS, mode, reader)
        upper = value(result, "noise_rate_upper", BLANKS, mode, reader)
        wanted = noise.how.declared_rate
        if noise.declared is not None:
            texts = choice_notices(noise.declared, noise.fit, noise.how.response_axis)
            lines += [f"{mode} {reader}: {text}" for text in texts]
        if wanted is None or upper is None or rate is None:
            continue
        if upper <= wanted:
            words = f"the declared rate of {percent(wanted)} is kept at 95 % confidence"
        else:
            words = f"the declared rate of {percent(wanted)} is not shown at 95 % confidence"
            if rate > wanted:
                words += ", and the threshold in use does not give it by the law either"
        lines.append(f"{mode} {reader}: {words}, if the law is true.")
    return lines


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
