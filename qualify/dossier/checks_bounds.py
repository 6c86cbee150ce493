"""Chapter 9, a and b: how often the bound holds in simulation, and bounds by other methods."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.checks_parts import Checked, absent, block, named, reason_for
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import percent, size_cell
from qualify.pod.holds import PLATEAU, STEEPER
from qualify.pod.problem import BOUND_WORDS, BoundName
from qualify.study.check_estimates import CASE_WORDS
from qualify.study.plan import AnalysisPlan

MEANT = 0.95
NAMED = ("likelihood", "wald")
HEADS = {
    "fit": "Fitted curve",
    "steeper": f"{STEEPER:g} × steeper",
    "shallower": f"{STEEPER:g} × shallower",
    "plateau": f"Plateau {PLATEAU:.2f}",
}
BESIDE: tuple[BoundName, ...] = ("likelihood", "wald", "r_star", "firth", "bootstrap", "cheng_iles")
BOUND_HEADS = {
    "calibrated": "calibrated",
    "likelihood": "likelihood",
    "wald": "Wald",
    "r_star": "r*",
    "firth": "Firth",
    "bootstrap": "bootstrap",
    "cheng_iles": "Whole curve, Cheng and Iles",
}


def holds_table(rows: Sequence[Checked]) -> list[Flowable]:
    """Return a: a row a curve, a column for each true curve simulated."""
    plan = rows[0].result.inputs.plan.analysis
    cases = [case for case in CASE_WORDS if any(case in row.check.holds for row in rows)]
    heads = ["Mode", "Reader", *[HEADS.get(c, c) for c in cases], "± largest", "No bound, largest"]
    table = [_holds_row(row, cases) for row in rows]
    widths = [20, 19, *[14.0] * len(cases), 12, 14]
    text = (
        f"Share of simulated trials of these sizes in which the {plan.bound} bound was not below "
        "the true a90, or in which there was none and nothing was claimed. 95 % is meant. Each "
        "column is the curve that was taken as true: the fitted one; one steeper or shallower "
        "with the same a90; another link with the same a50 and a90; the fitted one levelling off "
        f"at {PLATEAU:.2f}. Simulated, if that curve is true; nothing here was observed. ±: "
        "standard error of simulation. Bold: lowest of the row."
    )
    notes = [
        *absent("simulation", rows, lambda row: row.check.holds_reason),
        *_without_curve(rows),
        *_lowest(rows),
        *_doubtful(rows, plan),
    ]
    return block(
        rows[0].kind,
        "a  How often does the bound hold?",
        text,
        grid(heads, table, widths, align="ll" + "r" * (len(cases) + 2)),
        notes,
    )


def _holds_row(row: Checked, cases: Sequence[str]) -> list[Cell]:
    shares = {case: row.value(f"holds_{case}") for case in cases}
    known = [share for share in shares.values() if share is not None]
    low = min(known, default=None)
    cells: list[Cell] = [
        bold(percent(share)) if share is not None and share == low else percent(share)
        for share in shares.values()
    ]
    errors = [e for case in cases if (e := row.value(f"holds_{case}_error")) is not None]
    without = [held.no_bound for held in row.check.holds.values()]
    ends = [percent(max(errors, default=None)), percent(max(without, default=None))]
    return [row.mode, row.label, *cells, *ends]


def _without_curve(rows: Sequence[Checked]) -> list[str]:
    found = [row for row in rows if row.fit.outcome != "fitted" and row.check.holds]
    if not found:
        return []
    return [
        f"No curve was fitted for {named(found)}: the curve taken as true is then the one that "
        "fits best with POD 0.90 at the bound itself."
    ]


def lowest_case(row: Checked) -> tuple[str, float] | None:
    """Return the true curve under which the bound of a row holds least often, and the share."""
    shares = {case: row.value(f"holds_{case}") for case in CASE_WORDS}
    known = {case: share for case, share in shares.items() if share is not None}
    if not known:
        return None
    low = min(known, key=lambda case: known[case])
    return str(low), known[low]


def _lowest(rows: Sequence[Checked]) -> list[str]:
    found = [(row, *low) for row in rows if (low := lowest_case(row)) is not None]
    if not found:
        return []
    row, case, share = min(found, key=lambda item: item[2])
    words = {str(name): told for name, told in CASE_WORDS.items()}[case]
    end = "" if share >= MEANT else f" If that curve is true, its 95 % are {percent(share)}."
    return [f"Lowest of all: {percent(share)}, {row.name}, if {words} is true.{end}"]


def _doubtful(rows: Sequence[Checked], plan: AnalysisPlan) -> list[str]:
    """Name the curves whose data fit a shape well under which the bound holds too seldom."""
    told, first = [], None
    for row in rows:
        for model in row.check.models.rows:
            share = row.value(f"holds_{model.link}")
            error = row.value(f"holds_{model.link}_error")
            if share is None or error is None or model.primary or model.scale != plan.scale:
                continue
            if model.near_equal and share + 2.0 * error < MEANT:
                told.append(f"{row.name} ({model.link}, {percent(share)})")
                first = first or row
    if first is None:
        return []
    return [
        "These data fit a shape about as well as any, under which the bound holds too seldom: "
        f"{', '.join(told)}. There the 95 % are to be read as the share told."
    ]


def methods_table(rows: Sequence[Checked]) -> list[Flowable]:
    """Return b: the bound of the plan, and beside it the bounds of other methods."""
    used = rows[0].result.inputs.plan.analysis.bound
    names = [name for name in BESIDE if name != used]
    heads = ["Mode", "Reader", f"a90/95: {used}, of the plan", *[BOUND_HEADS[n] for n in names]]
    table = []
    for row in rows:
        sizes = [row.estimate("a90_95"), *[row.estimate(f"a90_95_{name}") for name in names]]
        table.append([row.mode, row.label, *[size_cell(size) for size in sizes]])
    told = "; ".join(f"{BOUND_HEADS[n]}: {BOUND_WORDS[n]}" for n in names[:-1] if n not in NAMED)
    text = (
        f"Wald or likelihood? {_which(rows, used)} Sizes in mm. {told}. No resample of the "
        "bootstrap is dropped. Apart, last column: a statement on the whole curve, not on a90."
    )
    notes = _missing(rows, names)
    widths = [20, 19, 22, *[17.0] * (len(names) - 1), 20]
    return block(
        rows[0].kind,
        "b  Bounds by other methods",
        text,
        grid(heads, table, widths, align="ll" + "r" * (len(names) + 1)),
        notes,
    )


def _missing(rows: Sequence[Checked], names: Sequence[BoundName]) -> list[str]:
    """Return a note for each reason and set of curves, naming the methods it is about."""
    held: dict[str, list[str]] = {}
    for name in names:
        for note in absent("{} bound", rows, reason_for(f"a90_95_{name}")):
            held.setdefault(note, []).append(BOUND_HEADS[name])
    return [note.replace("{}", ", ".join(methods), 1) for note, methods in held.items()]


def _which(rows: Sequence[Checked], used: str) -> str:
    if used != "calibrated":
        return (
            f"The plan names the {used} bound. It rests on large samples; how often it holds in "
            "this trial is told under a."
        )
    below = {
        name: sum(
            (row.value(f"a90_95_{name}") or 0.0) < (row.value("a90_95") or 0.0) for row in rows
        )
        for name in NAMED
    }
    return (
        "Neither decides: the plan names the calibrated bound, the likelihood ratio with its limit "
        "set by simulating this trial. Both others rest on large samples; the likelihood bound is "
        f"smaller or absent in {below['likelihood']} and the Wald bound in {below['wald']} of "
        f"{len(rows)} rows."
    )
