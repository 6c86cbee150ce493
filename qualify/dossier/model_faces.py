"""Sections on the faces of the model: against the exact strip, and where the model ends."""

from reportlab.platypus import Flowable

from qualify.dossier.layout import body, bullets, section, small
from qualify.dossier.tables import grid
from qualify.simulation.face_checks import TIP_WAVES, FaceCase, TipCase
from qualify.simulation.validity import (
    LEAST_FACE_WAVES,
    NEAR_WAVES,
    OBLIQUE_DEG,
    SMALL_FACE_WAVES,
    STEEP_DEG,
)


def face_sections(cases: tuple[FaceCase, ...]) -> list[Flowable]:
    """Return how faces compare with the exact strip, by extent and tilt."""
    tilts = sorted({case.tilt_deg for case in cases})
    held = {(case.extent_waves, case.tilt_deg): case for case in cases}
    rows = []
    for waves in sorted({case.extent_waves for case in cases}):
        each = [held[waves, tilt] for tilt in tilts]
        rows.append(
            [f"{each[0].extent_mm:.2f} ({waves:g} λ)"]
            + [f"{case.level_db:+.1f} dB, {case.residual:.2f}" for case in each]
        )
    heads = ["Extent mm", *(f"{tilt:g}°" for tilt in tilts)]
    return [
        *section("Faces against the exact solution of a strip"),
        body(
            "Kirchhoff theory with exact edges, as simulated, against a Galerkin solution of the "
            "elastic strip that uses neither; but what an edge sends on along its own face is "
            "bounded by a constant fitted to that strip. Pulse-echo from far away, by tilt to the "
            "beam: peak of the echo over the exact one, and rms difference of the two echoes over "
            "the rms of the exact one. Waves are of the centre frequency. No limit is set here: "
            "where the model ends is said below."
        ),
        grid(heads, rows, [30, *([23] * len(tilts))], align="l" + "r" * len(tilts)),
        small(
            "The form of an echo is worse than its peak: waves that run along the face and come "
            "back from its other edge are left out."
        ),
    ]


def tip_sections(cases: tuple[TipCase, ...]) -> list[Flowable]:
    """Return the echoes of both ends of an upright face."""
    rows = [
        [
            f"{case.angle_deg:g}°",
            f"{case.model_ratio:.1f}",
            f"{case.exact_ratio:.1f}",
            f"{case.late_ratio:.1f}",
        ]
        for case in cases
    ]
    return [
        *section("Both ends of an upright face"),
        body(
            f"Face of {TIP_WAVES:g} waves, by the angle between the beam and its own plane: echo "
            "of the farther end over that of the nearer, by the model and exactly; and the largest "
            "exact echo after both, of waves along the face, which the model does not have."
        ),
        grid(
            ["Angle", "Farther over nearer, model", "exact", "Later echo over nearer, exact"],
            rows,
            [30, 50, 40, 50],
            align="rrrr",
        ),
        small("Seen along its plane, the farther end is in the shadow of the face: not modelled."),
    ]


def limit_sections() -> list[Flowable]:
    """Return what the model refuses and marks."""
    return [
        *section("Where the model ends"),
        *bullets(
            [
                f"Refused: faces shorter than {LEAST_FACE_WAVES:g} waves; targets that reach the "
                "scan face; targets that end within the beam across the section; notches along "
                "the array or in the scan face.",
                f"Marked: faces shorter than {SMALL_FACE_WAVES:g} waves, or turned more than "
                f"{OBLIQUE_DEG:g}° and {STEEP_DEG:g}° from most elements; anything within "
                f"{NEAR_WAVES:g} wave of the elements; flat ends in their own near field; dense "
                "pores.",
                "Errors of faces, peak of the echo: within 1 dB from 0.4 waves and up to 30° of "
                "tilt, 1.5 dB at 45°, 4 dB at 60°; 5 to 12 dB nearer to the face's own plane; "
                "pairs of elements far apart up to 4 dB.",
                "The corner of a notch with the wall was not compared with an exact solution: its "
                "level at angles near the notch's plane follows a bound, see above.",
                "Contact only, no wedge and no water path; longitudinal waves on the direct path.",
            ]
        ),
    ]
