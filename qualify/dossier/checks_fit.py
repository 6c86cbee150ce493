"""Chapter 9, e and f: whether the curve fits, and whether depth and tilt matter beside size."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.checks_parts import Checked, absent, block, named, reason_for
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import COVARIATE_UNITS, p_value, tenth, whole_percent
from qualify.pod.covariates import CovariateResult
from qualify.pod.goodness import FAIR, LEVEL, OTHER_LINK, WEAK, Goodness
from qualify.pod.goodness import PLATEAU as FAULT

TESTS = ("curvature", "squares")


def fit_table(rows: Sequence[Checked]) -> list[Flowable]:
    """Return e: two tests of fit, with how often each would notice a fault."""
    other = OTHER_LINK[rows[0].result.inputs.plan.analysis.link]
    notices = [f"notices plateau {FAULT:.2f}", f"notices {other}"]
    heads = ["Mode", "Reader", "Curvature, p", *notices, "Sum of squares, p", *notices, "It says"]
    table = [_fit_row(row) for row in rows]
    text = (
        "p by simulation from the fitted curve: small means that the curve does not fit. Beside "
        "each p, how often that test would notice a fault in trials like this one: POD that ends "
        f"at {FAULT:.2f}, and a {other} curve with the same a50 and a90. Below "
        f"{100 * WEAK:.0f} % passing the test says little, up to {100 * FAIR:.0f} % something "
        "(our own words, no source)."
    )
    misfit = [row for row in rows if _fails(row)]
    notes = absent("test of fit", rows, reason_for("curvature_p"))
    if misfit:
        notes.append(
            f"The curve does not fit at the 5 % level for {named(misfit)}: the a90/95 there rests "
            "on a curve that the data speak against; see c and d for which others fit."
        )
    widths = [18, 20, 14, 13, 13, 14, 13, 13, 50]
    return block(
        rows[0].kind,
        "e  Does the curve fit?",
        text,
        grid(heads, table, widths, align="llrrrrrrl"),
        notes,
    )


def _fails(row: Checked) -> bool:
    values = [row.value(f"{test}_p") for test in TESTS]
    return any(p is not None and p <= LEVEL for p in values)


def _fit_row(row: Checked) -> list[Cell]:
    good, cells = row.check.goodness, []
    for test in TESTS:
        p = row.value(f"{test}_p")
        cells.append(_marked(p))
        powers = [whole_percent(getattr(power, test)) for power in good.powers]
        cells += powers or ["none", "none"]
    return [row.mode, row.label, *cells, _told(row, good)]


def _marked(p: float | None) -> Cell:
    told = p_value(p)
    return bold(told) if p is not None and p <= LEVEL else told


def _told(row: Checked, good: Goodness) -> str:
    if good.reason is not None:
        return "not tested"
    if _fails(row):
        return "does not fit"
    least = min(max(power.curvature, power.squares) for power in good.powers)
    worth = "little" if least < WEAK else "something" if least < FAIR else "much"
    return f"no misfit noticed; passing says {worth}"


def covariate_table(rows: Sequence[Checked]) -> list[Flowable]:
    """Return f: tests of depth and tilt beside size; nothing where neither was varied."""
    names = list(dict.fromkeys(c.name for row in rows for c in row.check.covariates))
    if not names:
        return []
    heads = ["Mode", "Reader"]
    for name in names:
        heads += [
            f"{name}, p",
            f"{name} on slope, p",
            f"Worst {name}, {COVARIATE_UNITS[name].strip()}",
            "a90 there",
            "a90/95 there",
        ]
    table = [_covariate_row(row, names) for row in rows]
    text = (
        f"Does {' or '.join(names)} matter beside size? Likelihood-ratio tests; a90 and its "
        "likelihood bound, in mm, at that of the lowest, middle and highest value where it is "
        "largest, from curves of one slope. p above 0.05 is no proof that there is no effect: so "
        "few readings show a large one only; * lies outside the sizes tested. Of tests without "
        "effect 5 in 100 seem to show one."
    )
    widths = [20.0, 19.0, *[12.0, 14.0, 14.0, 12.0, 14.0] * len(names)]
    notes = [note for name in names for note in _covariate_notes(rows, name)]
    return block(
        rows[0].kind,
        f"f  {' and '.join(names).capitalize()}",
        text,
        grid(heads, table, widths, align="ll" + "r" * (5 * len(names))),
        notes,
    )


def _of(row: Checked, name: str) -> CovariateResult | None:
    return next((c for c in row.check.covariates if c.name == name), None)


def _covariate_row(row: Checked, names: Sequence[str]) -> list[Cell]:
    cells: list[Cell] = [row.mode, row.label]
    for name in names:
        found = _of(row, name)
        cells += [
            _marked(row.value(f"covariate_{name}_p")),
            _marked(row.value(f"covariate_{name}_slope_p")),
        ]
        worst = None if found is None else found.worst
        if worst is None:
            cells += ["none"] * 3
        else:
            at = worst.value if isinstance(worst.value, str) else tenth(worst.value)
            name_of = f"covariate_{name}_worst"
            cells += [at, row.size(f"{name_of}_a90"), row.size(f"{name_of}_a90_95")]
    return cells


def _separated(row: Checked, name: str) -> bool:
    """Whether a test of a covariate is missing because hits and misses part in its model."""
    found = _of(row, name)
    tests = () if found is None else (found.covariate_test, found.interaction_test)
    return any("separate hits from misses" in (test.reason or "") for test in tests)


def _covariate_notes(rows: Sequence[Checked], name: str) -> list[str]:
    def those(statistic: str) -> list[Checked]:
        return [r for r in rows if (p := r.value(statistic)) is not None and p <= LEVEL]

    notes = []
    for ending, what in (("", f"test of {name}"), ("_slope", f"test of {name} on the slope")):
        statistic = f"covariate_{name}{ending}_p"
        notes += absent(what, rows, reason_for(statistic))
    apart = [row for row in rows if _separated(row, name)]
    if apart:
        notes.append(
            f"Where size and {name} together part hits from misses, no p exists; that by itself "
            f"can be a sign that {name} matters: {named(apart)}."
        )
    matters = those(f"covariate_{name}_p")
    if matters:
        notes.append(
            f"POD changes with {name} for {named(matters)}: one a90/95 for all values hides that. "
            f"The claim holds for the mix of {name} in these blocks; at the worst {name} the size "
            "is that told here, by a likelihood bound, which holds less often than it says."
        )
    turned = those(f"covariate_{name}_slope_p")
    if turned:
        notes.append(
            f"The slope changes with {name} for {named(turned)}: curves of one slope may then be "
            f"wrong, and each {name} would need a curve of its own."
        )
    return notes
