"""The section of a block that the array looks at, as a scene of the model.

Frame of a recording: x from the middle of the array, along x of the block; z from the scan face.
From face B depth is counted from B and x keeps its direction. As-built values are taken.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from qualify.blocks.definition import Block
from qualify.blocks.targets import (
    EmbeddedSlot,
    FlatBottomedHole,
    Notch,
    PoreCluster,
    SideDrilledHole,
    TargetBase,
)
from qualify.recording.probe import Probe
from qualify.simulation.grain import SEEN_DEG
from qualify.simulation.place import Place
from qualify.simulation.scene import Disc, Face, Hole, Pore, Scene, Solid
from qualify.simulation.streams import stream
from qualify.simulation.validity import Remark

MOST_PORES = 5000


@dataclass(slots=True)
class Section:
    """What was found in a section.

    Attributes
    ----------
    scene : what is simulated. left_out : why targets are not, a remark each.
    pore_share : largest share of a band that pores fill.
    """

    scene: Scene
    left_out: list[Remark] = field(default_factory=list)
    pore_share: float = 0.0


def solid_of(block: Block) -> Solid:
    """Return the material of a block as the model knows it."""
    made = block.material
    return Solid(
        made.longitudinal_m_per_s,
        made.shear_m_per_s,
        made.attenuation_db_per_mm,
        made.attenuation_at_mhz,
    )


def place_on(block: Block, x_mm: float, y_mm: float) -> Place:
    """Return the place of an array whose middle is at x and y of a block, on its scan face."""
    return Place(
        block.id,
        block.revision,
        x_mm,
        y_mm,
        -x_mm,
        block.outline.length_mm - x_mm,
        block.outline.thickness_mm,
        block.scan_surface,
    )


def scene_of(
    block: Block, place: Place, probe: Probe, seed: int, pore_diameter_mm: float | None = None
) -> Section:
    """Return the section under an array: its targets in the frame of the recording.

    What is seen by no element under 60° is not there; what lies beside the beam, or is of a kind
    that the model does not know, is left out and told.
    """
    section = Section(Scene(wall_mm=block.outline.thickness_mm))
    held: dict[str, list[Any]] = {"holes": [], "faces": [], "discs": [], "pores": []}
    for target in block.targets:
        if not _under(target, place, probe):
            continue
        beside = _beside(target, place, probe)
        if beside is not None:
            section.left_out.append(beside)
            continue
        make = _MAKERS[type(target)]
        for name, thing in make(target, place, seed, pore_diameter_mm, section):
            held[name].append(thing)
    section.scene = Scene(
        tuple(held["holes"]),
        tuple(held["faces"]),
        tuple(held["discs"]),
        tuple(held["pores"]),
        block.outline.thickness_mm,
    )
    return section


def _under(target: TargetBase, place: Place, probe: Probe) -> bool:
    """Return whether any of a target is seen at 60° or less by the nearest element.

    Grain is cut off there too; elements send little beyond.
    """
    half_x, half_z = target.half_extent_mm
    aside = abs(target.x_mm - place.x_mm) - half_x - 0.5 * probe.aperture_mm
    deep = _depth(place, target.z_mm) + half_z
    return bool(aside <= deep * np.tan(np.radians(SEEN_DEG)))


def _a(target: TargetBase) -> str:
    words = target.kind_in_words
    return f"{'an' if words[0] in 'aeio' else 'a'} {words}"


def _beside(target: TargetBase, place: Place, probe: Probe) -> Remark | None:
    """Return why a target is out of the beam across the section; None if it is in it."""
    first, last = target.y_span_mm
    half = 0.5 * probe.passive_width_mm
    if isinstance(target, FlatBottomedHole):
        if first <= place.y_mm <= last and abs(target.y_mm - place.y_mm) <= 0.25 * (last - first):
            return None
        return Remark("beside", "a flat-bottomed hole is not in the section: left out")
    if last <= place.y_mm - half or first >= place.y_mm + half:
        return Remark("beside", f"{_a(target)} is beside the beam: left out")
    if isinstance(target, Notch) and target.along == "x":
        return None
    if first > place.y_mm - half or last < place.y_mm + half:
        text = f"{_a(target)} ends within the beam: not in the model"
        return Remark("ends", text, refused=True)
    return None


def _depth(place: Place, z_mm: float) -> float:
    return z_mm if place.from_face == "A" else place.thickness_mm - z_mm


Made = list[tuple[str, Any]]


def _hole(target: Any, place: Place, seed: int, pore: float | None, section: Section) -> Made:
    at = (target.x_mm - place.x_mm, _depth(place, target.z_mm))
    return [("holes", Hole(*at, target.diameter_mm.value))]


def _slot(target: Any, place: Place, seed: int, pore: float | None, section: Section) -> Made:
    """Return the face of a slot; a positive tilt lowers the end with the larger x."""
    turn = np.radians(target.tilt_deg.value)
    half = 0.5 * target.extent_mm.value
    ends = [
        (target.x_mm + s * half * np.cos(turn), target.z_mm + s * half * np.sin(turn))
        for s in (-1.0, 1.0)
    ]
    return [("faces", _face(place, *ends, breaks_wall=False))]


def _notch(target: Any, place: Place, seed: int, pore: float | None, section: Section) -> Made:
    """Return the face of a notch from the far wall: mouth at x, tip leaning towards larger x."""
    if target.along == "x":
        text = "a notch along the array has no face in the section: not in the model"
        section.left_out.append(Remark("notch_along", text, refused=True))
        return []
    if target.face == place.from_face:
        text = "a notch in the scan face is not in the model"
        section.left_out.append(Remark("notch_near", text, refused=True))
        return []
    height = target.height_mm.value
    lean = height * float(np.tan(np.radians(target.tilt_deg.value)))
    wall, up = (place.thickness_mm, -1.0) if target.face == "B" else (0.0, 1.0)
    tip = (target.x_mm + lean, wall + up * height)
    mouth = (target.x_mm, wall)
    return [("faces", _face(place, tip, mouth, breaks_wall=True))]


def _face(
    place: Place, one: tuple[float, float], other: tuple[float, float], *, breaks_wall: bool
) -> Face:
    return Face(
        float(one[0] - place.x_mm),
        float(_depth(place, one[1])),
        float(other[0] - place.x_mm),
        float(_depth(place, other[1])),
        breaks_wall,
    )


def _disc(target: Any, place: Place, seed: int, pore: float | None, section: Section) -> Made:
    if place.from_face == "B":
        text = "a flat-bottomed hole seen from its own side is not in the model"
        section.left_out.append(Remark("disc_behind", text, refused=True))
        return []
    at = (target.x_mm - place.x_mm, target.z_mm)
    return [("discs", Disc(*at, target.diameter_mm.value))]


def _pores(target: Any, place: Place, seed: int, pore: float | None, section: Section) -> Made:
    """Return pores strewn over a band, as many as fill its declared share of the section."""
    assert pore is not None
    length, thick = target.length_mm.value, target.band_thickness_mm.value
    share = target.areal_fraction.value
    count = int(np.rint(share * length * thick / (0.25 * np.pi * pore**2)))
    if count > MOST_PORES:
        text = f"a pore cluster of more than {MOST_PORES} pores is not in the model"
        section.left_out.append(Remark("many_pores", text, refused=True))
        return []
    section.pore_share = max(section.pore_share, share)
    rng = stream(seed, "pores", place.block, place.revision, target.id)
    x = target.x_mm - place.x_mm + length * (rng.random(count) - 0.5)
    z = target.z_mm + thick * (rng.random(count) - 0.5)
    return [
        ("pores", Pore(float(a), float(_depth(place, b)), pore)) for a, b in zip(x, z, strict=True)
    ]


_MAKERS: dict[type[TargetBase], Callable[..., Made]] = {
    SideDrilledHole: _hole,
    EmbeddedSlot: _slot,
    Notch: _notch,
    FlatBottomedHole: _disc,
    PoreCluster: _pores,
}
