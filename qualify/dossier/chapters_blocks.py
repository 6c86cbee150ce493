"""Chapters 6 and 7: blocks, targets, sets, blank material, protocol."""

from itertools import combinations

from reportlab.platypus import Flowable, Paragraph

from qualify.blocks.definition import Block
from qualify.blocks.metrology import expanded
from qualify.blocks.targets import TargetBase
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.pictures import Pictures
from qualify.dossier.style import CELL, TINT_COLOUR
from qualify.dossier.tables import Cell, facts, grid
from qualify.dossier.views import block_view
from qualify.dossier.words import clean, general, mm, tenth
from qualify.figures.drawing import common_notes
from qualify.study.result import StudyResult

FINISHED = "Not shown: the study entered with finished tables."
SETS = ("setup", "open", "blind", "reserve")
SET_WORDS = {"setup": "set-up", "open": "open", "blind": "blind", "reserve": "reserve"}
NOT_BLANK = "not checked: blanks are not shown to be blank"
SHORT = {
    "side_drilled_hole": "SDH",
    "flat_bottomed_hole": "FBH",
    "embedded_slot": "slot",
    "notch": "notch",
    "pore_cluster": "cluster",
}
RULES = {
    "box": "A call is a hit if its position lies in the box about a target's centre; each call and "
    "each target is matched at most once, with as many matches as possible and then the nearest.",
    "grading_unit": "Any call in a target's unit is a hit: the weaker rule, as positions don't "
    "count.",
}


def block_chapters(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapters 6 and 7."""
    return [*_blocks(result, pictures), *_protocol(result)]


def _blocks(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    out = chapter("6  Blocks and targets")
    blocks = result.inputs.blocks
    if not blocks:
        return [*out, body(FINISHED)]
    out.append(
        body(
            "The value that counts is the measured one. Uncertainties are standard uncertainties "
            "u as converted from the certificate, printed as U = 2u (k = 2). Coordinates: x along "
            "the length from the datum, z depth below face A, millimetres."
        )
    )
    out += [*_as_built(blocks), *_blank_checks(blocks), *_sets(result)]
    if result.quick:
        return [*out, body("Left out of a quick run: drawings, and targets block by block.")]
    out += section("Drawings")
    out.append(small(" ".join(common_notes([block_view(block) for block in blocks]))))
    for number, block in enumerate(blocks, start=1):
        out += pictures.on_page(f"block-{number:02d}", "", bookmark=f"Block {block.id}")
    return [*out, *_targets(result)]


def _as_built(blocks: tuple[Block, ...]) -> list[Flowable]:
    """Return the pieces; those that are alike in all that is printed share a row."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for b in blocks:
        sides = (b.outline.length_mm, b.outline.width_mm, b.outline.thickness_mm)
        material = b.material
        about = (
            b.revision,
            f"{' × '.join(f'{v:g}' for v in sides)} ± {b.outline.tolerance_mm:g}",
            material.name,
            f"{material.longitudinal_m_per_s:g} (u {material.longitudinal_u_m_per_s:g}), "
            f"{material.shear_m_per_s:g} (u {material.shear_u_m_per_s:g})",
            b.finish,
            f"{b.mass_kg:g}",
            b.provenance,
        )
        alike.setdefault(about, []).append(b.id)
    rows = [[f"{len(ids)}: {', '.join(ids)}", *about] for about, ids in alike.items()]
    heads = [
        "Pieces", "Rev.", "Sides, mm", "Material", "Velocity long., shear (u), m/s", "Finish",
        "Mass, kg", "Provenance",
    ]  # fmt: skip
    table = grid(heads, rows, [46, 9, 23, 22, 24, 18, 10, 22], align="llllllrl")
    return [*section("Pieces"), table]


def _blank_checks(blocks: tuple[Block, ...]) -> list[Flowable]:
    alike: dict[tuple[str, str, str], list[str]] = {}
    for block in blocks:
        check = block.blank_check
        if check is None:
            bare = not block.grading_units
            key = ("no grading unit: none needed" if bare else NOT_BLANK, "", "")
            told = block.id
        else:
            key = (check.method, mm(check.smallest_detectable_mm), check.checked_on.isoformat())
            told = f"{block.id} ({check.report})"
        blank = f"{len(block.blank_units())}/{len(block.grading_units)}"
        alike.setdefault(key, []).append(f"{told} {blank}")
    rows = [[method, size, day, "; ".join(ids)] for (method, size, day), ids in alike.items()]
    heads = [
        "How blank material was checked",
        "Smallest it would show, mm, of the reflector named at its left", "Day",
        "Blocks (report) and their blank units of all",
    ]  # fmt: skip
    return [*section("Blank material"), grid(heads, rows, [48, 24, 18, 80], align="lrll")]


def _sets(result: StudyResult) -> list[Flowable]:
    sets = result.inputs.sets
    out = section("Sets: no target may stand in two at the time of use")
    if not sets:
        return [*out, body("Not shown: no history of the sets was given.")]
    members = {name: {(r.block, r.target) for r in sets if r.set == name} for name in SETS}
    ids = {name: {target for _, target in held} for name, held in members.items()}
    rows = []
    for name in SETS:
        cells = [
            str(len(members[name])) if other == name else str(len(ids[name] & ids[other]))
            for other in SETS
        ]
        rows.append([SET_WORDS[name], *cells])
    heads = ["Targets in", *[SET_WORDS[name] for name in SETS]]
    out.append(grid(heads, rows, [50, 30, 30, 30, 30], align="lrrrr"))
    out.append(
        small("On the diagonal: targets of the set. Off it: ids that two sets share; want 0.")
    )
    shared = [
        [target, f"{SET_WORDS[a]}, {SET_WORDS[b]}", _dates(result, target)]
        for a, b in combinations(SETS, 2)
        for target in sorted(ids[a] & ids[b])
    ]
    if shared:
        out.append(grid(["Target", "Sets", "History"], shared, [30, 30, 110]))
    return out


def _dates(result: StudyResult, target: str) -> str:
    rows = sorted(
        (r.from_date, r.set, r.block, r.until_date)
        for r in result.inputs.sets
        if r.target == target
    )
    return "; ".join(
        f"{SET_WORDS[name]} on {block} from {start.isoformat()}"
        + (f" to {end.isoformat()}" if end else "")
        for start, name, block, end in rows
    )


def _targets(result: StudyResult) -> list[Flowable]:
    sets: dict[tuple[str, str], set[str]] = {}
    for row in result.inputs.sets:
        sets.setdefault((row.block, row.target), set()).add(SET_WORDS[row.set])
    rows: list[list[Cell]] = []
    extra: list[tuple[object, ...]] = []
    for block in result.inputs.blocks:
        band = len(rows) + 1
        extra += [
            ("SPAN", (0, band), (-1, band)),
            ("BACKGROUND", (0, band), (-1, band), TINT_COLOUR),
        ]
        told = "" if block.targets else ": no target"
        name = f"<b>{clean(block.id)}</b>{told}; {clean(block.purpose)}"
        rows.append([Paragraph(name, CELL), *[""] * 10])
        for target in block.targets:
            unit = block.unit_of(target.x_mm)
            member = sorted(sets.get((block.id, target.id), set()))
            rows.append([*_target_row(target, "none" if unit is None else unit.id, member)])
    heads = [
        "Target", "Unit", "Kind", "Size, mm", "U (k = 2), mm", "How u came about", "Method",
        "Certificate", "Tilt,\u00a0°", "x, z, mm", "Set",
    ]  # fmt: skip
    widths = [14, 13, 11, 11, 10, 24, 40, 21, 10, 20, 14]
    table = grid(heads, rows, widths, align="lllrrlllrrl", extra=extra)
    told = (
        "SDH side-drilled hole, FBH flat-bottomed hole; t tolerance, taken as rectangular. x of "
        "the centre, z its depth (of a notch the middle of its height, of an FBH its end)."
    )
    return [*section("Targets, block by block", 50), small(told), table]


def _target_row(target: TargetBase, unit: str, member: list[str]) -> list[str]:
    size = target.size
    certificate = size.certificate or f"waiver: {size.waiver or 'none'}"
    return [
        target.id,
        unit,
        SHORT[str(getattr(target, "kind", ""))],
        mm(size.value),
        mm(expanded(size.standard_uncertainty)),
        size.conversion.removeprefix("u = ").replace("tolerance", "t"),
        size.method or "drawing value",
        certificate,
        "–" if target.tilt is None else tenth(target.tilt),
        f"{target.x_mm:.1f}, {target.z_mm:.1f}",
        ", ".join(member) or "none",
    ]


def _protocol(result: StudyResult) -> list[Flowable]:
    out = chapter("7  Protocol of the blind trial")
    plan, declaration = result.inputs.plan, result.inputs.declaration
    rule, lost = plan.matching, plan.not_examined
    rows: list[tuple[str, str]] = [
        ("Trial", f"{declaration.trial_from.isoformat()} to {declaration.trial_until.isoformat()}"),
        ("Blind to", declaration.blindness),
        ("Matching rule", RULES[rule.rule]),
    ]
    if rule.rule == "box":
        across = "not used" if rule.y_mm is None else f"±{rule.y_mm:g} mm"
        more = " plus the target's half extent" if rule.add_target_extent else ""
        rows.append(("Box", f"x ±{rule.x_mm:g} mm, z ±{rule.z_mm:g} mm{more}; across (y) {across}"))
    rows += [
        ("Where the box comes from", rule.derivation),
        (
            "Calls that count",
            "Every call, whatever cause the reader gave, as hit and as false call alike. Chapter "
            "10 counts them by cause; chapter 13 leaves out those that their reader took for no "
            "flaw.",
        ),
        (
            "Not examined",
            f"A flawed unit counts as {'a miss' if lost.flawed == 'miss' else 'left out'}; a blank "
            f"one leaves the count; above {100 * lost.limit_fraction:g} % nothing is demonstrated.",
        ),
        (
            "Model of the curve",
            f"{plan.analysis.link}, {plan.analysis.scale} size; {plan.analysis.reason}",
        ),
        ("Bound that counts", f"{plan.analysis.bound}, one-sided 95 %"),
    ]
    out.append(facts(rows))
    out += section("Key: blind codes and the pieces behind them")
    if not result.inputs.key:
        return [*out, body(FINISHED)]
    blocks = {block.id: block for block in result.inputs.blocks}
    key = [
        [k.code, k.block, "yes" if k.flipped else "no", general(k.datum_offset_mm),
         str(len(blocks[k.block].grading_units)) if k.block in blocks else "not known"]
        for k in result.inputs.key
    ]  # fmt: skip
    heads = ["Code", "Block", "Turned end for end", "Datum offset, mm", "Units"]
    out.append(grid(heads, key, [40, 50, 30, 28, 22], align="lllrr"))
    return out
