"""The tables of pages 1 and 2: verdicts, deviations, order of events, interests."""

from collections.abc import Sequence

from reportlab.platypus import Flowable, Paragraph

from qualify.criteria.estimate import BASIS_WORDS
from qualify.criteria.rules import Criterion
from qualify.criteria.verdict import Verdict, combined
from qualify.criteria.words import show_value
from qualify.dossier.comparison_views import compared, together_of
from qualify.dossier.layout import section, small
from qualify.dossier.style import FACE as FACE_STYLE
from qualify.dossier.tables import grid
from qualify.dossier.words import clean, listed, sentence
from qualify.study.declaration import Declaration
from qualify.study.deviations import Deviation
from qualify.study.result import StudyResult


def verdict_table(result: StudyResult) -> list[Flowable]:
    """Return the table of verdicts, one row a criterion; recalled ones are only named."""
    plan = result.inputs.plan
    title = "Verdicts on the criteria" + (", on synthetic data" if result.synthetic else "")
    ids = list(dict.fromkeys(c.id for c in plan.criteria))
    if not ids:
        return [*section(title), small("The plan holds no criterion.")]
    judged = [i for i in ids if any(c.verified for c in plan.criteria if c.id == i)]
    other = "as_found" if result.headline == "after_remedy" else "after_remedy"
    differ = any(
        combined(result.verdicts, i, "as_found") != combined(result.verdicts, i, "after_remedy")
        for i in judged
    )
    heads = ["", "Requirement", "Verdict", "Reason, clause by clause", "What would decide it"]
    widths = [8.0, 42.0, 26.0, 61.0, 33.0]
    if differ:
        heads.insert(3, _capital(BASIS_WORDS[other]))
        heads[2] = f"Verdict, {BASIS_WORDS[result.headline]}"
        widths = [8.0, 36.0, 24.0, 26.0, 50.0, 26.0]
    rows = []
    for id_ in judged:
        row = _verdict_row(result, id_)
        if differ:
            row.insert(3, _other(result, id_, other))
        rows.append(row)
    return [
        *section(title),
        *([grid(heads, rows, widths)] if rows else []),
        *_explained(result),
        *_recalled(result),
    ]


def _verdict_row(result: StudyResult, id_: str) -> list[str | Paragraph]:
    clauses = [c for c in result.inputs.plan.criteria if c.id == id_]
    verdicts = {
        v.clause: v for v in result.verdicts if (v.criterion, v.basis) == (id_, result.headline)
    }
    checked = [k for k, c in enumerate(clauses, start=1) if c.verified]
    numbered = len(clauses) > 1
    reasons, decide = [], []
    for k in checked:
        lead = f"{k}. {_capital(verdicts[k].status)}: " if numbered else ""
        reasons.append(clean(lead + sentence(verdicts[k].reason)))
        decide.append(verdicts[k].would_decide)
        if verdicts[k].status == "not demonstrated":
            decide += _could_show(result, clauses[k - 1])
    said = "; ".join(dict.fromkeys(clauses[k - 1].statement for k in checked))
    status = _capital(combined(result.verdicts, id_, result.headline))
    return [
        Paragraph(f"<b>{clean(id_)}</b>", FACE_STYLE),
        said,
        Paragraph(f"<b>{status}</b>", FACE_STYLE),
        Paragraph("<br/>".join(reasons), FACE_STYLE),
        Paragraph(clean(" ".join(dict.fromkeys(decide))), FACE_STYLE),
    ]


def _could_show(result: StudyResult, criterion: Criterion) -> list[str]:
    """Say how often this design would show a ratio of a90, where that was simulated."""
    if criterion.statistic != "a90_ratio" or criterion.population is None:
        return []
    one = compared(result, criterion.population, together_of(result))
    share = None if one is None else one.power.get(1.0)
    if share is None:
        return []
    return [f"Were both modes equal, this design would show it in {100 * share:.0f} of 100 trials."]


def _other(result: StudyResult, id_: str, basis: str) -> str:
    """Return the verdict on the other basis, with its figures where they are others."""
    status = _capital(combined(result.verdicts, id_, basis))
    units = [c.unit for c in result.inputs.plan.criteria if c.id == id_]
    here, there = (
        [v for v in result.verdicts if (v.criterion, v.basis) == (id_, on)]
        for on in (basis, result.headline)
    )
    figures = [
        f"{show_value(one.value, unit)}{_whose(one)}"
        for one, other, unit in zip(here, there, units, strict=True)
        if one.value is not None and one.reason != other.reason
    ]
    return f"{status}: {', '.join(figures)}" if figures else status


def _whose(verdict: Verdict) -> str:
    """Return the reader that governed a verdict, in brackets."""
    parts = (verdict.governing or "").split("/")
    return f" ({parts[4]})" if len(parts) > 4 else ""


def _explained(result: StudyResult) -> list[Flowable]:
    """Explain in place the words of sizing that a verdict uses."""
    words = {
        "sizing_rmse": "RMSE: the usual size of the sizing error, large errors weighing more",
        "sizing_rmse_upper": "RMSE: the usual size of the sizing error, large errors weighing more",
        "sizing_bias": "bias: the mean of reported minus true size",
        "undersizing_95_95": "undersizing 95/95: at most 5 % of targets are undersized by more, "
        "at 95 % confidence",
        "a90_ratio": "a90: the size that 90 of 100 times is found, by the fitted curve",
    }
    used = {c.statistic for c in result.inputs.plan.criteria if c.verified}
    told = "; ".join(dict.fromkeys(text for name, text in words.items() if name in used))
    return [Paragraph(clean(f"{told[0].upper()}{told[1:]}."), FACE_STYLE)] if told else []


def _recalled(result: StudyResult) -> list[Flowable]:
    recalled = [c for c in result.inputs.plan.criteria if not c.verified]
    if not recalled:
        return []
    names = "; ".join(f"{c.id} ({_subject(c)})" for c in recalled)
    return [Paragraph(f"<b>Recalled, not checked, not judged:</b> {clean(names)}.", FACE_STYLE)]


def _subject(criterion: Criterion) -> str:
    return f"{criterion.rule.words.replace('95 %', 'one-sided')}"


def deviation_table(result: StudyResult, *, grouped: bool = True) -> list[Flowable]:
    """Return the deviations with red bars; grouped by kind and remedy, or one by one."""
    title = "Deviations" if grouped else "Deviations, one by one"
    if not result.deviations:
        return [*section(title), small("None was found.")]
    rows = []
    for group in _groups(result.deviations) if grouped else [[d] for d in result.deviations]:
        first = group[0]
        numbers = [d.number for d in group]
        text = (
            first.text
            if len(group) == 1
            else (f"{len(group)} ×: {listed([d.subject for d in group], 6)}")
        )
        rows.append(
            [
                Paragraph(f"<b>DEVIATION</b><br/>{clean(_span(numbers))}", FACE_STYLE),
                f"{_capital(first.in_words)}. {text}",
                *_remedy(first, result.inputs.declaration),
            ]
        )
    heads = ["", "What", "Remedy", "Signed by"]
    table = grid(heads, rows, [22, 48, 67, 33], bars=range(len(rows)))
    return [*section(title), table]


def _groups(deviations: Sequence[Deviation]) -> list[list[Deviation]]:
    held: dict[tuple[object, ...], list[Deviation]] = {}
    for deviation in deviations:
        remedy = deviation.remedy
        key = (deviation.kind, deviation.independent, None if remedy is None else id(remedy))
        held.setdefault(key, []).append(deviation)
    return list(held.values())


def _span(numbers: Sequence[str]) -> str:
    values = [int(n[1:]) for n in numbers]
    run = values == list(range(values[0], values[0] + len(values)))
    if run and len(numbers) > 2:
        return f"{numbers[0]} to {numbers[-1]}"
    return listed(list(numbers), 4)


def _remedy(deviation: Deviation, declaration: Declaration) -> list[str]:
    remedy = deviation.remedy
    if remedy is None:
        return ["none recorded", "nobody"]
    signers = [s for s in (remedy.signed_by, remedy.second_signature) if s is not None]
    words = f"{_capital(remedy.action)}, decided on {remedy.on.isoformat()}. {remedy.text}"
    names = ", ".join(f"{s} (knew: {_knew(declaration, s)})" for s in signers)
    word = "Independent" if deviation.independent else "Not independent"
    return [words, f"{names}. {word} of the developer."]


def _knew(declaration: Declaration, person: str) -> str:
    known = sorted({role.knew_truth for role in declaration.roles if role.person == person})
    return " and ".join(known) or "not declared"


def conflicts(result: StudyResult) -> list[Flowable]:
    """Return the parties' interests and the declared conflicts."""
    declaration = result.inputs.declaration
    told = [f"{p.name}: {p.interest}" for p in declaration.parties]
    told += [
        f"{r.person} ({r.role.replace('_', ' ')}): {r.declared_conflict}"
        for r in declaration.roles
        if r.declared_conflict
    ]
    words = "; ".join(told) if told else "none declared, which is not the same as none"
    return [Paragraph(f"<b>Interests and conflicts:</b> {clean(words)}.", FACE_STYLE)]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
