"""Start of chapter 9: an examiner's objections with short answers, and what was simulated."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.dossier.checks_models import against_plan
from qualify.dossier.checks_parts import Checked, checked, named
from qualify.dossier.layout import section
from qualify.dossier.sensitivity_words import matching_words
from qualify.dossier.tables import grid
from qualify.dossier.words import kind_words, percent
from qualify.pod.along import BAND_SIMULATIONS
from qualify.pod.holds import SIMULATIONS
from qualify.pod.plateau_words import LEVEL
from qualify.study.result import StudyResult

Rows = dict[str, list[Checked]]


def simulated(result: StudyResult) -> list[str]:
    """Say once what was simulated, how often and from which seed; nothing without checks."""
    if not result.checks:
        return []
    plan, checks = result.inputs.plan.analysis, list(result.checks.values())
    parts = []
    fits = [fit for cell, fit in result.fits.items() if cell[0] == result.headline]
    behind = {bound.simulations for fit in fits for bound in fit.bounds[fit.bound].values()}
    told = sorted(number for number in behind if number is not None)
    if told:
        parts.append(f"{told[-1]} behind each {plan.bound} bound in print")
        parts.append(f"{BAND_SIMULATIONS} behind each point of a bound that is drawn but a90/95")
    held = next((c.holds["fit"].replicates for c in checks if "fit" in c.holds), None)
    if held is not None:
        parts.append(
            f"{held} for each share in a, each with an unrounded bound from {SIMULATIONS} more"
        )
    tests = next((c.plateau_test.replicates for c in checks if c.plateau_test), None)
    if tests is not None:
        parts.append(f"{tests} behind each p in d")
    good = next((c.goodness for c in checks if c.goodness.powers), None)
    if good is not None:
        parts.append(
            f"{good.simulations} behind each p in e and {good.powers[0].trials} behind each share "
            "beside it"
        )
    if not parts:
        return []
    return [f"Simulated trials, all from seed {plan.seed}: {'; '.join(parts)}."]


def objections(result: StudyResult) -> list[Flowable]:
    """Return the table of objections, each with the answer of these data and its place."""
    held = {str(p.kind): checked(result, p.kind) for p in result.inputs.plan.populations}
    rows = {kind: some for kind, some in held.items() if some}
    if not rows:
        return []
    plan = result.inputs.plan.analysis
    table = [
        [f"'Why {'a log' if plan.scale == 'log' else 'this'} model?'", _model(rows), "c"],
        ["'Is the a90/95 extrapolated?'", _outside(rows), "first table"],
        ["'One flaw read thrice, counted thrice?'", ONCE, "chapter 8"],
        ["'Wald or likelihood? Does it hold?'", _bound(rows, plan.bound), "a, b"],
        ["'Misses at large sizes?'", _large(rows), "d"],
        ["'Does the curve fit at all?'", _misfit(rows), "e"],
        ["'Does depth or tilt decide?'", _covariates(rows), "f"],
        ["'Saturated signals?'", _saturated(result), "signal response"],
        *_lines(result),
        ["'Result with matching ±50 %?'", matching_words(result) or NOT_MATCHED, "chapter 13"],
        ["'And without the remedies?'", BASES, "chapter 14"],
    ]
    heads = ["Objection", "Answer of these data", "Where"]
    return [
        *section("Objections, and where each is met"),
        grid(heads, table, [50, 104, 16]),
    ]


ONCE = (
    "No. A curve for each reader and kind, one reading a target; repeats are not counted and a "
    "re-reading takes the place of the first."
)
NO_SIGNAL = "Hits and misses only; no signal height is analysed, so none can saturate."
NOT_MATCHED = "Not shown: calls could not be matched again."
BASES = "a90/95 as found, after remedy and examined only stand side by side."


def _saturated(result: StudyResult) -> str:
    fits = [
        line.fit for (on, *_), line in result.responses.items()
        if on == result.headline and line.fit is not None
    ]  # fmt: skip
    if not fits:
        return NO_SIGNAL
    right, left = sum(fit.right for fit in fits), sum(fit.left for fit in fits)
    return (
        f"{right} responses at a ceiling and {left} at a floor, of {sum(f.rows for f in fits)}; "
        "they enter the line as censored, none at a made-up value."
    )


def _lines(result: StudyResult) -> list[list[str]]:
    """Answer for the lines of responses: which of their checks speak against them."""
    told = [
        f"{mode} {reader}, {kind_words(kind)}: {', '.join(failed)}"
        for (on, kind, mode, reader), line in result.responses.items()
        if on == result.headline and (failed := line.failed())
    ]
    if not result.plan_has_responses or (result.rule is not None and not result.responses):
        return []
    words = "; ".join(told) if told else "No check speaks against a line; passing shows little."
    return [["'Do the lines of responses fit?'", words, "signal response"]]


def _each(rows: Rows, pick: dict[str, list[Checked]]) -> str:
    return "; ".join(f"{kind_words(kind)}: {named(pick[kind])}" for kind in rows if pick[kind])


def _all(rows: Rows) -> list[Checked]:
    return [row for some in rows.values() for row in some]


def _model(rows: Rows) -> str:
    apart = [d for row in _all(rows) if (d := row.check.models.scale_difference) is not None]
    first = "Fixed in the plan, with its reason. Both scales were fitted"
    first += f": log and linear a90/95 lie up to {percent(max(apart))} apart." if apart else "."
    against = {kind: [row for row, *_ in against_plan(some)] for kind, some in rows.items()}
    told = _each(rows, against)
    return f"{first} Data against the model of the plan: {told}." if told else first


def _outside(rows: Rows) -> str:
    bounds = [e for row in _all(rows) if (e := row.estimate("a90_95")) is not None]
    there = [e for e in bounds if e.value is not None]
    out = sum(e.in_range is False for e in there)
    return (
        f"{out} of {len(there)} lie outside the tested sizes (marked *, no claim); "
        f"{len(bounds) - len(there)} of {len(bounds)} do not exist."
    )


def _bound(rows: Rows, used: str) -> str:
    shares = [s for row in _all(rows) if (s := row.value("holds_fit")) is not None]
    if not shares:
        return f"The {used} bound, as planned; how often it holds could not be simulated."
    others = [held.share for row in _all(rows) for held in row.check.holds.values()]
    return (
        f"{used[0].upper()}{used[1:]}, as planned. Simulated, it holds in "
        f"{percent(min(shares))} or more if the fitted curve is true, and in "
        f"{percent(min(others))} or more under the other curves tried in a. None of those levels "
        "off below 0.97; where detection levels off at 0.90 or less no size holds (d)."
    )


def _significant(rows: Sequence[Checked], *statistics: str) -> list[Checked]:
    return [
        row
        for row in rows
        if any((p := row.value(name)) is not None and p <= LEVEL for name in statistics)
    ]


def _large(rows: Rows) -> str:
    speaks = _each(rows, {k: _significant(some, "plateau_p") for k, some in rows.items()})
    lapsed = _each(
        rows,
        {
            k: [r for r in some if (r.value("large_hits") or 0) < (r.value("large_targets") or 0)]
            for k, some in rows.items()
        },
    )
    first = (
        f"The data speak for a detection that levels off below 1 for {speaks}."
        if speaks
        else "No curve that can be tested levels off below 1 at the 5 % level."
    )
    if all(row.value("plateau_p") is None for row in _all(rows)):
        first = "Without a fitted curve no levelling off can be judged."
    if all(row.check.lapses.from_size is None for row in _all(rows)):
        return first
    second = f"Large targets missed: {lapsed}." if lapsed else "No large target was missed."
    return f"{first} {second}"


def _misfit(rows: Rows) -> str:
    if all(row.value("curvature_p") is None for row in _all(rows)):
        return "Not tested: no curve was fitted, or there are too few sizes."
    told = _each(
        rows, {k: _significant(some, "curvature_p", "squares_p") for k, some in rows.items()}
    )
    if told:
        return f"Not for {told}. Elsewhere no misfit was noticed; what that is worth stands beside."
    return "No misfit was noticed; what that is worth stands beside each p."


def _covariates(rows: Rows) -> str:
    names = sorted({c.name for row in _all(rows) for c in row.check.covariates})
    if not names:
        return "Neither was recorded with three values or more: not looked at."
    parts = []
    for name in names:
        pick = {
            k: _significant(some, f"covariate_{name}_p", f"covariate_{name}_slope_p")
            for k, some in rows.items()
        }
        told = _each(rows, pick)
        if all(row.value(f"covariate_{name}_p") is None for row in _all(rows)):
            parts.append(f"{name} could not be tested")
            continue
        parts.append(
            f"{name} matters for {told}"
            if told
            else f"no effect of {name} is shown, no proof of none"
        )
    return "; ".join(parts)[:1].upper() + "; ".join(parts)[1:] + "."
