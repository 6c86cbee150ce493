"""From calls to the three tables: every call placed, matched and counted once.

A *look* is one reader's examination of one unit in one mode and repeat. A unit of the trial
without any row in a reader's sheets of a mode counts as not examined. The result does not
depend on the order of rows, sheets or blocks.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qualify.blocks.definition import Block
from qualify.blocks.targets import TargetBase
from qualify.reading.call_sheet import Call, in_force
from qualify.reading.key import KeyRow, SetRow
from qualify.reading.matching import match_by_box
from qualify.reading.placing import (
    Pass,
    Placed,
    check_calls,
    pass_of,
    passes,
    place,
    presented_pieces,
)
from qualify.reading.rows import (
    Found,
    Scheme,
    Shared,
    blank_row,
    call_row,
    flawed_row,
    measurement,
)
from qualify.reading.tables import (
    MatchedCallRow,
    MeasurementRow,
    OpportunityRow,
    Tables,
    frame,
)

CORRECTED = Found(None, "corrected", None)


def score(
    blocks: Sequence[Block],
    key: Sequence[KeyRow],
    sets: Sequence[SetRow],
    calls: Sequence[Call],
    scheme: Scheme,
) -> Tables:
    """Return the three tables of a trial.

    Raises
    ------
    InputError : a call names a code that the key does not hold or a unit the piece does not
        have; the key names a block that is not there; a unit holds two targets where matching
        is by grading unit.
    """
    presented = presented_pieces(blocks, key, by_unit=scheme.box is None)
    check_calls(calls, presented)
    live = in_force(calls)
    rows = _Rows([], [], [])
    for code in sorted(presented, key=lambda c: (presented[c].block.id, c)):
        piece = presented[code]
        mine = [place(c, piece) for c in live if c.row.code == code]
        for look in passes(live, scheme.modes):
            placed = [p for p in mine if pass_of(p.call) == look]
            _score_piece(piece.block, look, placed, sets, scheme, rows)
    alive = {id(call) for call in live}
    for call in calls:
        if id(call) not in alive and call.row.verdict == "indication":
            rows.calls.append(call_row(place(call, presented[call.row.code]), scheme, CORRECTED))
    order = {mode: number for number, mode in enumerate(scheme.modes)}
    rows.calls.sort(key=lambda r: _call_order(r, order))
    return Tables(
        frame(rows.opportunities, OpportunityRow),
        frame(rows.calls, MatchedCallRow),
        frame(rows.measurements, MeasurementRow),
    )


@dataclass(frozen=True, slots=True)
class _Rows:
    opportunities: list[OpportunityRow]
    calls: list[MatchedCallRow]
    measurements: list[MeasurementRow]


def _score_piece(
    block: Block,
    look: Pass,
    placed: Sequence[Placed],
    sets: Sequence[SetRow],
    scheme: Scheme,
    rows: _Rows,
) -> None:
    """Add the rows of one piece under one pass to the three tables."""
    examined = {p.named.id for p in placed if p.call.row.verdict != "not_examined"}
    seen = {p.named.id for p in placed}
    indications = [p for p in placed if p.call.row.verdict == "indication"]
    empty = [
        p
        for p in placed
        if p.call.row.verdict == "nothing_found" and p.call.row.response is not None
    ]
    found = _match(block, indications, scheme)
    rows.calls.extend(call_row(p, scheme, f) for p, f in zip(indications, found, strict=True))
    by_target = {f.target.id: p for p, f in zip(indications, found, strict=True) if f.target}
    called: dict[str, list[Placed]] = defaultdict(list)
    for p, f in zip(indications, found, strict=True):
        if p.home is not None and f.match == "false_call_blank":
            called[p.home.id].append(p)
    software = {p.named.id: p.call.row.software for p in placed}
    for unit in block.grading_units:
        if look[3] == "re-reading" and unit.id not in seen:
            continue
        inside = [t for t in block.targets if block.unit_of(t.x_mm) == unit]
        shared = Shared(block, unit, look, unit.id in examined, software.get(unit.id))
        for target in inside:
            hit = by_target.get(target.id) if shared.examined else None
            rows.opportunities.append(flawed_row(shared, target, hit, sets, scheme))
            if target.kind_name in scheme.sized:
                rows.measurements.append(measurement(shared, target, hit, scheme))
        if not inside:
            seen_there = next((p for p in empty if p.named.id == unit.id), None)
            rows.opportunities.append(blank_row(shared, called[unit.id], sets, scheme, seen_there))


def _match(block: Block, placed: Sequence[Placed], scheme: Scheme) -> list[Found]:
    """Return what each indication was matched with, in the order given."""
    hits: dict[int, tuple[TargetBase, float | None]] = {}
    targets: list[TargetBase] = list(block.targets)
    if scheme.box is not None:
        order = sorted(range(len(placed)), key=lambda i: _position_order(placed[i]))
        spots = [_spot(placed[i]) for i in order]
        for pair in match_by_box(spots, targets, scheme.box):
            hits[order[pair.call]] = (targets[pair.target], pair.distance_mm)
    else:
        taken: set[str] = set()
        for i, p in enumerate(placed):
            inside = [t for t in targets if p.home and block.unit_of(t.x_mm) == p.home]
            if inside and inside[0].id not in taken:
                taken.add(inside[0].id)
                hits[i] = (inside[0], None)
    return [
        Found(hits[i][0], "hit", hits[i][1])
        if i in hits
        else Found(None, _false_call(p, targets), None)
        for i, p in enumerate(placed)
    ]


def _false_call(placed: Placed, targets: Sequence[TargetBase]) -> str:
    if placed.home is None:
        return "false_call_outside"
    flawed = any(placed.block.unit_of(t.x_mm) == placed.home for t in targets)
    return "false_call_flawed" if flawed else "false_call_blank"


def _spot(placed: Placed) -> tuple[float, float | None, float]:
    assert placed.x_mm is not None
    assert placed.call.row.z_mm is not None
    return (placed.x_mm, placed.y_mm, placed.call.row.z_mm)


def _position_order(placed: Placed) -> tuple[float, float, float]:
    x, y, z = _spot(placed)
    return (x, z, 0.0 if y is None else y)


def _call_order(row: MatchedCallRow, modes: Mapping[str, int]) -> tuple[object, ...]:
    return (
        row.specimen,
        modes[row.mode],
        row.reader,
        row.repeat,
        row.reading,
        -1.0 if row.x_mm is None else row.x_mm,
        -1.0 if row.z_mm is None else row.z_mm,
        row.match,
    )
