"""Twenty questions that a reviewer asks, answered from what the study holds."""

from dataclasses import dataclass

from qualify.dossier.curve_answers import Answer, Standing, enough, levels, model
from qualify.dossier.missing import wider_than_evidence, without_evidence
from qualify.dossier.order_views import order_recorded, order_stop, software_changed
from qualify.dossier.sensitivity_words import matching_words
from qualify.dossier.words import listed, mm, percent, whole
from qualify.study.result import StudyResult


@dataclass(frozen=True, slots=True)
class Question:
    """A question, how far the study answers it, and the answer in words."""

    number: int
    text: str
    standing: Standing
    answer: str


RECORDED = (
    "Freezing and sealing are recorded before opening; that the calls were in before it is "
    "recorded with the opening itself, and the days of the trial are declared."
)


def questions(result: StudyResult) -> list[Question]:
    """Return the twenty questions with their answers."""
    return [
        Question(number, text, *answer(result))
        for number, (text, answer) in enumerate(QUESTIONS, start=1)
    ]


def _sizes(result: StudyResult) -> Answer:
    targets = [t for block in result.inputs.blocks for t in block.targets]
    if not targets:
        return ("open", "Finished tables were given: how sizes were measured isn't shown.")
    drawn = [t.id for t in targets if t.size.basis == "drawing"]
    own = [t.id for t in targets if "ultraso" in (t.size.method or "").lower()]
    if own:
        return ("open", f"Sizes measured by ultrasonics can't be truth here: {listed(own)}.")
    if drawn:
        words = f"{len(drawn)} of {len(targets)} sizes are drawing values under a waiver: "
        return ("partly", f"{words}{listed(drawn)}.")
    return (
        "answered",
        f"All {len(targets)} sizes were measured, with uncertainty, method, certificate.",
    )


def _blanks(result: StudyResult) -> Answer:
    blocks = [b for b in result.inputs.blocks if b.blank_units()]
    checked = [b for b in blocks if b.blank_check is not None]
    if not blocks:
        return ("open", "No block definition is at hand.")
    if len(checked) == len(blocks):
        small = _blank_check_too_coarse(result)
        if small:
            return ("partly", small)
        return ("answered", f"All {len(blocks)} blocks with blank units name method and report.")
    lacking = [b.id for b in blocks if b.blank_check is None]
    return ("partly" if checked else "open", f"No check of blank material for {listed(lacking)}.")


def _blank_check_too_coarse(result: StudyResult) -> str:
    """Say where a check of blank material would not show the smallest target counted."""
    checks = [b.blank_check for b in result.inputs.blocks if b.blank_units() and b.blank_check]
    frame = result.views[result.headline].opportunities
    sizes = frame[frame["kind"] != "blank"]["size_mm"].dropna()
    worst = max(checks, key=lambda check: check.smallest_detectable_mm)
    if sizes.empty or worst.smallest_detectable_mm <= sizes.min():
        return ""
    return (
        f"The check would show {mm(worst.smallest_detectable_mm)} mm at best, of the reflector it "
        f"names, and the smallest target counted is {mm(float(sizes.min()))} mm: a flaw of that "
        f"size in a blank unit could go unseen. Method: {worst.method.rstrip('.')}."
    )


def _overlap(result: StudyResult) -> Answer:
    left = result.estimates.value(result.headline, "set_overlap", "study")
    found = result.estimates.value("as_found", "set_overlap", "study")
    if left is None or found is None:
        return ("open", "No history of the sets was given.")
    if left:
        return ("open", f"{whole(left)} targets of the test were used before it and still count.")
    if found:
        return (
            "partly",
            f"{whole(found)} overlapping targets were found and taken out of the count.",
        )
    return ("answered", "No target of the test was in another set before or during it.")


def _order(result: StudyResult) -> Answer:
    stop = order_stop(result)
    if stop:
        return ("open", f"{stop[0].upper()}{stop[1:]}.")
    if software_changed(result):
        return ("partly", "The order is recorded; the software changed after it was frozen.")
    if not order_recorded(result):
        return ("partly", "The order is declared by those who signed; this file doesn't prove it.")
    return ("partly", RECORDED)


def _readers(result: StudyResult) -> Answer:
    declared = {reader.reader for reader in result.inputs.declaration.readers}
    absent = sorted(declared - set(result.readers))
    if absent:
        return ("open", f"Declared but without calls: {listed(absent)}.")
    if not declared:
        return ("partly", "Readers are in the tables; none was declared with competence.")
    return ("answered", f"All {len(declared)} declared readers are shown, one by one.")


def _misses(result: StudyResult) -> Answer:
    return (
        "answered",
        "Chapter 8 names every target missed on the basis of the claim, by reader and mode, and "
        "lists apart every first reading that differs and every call that does not count.",
    )


def _same_rule(result: StudyResult) -> Answer:
    frame = result.views[result.headline].opportunities
    if not (frame["kind"] == "blank").any():
        return ("open", "No blank unit was read.")
    several = [
        str(mode)
        for mode, rows in frame.groupby("mode", sort=True)
        if rows["threshold"].dropna().nunique() > 1
    ]
    if several:
        return ("open", f"More than one threshold within mode {listed(several)}.")
    by_eye = [mode.id for mode in result.inputs.plan.modes if mode.threshold is None]
    same = "Hits and false calls come from the same readings under the same rule."
    if by_eye:
        eye = f"Called by eye in mode {listed(by_eye)}: no threshold exists that could be compared."
        return ("partly", f"{same} {eye}")
    return ("answered", same)


def _in_range(result: StudyResult) -> Answer:
    mode = result.inputs.plan.claim.candidate_mode
    bounds = [
        e
        for e in result.estimates.items
        if (e.basis, e.statistic, e.mode) == (result.headline, "a90_95", mode)
        and e.reader in result.readers
    ]
    good = [e for e in bounds if e.value is not None and e.in_range]
    words = f"{len(good)} of {len(bounds)} a90/95 of mode {mode} exist inside the tested sizes."
    if bounds and len(good) == len(bounds):
        return ("answered", words)
    return ("partly" if good else "open", words)


def _clusters(result: StudyResult) -> Answer:
    return (
        "answered",
        "Each reader has an own curve, in which each target counts once; readers together have a "
        "bound in which targets are the sample (chapter 9). Repeats are never counted as targets.",
    )


def _matching(result: StudyResult) -> Answer:
    words = matching_words(result)
    if words is None:
        return ("open", "One matching rule was used, as frozen; no other could be tried.")
    return ("answered", words)


def _worst_case(result: StudyResult) -> Answer:
    cases = result.inputs.declaration.worst_cases
    bare = without_evidence(result)
    if not cases:
        return ("open", "No worst-case defect is listed.")
    if bare:
        return ("partly", f"Without evidence in this study, in part or whole: {listed(bare, 40)}.")
    return ("answered", f"Each of {len(cases)} worst cases names its evidence.")


def _real(result: StudyResult) -> Answer:
    leg = next((t for t in result.inputs.declaration.transfer if t.leg == "T5"), None)
    if leg is None or leg.evidence.strip().lower() == "none":
        return ("open", "All targets are artificial; nothing on real flaws.")
    return ("partly", f"Targets are artificial; declared on real flaws: {leg.statement}")


def _noise(result: StudyResult) -> Answer:
    leg = next((t for t in result.inputs.declaration.transfer if t.leg == "T3"), None)
    if leg is None or leg.evidence.strip().lower() == "none":
        return ("open", "Noise of the component was not compared with that of the blocks.")
    return ("partly", f"Declared: {leg.statement} ({leg.evidence}).")


def _conditions(result: StudyResult) -> Answer:
    names = [v.name for v in result.inputs.declaration.variables]
    held = [n for n in names if "thickness" in n.lower() or "velocity" in n.lower()]
    if not held:
        return ("open", "Neither thickness nor velocity is among the declared variables.")
    return ("partly", f"Declared with ranges: {listed(held)}; their effect was not tested here.")


def _software(result: StudyResult) -> Answer:
    used = result.estimates.value(result.headline, "software_revisions", "study")
    records = result.inputs.declaration.software
    if used is None:
        return ("open", "No revision was recorded.")
    if used > 1:
        return ("open", f"{whole(used)} revisions were in use.")
    stages = {record.stage for record in records}
    whole_chain = stages == {"set-up", "trial", "analysis"} and all(r.digest for r in records)
    if whole_chain:
        return ("answered", "One revision at set-up, trial and analysis, each with its digest.")
    return ("partly", "One revision is declared; not every stage is named with a digest.")


def _rejected(result: StudyResult) -> Answer:
    frame = result.views["as_found"].opportunities
    lost = int((frame["examined"] == 0).sum())
    share = lost / len(frame) if len(frame) else None
    return (
        "partly",
        f"{lost} of {len(frame)} readings are 'not examined' ({percent(share)}) and counted as "
        "the plan says; rejected scans are not recorded in this study.",
    )


def _scope(result: StudyResult) -> Answer:
    scope, blocks = result.inputs.declaration.scope, result.inputs.blocks
    if not blocks:
        return ("open", "Without block definitions the tested thickness isn't known.")
    low = min(b.outline.thickness_mm - b.outline.tolerance_mm for b in blocks)
    high = max(b.outline.thickness_mm + b.outline.tolerance_mm for b in blocks)
    wider = wider_than_evidence(result)
    more = f" Procedure wider or other than the evidence: {listed(wider, 40)}." if wider else ""
    wanted = f"{scope.thickness_min_mm:g} to {scope.thickness_max_mm:g} mm"
    if low <= scope.thickness_min_mm and scope.thickness_max_mm <= high:
        return (
            "partly",
            f"Thickness {wanted} is that of the blocks; flaws in scope are real, targets not."
            f"{more}",
        )
    told = f"Thickness in scope {wanted}; blocks {low:g} to {high:g} mm with tolerance."
    return ("open", told + more)


QUESTIONS = (
    ("Are the sizes of the targets measured, and how well?", _sizes),
    ("Was blank material shown to be blank?", _blanks),
    ("Were targets used both before the test and in it?", _overlap),
    ("Was all frozen before the truth was opened?", _order),
    ("Are all readers shown?", _readers),
    ("Are all misses listed?", _misses),
    ("Do false calls and hits come from the same threshold?", _same_rule),
    ("Does each a90/95 lie inside the tested sizes?", _in_range),
    ("Are there enough targets, where hits and misses overlap?", enough),
    ("Are repeated looks at one target kept from counting twice?", _clusters),
    ("Does another model give another answer?", model),
    ("Does detection level off below 1 for large targets?", levels),
    ("Does another matching rule give another answer?", _matching),
    ("Are the worst tilts and skews in the test?", _worst_case),
    ("Is there evidence on real flaws?", _real),
    ("Is the component as noisy as the blocks?", _noise),
    ("Are thickness and velocity within their preconditions?", _conditions),
    ("Was the software the same at set-up, trial and report?", _software),
    ("Are rejected data counted?", _rejected),
    ("Is the scope no wider than the evidence?", _scope),
)
