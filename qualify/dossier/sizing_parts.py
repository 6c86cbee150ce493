"""What the tables of chapter 11 share: rows of sized passes, spans, notes of reasons."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.platypus import Flowable, KeepTogether, Paragraph

from qualify.dossier.layout import small
from qualify.dossier.lookup import estimate, value
from qualify.dossier.style import LEAD
from qualify.dossier.words import clean, general, sentence, signed
from qualify.study.result import StudyResult
from qualify.study.sizing_result import SizingResult


@dataclass(frozen=True, slots=True)
class Sized:
    """The sizes of one kind, mode and reader on the basis of the claim."""

    result: StudyResult
    kind: str
    mode: str
    reader: str
    sizes: SizingResult

    @property
    def one(self) -> tuple[str, str]:
        """Mode and reader."""
        return self.mode, self.reader

    def value(self, statistic: str) -> float | None:
        """Return the value of an estimate of these sizes."""
        return value(self.result, statistic, self.kind, self.mode, self.reader)

    def reason(self, statistic: str) -> str | None:
        """Return why an estimate has no value, None where it has one or was not made."""
        found = estimate(self.result, statistic, self.kind, self.mode, self.reader)
        return None if found is None or found.value is not None else found.reason


def sized(result: StudyResult, kind: str) -> list[Sized]:
    """Return the passes with sizes of a kind, by mode and reader in the plan's order."""
    return [
        Sized(result, kind, mode.id, reader, found)
        for mode in result.inputs.plan.modes
        for reader in result.readers
        if (found := result.sizings.get((result.headline, kind, mode.id, reader))) is not None
    ]


def span(row: Sized, name: str) -> str:
    """Return an interval of signed sizes from the estimates `name`_low and `name`_high."""
    low, high = row.value(f"{name}_low"), row.value(f"{name}_high")
    return "none" if low is None or high is None else f"{signed(low)} to {signed(high)}"


def ratio_span(row: Sized, name: str) -> str:
    """Return an interval of a slope or of an amount, unsigned where it is positive."""
    low, high = row.value(f"{name}_low"), row.value(f"{name}_high")
    if low is None or high is None:
        return "none"
    return " to ".join(f"{end:.2f}".replace("-", "−") for end in (low, high))


def named(rows: Sequence[Sized]) -> str:
    """Return modes with their readers: 'linear R1, R2; coherence R3'."""
    held: dict[str, list[str]] = {}
    for row in rows:
        held.setdefault(row.mode, []).append(row.reader)
    return "; ".join(f"{mode} {', '.join(readers)}" for mode, readers in held.items())


def absent(what: str, rows: Sequence[Sized], statistic: str) -> list[str]:
    """Return a note for each reason why an estimate has no value."""
    held: dict[str, list[Sized]] = {}
    for row in rows:
        reason = row.reason(statistic)
        if reason:
            held.setdefault(reason, []).append(row)
    return [sentence(f"no {what} for {named(who)}: {reason}") for reason, who in held.items()]


def part(title: str, text: str, table: Flowable, notes: Sequence[str] = ()) -> list[Flowable]:
    """Return a lettered heading, a few words and a table, kept together, and notes."""
    head = Paragraph(clean(title), LEAD)
    return [KeepTogether([head, small(text), table]), *[small(note) for note in notes]]


def sizes_of(row: Sized, index: int) -> str:
    """Return a target by name with its true and its reported size."""
    found = row.sizes
    return (
        f"{found.targets[index]}: {general(round(found.true[index], 3))} as "
        f"{general(round(found.reported[index], 3))}"
    )
