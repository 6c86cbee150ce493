"""What an examiner expects to find in a dossier, and what of it this study holds."""

import re
from collections.abc import Callable
from typing import Any

from qualify.dossier.order_views import known_by, order_stop
from qualify.dossier.sensitivity_words import changes_under, not_shown, verdict_words
from qualify.study.result import StudyResult

NOT_SHOWN = "not shown"


def missing(result: StudyResult) -> list[tuple[str, str]]:
    """Return (what is expected, 'present', 'thin: ...' or 'not shown: ...')."""
    return [(words, tell(result)) for words, tell in EXPECTED]


def _listed(name: str, thin: int = 0) -> Callable[[StudyResult], str]:
    """Tell whether the declaration holds entries of this list."""

    def tell(result: StudyResult) -> str:
        held: Any = getattr(result.inputs.declaration, name)
        if not held:
            return f"{NOT_SHOWN}: nothing declared"
        return f"thin: {len(held)} entries" if len(held) < thin else "present"

    return tell


def _fixed(words: str) -> Callable[[StudyResult], str]:
    return lambda _result: words


def _parties(result: StudyResult) -> str:
    needed = {"developer", "truth_custodian", "reader", "statistician", "reviewer"}
    absent = sorted(needed - {role.role for role in result.inputs.declaration.roles})
    if len(absent) == len(needed):
        return f"{NOT_SHOWN}: no roles declared"
    names = ", ".join(name.replace("_", " ") for name in absent)
    return f"thin: nobody named as {names}" if absent else "present"


def without_evidence(result: StudyResult) -> list[str]:
    """Return the worst cases whose evidence says 'none' or 'reasoning only', in part or whole."""
    cases = result.inputs.declaration.worst_cases
    return [c.id for c in cases if re.search(r"\bnone\b|reasoning only", c.evidence.lower())]


def wider_than_evidence(result: StudyResult) -> list[str]:
    """Return the variables whose range in the procedure is not, word for word, the evidence's."""
    return [
        v.id
        for v in result.inputs.declaration.variables
        if v.procedure_range.split() != v.qualified_range.split()
    ]


def _worst_cases(result: StudyResult) -> str:
    cases = result.inputs.declaration.worst_cases
    if not cases:
        return f"{NOT_SHOWN}: none listed"
    bare = without_evidence(result)
    return f"thin: no evidence for {', '.join(bare)}" if bare else "present"


def _variables(result: StudyResult) -> str:
    variables = result.inputs.declaration.variables
    if not variables:
        return f"{NOT_SHOWN}: none declared"
    weak = [v.id for v in variables if v.basis.strip().lower() == "asserted"]
    unknown = [v.id for v in variables if v.actual.strip().lower() == "not recorded"]
    told = [f"tolerance only asserted for {', '.join(weak)}"] if weak else []
    told += [f"not recorded: {', '.join(unknown)}"] if unknown else []
    wider = wider_than_evidence(result)
    told += [f"procedure wider or other than the evidence: {', '.join(wider)}"] if wider else []
    return f"thin: {'; '.join(told)}" if told else "present"


def _software(result: StudyResult) -> str:
    declaration = result.inputs.declaration
    if not declaration.equipment and not declaration.software:
        return f"{NOT_SHOWN}: nothing declared"
    told = [] if declaration.equipment else ["no equipment"]
    if any(record.digest is None for record in declaration.software) or not declaration.software:
        told.append("software without digests")
    return f"thin: {'; '.join(told)}" if told else "present"


def _blocks(result: StudyResult) -> str:
    blocks = result.inputs.blocks
    if not blocks:
        return f"{NOT_SHOWN}: the study entered with finished tables"
    told = []
    if not result.inputs.sets:
        told.append("no history of sets")
    if any(b.blank_units() and b.blank_check is None for b in blocks):
        told.append("blank material not checked everywhere")
    if any(t.size.basis == "drawing" for b in blocks for t in b.targets):
        told.append("drawing values among the sizes")
    return f"thin: {'; '.join(told)}" if told else "present"


def _freeze(result: StudyResult) -> str:
    wanted = ("plan_frozen", "threshold_frozen", "truth_opened")
    known = {kind: known_by(result, kind) for kind in wanted}
    if not any(known.values()):
        return f"{NOT_SHOWN}: no event declared"
    absent = [kind.replace("_", " ") for kind in wanted if known[kind] is None]
    if absent:
        return f"thin: not recorded: {', '.join(absent)}"
    if stop := order_stop(result):
        return f"thin: {stop}"
    declared = any(known[kind] == "declared" for kind in wanted)
    return "thin: declared, not proven by this file" if declared else "present"


def _raw(result: StudyResult) -> str:
    if result.inputs.finished is not None:
        return "thin: finished tables; call sheets and images not shown"
    return "thin: every call and miss; images and rejected scans not shown"


def _detection(result: StudyResult) -> str:
    if not result.fits:
        return f"{NOT_SHOWN}: no target was read"
    if not result.checks:
        return "thin: one model and one matching rule, no sensitivity to them"
    if not result.sensitivity:
        return "thin: one matching rule, no sensitivity to it; models, bounds and fit in chapter 9"
    told, absent = verdict_words(result), not_shown(result)
    if absent:
        return f"thin: {told}, chapter 13; not shown: {'; '.join(absent)}"
    return f"thin: {told}, chapter 13" if changes_under(result) else "present"


def _false_calls(result: StudyResult) -> str:
    blank = (result.views[result.headline].opportunities["kind"] == "blank").any()
    return "thin: per unit and cause, not per metre" if blank else f"{NOT_SHOWN}: no blank unit"


def _sizing(result: StudyResult) -> str:
    if not result.sizings:
        return f"{NOT_SHOWN}: no size was judged"
    return "thin: sizing in chapter 11; errors of location not shown"


def _compared(result: StudyResult) -> str:
    if len(result.inputs.plan.modes) < 2:
        return f"{NOT_SHOWN}: one mode only"
    found = [one for one in result.comparisons.modes.values() if one.found is not None]
    if not found:
        return f"{NOT_SHOWN}: no two modes were compared on the same targets"
    if result.inputs.plan.comparison.recordings is None:
        return "thin: paired tests in chapter 12; whether recordings were the same not recorded"
    return "present"


def _transfer(result: StudyResult) -> str:
    legs = result.inputs.declaration.transfer
    held = [t.leg for t in legs if t.evidence.strip().lower() != "none"]
    if not held:
        return f"{NOT_SHOWN}: no leg has evidence"
    absent = [f"T{i}" for i in range(1, 7) if f"T{i}" not in held]
    return f"thin: no evidence for {', '.join(absent)}" if absent else "present"


def _criteria(result: StudyResult) -> str:
    criteria = result.inputs.plan.criteria
    if not criteria:
        return f"{NOT_SHOWN}: the plan holds no criterion"
    recalled = sum(not c.verified for c in criteria)
    return f"thin: {recalled} clauses recalled, not checked" if recalled else "present"


def _model(result: StudyResult) -> str:
    if result.inputs.plan.signal != "simulated":
        return f"{NOT_SHOWN}: not held here"
    if result.inputs.model_check is None:
        return f"{NOT_SHOWN}: signals are simulated, and their model was not checked"
    return "thin: check of the model of the signals, chapter 7; no margins are held"


def _open_trials(result: StudyResult) -> str:
    if result.inputs.reading is None:
        return f"{NOT_SHOWN}: not held here"
    return "thresholds from the open blanks: chapter 12; hits on the open targets are not shown"


EXPECTED: tuple[tuple[str, Callable[[StudyResult], str]], ...] = (
    ("§0 Face page: claim, status, conflicts", _fixed("present")),
    ("§1 What changed since the last revision", _fixed("present")),
    ("§2 Parties, roles, who knew the truth", _parties),
    ("§3 Component, ranges, what is out of scope", _listed("out_of_scope")),
    (
        "§4 Objectives and the basis of the size to be found",
        _fixed("thin: question and criteria; no fracture or growth basis is held"),
    ),
    ("§5 Worst-case defects", _worst_cases),
    ("§6 Technical justification: physics, model, margins", _model),
    ("§7 Influential variables with tolerances", _variables),
    ("§8 The procedure itself", _fixed(f"{NOT_SHOWN}: the reading rule only, chapter 7")),
    ("§9 Equipment and software", _software),
    ("§10 Personnel", _listed("readers")),
    ("§11 Blocks, targets, blank material, sets", _blocks),
    ("§12 Open trials and how the threshold came about", _open_trials),
    ("§13 Record of freezing", _freeze),
    ("§14 Blind protocol and custody", _fixed("thin: declared in words; no log of custody")),
    ("§15 Raw results", _raw),
    ("§16 Analysis of detection", _detection),
    ("§17 False calls", _false_calls),
    ("§18 Sizing and location", _sizing),
    ("§19 Comparison with the technique in use", _compared),
    ("§20 Transfer to the component and to real damage", _transfer),
    ("§21 Coverage and limitations", _listed("limitations")),
    ("§22 Criteria and verdicts", _criteria),
    ("§23 Reviewer's questions", _fixed("thin: twenty standard ones below; none asked and closed")),
    ("§24 Validity and when to requalify", _fixed(f"{NOT_SHOWN}: not held here")),
    ("§25 Certificate", _fixed(f"{NOT_SHOWN}: none; this tool issues none")),
)
