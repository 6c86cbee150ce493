"""Where on a piece the array stands."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the array on a block, and the block's bounds seen from there.

    Attributes
    ----------
    block, revision : of the piece; grain belongs to them.
    x_mm, y_mm : middle of the array on the block.
    x_from_mm, x_to_mm : ends of the block in the frame of the recording.
    thickness_mm : of the block.
    from_face : scan face, A or B.
    """

    block: str
    revision: str
    x_mm: float
    y_mm: float
    x_from_mm: float
    x_to_mm: float
    thickness_mm: float
    from_face: str = "A"
