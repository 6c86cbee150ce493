"""A small plate with four units, small enough to score by hand."""

from qualify.blocks.definition import Block
from qualify.reading.call_sheet import Call, CallRow
from qualify.reading.matching import BoxRule
from qualify.reading.rows import Scheme


def quantity(value: float) -> dict:
    return {
        "nominal": value,
        "measured": value,
        "U": 0.02,
        "k": 2,
        "method": "m",
        "certificate": "c",
    }


def make_hole(name: str, x: float, z: float, diameter: float) -> dict:
    return {
        "kind": "side_drilled_hole",
        "id": name,
        "x_mm": x,
        "z_mm": z,
        "position_u_mm": 0.05,
        "y_from_mm": 0,
        "y_to_mm": 30,
        "diameter_mm": quantity(diameter),
    }


def make_block(name: str = "plate", targets: list | None = None) -> Block:
    """Units of 40 mm from x = 40, 100, 160, 220; holes in the first and the third."""
    if targets is None:
        targets = [make_hole("H1", 60, 20, 0.5), make_hole("H2", 180, 30, 1.0)]
    return Block.model_validate(
        {
            "format": 1,
            "id": name,
            "revision": "A",
            "title": "test plate",
            "purpose": "tests",
            "provenance": "invented",
            "mass_kg": 8.5,
            "scan_surface": "A",
            "finish": "ground",
            "material": {
                "name": "steel",
                "density_kg_per_m3": 7850,
                "density_u_kg_per_m3": 10,
                "longitudinal_m_per_s": 5920,
                "longitudinal_u_m_per_s": 15,
                "shear_m_per_s": 3255,
                "shear_u_m_per_s": 8,
                "attenuation_db_per_mm": 0.01,
                "attenuation_at_mhz": 5,
                "grain_noise": "fine",
            },
            "outline": {
                "shape": "flat",
                "length_mm": 300,
                "width_mm": 60,
                "thickness_mm": 60,
                "tolerance_mm": 0.1,
            },
            "datum": {"corner": "end 0, edge L", "x_along": "length", "y_across": "width"},
            "grading_units": [
                {"id": f"U{i + 1}", "x_from_mm": 40 + 60 * i, "x_to_mm": 80 + 60 * i}
                for i in range(4)
            ],
            "targets": targets,
        }
    )


def make_call(unit: int, verdict: str = "indication", *, number: int = 2, **more) -> Call:
    again = more.pop("re_reading", False)
    file = more.pop("file", "calls.csv")
    base = {"reader": "R1", "mode": "linear", "code": "QKZT", "unit": unit, "verdict": verdict}
    row = CallRow.model_validate({**base, **more})
    return Call(row, file, None, number, again)


def make_scheme(*, box: bool = True, sized: bool = True) -> Scheme:
    return Scheme(
        box=BoxRule(3.0, None, 3.0, add_target_extent=True) if box else None,
        size_quantity={"side_drilled_hole": "diameter_mm"},
        sized=frozenset(["side_drilled_hole"] if sized else []),
        modes={"linear": None, "coherence": None},
        signal="simulated",
        read_by="model",
    )
