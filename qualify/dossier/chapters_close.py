"""Chapters 13 to 18: criteria, transfer, what is missing, cautions, glossary, inputs."""

from reportlab.platypus import Flowable

from qualify import __version__
from qualify.criteria.rules import Criterion
from qualify.criteria.verdict import Verdict
from qualify.dossier.cautions import FACE, GROUPS, RESPONSES
from qualify.dossier.chapters_bases import differs_examined
from qualify.dossier.face import deviation_table
from qualify.dossier.glossary import EXAMINED_ONLY, RESPONSE_TERMS, TERMS
from qualify.dossier.layout import body, bullets, chapter, section, small
from qualify.dossier.missing import missing
from qualify.dossier.questions import questions
from qualify.dossier.tables import facts, grid
from qualify.dossier.words import kind_words, mm, percent, whole
from qualify.study.result import StudyResult

WHO = {"worst": "worst on this number"}
LEGS = {
    "T1": "surface",
    "T2": "material",
    "T3": "noise",
    "T4": "geometry",
    "T5": "reflector: from targets to real flaws",
    "T6": "people",
}


def closing_chapters(result: StudyResult) -> list[Flowable]:
    """Return chapters 15 to 20."""
    return [
        *_criteria(result),
        *_transfer(result),
        *_missing(result),
        *_cautions(result),
        *_glossary(result),
        *_inputs(result),
    ]


def _limit(criterion: Criterion) -> str:
    sense, unit = criterion.rule.sense, criterion.unit
    if unit == "fraction":
        return f"{sense} {100 * criterion.limit:g} %"
    return f"{sense} {criterion.limit:g}" + (f" {unit}" if unit not in ("count", "ratio") else "")


def _subject(criterion: Criterion) -> str:
    parts = [criterion.rule.words]
    if criterion.population and criterion.population != "blank_units":
        parts.append(kind_words(criterion.population))
    parts += [f"mode {criterion.mode}"] if criterion.mode else []
    parts += [f"reader: {WHO.get(criterion.reader, criterion.reader)}"] if criterion.reader else []
    return ", ".join(parts)


def _criteria(result: StudyResult) -> list[Flowable]:
    criteria = result.inputs.plan.criteria
    out = chapter("15  Criteria and verdicts")
    out.append(
        body(
            "Met: the one-sided bound lies on the right side of the limit, in the tested sizes, or "
            "a rule on the observed value holds. "
            "Not met: the opposite bound lies on the wrong side, or a rule on the observed value "
            "fails. Not demonstrated: anything else. Clauses with one id are judged together. "
            "'Worst reader': the reader who is worst on the number of that clause, named in "
            "brackets; not one reader for all."
        )
    )
    rows = _clauses(result)
    if rows:
        heads = [
            "Clause", "Requirement", "Held against the limit", "Limit", "As found", "After remedy",
            "Source and edition",
        ]  # fmt: skip
        out.append(grid(heads, rows, [12, 36, 34, 15, 25, 25, 28]))
    recalled = [
        [c.id, c.rule.words, "recalled, not checked, not judged"]
        for c in criteria
        if not c.verified
    ]
    if recalled:
        out += section("Recalled only: no requirement here, and no number printed")
        out.append(grid(["Id", "Statistic", "Standing"], recalled, [20, 80, 70]))
    return [*out, *deviation_table(result, grouped=False)]


def _clauses(result: StudyResult) -> list[list[str]]:
    held = {(v.criterion, v.clause, v.basis): v for v in result.verdicts}
    counts: dict[str, int] = {}
    rows = []
    for criterion in result.inputs.plan.criteria:
        number = counts[criterion.id] = counts.get(criterion.id, 0) + 1
        if not criterion.verified:
            continue
        rows.append(
            [
                f"{criterion.id}.{number}",
                criterion.statement,
                _subject(criterion),
                _limit(criterion),
                _told(held[(criterion.id, number, "as_found")], criterion.unit),
                _told(held[(criterion.id, number, "after_remedy")], criterion.unit),
                criterion.source,
            ]
        )
    return rows


def _told(verdict: Verdict, unit: str) -> str:
    """Return the value that decided, its reader and the status."""
    if verdict.value is None:
        return f"no value: {verdict.status}"
    parts = (verdict.governing or "").split("/")
    reader = f" ({parts[4]})" if len(parts) > 4 and parts[4] else ""
    return f"{_in_unit(verdict.value, unit)}{reader}: {verdict.status}"


def _in_unit(value: float, unit: str) -> str:
    if unit == "fraction":
        return percent(value)
    if unit == "count":
        return whole(value)
    return f"{mm(value)} mm" if unit == "mm" else mm(value)


def _transfer(result: StudyResult) -> list[Flowable]:
    declaration = result.inputs.declaration
    legs = {t.leg: t for t in declaration.transfer}
    rows = []
    for leg, words in LEGS.items():
        held = legs.get(leg)  # type: ignore[call-overload]
        told = (
            ["not declared: not demonstrated", "none"]
            if held is None
            else [held.statement, held.evidence]
        )
        rows.append([leg, words, *told])
    return [
        *chapter("16  Transfer to the component, and limits"),
        grid(
            ["Leg", "From the trial to the component", "What is known", "Evidence"],
            rows,
            [12, 46, 70, 42],
        ),
        *section("Limits of the claim"),
        *(
            bullets(declaration.limitations)
            or [body("None was declared, which is not the same as none.")]
        ),
        *section("Out of scope"),
        *(bullets(declaration.out_of_scope) or [body("Nothing was declared out of scope.")]),
    ]


def _missing(result: StudyResult) -> list[Flowable]:
    rows = [list(line) for line in missing(result)]
    asked = [[str(q.number), q.text, q.standing, q.answer] for q in questions(result)]
    counts = [sum(row[2] == s for row in asked) for s in ("answered", "partly", "open")]
    return [
        *chapter("17  What is missing"),
        body("What an examiner expects of a complete dossier, against what this study holds."),
        grid(["Expected", "This study"], rows, [75, 95]),
        *section("Twenty questions of a reviewer, answered from the data"),
        small(
            f"{whole(counts[0])} answered, {whole(counts[1])} partly, {whole(counts[2])} open. "
            "An open 1, 3, 4, 7, 8, 18 or 20 should stop a reader from calling anything shown."
        ),
        grid(["", "Question", "Standing", "Answer"], asked, [8, 58, 18, 86]),
    ]


def _cautions(result: StudyResult) -> list[Flowable]:
    out = [*chapter("18  Cautions"), *section("On the face page"), *bullets(FACE)]
    for title, texts in GROUPS:
        out += [*section(title), *bullets(texts)]
    if result.plan_has_responses:
        out += [*section("Recorded responses"), *bullets(RESPONSES)]
    return out


def _glossary(result: StudyResult) -> list[Flowable]:
    used = differs_examined(result)
    rows = [[term, words] for term, words in TERMS if used or term != EXAMINED_ONLY]
    if result.plan_has_responses:
        rows = sorted([*rows, *map(list, RESPONSE_TERMS)], key=lambda row: row[0].lower())
    return [*chapter("19  Glossary", 200), grid(["Term", "In this dossier"], rows, [42, 128])]


def _inputs(result: StudyResult) -> list[Flowable]:
    rows = [[f.name, f.sha256] for f in result.inputs.files]
    return [
        *chapter("20  Inputs"),
        facts([("Made with", f"qualify {__version__}"), ("Study", result.inputs.plan.study)]),
        grid(["File", "Digest (SHA-256)"], rows, [70, 100]) if rows else body("None was named."),
        small(
            "Outputs and their digests, the interpreter and the platform stand in manifest.json; "
            "each number of chapters 9 to 14 stands in results.json by its id. The foot of each "
            "page shows the first 16 characters of the digest of results.json."
        ),
    ]
