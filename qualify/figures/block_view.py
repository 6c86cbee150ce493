"""What a drawing needs to know about a flat reference block, and the outline of its targets.

Frame: x to the right along the length, y across (down the plan), z down from face A. With x to the
right and y down the plan, z points into the page: the frame is right-handed.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

Point = tuple[float, float]

KIND_WORDS = {
    "side_drilled_hole": "side-drilled hole",
    "notch": "notch",
    "flat_bottomed_hole": "flat-bottomed hole",
    "embedded_slot": "embedded slot",
    "pore_cluster": "pore cluster",
}


@dataclass(frozen=True, slots=True)
class UnitView:
    """A grading unit: its id, its stretch along x, and whether it holds no target."""

    id: str
    x_from_mm: float
    x_to_mm: float
    blank: bool


@dataclass(frozen=True, slots=True)
class TargetView:
    """A target as it is drawn.

    Attributes
    ----------
    z_mm : float
        Depth of the centre of a hole, slot or cluster; of the end face of a flat-bottomed hole.
        A notch opens to the face that is nearer to `z_mm`.
    size_mm : float
        Diameter of a hole; not used for the outline of the other kinds.
    extent_x_mm : float or None
        Length of a slot along itself; length along x of a notch or a cluster. A notch without it
        runs along y.
    height_z_mm : float or None
        Height of a notch, or thickness of a cluster, along z.
    tilt_deg : float or None
        Of a slot: from the scan face (0 lies parallel to it), turning about y. Of a notch: from
        the normal of the face, leaning across its length.
    uncertainty_label, method : str
        Measured size's uncertainty ('± 0.03') and the method, for the table; may be empty.
    """

    id: str
    kind: str
    x_mm: float
    y_from_mm: float
    y_to_mm: float
    z_mm: float
    size_label: str
    size_mm: float
    extent_x_mm: float | None = None
    height_z_mm: float | None = None
    tilt_deg: float | None = None
    uncertainty_label: str = ""
    method: str = ""


@dataclass(frozen=True, slots=True)
class BlockView:
    """A flat block as it is drawn; `scan_face` is 'A' (z = 0) or 'B' (z = thickness)."""

    id: str
    revision: str
    title: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    scan_face: str
    datum: str
    grading_units: tuple[UnitView, ...]
    targets: tuple[TargetView, ...]


@dataclass(frozen=True, slots=True)
class Shape:
    """An outline in block millimetres: a circle about `points[0]`, a line, or a polygon."""

    points: tuple[Point, ...]
    radius: float | None = None
    hatched: bool = False

    @property
    def centre(self) -> Point:
        """Centre of the outline."""
        us, vs = zip(*self.points, strict=True)
        return (min(us) + max(us)) / 2, (min(vs) + max(vs)) / 2

    @property
    def reach(self) -> Point:
        """Half the extent along each axis."""
        if self.radius is not None:
            return self.radius, self.radius
        us, vs = zip(*self.points, strict=True)
        return (max(us) - min(us)) / 2, (max(vs) - min(vs)) / 2


def _box(u_from: float, u_to: float, v_from: float, v_to: float, *, hatched: bool = False) -> Shape:
    corners = ((u_from, v_from), (u_to, v_from), (u_to, v_to), (u_from, v_to))
    return Shape(corners, hatched=hatched)


def _slot_halves(target: TargetView) -> Point:
    tilt = math.radians(target.tilt_deg or 0.0)
    extent = target.extent_x_mm or target.size_mm
    return extent / 2 * math.cos(tilt), extent / 2 * math.sin(tilt)


def _notch_depths(target: TargetView, block: BlockView) -> Point:
    height = target.height_z_mm or target.size_mm
    if target.z_mm > block.thickness_mm / 2:
        return block.thickness_mm, block.thickness_mm - height
    return 0.0, height


def _leaning(foot: Point, tip_depth: float, tilt_deg: float | None) -> Shape:
    lean = abs(tip_depth - foot[1]) * math.tan(math.radians(tilt_deg or 0.0))
    return Shape((foot, (foot[0] + lean, tip_depth)))


def side_shape(target: TargetView, block: BlockView) -> Shape:
    """Outline in the side view, (x, z)."""
    x, z = target.x_mm, target.z_mm
    half = (target.extent_x_mm or 0.0) / 2
    if target.kind == "side_drilled_hole":
        return Shape(((x, z),), radius=target.size_mm / 2)
    if target.kind == "flat_bottomed_hole":
        return _box(x - target.size_mm / 2, x + target.size_mm / 2, z, block.thickness_mm)
    if target.kind == "embedded_slot":
        du, dv = _slot_halves(target)
        return Shape(((x - du, z - dv), (x + du, z + dv)))
    if target.kind == "notch":
        face, tip = _notch_depths(target, block)
        if half:
            return _box(x - half, x + half, min(face, tip), max(face, tip))
        return _leaning((x, face), tip, target.tilt_deg)
    dv = (target.height_z_mm or target.size_mm) / 2
    return _box(x - half, x + half, z - dv, z + dv, hatched=True)


def plan_shape(target: TargetView, block: BlockView) -> Shape:
    """Outline in the plan, (x, y)."""
    x, y_from, y_to = target.x_mm, target.y_from_mm, target.y_to_mm
    half = (target.extent_x_mm or 0.0) / 2
    if target.kind == "side_drilled_hole":
        return Shape(((x, y_from), (x, y_to)))
    if target.kind == "flat_bottomed_hole":
        return Shape(((x, (y_from + y_to) / 2),), radius=target.size_mm / 2)
    if target.kind == "embedded_slot":
        half = _slot_halves(target)[0]
    if target.kind == "notch" and not half:
        return Shape(((x, y_from), (x, y_to)))
    return _box(x - half, x + half, y_from, y_to, hatched=target.kind == "pore_cluster")


def end_shape(target: TargetView, block: BlockView) -> Shape:
    """Outline in the end view, (y, z), seen from x = 0."""
    y_from, y_to, z = target.y_from_mm, target.y_to_mm, target.z_mm
    middle, half = (y_from + y_to) / 2, target.size_mm / 2
    if target.kind == "flat_bottomed_hole":
        return _box(middle - half, middle + half, z, block.thickness_mm)
    if target.kind == "side_drilled_hole":
        return _box(y_from, y_to, z - half, z + half)
    if target.kind == "embedded_slot":
        dv = abs(_slot_halves(target)[1])
        return _box(y_from, y_to, z - dv, z + dv)
    if target.kind == "notch":
        face, tip = _notch_depths(target, block)
        if target.extent_x_mm:
            return _leaning((middle, face), tip, target.tilt_deg)
        return _box(y_from, y_to, min(face, tip), max(face, tip))
    dv = (target.height_z_mm or target.size_mm) / 2
    return _box(y_from, y_to, z - dv, z + dv, hatched=True)


Outline = Callable[[TargetView, BlockView], Shape]
