"""A block definition as the plain values that its drawing takes."""

from qualify.blocks.definition import Block
from qualify.blocks.metrology import expanded
from qualify.blocks.targets import EmbeddedSlot, Notch, PoreCluster, TargetBase
from qualify.figures.drawing import BlockView, TargetView, UnitView


def block_view(block: Block) -> BlockView:
    """Return a block as it is drawn."""
    outline, blank = block.outline, {unit.id for unit in block.blank_units()}
    return BlockView(
        id=block.id,
        revision=block.revision,
        title=block.title,
        material=block.material.name,
        length_mm=outline.length_mm,
        width_mm=outline.width_mm,
        thickness_mm=outline.thickness_mm,
        scan_face=block.scan_surface,
        datum=block.datum.corner,
        grading_units=tuple(
            UnitView(u.id, u.x_from_mm, u.x_to_mm, u.id in blank) for u in block.grading_units
        ),
        targets=tuple(_target(target) for target in block.targets),
    )


def _target(target: TargetBase) -> TargetView:
    size = target.size
    along = height = None
    if isinstance(target, EmbeddedSlot):
        along = target.extent_mm.value
    elif isinstance(target, Notch):
        along = target.length_mm.value if target.along == "x" else None
        height = target.height_mm.value
    elif isinstance(target, PoreCluster):
        along, height = target.length_mm.value, target.band_thickness_mm.value
    sign = "Ø " if target.size_quantity == "diameter_mm" else ""
    return TargetView(
        id=target.id,
        kind=str(getattr(target, "kind", "")),
        x_mm=target.x_mm,
        y_from_mm=target.y_span_mm[0],
        y_to_mm=target.y_span_mm[1],
        z_mm=target.z_mm,
        size_label=f"{sign}{size.value:.2f}",
        size_mm=size.value,
        extent_x_mm=along,
        height_z_mm=height,
        tilt_deg=target.tilt,
        uncertainty_label=f"± {expanded(size.standard_uncertainty):.2f}",
        method=size.method or size.basis,
    )
