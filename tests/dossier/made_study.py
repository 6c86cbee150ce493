"""An invented study, made in code: blocks, key, sets, calls; nothing of it is evidence."""

import functools
import math
from datetime import date

import numpy as np

from qualify.blocks.definition import Block
from qualify.reading.call_sheet import Call, CallRow
from qualify.reading.key import KeyRow, SetRow
from qualify.study.declaration import Declaration
from qualify.study.plan import Plan
from qualify.study.result import InputFile, StudyInputs, StudyResult
from tests.quick import run_quickly

READERS = ("R1", "R2", "R3")
MODES = ("coherence", "linear")
MADE_UP = 1237.25


def quantity(value, measured=True):
    base = {"nominal": round(value, 1) or 0.1}
    if measured:
        base |= {
            "measured": value,
            "U": 0.04,
            "k": 2.0,
            "method": "optical, both ends",
            "certificate": "MC-114",
        }
    else:
        base |= {"tolerance": 0.05, "waiver": "drawing value, the hole can't be reached"}
    return base


def block(number, kinds, rng, prefix, sizes):
    units = [
        {
            "id": f"{prefix}{number:02d}-{i:02d}",
            "x_from_mm": 40 + 60.0 * i,
            "x_to_mm": 80 + 60.0 * i,
        }
        for i in range(10)
    ]
    targets = []
    flawed = sorted(rng.permutation(10)[: len(kinds)])
    for unit, kind in zip(flawed, kinds, strict=True):
        size, z = next(sizes[kind]), float(round(rng.uniform(8, 50), 1))
        base = {
            "kind": kind,
            "id": f"{prefix}{number:02d}{'H' if kind == 'side_drilled_hole' else 'S'}{unit}",
            "x_mm": round(60 + 60.0 * unit + float(rng.uniform(-7, 7)), 1),
            "z_mm": z,
            "position_u_mm": 0.05,
            "y_from_mm": 0.0,
            "y_to_mm": 40.0,
        }
        if kind == "side_drilled_hole":
            base["diameter_mm"] = quantity(size, measured=unit != 3)
        else:
            base["extent_mm"] = quantity(size)
            base["tilt_deg"] = {
                "nominal": 15 * (unit % 3),
                "measured": 15.0 * (unit % 3),
                "u": 0.5,
                "method": "optical",
                "certificate": "MC-115",
            }
            base["width_mm"] = 0.2
        targets.append(base)
    return Block.model_validate(
        {
            "format": 1,
            "id": f"{prefix}-{number:02d}",
            "revision": "1",
            "title": "lug coupon",
            "purpose": "blind trial",
            "provenance": "invented",
            "mass_kg": 20.0,
            "scan_surface": "A",
            "finish": "ground, Ra 1.6",
            "material": {
                "name": "C-Mn steel, normalised",
                "density_kg_per_m3": 7850.0,
                "density_u_kg_per_m3": 10.0,
                "longitudinal_m_per_s": 5920.0,
                "longitudinal_u_m_per_s": 10.0,
                "shear_m_per_s": 3230.0,
                "shear_u_m_per_s": 8.0,
                "attenuation_db_per_mm": 0.01,
                "attenuation_at_mhz": 5.0,
                "grain_noise": "moderate",
            },
            "outline": {
                "shape": "flat",
                "length_mm": 680.0,
                "width_mm": 40.0,
                "thickness_mm": 60.0,
                "tolerance_mm": 0.1,
            },
            "datum": {"corner": "end 0, edge L, face A", "x_along": "length", "y_across": "width"},
            "blank_check": {
                "method": "immersion, 15 MHz",
                "report": f"BR-{number:02d}",
                "smallest_detectable_mm": 0.2,
                "checked_on": date(2025, 2, 3),
            },
            "grading_units": units,
            "targets": targets,
        }
    )


def criteria(study_limit=MADE_UP):
    each = {"mode": "coherence", "reader": "worst", "source": "agreement of the parties, rev 1"}
    hole = {"population": "side_drilled_hole"}
    return [
        {"id": "C1", "statement": "Holes from 1.0 mm are found", "statistic": "a90_95",
         "limit": 1.0, "unit": "mm", "verified": True, **hole, **each},
        {"id": "C2", "statement": "Slots from 4 mm are found", "statistic": "a90_95",
         "population": "embedded_slot", "limit": 4.0, "unit": "mm", "verified": True, **each},
        {"id": "C3", "statement": "False calls are few", "statistic": "false_call_rate",
         "population": "blank_units", "limit": 0.05, "unit": "fraction", "verified": True, **each},
        {"id": "C3", "statement": "False calls are few, bound", "verified": True,
         "statistic": "false_call_rate_upper", "population": "blank_units", "limit": 0.10,
         "unit": "fraction", **each},
        {"id": "C4", "statement": "Extent is sized", "statistic": "sizing_rmse", "limit": 1.5,
         "population": "embedded_slot", "unit": "mm", "verified": True, **each},
        {"id": "C5", "statement": "No target in two sets", "statistic": "set_overlap", "limit": 0.0,
         "unit": "count", "source": "plan, clause 5", "verified": True},
        {"id": "C6", "statement": "One revision of the software", "limit": 1.0, "unit": "count",
         "statistic": "software_revisions", "source": "plan, clause 6", "verified": True},
        {"id": "C7", "statement": "A recalled requirement on sizing", "statistic": "sizing_rmse",
         "population": "embedded_slot", "limit": study_limit, "unit": "mm", "verified": False,
         **{**each, "source": "recalled code, edition not at hand"}},
    ]  # fmt: skip


def plan(*, signal="simulated", modes=MODES, name="LUG-1"):
    return Plan.model_validate(
        {
            "format": 1,
            "study": name,
            "revision": "2",
            "frozen_on": date(2025, 3, 1),
            "signal": signal,
            "read_by": "person",
            "claim": {
                "candidate_mode": "coherence",
                "reference_mode": "linear" if "linear" in modes else None,
                "flaws": "small voids and short planar flaws of a repair campaign",
                "region": "x ±13 mm of each unit, depth 4 to 56 mm",
                "question": "May the coherence mode replace the linear scan, and from which size?",
            },
            "matching": {"rule": "box", "x_mm": 4.0, "z_mm": 3.0, "derivation": "2u + resolution"},
            "analysis": {"reason": "sizes are spaced evenly in their logarithm"},
            "modes": [
                {"id": m, "name": f"{m} image", "threshold": 6.0, "threshold_unit": "db",
                 "status": "candidate" if m == "coherence" else "accepted", "set_up_by": "B",
                 "reading_rule": "any spot above the threshold, larger than 2 pixels"}
                for m in modes
            ],
            "populations": [
                {"kind": "side_drilled_hole", "size_quantity": "diameter_mm",
                 "size_in_words": "diameter", "sized": False},
                {"kind": "embedded_slot", "size_quantity": "extent_mm",
                 "size_in_words": "extent", "sized": True},
            ],
            "criteria": [c for c in criteria() if c.get("mode") in (None, *modes)],
        }
    )  # fmt: skip


def declaration(*, invented=True, remedies=True, clean=False, name="LUG-1"):
    people = [
        ("owner", "A-1", "A", "none"), ("developer", "B-1", "B", "open set"),
        ("truth_custodian", "C-1", "C", "all"), ("statistician", "C-2", "C", "none"),
        ("reviewer", "C-3", "C", "none"), ("reader", "R1", "B", "none"),
        ("reader", "R2", "B", "none"), ("reader", "R3", "B", "none"),
    ]  # fmt: skip
    return Declaration.model_validate(
        {
            "format": 1,
            "study": name,
            "title": "Coherence imaging on hinge lugs",
            "invented": invented,
            "revision": "0.3",
            "dated": date(2025, 6, 1),
            "trial_from": date(2025, 4, 1),
            "trial_until": date(2025, 4, 20),
            "blindness": "sizes, places and number of flaws; pieces coded anew for each reader",
            "dossier_change": "first issue",
            "scope": {
                "component": "forged hinge lug", "material": "C-Mn steel, normalised",
                "thickness_min_mm": 60.0, "thickness_max_mm": 60.0, "surface": "ground; gel",
                "temperature": "5 to 40 °C", "access": "one face", "level_of_rigour": "blind",
                "governing_code": "none; agreement of the parties",
            },
            "limitations": ["Planar flaws tilted by more than 30° were not tested."],
            "out_of_scope": ["Cracks open to the surface."],
            "parties": [
                {"id": "A", "name": "Owner A", "interest": "a cheaper outage"},
                {"id": "B", "name": "Company B", "interest": "sells the mode"},
                {"id": "C", "name": "Body C", "interest": "none declared"},
            ],
            "roles": [
                {"role": r, "person": p, "party": q, "knew_truth": k,
                 "declared_conflict": "owns the method" if r == "developer" else None}
                for r, p, q, k in people
            ],
            "readers": [
                {"reader": r, "certification": "UT level 2", "hours_on_mode": 40.0,
                 "vision": "2025-01-10", "practice": "18 of 20 found", "typical": True}
                for r in READERS
            ],
            "worst_cases": [
                {"id": "WCD-01", "defect": "slot tilted 30°", "echo": "tip",
                 "evidence": "embedded slots at 30°"},
                {"id": "WCD-02", "defect": "tight crack", "echo": "tip", "evidence": "none"},
            ],
            "variables": [
                {"id": "EV01", "name": "velocity", "group": "input", "unit": "m/s",
                 "qualified_range": "5900 to 5940", "procedure_range": "5890 to 5950",
                 "actual": "5920", "basis": "measured on the coupons"},
                {"id": "EV02", "name": "probe pitch", "group": "equipment", "unit": "mm",
                 "qualified_range": "0.62", "procedure_range": "0.62", "actual": "0.62",
                 "basis": "asserted"},
            ],
            "equipment": [
                {"id": "E1", "item": "array, 60 elements, 5 MHz", "serial": "S-17",
                 "check": "all elements within 2 dB", "checked_on": date(2025, 4, 1)},
            ],
            "software": [
                {"stage": s, "name": "imaging program", "revision": "4.2", "digest": None}
                for s in ("set-up", "trial", "analysis")
            ],
            "events": [
                {"kind": "plan_frozen", "on": date(2025, 3, 1), "by": "C-2", "document": "P-1"},
                {"kind": "threshold_frozen", "on": date(2025, 3, 1), "by": "B-1"},
                {"kind": "truth_sealed", "on": date(2025, 3, 5), "by": "C-1"},
                {"kind": "trial_started", "on": date(2025, 4, 1), "by": "C-1"},
                {"kind": "calls_committed", "on": date(2025, 4, 21), "by": "C-1"},
                {"kind": "truth_opened", "on": date(2025, 4, 25), "by": "C-1"},
            ],
            "remedies": [] if clean or not remedies else [
                {"deviation": "set_overlap", "action": "removed", "on": date(2025, 5, 1),
                 "text": "taken out of all counts", "signed_by": "C-1", "second_signature": "C-3"},
                {"deviation": "call_over_two_units", "action": "accepted", "on": date(2025, 5, 1),
                 "text": "counts once", "signed_by": "B-1"},
            ],
            "transfer": [
                {"leg": "T2", "statement": "grain level of the coupons is that of three lugs",
                 "evidence": "report N-4"},
                {"leg": "T5", "statement": "not demonstrated", "evidence": "none"},
            ],
        }
    )  # fmt: skip


def chance(kind, mode, reader, size):
    """Invented chance of a call: steeper and smaller for the candidate mode."""
    a50 = {"side_drilled_hole": 0.45, "embedded_slot": 1.6}[kind]
    a50 *= {"coherence": 1.0, "linear": 1.6}[mode] * {"R1": 0.9, "R2": 1.0, "R3": 1.25}[reader]
    return 1 / (1 + math.exp(-3.2 * math.log(size / a50)))


def calls_of(blocks, key, rng, *, modes=MODES, all_hit=False, false_calls=0.02, clean=False,
             steps=False):  # fmt: skip
    by_id = {b.id: b for b in blocks}
    calls = []
    for reader in READERS:
        for mode in modes:
            number = 1
            for row in key:
                piece = by_id[row.block]
                for index, unit in enumerate(piece.grading_units, start=1):
                    inside = [t for t in piece.targets if piece.unit_of(t.x_mm) == unit]
                    number += 1
                    options = (all_hit, false_calls, clean, steps)
                    made = _look(inside, unit, mode, reader, rng, *options)
                    for cells in made:
                        cells |= {"reader": reader, "mode": mode, "code": row.code, "unit": index,
                                  "software": "4.2"}  # fmt: skip
                        calls.append(
                            Call(CallRow(**cells), f"{reader}_{mode}.csv", None, number, False)
                        )
    return calls


def _look(inside, unit, mode, reader, rng, all_hit, false_calls, clean, steps):
    """Make the calls on a unit; with `steps` every hit is larger than every miss."""
    if not clean and rng.random() < 0.004:
        return [{"verdict": "not_examined"}]
    found = []
    for target in inside:
        size = target.size.value
        sure = 0.5 if steps else rng.random()
        if all_hit or sure < chance(target.kind, mode, reader, size):
            cells = {"verdict": "indication", "cause": "flaw",
                     "x_mm": round(target.x_mm + float(rng.normal(0, 0.5)), 1),
                     "z_mm": round(target.z_mm + float(rng.normal(0, 0.4)), 1)}  # fmt: skip
            if target.kind == "embedded_slot" and rng.random() < 0.95:
                cells |= {"size_mm": round(max(0.2, size * 0.9 + float(rng.normal(0, 0.5))), 2),
                          "size_method": "6 dB drop"}  # fmt: skip
            found.append(cells)
    if rng.random() < false_calls:
        found.append({"verdict": "indication", "cause": str(rng.choice(["grain", "geometry"])),
                      "x_mm": round(unit.x_from_mm + 2 + float(rng.uniform(0, 30)), 1),
                      "z_mm": 30.0,
                      "length_x_mm": 3.0 if clean else float(rng.choice([3.0, 90.0]))})  # fmt: skip
    return found or [{"verdict": "nothing_found"}]


def inputs_of(seed=7, *, pieces=8, signal="simulated", invented=True, clean=False, remedies=True,
              modes=MODES, all_hit=False, false_calls=0.03, slots=True, name="LUG-1",
              files=(), rename=lambda text: text, steps=False):  # fmt: skip
    rng = np.random.default_rng(seed)
    counts = {"side_drilled_hole": 4 * pieces, "embedded_slot": 3 * pieces}
    ranges = {"side_drilled_hole": (0.2, 2.0), "embedded_slot": (0.5, 8.0)}
    sizes = {
        kind: iter(np.round(rng.permutation(np.geomspace(*ranges[kind], n)), 2).tolist())
        for kind, n in counts.items()
    }
    kinds = ["side_drilled_hole"] * 4 + (["embedded_slot"] * 3 if slots else [])
    blocks = [block(i, kinds, rng, rename("L"), sizes) for i in range(1, pieces + 1)]
    key = [KeyRow(code=f"K{i:02d}", block=b.id, flipped=False) for i, b in enumerate(blocks)]
    sets = [
        SetRow(target=t.id, block=b.id, set="blind", from_date=date(2025, 2, 1))
        for b in blocks
        for t in b.targets
    ]
    if not clean:
        first = blocks[0].targets[0]
        sets.append(SetRow(target=first.id, block=blocks[0].id, set="open",
                           from_date=date(2025, 1, 5), until_date=date(2025, 1, 30)))  # fmt: skip
    calls = calls_of(blocks, key, rng, modes=modes, all_hit=all_hit, false_calls=false_calls,
                     clean=clean, steps=steps)  # fmt: skip
    return StudyInputs(
        name=name,
        plan=plan(signal=signal, modes=modes, name=name),
        declaration=declaration(invented=invented, clean=clean, remedies=remedies, name=name),
        blocks=tuple(blocks),
        sets=tuple(sets),
        key=tuple(key),
        calls=tuple(calls),
        finished=None,
        files=tuple(files) or (InputFile("plan.toml", "ab" * 32), InputFile("key.csv", "cd" * 32)),
    )


@functools.cache
def made(**options) -> StudyResult:
    return run_quickly(inputs_of(**options))
