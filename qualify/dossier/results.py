"""`results.json`: everything the study reports, and nothing of how its files were named.

The document depends on the analysis alone. Two studies with the same plan, declaration and
tables give the same bytes, whichever way in they took.
"""

import json
from typing import Any

from qualify.criteria.estimate import Estimate, Estimates
from qualify.criteria.verdict import Verdict
from qualify.files import canonical_json
from qualify.study.deviations import Deviation
from qualify.study.plan import Plan
from qualify.study.result import StudyResult
from qualify.study.totals import Outcome

FORMAT = 1


def results_document(result: StudyResult) -> dict[str, Any]:
    """Return the results as plain values, ready for canonical JSON."""
    plan, declaration = result.inputs.plan, result.inputs.declaration
    return {
        "format": FORMAT,
        "study": {
            "id": plan.study,
            "title": declaration.title,
            "revision": declaration.revision,
            "plan_revision": plan.revision,
            "synthetic": result.synthetic,
            "readers": list(result.readers),
            "headline": result.headline,
            "headline_reason": result.headline_reason,
        },
        "estimates": [_estimate(item) for item in result.estimates.items],
        "verdicts": [_verdict(item) for item in result.verdicts],
        "deviations": [_deviation(item) for item in result.deviations],
        "notices": [
            {"code": notice.code, "text": notice.text, "about": notice.about}
            for notice in result.notices
        ],
        "events": [
            {
                "kind": event.kind,
                "words": event.words,
                "on": event.on,
                "by": event.by,
                "status": event.status,
            }
            for event in result.events
        ],
    }


def results_bytes(result: StudyResult) -> bytes:
    """Return `results.json` (RFC 8785)."""
    return canonical_json(results_document(result))


def outcome_from(content: bytes, plan: Plan) -> Outcome:
    """Return what a run came to, from its `results.json`, written by this version.

    plan : of the same study.
    """
    told = json.loads(content)
    items = [{k: v for k, v in item.items() if k != "id"} for item in told["estimates"]]
    return Outcome(
        plan,
        told["study"]["synthetic"],
        told["study"]["headline"],
        tuple(told["study"]["readers"]),
        Estimates(tuple(Estimate(**item) for item in items)),
        tuple(Verdict(**item) for item in told["verdicts"]),
        len(told["deviations"]),
        sum(item["remedy"] is None for item in told["deviations"]),
    )


def _number(value: float | int | None) -> float | int | None:
    if value is None:
        return None
    if isinstance(value, int):
        return int(value)
    return float(value)


def _estimate(item: Estimate) -> dict[str, Any]:
    return {
        "id": item.id,
        "basis": item.basis,
        "statistic": item.statistic,
        "population": item.population,
        "mode": item.mode,
        "reader": item.reader,
        "side": item.side,
        "method": item.method,
        "value": _number(item.value),
        "unit": item.unit,
        "reason": item.reason,
        "rows": int(item.rows),
        "in_range": None if item.in_range is None else bool(item.in_range),
    }


def _verdict(item: Verdict) -> dict[str, Any]:
    return {
        "criterion": item.criterion,
        "clause": item.clause,
        "basis": item.basis,
        "status": item.status,
        "governing": item.governing,
        "value": _number(item.value),
        "reason": item.reason,
        "would_decide": item.would_decide,
    }


def _deviation(item: Deviation) -> dict[str, Any]:
    remedy = item.remedy
    return {
        "number": item.number,
        "kind": item.kind,
        "subject": item.subject,
        "text": item.text,
        "independent": item.independent,
        "remedy": None
        if remedy is None
        else {
            "action": remedy.action,
            "text": remedy.text,
            "on": remedy.on.isoformat(),
            "signed_by": remedy.signed_by,
            "second_signature": remedy.second_signature,
        },
    }
