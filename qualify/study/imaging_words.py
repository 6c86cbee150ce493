"""What `image` tells people of one recording, in lines."""

from collections.abc import Iterator
from typing import Any

Document = dict[str, Any]


def image_lines(document: Document) -> list[str]:
    """Return the lines of one recording: its gate, then each mode with what it is worth."""
    lines = [f"{document['folder']}: {len(document['modes'])} modes"]
    if document["signal"] == "simulated":
        lines.append(f"  SIMULATED: {document['source']}")
    if not document["accepted"]:
        lines.append(f"  REJECTED by the gate: {'; '.join(document['rejected_because'])}")
    twin = document["twin"]
    if twin is not None and not twin["accepted"]:
        why = "; ".join(twin["rejected_because"])
        lines.append(f"  the TWIN is rejected by the gate, and not used: {why}")
    elif twin is not None and twin["block"] != document["block"]:
        lines.append(f"  the twin is of block {twin['block']}: not of the same place")
    if twin is not None and twin["accepted"]:
        lines.append("  one twin is one draw: of what differs by a few dB it says nothing")
    if document["warning"]:
        lines.append(f"  {document['warning']}")
    for mode in document["modes"]:
        lines += [f"  {line}" for line in _mode(mode)]
    return lines


def _mode(mode: Document) -> Iterator[str]:
    yield f"{mode['mode']} ({mode['method']})"
    peak, unit = mode["largest"], "" if mode["unit"] == "coherence" else " dB re full scale"
    if peak["value"] is None:
        yield f"  largest value: none, {peak['reason']}"
    else:
        yield (
            f"  largest value {_level(mode, peak['value'])}{unit} at x {peak['x_mm']:.1f} mm, "
            f"z {peak['z_mm']:.1f} mm"
        )
    if mode["random_level"] is not None:
        yield (
            f"  if all phases were random: mean {mode['random_level']:.3f}, 99 % below "
            f"{mode['random_99']:.3f} (where the fewest elements take part: "
            f"{mode['fewest_elements']})"
        )
    if mode.get("covered_fraction") is not None:
        yield f"  covers {100 * mode['covered_fraction']:.1f} % of the region"
    for place in mode["looked_at"]:
        yield f"  {place['name']}: {_place(mode, place)}"
    yield from _controls(mode)
    for point in mode["grid"]:
        yield f"  {_grid(point)}"
    told = (mode.get("control_reason"), mode.get("dead_zone_reason"))
    for remark in (mode["warning"], *mode["remarks"]):
        if remark and remark not in told:
            yield f"  note: {remark}"


def _level(mode: Document, value: float) -> str:
    return f"{value:.2f}" if mode["unit"] == "coherence" else f"{value:.1f}"


def _place(mode: Document, place: Document) -> str:
    peak = place["peak"]
    if peak["value"] is None:
        return f"nothing shown, {peak['reason']}"
    if mode["unit"] == "coherence":
        twin = place["twin_largest"]
        beside = "no twin" if twin is None else f"{twin:.2f} without flaws"
        return f"coherence {peak['value']:.2f}; {beside}"
    if place["excess_db"] is None:
        return f"no excess over the same place without flaws: {place['reason']}"
    return (
        f"{place['excess_db']:.1f} dB over the same place without flaws (signal to noise "
        f"{place['snr_db']:.1f} dB, there {place['twin_snr_db']:.1f} dB)"
    )


def _controls(mode: Document) -> Iterator[str]:
    if "control_found" in mode:
        if mode["control_found"]:
            error = mode["control_error_mm"]
            where = "at its place" if error is None else f"{error:+.2f} mm off"
            yield f"  positive control: found, {where}"
        elif mode["control_found"] is None:
            yield f"  positive control: not judged, {mode['control_reason']}"
        else:
            yield f"  positive control: NOT FOUND, {mode['control_reason']}"
    if "dead_zone_mm" in mode:
        depth = mode["dead_zone_mm"]
        known = f"down to {depth:.1f} mm" if depth is not None else mode["dead_zone_reason"]
        yield f"  dead zone: {known}"


def _grid(point: Document) -> str:
    loss, spread = point["loss"], point["spread"]
    x, z = loss["point_mm"]
    where = f"a point at x {x:.2f}, z {z:.2f} mm"
    if loss["loss_db"] is None:
        return f"{where}: {loss['reason']}"
    verdict = "within" if loss["kept"] else "MORE THAN"
    width = (
        f"shown {spread['width_x_mm']:.2f} mm wide, {spread['width_z_mm']:.2f} mm deep at -6 dB"
        if spread["width_x_mm"] is not None and spread["width_z_mm"] is not None
        else f"no width: {spread['reason']}"
    )
    return (
        f"{where}: the grid loses at most {loss['loss_db']:.2f} dB, {verdict} "
        f"{loss['limit_db']:g} dB; {width}"
    )
