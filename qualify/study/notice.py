"""A caution that an analysis raises."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StudyNotice:
    """A code for programs, a sentence for people.

    about : basis, kind of target, mode and reader, with strokes between, as ids of estimates have.
    """

    code: str
    text: str
    about: str
