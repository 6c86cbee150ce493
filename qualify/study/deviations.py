"""Deviations: evidence gone wrong, with its recorded remedy.

A deviation stops nothing. It is found from the data, stands red on the face page, and the
results are shown as found and after remedy. A remedy that improves a verdict counts only
with an independent signatory: one of a party other than the developer's.
"""

from dataclasses import dataclass

from qualify.study.declaration import DeviationKind, Remedy

WORDS: dict[str, str] = {
    "set_overlap": "target in two sets at the time of use",
    "software_revision": "software revision changed",
    "call_over_two_units": "one indication claims two grading units",
    "call_unit_mismatch": "a call lies outside the unit it names",
    "person_in_two_roles": "one person in two roles",
    "frozen_after_opening": "frozen after truth was opened",
    "not_frozen_before_opening": "nothing frozen before truth was opened",
    "changed_after_freezing": "changed after it was frozen",
    "sealed_after_start": "truth sealed after the trial had begun",
    "seal_broken": "truth is not what was sealed",
    "seal_not_opened": "truth used, and no opening recorded",
    "changed_after_opening": "calls changed after truth was opened",
    "log_broken": "log of events changed",
}


@dataclass(frozen=True, slots=True)
class Deviation:
    """One deviation.

    Attributes
    ----------
    number : D1, D2 ... in order of finding.
    kind : see `WORDS`.
    subject : what it is about, as `R3/coherence` or a target's id.
    text : what was found, one sentence.
    remedy : the recorded remedy, None if there is none.
    independent : whether the remedy was signed by somebody independent of the developer.
    """

    number: str
    kind: DeviationKind
    subject: str
    text: str
    remedy: Remedy | None
    independent: bool

    @property
    def in_words(self) -> str:
        """The kind in words."""
        return WORDS[self.kind]
