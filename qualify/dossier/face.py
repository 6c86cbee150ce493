"""Pages 1 and 2: the claim, its limits, verdicts, deviations, order of events."""

from collections.abc import Sequence

from reportlab.platypus import Flowable, PageBreak, Paragraph, Table, TableStyle

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.cautions import FACE
from qualify.dossier.claim_sure import sure_explained
from qualify.dossier.claim_words import answer
from qualify.dossier.claims import GRADES, Claim, claim_of
from qualify.dossier.face_tables import (
    conflicts,
    deviation_table,
    verdict_table,
)
from qualify.dossier.layout import Heading, section
from qualify.dossier.pictures import Pictures
from qualify.dossier.rule_answer import rule_answer
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
from qualify.dossier.words import MODE_STATUS, clean, kind_words
from qualify.study.result import StudyResult

LABELS = (
    ("What", "kind"),
    ("How big", "how_big"),
    ("How sure", "how_sure"),
    ("On what", "on_what"),
    ("False calls, same rule", "false_calls"),
    ("Sizing", "sizing"),
    ("Beside", "beside"),
    ("Status", "status"),
    ("Evidence", "evidence"),
)
__all__ = ["deviation_table", "face", "verdict_table"]


def face(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return pages 1 and 2."""
    return [
        *_title(result),
        *_claims(result),
        *_cautions(result),
        *verdict_table(result),
        *deviation_table(result),
        *section("Order of events"),
        *pictures.on_page("order-of-events", ""),
        *conflicts(result),
        PageBreak(),
    ]


def _title(result: StudyResult) -> list[Flowable]:
    declaration, plan = result.inputs.declaration, result.inputs.plan
    line = (
        f"Study {plan.study} · dossier revision {declaration.revision} of "
        f"{declaration.dated.isoformat()} · plan revision {plan.revision}"
    )
    asked = f"<b>Asked:</b> {clean(plan.claim.question)}"
    told = answer(result)
    if result.synthetic:
        asked = f"<b>SYNTHETIC: invented or simulated data, no evidence.</b> {asked}"
    return [
        Heading(declaration.title, 0, label="The claim and its limits", style=TITLE),
        Paragraph(clean(line), FACE_STYLE),
        Paragraph(asked, FACE_STYLE),
        *([Paragraph(f"<b>Answer:</b> {clean(told)}", FACE_STYLE)] if told else []),
        *rule_answer(result),
        Paragraph(f"<b>Basis:</b> {clean(_basis(result))}", FACE_STYLE),
    ]


def _basis(result: StudyResult) -> str:
    return f"results {BASIS_WORDS[result.headline]}. {result.headline_reason}"


def _claims(result: StudyResult) -> list[Flowable]:
    plan = result.inputs.plan
    first = plan.claim.candidate_mode
    read = set(result.views[result.headline].opportunities["mode"])
    told = [mode for mode in plan.modes if mode.id in read or not result.rule]
    modes = sorted(told, key=lambda mode: mode.id != first)
    out: list[Flowable] = []
    for mode in modes:
        claims = [claim_of(result, p.kind, mode.id) for p in plan.populations]
        for start in range(0, len(claims), 3):
            head = f"Mode {mode.id}: {mode.name} ({MODE_STATUS[mode.status]})"
            out.append(_box(head, claims[start : start + 3]))
    where = Paragraph(f"<b>Where:</b> {clean(plan.claim.region)}", FACE_STYLE)
    sure = clean(sure_explained(result))
    return [where, *out, Paragraph(f"<b>How sure, explained:</b> {sure}", FACE_STYLE)]


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
            ("TOPPADDING", (0, 0), (-1, -1), 0.8),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
        ]
    )
    widths = [label_mm * MM, *[each * MM] * len(claims)]
    return Table(rows, colWidths=widths, style=style, spaceBefore=3, spaceAfter=2, splitInRow=1)


def _claim_text(claim: Claim, field: str) -> str:
    if field == "kind":
        return f"<b>{clean(kind_words(claim.kind))}</b>"
    if field == "status":
        return f"<b>{clean(claim.status)}</b>"
    if field == "evidence":
        grade = claim.grade
        words = f"{GRADES[grade.letter]}; weakest link: {grade.weakest}"
        return f"<b>Evidence grade {grade.letter}</b> ({clean(words)})."
    return clean(getattr(claim, field))


def _cautions(result: StudyResult) -> list[Flowable]:
    text = " ".join(f"<b>{i}</b> {clean(words)}" for i, words in enumerate(FACE, start=1))
    out = result.inputs.declaration.out_of_scope
    limits = clean(
        "; ".join(text.rstrip(". ") for text in out) if out else "nothing was declared out of scope"
    )
    return [
        Paragraph(f"<b>Read with this.</b> {text}", FACE_STYLE),
        Paragraph(f"<b>Not covered:</b> {limits}. More limits: chapter 16.", FACE_STYLE),
    ]
