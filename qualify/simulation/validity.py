"""Where the model holds: what it refuses, and what it marks.

Limits come from comparison with the exact strip, see `face_checks` and its tests: in pulse-echo the
peak of a face's echo is within 1 dB of the exact one for faces of 0.4 waves and more, tilted by up
to 30° to the beam, within 1.5 dB up to 45°, and within 4 dB up to 60°; pairs of elements far apart
are up to 4 dB off; a face seen nearly along itself is 5 to 12 dB off. Waves are those of the centre
frequency.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.scene import Face, Scene

LEAST_FACE_WAVES = 0.2
SMALL_FACE_WAVES = 0.4
OBLIQUE_DEG, STEEP_DEG = 45.0, 60.0
NEAR_WAVES = 1.0
MOST_PORE_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Remark:
    """Something about a simulated target.

    Attributes
    ----------
    code : a word for it. text : in words. refused : whether it is outside the model.
    """

    code: str
    text: str
    refused: bool = False


def judge(
    scene: Scene, along_mm: NDArray[np.float64], wave_mm: float, pore_share: float = 0.0
) -> tuple[Remark, ...]:
    """Return what is to be said of a scene, each thing once; of faces, those under the array.

    along_mm : (elements,) places of the elements; wave_mm : wavelength at the centre frequency.
    """
    found: list[Remark] = []
    for hole in scene.holes:
        found += _near(hole.z_mm - 0.5 * hole.diameter_mm, wave_mm, "a hole")
    for disc in scene.discs:
        found += _near(disc.z_mm, wave_mm, "a flat end")
        if disc.z_mm < disc.diameter_mm**2 / (4.0 * wave_mm):
            found.append(
                Remark("near_field", "a flat end is seen from its own near field, taken as far")
            )
    for pore in scene.pores:
        found += _near(pore.z_mm - 0.5 * pore.diameter_mm, wave_mm, "a pore")
    if pore_share > MOST_PORE_SHARE:
        found.append(
            Remark(
                "dense_pores",
                f"pores fill more than {MOST_PORE_SHARE:.0%} of a band: echoes between them, left "
                "out, would count",
            )
        )
    reach = float(np.max(np.abs(along_mm)))
    for face in scene.faces:
        if abs(face.x1_mm + face.x2_mm) <= 2.0 * reach:
            found += _face(face, along_mm, wave_mm)
    return tuple(dict.fromkeys(found))


def _near(top_mm: float, wave_mm: float, what: str) -> list[Remark]:
    if top_mm <= 0.0:
        return [Remark("above_face", f"{what} reaches the scan face", refused=True)]
    if top_mm < NEAR_WAVES * wave_mm:
        return [
            Remark("close", f"{what} begins within a wave of the elements: levels there are rough")
        ]
    return []


def _face(face: Face, along_mm: NDArray[np.float64], wave_mm: float) -> list[Remark]:
    along = np.array([face.x2_mm - face.x1_mm, face.z2_mm - face.z1_mm])
    extent = float(np.hypot(*along))
    found = _near(min(face.z1_mm, face.z2_mm), wave_mm, "a face")
    waves = extent / wave_mm
    if waves < LEAST_FACE_WAVES:
        text = f"a face shorter than {LEAST_FACE_WAVES:g} waves is outside the model"
        found.append(Remark("face_tiny", text, refused=True))
    elif waves < SMALL_FACE_WAVES:
        text = f"a face shorter than {SMALL_FACE_WAVES:g} waves: its level is up to 4 dB off"
        found.append(Remark("face_small", text))
    middle = np.array([0.5 * (face.x1_mm + face.x2_mm), 0.5 * (face.z1_mm + face.z2_mm)])
    looks = np.column_stack([along_mm - middle[0], np.full(len(along_mm), -middle[1])])
    across = along[0] * looks[:, 1] - along[1] * looks[:, 0]
    tilt = np.degrees(np.arccos(np.abs(across) / (extent * np.hypot(*looks.T))))
    least = float(np.median(tilt))
    if least > STEEP_DEG:
        text = (
            f"a face turned more than {STEEP_DEG:g}° from most elements: its echo, from its edges "
            "alone, is not validated, and may be 12 dB off"
        )
        found.append(Remark("face_steep", text))
    elif least > OBLIQUE_DEG:
        text = f"a face turned more than {OBLIQUE_DEG:g}° from most elements: up to 4 dB off"
        found.append(Remark("face_oblique", text))
    return found
