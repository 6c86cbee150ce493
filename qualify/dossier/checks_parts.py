"""What the tables of chapter 9 share: rows of checked curves, lettered headings, grouped notes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reportlab.platypus import Flowable, KeepTogether, Paragraph

from qualify.criteria.estimate import Estimate
from qualify.dossier.layout import small
from qualify.dossier.lookup import estimate, value
from qualify.dossier.style import LEAD
from qualify.dossier.words import clean, kind_words, sentence, size_cell
from qualify.dossier.worst import worst_words
from qualify.pod.hit_miss import HitMissFit
from qualify.study.curve_checks import CurveCheck
from qualify.study.result import StudyResult


@dataclass(frozen=True, slots=True)
class Checked:
    """A curve and its checks; `label` is the reader with ' (worst)' where so."""

    result: StudyResult
    kind: str
    mode: str
    reader: str
    label: str
    fit: HitMissFit
    check: CurveCheck

    @property
    def name(self) -> str:
        """Mode and reader."""
        return f"{self.mode} {self.reader}"

    def estimate(self, statistic: str) -> Estimate | None:
        """Return an estimate of this curve on the basis of the claim."""
        return estimate(self.result, statistic, self.kind, self.mode, self.reader)

    def size(self, statistic: str) -> str:
        """Return a size of this curve for a table, * where it lies outside the sizes tested."""
        return size_cell(self.estimate(statistic))

    def value(self, statistic: str) -> float | None:
        """Return the value of an estimate of this curve."""
        return value(self.result, statistic, self.kind, self.mode, self.reader)


def checked(result: StudyResult, kind: str) -> list[Checked]:
    """Return the checked curves of a kind, by mode and reader in the plan's order."""
    out = []
    for mode in result.inputs.plan.modes:
        worst = worst_words(result, kind, mode.id)
        for reader in result.readers:
            cell = (result.headline, kind, mode.id, reader)
            fit, check = result.fits.get(cell), result.checks.get(cell)
            if fit is not None and check is not None:
                label = reader + worst.get(reader, "")
                out.append(Checked(result, kind, mode.id, reader, label, fit, check))
    return out


def block(
    kind: str, title: str, text: str, table: Flowable, notes: Sequence[str]
) -> list[Flowable]:
    """Return a lettered heading, a few words and a table, kept together, and notes."""
    head = Paragraph(clean(f"{title} ({kind_words(kind)})"), LEAD)
    return [KeepTogether([head, small(text), table]), *[small(note) for note in notes]]


def named(rows: Sequence[Checked]) -> str:
    """Return modes with their readers: 'linear R1, R2; coherence R3'."""
    held: dict[str, list[str]] = {}
    for row in rows:
        held.setdefault(row.mode, []).append(row.reader)
    return "; ".join(f"{mode} {', '.join(readers)}" for mode, readers in held.items())


def absent(what: str, rows: Sequence[Checked], why: Callable[[Checked], str | None]) -> list[str]:
    """Return a note for each reason why a value does not exist: 'No ... for ...: reason.'."""
    held: dict[str, list[Checked]] = {}
    for row in rows:
        reason = why(row)
        if reason:
            held.setdefault(reason, []).append(row)
    return [sentence(f"no {what} for {named(who)}: {reason}") for reason, who in held.items()]


def reason_of(row: Checked, statistic: str) -> str | None:
    """Return why an estimate has no value, None where it has one or was not asked for."""
    found = row.estimate(statistic)
    return None if found is None or found.value is not None else found.reason


def reason_for(statistic: str) -> Callable[[Checked], str | None]:
    """Return `reason_of` for one statistic."""
    return lambda row: reason_of(row, statistic)
