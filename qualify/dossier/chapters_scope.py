"""Chapters 1 to 5: evidence status, parties, scope, worst cases, variables and people."""

from reportlab.platypus import Flowable

from qualify.dossier.claims import GRADES, claim_of
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.missing import wider_than_evidence
from qualify.dossier.order_views import how_known, log_words
from qualify.dossier.tables import facts, grid
from qualify.dossier.words import MODE_STATUS, ROLES, kind_words
from qualify.study.order_events import moment_words
from qualify.study.result import StudyResult

EMPTY = "Not shown: nothing was declared."
WIDER = "procedure wider or other than the evidence"


def scope_chapters(result: StudyResult) -> list[Flowable]:
    """Return chapters 1 to 5."""
    return [
        *_status(result),
        *_parties(result),
        *_scope(result),
        *_worst_cases(result),
        *_variables(result),
    ]


def _status(result: StudyResult) -> list[Flowable]:
    declaration, plan = result.inputs.declaration, result.inputs.plan
    rows = [
        ("Dossier", f"revision {declaration.revision}, {declaration.dated.isoformat()}"),
        ("Plan", f"revision {plan.revision}, declared frozen on {plan.frozen_on.isoformat()}"),
        ("Changed since the last", declaration.dossier_change),
        ("Signals", {"none": "no signal exists"}.get(plan.signal, plan.signal)),
        ("Read by", {"person": "persons", "rule": "a rule", "model": "a model"}[plan.read_by]),
        ("Invented or synthetic", "yes, marked on every page" if result.synthetic else "no"),
        ("Results shown", result.headline_reason),
    ]
    grades = []
    for mode in plan.modes:
        for population in plan.populations:
            grade = claim_of(result, population.kind, mode.id).grade
            chain = "; ".join(f"{letter}: {text}" for letter, text in grade.links)
            grades.append([mode.id, kind_words(population.kind), grade.letter, chain])
    scale = "; ".join(f"{letter} {words}" for letter, words in GRADES.items())
    return [
        *chapter("1  Revision and standing of the evidence"),
        facts(rows),
        *section("Evidence grade of each claim: the weakest link decides"),
        grid(["Mode", "Targets", "Grade", "Chain"], grades, [22, 30, 12, 106], align="llcl"),
        small(f"{scale}."),
    ]


def _parties(result: StudyResult) -> list[Flowable]:
    declaration = result.inputs.declaration
    out = chapter("2  Parties, roles, independence")
    parties = [[p.id, p.name, p.interest] for p in declaration.parties]
    roles = [
        [r.person, ROLES[r.role], r.party, r.knew_truth, r.declared_conflict or "none declared"]
        for r in declaration.roles
    ]
    out += [*section("Parties")]
    out.append(
        grid(["Id", "Name (coded)", "Interest"], parties, [15, 45, 110]) if parties else body(EMPTY)
    )
    out += section("Roles, and what each person knew before the calls were handed in")
    heads = ["Person", "Role", "Party", "Knew the truth of", "Conflict"]
    out.append(grid(heads, roles, [22, 45, 15, 33, 55]) if roles else body(EMPTY))
    out += section("Order of events", 60)
    return [*out, *_order(result)]


def _order(result: StudyResult) -> list[Flowable]:
    """Return every event with how it is known; of a log, what its digests prove and what not."""
    rows = [
        [moment_words(e.on) or "no date", e.words, how_known(e), e.document or "none"]
        for e in result.events
    ]
    heads = ["When", "Event", "How it is known", "Document or entry"]
    out: list[Flowable] = [grid(heads, rows, [26, 50, 44, 50])]
    recorded = result.inputs.log
    if recorded is None:
        return out
    return [*out, small(log_words(recorded.log))]


def _scope(result: StudyResult) -> list[Flowable]:
    scope, claim = result.inputs.declaration.scope, result.inputs.plan.claim
    low, high = scope.thickness_min_mm, scope.thickness_max_mm
    rows = [
        ("Question", claim.question),
        ("Flaws meant", claim.flaws),
        ("Examined volume", claim.region),
        ("Component", scope.component),
        ("Material", scope.material),
        ("Thickness", f"{low:g} to {high:g} mm" if low != high else f"{low:g} mm"),
        ("Surface, couplant", scope.surface),
        ("Temperature", scope.temperature),
        ("Access", scope.access),
        ("Level of rigour", scope.level_of_rigour),
        ("Governing code, as stated", scope.governing_code),
    ]
    plan = result.inputs.plan
    modes = [
        [
            m.id,
            m.name,
            MODE_STATUS[m.status],
            "by eye" if m.threshold is None else f"{m.threshold:g} {m.threshold_unit or ''}",
            m.reading_rule,
            m.set_up_by,
        ]
        for m in plan.modes
    ]
    heads = ["Mode", "Name", "Standing", "Threshold", "Reading rule", "Set up by"]
    return [
        *chapter("3  Scope and objectives"),
        facts(rows),
        *section("Modes"),
        grid(heads, modes, [22, 32, 20, 20, 58, 18]),
        small(
            "No size that must be found is set by this tool; where a criterion names one, its "
            "source stands in chapter 15."
        ),
    ]


def _worst_cases(result: StudyResult) -> list[Flowable]:
    rows = [[w.id, w.defect, w.echo, w.evidence] for w in result.inputs.declaration.worst_cases]
    heads = ["Id", "Defect", "Echo expected", "Evidence in this study"]
    return [
        *chapter("4  Worst-case defects", 45),
        grid(heads, rows, [18, 60, 40, 52]) if rows else body(EMPTY),
    ]


def _variables(result: StudyResult) -> list[Flowable]:
    declaration, wider = result.inputs.declaration, wider_than_evidence(result)
    rows = [
        [
            v.id, v.name, "–" if v.unit in ("", "-") else v.unit, v.qualified_range,
            v.procedure_range + (f" ({WIDER})" if v.id in wider else ""), v.actual, v.basis,
        ]
        for v in declaration.variables
    ]  # fmt: skip
    bars = [i for i, v in enumerate(declaration.variables) if v.id in wider]
    heads = [
        "Id", "Variable", "Unit", "The evidence covers", "The procedure allows", "Used", "Basis",
    ]  # fmt: skip
    table = grid(heads, rows, [14, 30, 12, 29, 35, 22, 28], bars=bars) if rows else body(EMPTY)
    out = [
        *chapter("5  Variables, equipment, software, personnel"),
        *section("Variables and their three ranges"),
        *([small(f"Red bar: {WIDER}; compared word for word.")] if bars else []),
        table,
        *section("Equipment"),
    ]
    items = [
        [e.id, e.item, e.serial, e.check, e.checked_on.isoformat()] for e in declaration.equipment
    ]
    heads = ["Id", "Item", "Serial", "Check and result", "Day"]
    out.append(grid(heads, items, [14, 50, 26, 60, 20]) if items else body(EMPTY))
    return [*out, *_software(result), *_readers(result)]


def _software(result: StudyResult) -> list[Flowable]:
    declaration = result.inputs.declaration
    out = section("Software")
    programs = [
        [s.stage, s.name, s.revision, s.digest or "not taken"] for s in declaration.software
    ]
    heads = ["Stage", "Program", "Revision", "Digest (SHA-256)"]
    out.append(grid(heads, programs, [18, 45, 22, 85]) if programs else body(EMPTY))
    return out


def _readers(result: StudyResult) -> list[Flowable]:
    declaration = result.inputs.declaration
    out = section("Readers")
    people = [
        [
            r.reader,
            r.certification,
            f"{r.hours_on_mode:g}",
            r.vision,
            r.practice,
            "yes" if r.typical else "no",
        ]
        for r in declaration.readers
    ]
    heads = ["Reader", "Certificate", "Hours on the mode", "Vision", "Practice set", "Typical"]
    out.append(
        grid(heads, people, [18, 48, 20, 30, 38, 16], align="llrlll") if people else body(EMPTY)
    )
    return out
