"""A plan, a declaration and a trial on two small plates, in code."""

from datetime import date

from qualify.reading.key import KeyRow, SetRow
from qualify.study.declaration import Declaration
from qualify.study.plan import Plan
from qualify.study.result import StudyInputs
from tests.reading.plate import make_block, make_call, make_hole


def make_plan(**more) -> Plan:
    base = {
        "format": 1,
        "study": "small",
        "revision": "1",
        "frozen_on": "2026-03-01",
        "signal": "measured",
        "read_by": "person",
        "claim": {
            "candidate_mode": "coherence",
            "reference_mode": "linear",
            "flaws": "small holes",
            "region": "all of the plate",
            "question": "does it find them",
        },
        "matching": {"rule": "box", "x_mm": 3, "z_mm": 3, "derivation": "invented"},
        "analysis": {"reason": "sizes spaced in log"},
        "modes": [
            {
                "id": mode,
                "name": mode,
                "status": status,
                "reading_rule": "by eye",
                "set_up_by": "B",
            }
            for mode, status in (("linear", "accepted"), ("coherence", "candidate"))
        ],
        "populations": [
            {
                "kind": "side_drilled_hole",
                "size_quantity": "diameter_mm",
                "size_in_words": "diameter",
                "sized": True,
            }
        ],
    }
    return Plan.model_validate({**base, **more})


def study_criterion(id_: str, statistic: str, limit: float) -> dict:
    return {
        "id": id_,
        "statement": statistic,
        "statistic": statistic,
        "limit": limit,
        "unit": "count",
        "source": "invented",
        "verified": True,
    }


ROLES = [
    {"role": "developer", "person": "B-1", "party": "B", "knew_truth": "open set"},
    {"role": "truth_custodian", "person": "C-1", "party": "C", "knew_truth": "all"},
    {"role": "reader", "person": "C-2", "party": "C", "knew_truth": "none"},
    {"role": "statistician", "person": "C-3", "party": "C", "knew_truth": "none"},
]


def make_declaration(**more) -> Declaration:
    base = {
        "format": 1,
        "study": "small",
        "title": "Small study",
        "invented": True,
        "revision": "1",
        "dated": "2026-05-01",
        "trial_from": "2026-03-10",
        "trial_until": "2026-03-20",
        "blindness": "to all",
        "dossier_change": "first",
        "scope": {
            "component": "plate",
            "material": "steel",
            "thickness_min_mm": 50,
            "thickness_max_mm": 60,
            "surface": "ground",
            "temperature": "room",
            "access": "one face",
            "level_of_rigour": "blind",
            "governing_code": "none",
        },
        "roles": ROLES,
    }
    return Declaration.model_validate({**base, **more})


def remedy(deviation: str, action: str, *signers: str, subject: str | None = None) -> dict:
    return {
        "deviation": deviation,
        "subject": subject,
        "action": action,
        "text": "as recorded",
        "on": "2026-04-01",
        "signed_by": signers[0],
        "second_signature": signers[1] if len(signers) > 1 else None,
    }


def make_sets(*more: tuple[str, str, str, str]) -> tuple[SetRow, ...]:
    rows = [("H1", "plate", "blind", "2026-01-10"), ("H2", "plate", "blind", "2026-01-10"), *more]
    return tuple(
        SetRow(target=t, block=b, set=s, from_date=date.fromisoformat(on))  # type: ignore[arg-type]
        for t, b, s, on in rows
    )


def whole_look(found: dict[int, dict], **more) -> list:
    """One reader's look at all four units of the plate; the rest is found empty."""
    calls = []
    for unit in (1, 2, 3, 4):
        if unit in found:
            verdict = found[unit].get("verdict", "indication")
            fields = {k: v for k, v in found[unit].items() if k != "verdict"}
            calls.append(make_call(unit, verdict, number=unit + 1, **fields, **more))
        else:
            calls.append(make_call(unit, "nothing_found", number=unit + 1, **more))
    return calls


def make_inputs(calls, *, plan=None, declaration=None, sets=None, blocks=None) -> StudyInputs:
    other = make_block("other", [make_hole("H1", 60, 20, 0.5)])
    return StudyInputs(
        name="small",
        plan=plan or make_plan(),
        declaration=declaration or make_declaration(),
        blocks=blocks or (make_block(), other),
        sets=make_sets() if sets is None else sets,
        key=(KeyRow(code="QKZT", block="plate", flipped=False),),
        calls=tuple(calls),
        finished=None,
        files=(),
    )
