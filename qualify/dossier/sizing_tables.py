"""Tables of chapter 11: errors, limits, trends, worst cases, missed targets counted in, tilt."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.sizing_parts import Sized, absent, named, part, ratio_span, sizes_of, span
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import general, mm, p_value, percent, signed, whole
from qualify.dossier.worst import BOLD_WORDS, marks
from qualify.sizing.notices import FEWEST, LEVEL
from qualify.sizing.unsized import CASE_WORDS

COUNTS = ("sized", "unsized", "sizing_missed", "sizing_not_examined")


def error_table(rows: Sequence[Sized]) -> list[Flowable]:
    """Return a: bias, scatter and RMSE with their intervals."""
    worst = marks({row.one: _badness(row) for row in rows})
    heads = [
        "Mode", "Reader", "Sized", "Found, not sized", "Missed", "Not examined", "Bias",
        "95 % of bias", "SD", "SD of the method", "RMSE", "95 % of RMSE", "Upper bound of RMSE",
    ]  # fmt: skip
    table: list[list[Cell]] = []
    for row in rows:
        texts = [whole(row.value(name)) for name in COUNTS]
        texts += [
            signed(row.value("sizing_bias")), span(row, "sizing_bias"), mm(row.value("sizing_sd")),
            mm(row.value("sizing_method_sd")), mm(row.value("sizing_rmse")),
            ratio_span(row, "sizing_rmse"), mm(row.value("sizing_rmse_upper")),
        ]  # fmt: skip
        cells: list[Cell] = [bold(t) if (row.one, i) in worst else t for i, t in enumerate(texts)]
        table.append([*row.one, *cells])
    text = (
        "Intervals are two-sided 95 %: Student's t for the bias, non-central chi-square for the "
        "RMSE; its upper bound is one-sided 95 %. RMSE and SD hold the uncertainty of the true "
        "sizes too, as rules on sizing ask; the SD of the method has it taken off (SD² less the "
        "mean of u²). " + BOLD_WORDS
    )
    widths = [16, 12, 11, 12, 13, 15, 14, 22, 10, 14, 11, 20, 16]
    notes = absent("SD of the method", rows, "sizing_method_sd")
    small = [row for row in rows if (row.value("sized") or 0) < FEWEST]
    if small:
        notes.append(f"Fewer than {FEWEST} sized (common practice, no source): {named(small)}.")
    grid_ = grid(heads, table, widths, align="llrrrrrlrrrlr")
    return part("a  How large is the error?", text, grid_, notes)


def _badness(row: Sized) -> list[float | None]:
    """Return numbers of which the largest is the worst, in the order of the cells."""
    bias = row.value("sizing_bias")
    return [
        None, *[row.value(name) for name in COUNTS[1:]], None if bias is None else abs(bias), None,
        row.value("sizing_sd"), row.value("sizing_method_sd"), row.value("sizing_rmse"), None,
        row.value("sizing_rmse_upper"),
    ]  # fmt: skip


def limit_table(rows: Sequence[Sized]) -> list[Flowable]:
    """Return b: limits of agreement, tolerance limits with and without a law."""
    heads = [
        "Mode", "Reader", "Limits of agreement", "95 % of lower limit", "95 % of upper limit",
        "Tolerance 95/95", "The same, ordered errors", "Undersizing 95/95",
        "The same, ordered errors", "p of 'normal'",
    ]  # fmt: skip
    table: list[list[Cell]] = []
    for row in rows:
        p, lower = row.value("sizing_normality_p"), row.value("sizing_order_lower")
        told = p_value(p)
        table.append([
            *row.one, span(row, "sizing_agreement"), span(row, "sizing_agreement_low"),
            span(row, "sizing_agreement_high"), span(row, "sizing_tolerance"),
            span(row, "sizing_order"), mm(row.value("undersizing_95_95")),
            "none" if lower is None else mm(max(0.0, -lower)),
            bold(told) if p is not None and p <= LEVEL else told,
        ])  # fmt: skip
    text = (
        "Limits of agreement, bias ∓ 1.96 SD, estimate where 95 % of errors lie and promise "
        "nothing; their intervals are exact, two-sided 95 %. Tolerance 95/95 holds 95 % of errors "
        "at 95 % confidence, if errors are normal; undersizing 95/95 is the amount that 95 % of "
        "errors stay within on that side, one-sided. From ordered errors both need no law, and "
        "more targets. p by Shapiro and Wilk; small speaks against normal errors; with few targets "
        "only gross departures are seen."
    )
    widths = [16, 12, 23, 23, 23, 23, 20, 17, 17, 13]
    notes = absent("two-sided limit from ordered errors", rows, "sizing_order_low")
    notes += absent("undersizing from ordered errors", rows, "sizing_order_lower")
    return part("b  Within what limits do errors lie?", text,
                grid(heads, table, widths, align="lllllllrrr"), notes)  # fmt: skip


def trend_table(rows: Sequence[Sized]) -> list[Flowable]:
    """Return c: error and scatter against size."""
    heads = [
        "Mode", "Reader", "Slope of the error", "Its 95 %", "p", "Slope of reported, both u",
        "Its 95 %", "Least squares", "Kept by it", "SD large / small", "p of 'same SD'",
        "Ratio seen",
    ]  # fmt: skip
    table: list[list[Cell]] = []
    for row in rows:
        p, spread = row.value("sizing_trend_p"), row.value("sizing_spread_p")
        line, plain = row.value("sizing_line_slope"), row.value("sizing_plain_slope")
        ratio, seen = row.value("sizing_spread_ratio"), row.value("sizing_spread_seen")
        table.append([
            *row.one, signed(row.value("sizing_trend")), span(row, "sizing_trend"), _p(p),
            mm(line), ratio_span(row, "sizing_line_slope"), mm(plain),
            percent(row.value("sizing_attenuation")),
            "none" if ratio is None else f"{ratio:.2g}", _p(spread),
            "none" if seen is None else general(seen),
        ])  # fmt: skip
    text = (
        "Slope of the error: mm of error by mm of true size, least squares, p of slope 0. Slope of "
        "reported on true size with the uncertainty of both (York and others 2004); where none is "
        "stated for reported sizes, their scatter is taken from these data. Uncertain true sizes "
        "flatten least squares to the share 'kept by it'. SD at the largest size over that at the "
        "smallest, if SD goes as a power of size; p by the score test of Breusch and Pagan. Ratio "
        "seen: the smallest of 1.5, 2, 3, 4, 6, 10 and 20 that this test notices in 80 % of "
        "simulated trials of these sizes: a smaller one may be there and go unseen."
    )
    widths = [16, 12, 14, 23, 11, 17, 19, 14, 14, 14, 13, 12]
    notes = absent("line with both uncertainties", rows, "sizing_line_slope")
    notes += absent("trend of the scatter", rows, "sizing_spread_p")
    notes += absent("ratio", [r for r in rows if not r.reason("sizing_spread_p")],
                    "sizing_spread_seen")  # fmt: skip
    return part("c  Does the error change with size?", text,
                grid(heads, table, widths, align="llrlrrlrrrrr"), notes)  # fmt: skip


def _p(value: float | None) -> Cell:
    told = p_value(value)
    return bold(told) if value is not None and value <= LEVEL else told


def worst_table(rows: Sequence[Sized]) -> list[Flowable]:
    """Return d: the worst cases by name."""
    heads = ["Mode", "Reader", "Largest under-sizing", "Most undersized: true as reported",
             "Largest over-sizing", "Most oversized: true as reported"]  # fmt: skip
    table: list[list[Cell]] = []
    for row in rows:
        under, over = row.sizes.report.undersized, row.sizes.report.oversized
        table.append([
            *row.one, mm(row.value("largest_undersizing")),
            "; ".join(sizes_of(row, i) for i in under) or "none undersized",
            mm(row.value("largest_oversizing")),
            "; ".join(sizes_of(row, i) for i in over) or "none oversized",
        ])  # fmt: skip
    text = "Up to three targets on each side, by name; every one needs a cause in the record."
    return part("d  The worst cases", text,
                grid(heads, table, [16, 12, 17, 54, 17, 54], align="llrlrl"))  # fmt: skip


def unsized_table(rows: Sequence[Sized]) -> list[Flowable]:
    """Return e: the error with missed and unsized targets counted in; nothing if there is none."""
    heads = ["Mode", "Reader", "Counted", "Targets counted in", "Bias", "RMSE",
             "Lower bound 95/95"]  # fmt: skip
    table: list[list[Cell]] = []
    for row in rows:
        if not row.sizes.report.cases:
            continue
        table.append([
            *row.one, "sized targets only", "0", signed(row.value("sizing_bias")),
            mm(row.value("sizing_rmse")), signed(row.value("undersizing_bound")),
        ])  # fmt: skip
        for case in row.sizes.report.cases:
            name = f"sizing_{case.case}"
            table.append([
                "", "", CASE_WORDS[case.case], whole(row.value(f"{name}_targets")),
                signed(row.value(f"{name}_bias")), mm(row.value(f"{name}_rmse")),
                signed(row.value(f"{name}_bound")),
            ])  # fmt: skip
    if not table:
        return []
    text = (
        "Missed targets have no size, and those found near the limit of detection are those whose "
        "signal was large. Counted as reported with size 0 they are undersized in full: no "
        "estimate, but how much hangs on them. Targets in units that were not examined stay out. "
        "The bound takes errors to be normal, which such ones are not: a measure and no bound."
    )
    return part("e  And with the missed targets?", text,
                grid(heads, table, [20, 14, 62, 20, 18, 18, 18], align="lllrrrr"))  # fmt: skip


def tilt_table(rows: Sequence[Sized]) -> list[Flowable]:
    """Return f: the error by tilt; nothing where tilt does not differ."""
    heads = ["Mode", "Reader", "Tilt about", "Sized", "Missed", "Bias", "SD", "RMSE"]
    table: list[list[Cell]] = []
    for row in rows:
        for tilted in row.sizes.tilts:
            name = f"sizing_tilt_{tilted.tilt_deg}"
            table.append([
                *row.one, f"{tilted.tilt_deg}°".replace("-", "−"),
                whole(row.value(f"{name}_sized")), whole(row.value(f"{name}_missed")),
                signed(row.value(f"{name}_bias")), mm(row.value(f"{name}_sd")),
                mm(row.value(f"{name}_rmse")),
            ])  # fmt: skip
    if not table:
        return []
    text = "As-built tilts within 2.5° of each; few targets each: no number here stands alone."
    return part("f  By tilt", text,
                grid(heads, table, [30, 20, 20, 20, 20, 20, 20, 20], align="lllrrrrr"))  # fmt: skip
