"""Chapter 9, c: the eight models side by side, and what the choice of model is worth."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.checks_parts import Checked, absent, block, named
from qualify.dossier.lookup import worst_reader
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import percent, tenth
from qualify.pod.model_choice import SCALE_LIMIT, ModelRow

MODES_A_TABLE = 3
SCALES = {"log": "the logarithm of size", "linear": "size"}


def model_tables(rows: Sequence[Checked]) -> list[Flowable]:
    """Return the table of eight models, of the worst reader of each mode, and the spread."""
    result, kind = rows[0].result, rows[0].kind
    worst = {mode.id: worst_reader(result, kind, mode.id) for mode in result.inputs.plan.modes}
    shown = [row for row in rows if row.reader == worst.get(row.mode)]
    out: list[Flowable] = []
    for start in range(0, len(shown), MODES_A_TABLE):
        out += _eight(shown[start : start + MODES_A_TABLE], first=start == 0)
    return [*out, *_spread(rows)]


def _eight(shown: Sequence[Checked], *, first: bool) -> list[Flowable]:
    plan = shown[0].result.inputs.plan.analysis
    heads = ["Model"]
    for row in shown:
        heads += [f"{row.name}: AIC above best", "a90", "a90/95, likelihood"]
    table = []
    for number, model in enumerate(shown[0].check.models.rows):
        fixed = ", fixed in the plan" if model.primary else ""
        cells: list[Cell] = [f"{model.name}{fixed}"]
        for row in shown:
            cells += _model_cells(row, row.check.models.rows[number])
        table.append(cells)
    text = (
        f"Why {'a log' if plan.scale == 'log' else 'this'} model? The plan fixed {plan.link} in "
        f"{SCALES[plan.scale]} before truth was opened, for this reason: '{plan.reason}'. It is "
        "never chosen from this table, which shows what the choice is worth. Bold: near-equal "
        "models, within 2 AIC units of the best, which describe these data about as well. In mm; "
        "* lies outside the sizes tested; none: no curve, or more than ten times beyond them."
        if first
        else "As above, further modes."
    )
    widths = [44.0, *[16.0, 11.0, 15.0] * len(shown)]
    return block(
        shown[0].kind,
        "c  Other models, worst reader of each mode",
        text,
        grid(heads, table, widths, align="l" + "r" * (3 * len(shown))),
        [],
    )


def _model_cells(row: Checked, model: ModelRow) -> list[Cell]:
    above = "none" if model.aic_above_best is None else tenth(model.aic_above_best)
    name = f"model_{model.link}_{model.scale}"
    texts = [above, row.size(f"{name}_a90"), row.size(f"{name}_a90_95")]
    return [bold(text) for text in texts] if model.near_equal else list(texts)


def _spread(rows: Sequence[Checked]) -> list[Flowable]:
    heads = [
        "Mode", "Reader", "Near-equal of 8", "a90 smallest", "a90 largest", "a90/95 smallest",
        "a90/95 largest", "a90/95 in log size", "a90/95 in size", "Log against linear",
    ]  # fmt: skip
    table = [
        [
            row.mode,
            row.label,
            f"{row.value('near_equal_models') or 0:.0f}",
            *[
                row.size(f"{size}_models_{end}")
                for size in ("a90", "a90_95")
                for end in ("smallest", "largest")
            ],
            *_scales(row),
        ]
        for row in rows
    ]
    text = (
        "Spread over the near-equal models, likelihood bounds, in mm: an uncertainty of the model "
        "that the 95 % of a bound does not include. Right: the link of the plan on both scales, "
        f"and how far the two a90/95 lie apart; more than {100 * SCALE_LIMIT:.0f} % is in bold "
        "(our own rule, no source)."
    )
    widths = [20, 19, 14, 14, 14, 15, 15, 17, 15, 17]
    return block(
        rows[0].kind,
        "c  What the choice of model is worth",
        text,
        grid(heads, table, widths, align="ll" + "r" * 8),
        [*_not_comparable(rows), *_against(rows), *_apart(rows)],
    )


def _scales(row: Checked) -> list[Cell]:
    link = row.result.inputs.plan.analysis.link
    apart = row.check.models.scale_difference
    told = percent(apart)
    last: Cell = bold(told) if apart is not None and apart > SCALE_LIMIT else told
    return [*(row.size(f"model_{link}_{scale}_a90_95") for scale in ("log", "linear")), last]


def _not_comparable(rows: Sequence[Checked]) -> list[str]:
    def why(row: Checked) -> str | None:
        spread = row.check.models.a90_95
        if spread.models == 0:
            return "in none of the eight models could a curve be fitted"
        if spread.largest is None:
            return f"{spread.without} of {spread.models} near-equal models have none"
        return None

    return absent("largest a90/95", rows, why)


def against_plan(rows: Sequence[Checked]) -> list[tuple[Checked, ModelRow, ModelRow]]:
    """Return the curves whose data speak against the plan's model: with that and the best."""
    out = []
    for row in rows:
        primary = row.check.models.rows[0]
        near = [model for model in row.check.models.rows if model.near_equal]
        if near and primary.outcome == "fitted" and not primary.near_equal:
            out.append((row, primary, min(near, key=lambda m: m.aic_above_best or 0.0)))
    return out


def _against(rows: Sequence[Checked]) -> list[str]:
    told = [
        f"{row.name} (AIC {tenth(primary.aic_above_best)} above that of {best.name})"
        for row, primary, best in against_plan(rows)
    ]
    if not told:
        return []
    return [
        f"The data speak against the model of the plan for {', '.join(told)}. Its numbers stand, "
        "as the plan names it; the near-equal models beside them do not include it, and the claim "
        "there rests on a curve that others describe better.",
    ]


def _apart(rows: Sequence[Checked]) -> list[str]:
    far = [
        row
        for row in rows
        if (apart := row.check.models.scale_difference) is not None and apart > SCALE_LIMIT
    ]
    if not far:
        return []
    return [
        f"Log and linear size disagree for {named(far)}: the choice of axis alone moves the a90/95 "
        f"by more than {100 * SCALE_LIMIT:.0f} %, and the plan's reason for it must carry that.",
    ]
