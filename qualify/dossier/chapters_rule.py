"""Part of chapter 12: every mode read by rule at one declared false-call rate."""

from reportlab.platypus import Flowable

from qualify.dossier.chapters_noise import noise_sections
from qualify.dossier.chapters_parts import by_tilt_and_depth
from qualify.dossier.chapters_response import response_sections
from qualify.dossier.comparison_views import discordant
from qualify.dossier.fairness import DIFFERS, rule_table
from qualify.dossier.layout import body, bullets, section, small
from qualify.dossier.lookup import BLANKS, estimate, value
from qualify.dossier.pictures import Pictures
from qualify.dossier.rule_answer import grain_caution
from qualify.dossier.rule_views import as_study, modes_read
from qualify.dossier.tables import Cell, grid
from qualify.dossier.words import (
    STAR,
    general,
    kind_words,
    listed,
    mm,
    p_value,
    percent,
    sentence,
    signed,
    size_cell,
    whole,
)
from qualify.study.comparisons import Comparisons, ModeComparison
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.rule_analysis import against
from qualify.study.thresholds import ModeThreshold

NOT_SHOWN = "Read by rule: not shown, as no reading by rule stands in the plan."
NO_IMAGES = (
    "Not shown: pictures of targets beside their flaw-free twins, and what each mode covers, as "
    "the images of the trial are not beside the study."
)
WHY = (
    "The rule looks at every mode in the same way: same recordings, same region, and a threshold "
    "that lets the same share of blank units be called, set on the open blanks before the blind "
    "coupons were read. So modes are compared at one declared rate; what it came to stands beside. "
    "The rule is no reader: its numbers are never counted with those of readers."
)


def rule_sections(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return the sections on readings by rule."""
    own = as_study(result)
    if own is None:
        return [small(NOT_SHOWN)]
    out = [*section("Read by rule: all modes at one declared false-call rate", 60), body(WHY)]
    out += [rule_table(own, modes_read(own)), small(f"A row marked {DIFFERS} differs.")]
    if caution := grain_caution(own):
        out.append(body(caution))
    out += _pilot(own)
    out += _thresholds(own)
    out += _coverage(own, pictures)
    for number, population in enumerate(own.inputs.plan.populations, start=1):
        out += _kind(result, own, pictures, population, number)
    return [*out, *response_sections(own, pictures), *noise_sections(own, pictures)]


def _pilot(own: StudyResult) -> list[Flowable]:
    """Return the record of the pilot that set the noise, as it stands beside the study."""
    reading = own.inputs.reading
    if reading is None or not reading.pilot:
        return []
    told = reading.pilot
    words = (
        f"Pilot, on open pieces: {told.rule}. Chosen: {general(told.chosen_backscatter_db)} dB. "
        f"{sentence(told.before)} {sentence(told.caution)}"
    )
    modes = list(told.levels[0].modes) if told.levels else []
    heads = ["Backscatter, dB", "Scattered, dB/mm"]
    heads += [f"{mode}: {what}" for mode in modes for what in ("found", "a50, mm")]
    rows = []
    for level in told.levels:
        cells = [general(level.backscatter_db), general(level.scattered_db_per_mm)]
        for mode in modes:
            one = level.modes[mode]
            cells += [f"{one.holes_found} of {one.holes}", mm(one.a50_mm)]
        rows.append(cells)
    each = [130.0 / max(1, 2 * len(modes))] * (2 * len(modes))
    table = grid(heads, rows, [20, 20, *each], align="r" * len(heads))
    return [*section("How the level of noise was chosen"), body(words), table]


def _thresholds(own: StudyResult) -> list[Flowable]:
    reading = own.inputs.reading
    if reading is None:
        return [small("Where the thresholds come from is not shown: calls were made elsewhere.")]
    told = reading.thresholds
    rows = [_threshold_row(own, one) for one in told.modes]
    heads = ["Mode", "Threshold", "± standard error", "Realised rate, two-sided 95 %",
             "Safe threshold", "Open blanks called", "Blind blanks called",
             "Rate, with 95 % bounds"]  # fmt: skip
    words = (
        f"Thresholds for {percent(told.declared_rate)} of blank units, from {told.blank_units} "
        f"open blank units ({told.law}); told at {general(reading.plan.reference_z_mm)} mm, "
        "elsewhere they follow the grain over depth. 'Realised rate' is what thresholds so set "
        "come to; 'safe' is the threshold that keeps the declared rate with 95 % confidence."
    )
    out: list[Flowable] = [body(words), grid(heads, rows, [26, 20, 18, 26, 18, 20, 20, 30])]
    notes: dict[str, list[str]] = {}
    for one in told.modes:
        for text in one.notices:
            notes.setdefault(text, []).append(one.mode)
    return [*out, *bullets([f"{', '.join(modes)}: {text}" for text, modes in notes.items()])]


def _threshold_row(own: StudyResult, one: ModeThreshold) -> list[Cell]:
    digits = 2 if one.unit == "db" else 3
    unit = " dB" if one.unit == "db" else ""
    reader = own.readers[0]
    counted = value(own, "blank_units", BLANKS, one.mode, reader)
    if counted is None:
        found = rate = "not counted"
    else:
        called = value(own, "units_called", BLANKS, one.mode, reader)
        found = f"{whole(called)} of {whole(counted)}"
        names = ("", "_lower", "_upper")
        a, low, high = (
            value(own, f"false_call_rate{end}", BLANKS, one.mode, reader) for end in names
        )
        rate = f"{percent(a)} ({percent(low)} to {percent(high)})"
    safe = "none" if one.safe_threshold is None else f"{one.safe_threshold:.{digits}f}{unit}"
    return [
        one.mode,
        f"{one.threshold:.{digits}f}{unit}".replace("-", "−"),
        f"{one.standard_error:.{digits}f}",
        f"{percent(one.rate_low)} to {percent(one.rate_high)}",
        safe.replace("-", "−"),
        f"{one.units_called} of {len(one.peaks)}",
        found,
        rate,
    ]


def _coverage(own: StudyResult, pictures: Pictures) -> list[Flowable]:
    if own.shown is None:
        return [small(NO_IMAGES)]
    words = (
        "What each mode covers of the region that is read, over all units; what the rule does not "
        "look at, hatched; and its threshold over depth."
    )
    return pictures.on_page("coverage-by-mode", words)


def _kind(
    result: StudyResult,
    own: StudyResult,
    pictures: Pictures,
    population: Population,
    number: int,
) -> list[Flowable]:
    words = kind_words(population.kind)
    out = [*section(f"By rule: {words}", 50), *_found(own, population)]
    out += pictures.on_page(
        f"rule-pod-{number}",
        f"POD of {words} by {population.size_in_words} in each mode, read by rule. Bounds are "
        "one-sided 95 %.",
    )
    out += pictures.on_page(
        f"rule-depth-{number}",
        f"{words[:1].upper()}{words[1:]} over {population.size_in_words} and depth, by mode.",
    )
    out += by_tilt_and_depth(own, population.kind)
    out += _pairs(result, own, population)
    out += pictures.on_page(
        f"rule-sizes-{number}",
        f"Reported against true {population.size_in_words}, by mode and method, read by rule.",
    )
    return [
        *out,
        *pictures.on_page(
            f"rule-twins-{number}",
            f"The smallest of the {words} hit and the largest missed in each mode, beside the same "
            "place without the target. A twin has the same grain, coupling and noise: what stands "
            "over it is the best case.",
        ),
    ]


def _found(own: StudyResult, population: Population) -> list[Flowable]:
    kind, reader = population.kind, own.readers[0]
    rows: list[list[Cell]] = []
    for mode in modes_read(own):

        def told(name: str, mode: str = mode) -> float | None:
            return value(own, name, kind, mode, reader)

        row: list[Cell] = [
            mode,
            f"{whole(told('hits'))} of {whole(told('targets'))}",
            whole(told("not_examined")),
            size_cell(estimate(own, "a50", kind, mode, reader)),
            size_cell(estimate(own, "a90", kind, mode, reader)),
            size_cell(estimate(own, "a90_95", kind, mode, reader)),
        ]
        if population.sized:
            row += [whole(told("sized")), signed(told("sizing_bias")), mm(told("sizing_rmse"))]
        rows.append(row)
    heads = ["Mode", "Hit", "Not examined", "a50, mm", "a90, mm", "a90/95, mm"]
    widths = [34.0, 24.0, 22.0, 20.0, 20.0, 22.0]
    if population.sized:
        heads += ["Sized", "Bias, mm", "RMSE, mm"]
        widths += [16.0, 18.0, 18.0]
    table = grid(heads, rows, widths, align="l" + "r" * (len(heads) - 1))
    starred = any("*" in str(cell) for row in rows for cell in row)
    return [table, small(STAR)] if starred else [table]


def _pairs(result: StudyResult, own: StudyResult, population: Population) -> list[Flowable]:
    """Return the candidate against every other mode: counts, tests, ratio, and named targets."""
    rule = result.rule
    claim = own.inputs.plan.claim
    if rule is None or claim.reference_mode is None:
        return []
    reader, candidate = own.readers[0], claim.candidate_mode
    pairs = [(claim.reference_mode, candidate, rule.comparisons)]
    pairs += [(mode, against(candidate, mode), found) for mode, found in rule.beside.items()]
    rows: list[list[Cell]] = []
    names: list[str] = []
    for other, key, found in pairs:
        one = _compared(found, own, population.kind, candidate, reader)
        if one is None or one.found is None:
            continue
        rows.append(_pair_row(own, population.kind, other, key, reader))
        for side, title in (("reference", other), ("candidate", candidate)):
            held = [f"{n} ({mm(size)})" for n, size, at, _ in discordant(one) if at == side]
            told = listed(held, 40) if held else "none"
            names.append(f"{candidate} and {other}: hit in {title} alone: {told}.")
    if not rows:
        return []
    heads = [f"{candidate} against",
             "Both hit", "Other alone", "Candidate alone", "Neither", "Exact p", "a90 ratio",
             "95 % interval", "Upper bound, one-sided"]  # fmt: skip
    table = grid(heads, rows, [30, 14, 18, 20, 16, 16, 18, 26, 22], align="l" + "r" * 8)
    told_words = (
        "Same targets, same recordings, each mode at its threshold for the same declared rate. A "
        "ratio below 1 speaks for the candidate; it has an upper bound where the data give one."
    )
    return [table, small(told_words), *bullets(names)]


def _compared(
    found: Comparisons, own: StudyResult, kind: str, candidate: str, reader: str
) -> ModeComparison | None:
    return found.modes.get((own.headline, kind, candidate, reader))


def _pair_row(own: StudyResult, kind: str, other: str, key: str, reader: str) -> list[Cell]:
    def told(name: str) -> float | None:
        return value(own, name, kind, key, reader)

    counts = ("compared_both", "compared_reference_only", "compared_candidate_only",
              "compared_neither")  # fmt: skip
    low, high = told("a90_ratio_low"), told("a90_ratio_high")
    return [
        other,
        *(whole(told(name)) for name in counts),
        p_value(told("mcnemar_exact_p")),
        mm(told("a90_ratio")),
        f"{mm(low)} to {mm(high)}",
        mm(told("a90_ratio_upper")),
    ]
