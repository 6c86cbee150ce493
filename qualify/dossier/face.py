"""Pages 1 and 2: the claim, its limits, verdicts, deviations, order of events."""

from collections.abc import Sequence

from reportlab.platypus import Flowable, PageBreak, Paragraph, Table, TableStyle

from qualify.criteria.estimate import BASIS_WORDS
from qualify.criteria.rules import Criterion
from qualify.criteria.verdict import combined
from qualify.dossier.cautions import FACE
from qualify.dossier.claims import GRADES, Claim, claim_of
from qualify.dossier.layout import Heading, section, small
from qualify.dossier.style import (
    FACE as FACE_STYLE,
)
from qualify.dossier.style import (
    FACE_BOLD,
    FONT,
    INK_COLOUR,
    MM,
    RULE_COLOUR,
    TINT_COLOUR,
    TITLE,
    WIDTH_MM,
)
from qualify.dossier.tables import grid
from qualify.dossier.words import clean, kind_words, listed, sentence
from qualify.study.deviations import Deviation
from qualify.study.result import StudyResult

LABELS = (
    ("What", "kind"),
    ("How big", "how_big"),
    ("How sure", "how_sure"),
    ("On what", "on_what"),
    ("False calls", "false_calls"),
    ("Beside", "beside"),
    ("Status", "status"),
    ("Evidence grade", "grade"),
)
STATUS_WORDS = {
    "recorded": "recorded",
    "declared": "declared by {by}, not proven by this file",
    "not recorded": "not recorded",
}


def face(result: StudyResult) -> list[Flowable]:
    """Return pages 1 and 2."""
    return [
        *_title(result),
        *_claims(result),
        *_cautions(),
        *verdict_table(result),
        *deviation_table(result),
        *_events(result),
        *_conflicts(result),
        PageBreak(),
    ]


def _title(result: StudyResult) -> list[Flowable]:
    declaration, plan = result.inputs.declaration, result.inputs.plan
    line = (
        f"Study {plan.study} · dossier revision {declaration.revision} of "
        f"{declaration.dated.isoformat()} · plan revision {plan.revision}"
    )
    asked = f"<b>Asked:</b> {clean(plan.claim.question)}"
    if result.synthetic:
        asked = f"<b>SYNTHETIC: invented or simulated data, no evidence.</b> {asked}"
    return [
        Heading(declaration.title, 0, label="The claim and its limits", style=TITLE),
        Paragraph(clean(line), FACE_STYLE),
        Paragraph(asked, FACE_STYLE),
        Paragraph(f"<b>Basis:</b> {clean(_basis(result))}", FACE_STYLE),
    ]


def _basis(result: StudyResult) -> str:
    return f"results {BASIS_WORDS[result.headline]}. {result.headline_reason}"


def _claims(result: StudyResult) -> list[Flowable]:
    plan = result.inputs.plan
    first = plan.claim.candidate_mode
    modes = sorted(plan.modes, key=lambda mode: mode.id != first)
    out: list[Flowable] = []
    for mode in modes:
        claims = [claim_of(result, p.kind, mode.id) for p in plan.populations]
        for start in range(0, len(claims), 3):
            head = f"Mode {mode.id}: {mode.name} ({mode.status}). Where: {plan.claim.region}"
            out.append(_box(head, claims[start : start + 3]))
    return out


def _box(head: str, claims: Sequence[Claim]) -> Table:
    rows = [[Paragraph(clean(head), FACE_BOLD), *[""] * len(claims)]]
    spans = []
    for label, field in LABELS:
        texts = [_claim_text(claim, field) for claim in claims]
        if not any(texts):
            continue
        if len(texts) > 1 and len(set(texts)) == 1:
            spans.append(("SPAN", (1, len(rows)), (-1, len(rows))))
            texts = [texts[0], *[""] * (len(texts) - 1)]
        cells = [Paragraph(text, FACE_STYLE) if text else "" for text in texts]
        rows.append([Paragraph(label, FACE_BOLD), *cells])
    label_mm = 22.0
    each = (WIDTH_MM - label_mm) / len(claims)
    style = TableStyle(
        [
            ("FONTNAME", (0, 0), (-1, -1), FONT),
            ("SPAN", (0, 0), (-1, 0)),
            *spans,
            ("BACKGROUND", (0, 0), (-1, 0), TINT_COLOUR),
            ("BOX", (0, 0), (-1, -1), 1.0, INK_COLOUR),
            ("INNERGRID", (0, 1), (-1, -1), 0.3, RULE_COLOUR),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ("TOPPADDING", (0, 0), (-1, -1), 1.2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
        ]
    )
    widths = [label_mm * MM, *[each * MM] * len(claims)]
    return Table(rows, colWidths=widths, style=style, spaceBefore=4, spaceAfter=2, splitInRow=1)


def _claim_text(claim: Claim, field: str) -> str:
    if field == "kind":
        return f"<b>{clean(kind_words(claim.kind))}</b>"
    if field == "status":
        return f"<b>{clean(claim.status)}</b>"
    if field == "grade":
        grade = claim.grade
        words = f"{GRADES[grade.letter]}. Weakest link: {grade.weakest}."
        return f"<b>{grade.letter}</b> ({clean(words)})"
    return clean(getattr(claim, field))


def _cautions() -> list[Flowable]:
    text = " ".join(f"<b>{i}</b> {clean(words)}" for i, words in enumerate(FACE, start=1))
    return [Paragraph(f"<b>Read with this.</b> {text}", FACE_STYLE)]


def verdict_table(result: StudyResult) -> list[Flowable]:
    """Return the table of verdicts, one row a criterion; recalled ones are only named."""
    plan = result.inputs.plan
    title = "Verdicts on the criteria"
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
        widths = [8.0, 37.0, 25.0, 23.0, 48.0, 29.0]
    rows = []
    for id_ in judged:
        row = _verdict_row(result, id_)
        if differ:
            row.insert(3, _capital(combined(result.verdicts, id_, other)))
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
    said = "; ".join(dict.fromkeys(clauses[k - 1].statement for k in checked))
    status = _capital(combined(result.verdicts, id_, result.headline))
    return [
        Paragraph(f"<b>{clean(id_)}</b>", FACE_STYLE),
        said,
        Paragraph(f"<b>{status}</b>", FACE_STYLE),
        Paragraph("<br/>".join(reasons), FACE_STYLE),
        Paragraph(clean(" ".join(dict.fromkeys(decide))), FACE_STYLE),
    ]


def _explained(result: StudyResult) -> list[Flowable]:
    """Explain in place the words of sizing that a verdict uses."""
    words = {
        "sizing_rmse": "RMSE: the usual size of the sizing error, large errors weighing more",
        "sizing_bias": "bias: the mean of reported minus true size",
        "a90_ratio": "a90: the size that 90 of 100 times is found, by the fitted curve",
    }
    used = {c.statistic for c in result.inputs.plan.criteria if c.verified}
    told = "; ".join(text for statistic, text in words.items() if statistic in used)
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
                _capital(first.in_words),
                text,
                *_remedy(first),
            ]
        )
    heads = ["", "What", "Which", "Remedy", "Signed by", "Independent of the developer"]
    table = grid(heads, rows, [23, 27, 42, 43, 15, 20], bars=range(len(rows)))
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


def _remedy(deviation: Deviation) -> list[str]:
    remedy = deviation.remedy
    if remedy is None:
        return ["none recorded", "nobody", "no"]
    signers = [s for s in (remedy.signed_by, remedy.second_signature) if s is not None]
    words = f"{remedy.action} on {remedy.on.isoformat()}: {remedy.text}"
    return [words, ", ".join(signers), "yes" if deviation.independent else "no"]


def _events(result: StudyResult) -> list[Flowable]:
    rows = [
        [event.on or "no date", event.words, STATUS_WORDS[event.status].format(by=event.by)]
        for event in result.events
    ]
    return [
        *section("Order of events"),
        grid(["Day", "Event", "How it is known"], rows, [22, 80, 68]),
    ]


def _conflicts(result: StudyResult) -> list[Flowable]:
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
