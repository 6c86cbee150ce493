"""End of chapter 12: an examiner's objections to a comparison, with the answer of these data."""

from reportlab.platypus import Flowable

from qualify.comparison.power import TRIALS
from qualify.criteria.words import ALL_READERS
from qualify.dossier.comparison_views import compared, names_of, together_of
from qualify.dossier.layout import section
from qualify.dossier.lookup import BLANKS, value
from qualify.dossier.tables import grid
from qualify.dossier.words import kind_words, p_value, percent
from qualify.study.result import StudyResult


def objections(result: StudyResult) -> list[Flowable]:
    """Return the table of objections to the comparison."""
    rows = [
        ["'Conventional set up by its enemies?'", _set_up(result), "first table"],
        ["'Different threshold strictness?'", _strictness(result), "false calls"],
        ["'McNemar?'", _tests(result), "who found what"],
        ["'Is the difference in sizes nobody asks about?'",
         "Told by thirds of size, each with its exact p, adjusted.", "where in size"],
        ["'One flaw read thrice, counted thrice?'",
         "No. Where readers stand together whole targets are the unit of every test and bound.",
         "ratio of a90"],
        ["'Could this trial have shown it?'", _power(result), "ratio of a90"],
        ["'How many tests were tried?'", _family(result), "who found what"],
    ]  # fmt: skip
    heads = ["Objection", "Answer of these data", "Where"]
    return [*section("Objections to the comparison, and where each is met"),
            grid(heads, rows, [50, 100, 20])]  # fmt: skip


def _set_up(result: StudyResult) -> str:
    plan = result.inputs.plan
    one, other = (plan.mode(name).set_up_by for name in names_of(result))
    if one == other:
        return f"Both modes were set up by party {one}: say whose interest that is."
    return f"Reference by party {one}, candidate by party {other}; the parties stand in chapter 2."


def _strictness(result: StudyResult) -> str:
    reference, candidate = names_of(result)
    plan = result.inputs.plan
    eye = [m for m in (reference, candidate) if plan.mode(m).threshold is None]
    told = []
    for reader in result.readers:
        rates = [
            value(result, "false_call_rate", BLANKS, m, reader) for m in (reference, candidate)
        ]
        if None not in rates:
            told.append(f"{reader} {percent(rates[0])} and {percent(rates[1])}")
    first = f"Called by eye in {' and '.join(eye)}: strictness shows in false calls only. " if eye \
        else "Thresholds stand in the first table. "  # fmt: skip
    if not told:
        return f"{first}No false-call rate of both modes is known."
    return f"{first}False calls, {reference} and {candidate}: {'; '.join(told)}."


def _tests(result: StudyResult) -> str:
    parts = []
    for population in result.inputs.plan.populations:
        one = compared(result, population.kind, ALL_READERS)
        if one is not None and one.found is not None:
            p = p_value(one.found.test.exact_p)
            parts.append(f"{kind_words(population.kind)}, all readers: p {p}")
    exact = "Exact, on discordant targets, for each reader and by target for all together. "
    return exact + ("; ".join(parts) + "." if parts else "")


def _power(result: StudyResult) -> str:
    parts = []
    for population in result.inputs.plan.populations:
        one = compared(result, population.kind, together_of(result))
        if one is not None and 1.0 in one.power:
            share = one.power[1.0]
            error = max(share * (1.0 - share), (TRIALS - 1) / TRIALS**2) ** 0.5 / TRIALS**0.5
            parts.append(f"{kind_words(population.kind)} {100 * share:.0f} % ± {100 * error:.0f} %")
    if not parts:
        return "No margin was declared, or a reader has no curve: there is no telling."
    who = "every reader" if len(result.readers) > 1 else "the reader"
    return (
        f"If both modes had the same a90, {who} would show the margin in this share of {TRIALS} "
        f"simulated trials of the design: {'; '.join(parts)}."
    )


def _family(result: StudyResult) -> str:
    words = {
        "hits": "hits",
        "hits_and_curves": "hits, curves",
        "hits_curves_and_a90_ratio": "hits, curves, ratio of a90",
    }
    plan = result.inputs.plan
    fixed = "comparison" in plan.model_fields_set
    whose = "The family of the plan" if fixed else "The plan fixes no family; that of this tool"
    return (
        f"{whose}: {words[plan.comparison.family]}, on "
        f"{len(plan.populations)} kinds of target; p is adjusted over it (Holm), for each reader "
        "and for all together apart."
    )
