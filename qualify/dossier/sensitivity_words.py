"""What the results hang on, in sentences."""

from qualify.dossier.words import kind_words, listed
from qualify.study.result import StudyResult
from qualify.study.sensitivity import ONE_READER
from qualify.study.sensitivity_estimates import change
from qualify.study.sensitivity_rows import PLANNED, Sensitivity
from qualify.study.variations import ALL_EXAMINED

NO_CHOICE = (ALL_EXAMINED, ONE_READER)  # nothing there to choose otherwise
LEAST = 0.0005  # of a change in print: less is none


def change_words(value: float | None) -> str:
    """Return a change in per cent, with its sign."""
    if value is None:
        return "–"
    if abs(value) < LEAST:
        return "0.0 %"
    return f"{100 * value:+.1f} %".replace("-", "−")


def changes_under(result: StudyResult) -> list[str]:
    """Return each verdict that changes and where: 'C2 a90/95 becomes met: without reader R2'."""
    out: dict[str, list[str]] = {}
    for held in result.sensitivity.values():
        for row in held.rows:
            how = "" if row.key.startswith("without_") else " by likelihood bounds"
            for clause, _, after in row.changed:
                out.setdefault(f"{clause} becomes {after}{how}", []).append(row.words)
    return [f"{turn}: {listed(list(dict.fromkeys(words)))}" for turn, words in out.items()]


def not_shown(result: StudyResult) -> list[str]:
    """Return the choices that could be shown for no kind and mode, each with its reason."""
    rows = [row for held in result.sensitivity.values() for row in held.rows]
    shown = {row.key for row in rows if row.absent is None}
    reasons: dict[str, list[str]] = {}
    for row in rows:
        if row.absent is not None and row.key not in shown and row.absent not in NO_CHOICE:
            reasons.setdefault(row.absent, []).append(row.words)
    return [f"{listed(list(dict.fromkeys(words)))} ({why})" for why, words in reasons.items()]


def other_by_likelihood(result: StudyResult, held: Sensitivity) -> list[str]:
    """Say where likelihood bounds as planned give another verdict than the plan's bound."""
    on = result.headline
    record = {(v.criterion, v.clause): v.status for v in result.verdicts if v.basis == on}
    return [
        f"By likelihood bounds {name} would be {status}; by the plan's bound it is "
        f"{record[(id_, number)]}, and that verdict stands."
        for id_, number, name, status in held.clauses
        if record.get((id_, number), status) != status
    ]


def verdict_words(result: StudyResult) -> str:
    """Say in one clause whether verdicts hold: 'verdicts hold in all choices shown'."""
    changes = changes_under(result)
    if changes:
        return f"a verdict changes where a choice is another: {'; '.join(changes)}"
    if any(held.clauses for held in result.sensitivity.values()):
        return "verdicts hold in all choices that could be shown"
    return "no criterion bears on these numbers"


def hangs_on(result: StudyResult) -> list[str]:
    """Return the sentences at the head of the chapter."""
    words = verdict_words(result)
    out = [f"{words[:1].upper()}{words[1:]}."]
    absent = not_shown(result)
    if absent:
        out.append(f"Could be shown nowhere: {'; '.join(absent)}.")
    return out


def moved_most(held: Sensitivity) -> str:
    """Say how far the largest a90/95 of the readers moves, and under which choices."""
    planned = held.planned.worst
    moved = {
        row.words: value
        for row in held.rows
        if row.key != PLANNED and (value := change(row.worst, planned)) is not None
    }
    if planned is None or planned.a90_95 is None:
        return "As planned there is no likelihood bound: nothing to compare with."
    if not moved or max(map(abs, moved.values())) < LEAST:
        return "No choice that could be shown moves the largest a90/95."
    low, high = min(moved, key=lambda w: moved[w]), max(moved, key=lambda w: moved[w])
    parts = []
    if moved[low] <= -LEAST:
        parts.append(f"down by {-100 * moved[low]:.1f} % ({low})")
    if moved[high] >= LEAST:
        parts.append(f"up by {100 * moved[high]:.1f} % ({high})")
    return f"The largest a90/95 of the readers moves {' and '.join(parts)}."


def matching_words(result: StudyResult) -> str | None:
    """Say what another matching box does, None where it could not be shown."""
    rows = [
        (place, row)
        for place, held in result.sensitivity.items()
        for row in held.rows
        if row.key.startswith("box_") and row.absent is None
    ]
    if not rows:
        return None
    changes = []
    for (kind, mode), row in rows:
        planned = {t.reader: t for t in result.sensitivity[(kind, mode)].planned.readers}
        differ = [t for t in row.readers if t.hits != planned[t.reader].hits]
        if differ:
            most = max(abs(t.hits - planned[t.reader].hits) for t in differ)
            hits = "1 hit" if most == 1 else f"up to {most} hits"
            moves = [m for t in row.readers if (m := change(t, planned[t.reader])) is not None]
            moved = f", a90/95 by {change_words(max(moves, key=abs))}" if moves else ""
            changes.append(f"{kind_words(kind)}, {mode}, {row.words}: {hits}{moved}")
    if not changes:
        return "A matching box half and one and a half times as wide gives the same hits."
    return f"Hits differ with another box: {'; '.join(changes)}; chapter 13."
