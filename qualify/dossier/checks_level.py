"""Chapter 9, d: whether detection levels off below 1 for large targets."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.checks_parts import Checked, absent, block, named, reason_of
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import p_value, percent, whole
from qualify.pod.lapses import SHOWN
from qualify.pod.plateau_words import LEVEL


def level_table(rows: Sequence[Checked]) -> list[Flowable]:
    """Return d: the curve with a plateau, and the hits of large targets."""
    heads = [
        "Mode", "Reader", "Plateau", "Its lower bound", "p of 'plateau = 1'", "a90 under it",
        "a90/95 under it", "Large: from, mm", "Hits", "Share at least", "More, all hit, for 0.90",
    ]  # fmt: skip
    table = [_row(row) for row in rows]
    text = (
        "The curve of the plan with a plateau below 1 fitted beside it; p by bootstrap: small "
        "means that the data speak against a curve that rises to 1. Large: 1.5 times a90 or more "
        "(our own rule, no source), with the exact lower bound of the share hit, and how many more "
        f"such targets, all hit, would show more than {SHOWN:.2f} at 95 %. Targets not examined "
        "are left out of d, e and f, so that 'large' is counted from another a90 than that of the "
        "first table: they say nothing of the shape of the curve, though the plan "
        "counts them in a90/95. The lower bound and the a90/95 under a plateau are "
        "likelihood bounds, one-sided 95 %, not calibrated: the latter is no rival of that of the "
        "plan. Sizes in mm."
    )
    widths = [20, 19, 13, 13, 14, 13, 14, 14, 13, 14, 17]
    return block(
        rows[0].kind,
        "d  Does detection level off?",
        text,
        grid(heads, table, widths, align="ll" + "r" * 9),
        _notes(rows),
    )


def _row(row: Checked) -> list[Cell]:
    p = row.value("plateau_p")
    told = p_value(p)
    lapses = row.check.lapses
    hits, targets = row.value("large_hits"), row.value("large_targets")
    return [
        row.mode,
        row.label,
        percent(row.value("plateau")),
        percent(row.value("plateau_lower")),
        bold(told) if p is not None and p <= LEVEL else told,
        row.size("plateau_a90"),
        row.size("plateau_a90_95"),
        row.size("large_from"),
        f"{whole(hits)}/{whole(targets)}",
        percent(row.value("large_lower")),
        whole(lapses.further),
    ]


def _notes(rows: Sequence[Checked]) -> list[str]:
    speaks = [r for r in rows if (p := r.value("plateau_p")) is not None and p <= LEVEL]
    notes = [
        *absent("plateau", rows, lambda row: reason_of(row, "plateau")),
        *absent("a90 under a plateau", rows, _without_a90),
        *absent("a90/95 under a plateau", rows, _without_bound),
    ]
    if speaks:
        notes.append(
            f"The data speak against a curve that rises to 1 for {named(speaks)}: the a90/95 of "
            "the plan rests on a curve that they do not support. Where no a90 exists under a "
            "plateau, no size is found 90 of 100 times by that curve; each large miss needs a "
            "cause of its own in the record."
        )
    shown = [r for r in rows if (low := r.value("plateau_lower")) is not None and low > SHOWN]
    some = [r for r in rows if r.value("plateau") is not None]
    if some:
        told = named(shown) if shown else "nobody"
        notes.append(f"A plateau at or below {SHOWN:.2f} is excluded at 95 % for: {told}.")
    return notes


def _without_a90(row: Checked) -> str | None:
    return reason_of(row, "plateau_a90") if row.value("plateau") is not None else None


def _without_bound(row: Checked) -> str | None:
    held = row.value("plateau_a90") is not None
    return reason_of(row, "plateau_a90_95") if held else None
