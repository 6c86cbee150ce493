"""What `check` prints without showing truth, and the last lines of a run."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qualify.criteria.estimate import Estimates
from qualify.criteria.verdict import Verdict, combined
from qualify.files import read_toml, validated
from qualify.study.load import load_block, load_study
from qualify.study.plan import Plan
from qualify.study.reading_plan import ReadingPlan, is_reading
from qualify.study.result import StudyInputs, StudyResult
from qualify.study.simulation import is_simulation, load_simulation, simulation_totals


def check_path(path: Path) -> dict[str, Any]:
    """Check a study, or a file of a block, a simulation or a reading; return what and its totals.

    Totals of a study hold no hit, no size and no number of targets, so that somebody who must
    not know the truth may run the check.
    """
    if path.suffix.lower() == ".toml" and path.is_file():
        told_in = read_toml(path)
        if is_reading(told_in):
            reading = validated(ReadingPlan, told_in, str(path))
            return {"path": str(path), "what": "reading", "totals": _reading_totals(reading)}
        if is_simulation(told_in):
            told = simulation_totals(load_simulation(path))
            return {"path": str(path), "what": "simulation", "totals": told}
        block = load_block(path)
        totals = {"targets": len(block.targets), "grading_units": len(block.grading_units)}
        return {"path": str(path), "what": "block", "id": block.id, "totals": totals}
    return {"path": str(path), "what": "study", "totals": study_totals(load_study(path))}


def _reading_totals(plan: ReadingPlan) -> dict[str, Any]:
    return {
        "study": plan.study,
        "declared_rate": plan.declared_rate,
        "open_blocks": len(plan.open_blocks),
        "modes": len(plan.modes),
        "models_of_readers": len(plan.readers),
    }


def check_lines(document: dict[str, Any]) -> list[str]:
    """Return the lines that `check` prints for people."""
    head = f"{document['path']}: {document['what']}, no fault found"
    return [head, *(f"  {k.replace('_', ' ')}: {v}" for k, v in document["totals"].items())]


def study_totals(inputs: StudyInputs) -> dict[str, Any]:
    """Return counts of a study that tell nothing of the truth."""
    plan = inputs.plan
    totals: dict[str, Any] = {
        "study": plan.study,
        "modes": len(plan.modes),
        "criteria": len({criterion.id for criterion in plan.criteria}),
        "blocks": len(inputs.blocks),
        "coded_pieces": len(inputs.key),
    }
    if inputs.finished is not None:
        frame = inputs.finished.opportunities
        totals |= {
            "readers": int(frame["reader"].nunique()),
            "rows": len(frame),
            "calls": len(inputs.finished.calls),
        }
        return totals
    units = {block.id: len(block.grading_units) for block in inputs.blocks}
    rows = [call.row for call in inputs.calls]
    looks = {call.look for call in inputs.calls}
    passes = {look[:4] for look in looks if not look[3]}
    expected = len(passes) * sum(units.get(row.block, 0) for row in inputs.key)
    totals |= {
        "units": sum(units.get(row.block, 0) for row in inputs.key),
        "readers": len({row.reader for row in rows}),
        "rows": len(rows),
        "indications": sum(row.verdict == "indication" for row in rows),
        "not_examined": sum(row.verdict == "not_examined" for row in rows),
        "units_without_a_row": expected - sum(not look[3] for look in looks),
    }
    return totals


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run came to, as its last lines tell it: of a result, or of its `results.json`.

    Attributes
    ----------
    deviations, without_remedy : how many there are, and how many of them nobody mended.
    The others are as of `StudyResult`.
    """

    plan: Plan
    synthetic: bool
    headline: str
    readers: tuple[str, ...]
    estimates: Estimates
    verdicts: tuple[Verdict, ...]
    deviations: int
    without_remedy: int


def outcome_of(result: StudyResult) -> Outcome:
    """Return what a result comes to."""
    return Outcome(
        result.inputs.plan,
        result.synthetic,
        result.headline,
        result.readers,
        result.estimates,
        result.verdicts,
        len(result.deviations),
        sum(d.remedy is None for d in result.deviations),
    )


def outcome_document(result: Outcome) -> dict[str, Any]:
    """Return what a run came to, for scripts."""
    criteria = dict.fromkeys(v.criterion for v in result.verdicts)
    return {
        "study": result.plan.study,
        "synthetic": result.synthetic,
        "headline": result.headline,
        "verdicts": {
            name: {
                basis: combined(result.verdicts, name, basis)
                for basis in ("as_found", "after_remedy")
            }
            for name in criteria
        },
        "deviations": result.deviations,
    }


def outcome_lines(result: Outcome, pdf: Path) -> list[str]:
    """Return at most ten lines: where the dossier lies and what it says."""
    basis = result.headline
    criteria = list(dict.fromkeys(v.criterion for v in result.verdicts))
    by_status: dict[str, list[str]] = {}
    for name in criteria:
        by_status.setdefault(combined(result.verdicts, name, basis), []).append(name)
    lines = [f"dossier: {pdf}"]
    if result.synthetic:
        lines.append("SYNTHETIC: invented or simulated data; evidence of no capability")
    words = "as found" if basis == "as_found" else "after remedy"
    lines += [
        f"{status} ({words}): {', '.join(by_status[status])}"
        for status in ("met", "not met", "not demonstrated", "not judged")
        if status in by_status
    ]
    lines.append(_bounds_line(result))
    if result.deviations:
        lines.append(
            f"deviations: {result.deviations}, told on the face pages, "
            f"{result.without_remedy} without a remedy"
        )
    lines.append("The tool presents evidence; a qualification body decides.")
    return lines


def _bounds_line(result: Outcome) -> str:
    plan, basis = result.plan, result.headline
    parts = []
    for population in plan.populations:
        values = [
            result.estimates.value(
                basis, "a90_95", population.kind, plan.claim.candidate_mode, reader
            )
            for reader in result.readers
        ]
        known = [value for value in values if value is not None]
        name = population.kind.replace("_", " ")
        worst = f"{max(known):.2f} mm" if known and len(known) == len(values) else "none exists"
        parts.append(f"{name} {worst}")
    return f"a90/95 in {plan.claim.candidate_mode}, worst reader: {'; '.join(parts)}"
