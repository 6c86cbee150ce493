"""What of a study goes against its log of events."""

from datetime import date

from qualify.evidence.commitment import differing
from qualify.evidence.events import Entry
from qualify.files import digest
from qualify.study.declaration import Declaration
from qualify.study.frozen_parts import SOFTWARE, changed_parts, words_of
from qualify.study.order_events import moment_words
from qualify.study.order_log import Frozen, OrderLog, Recorded, Standing
from qualify.study.result import Found


def found_in_log(recorded: Recorded | None, declaration: Declaration) -> list[Found]:
    """Return the deviations that the log shows; of a broken log only where it is broken."""
    if recorded is None:
        return []
    log, now = recorded.log, recorded.now
    if log.breaks:
        return [
            ("log_broken", f"line {b.line}", f"Line {b.line} of the log of events {b.found}.")
            for b in log.breaks
        ]
    return [
        *_not_frozen(log),
        *_changed(log, now),
        *_sealed_late(log, declaration),
        *_seal(log, now),
        *_sheets(log, now),
    ]


def _at(entry: Entry) -> str:
    return f"{moment_words(entry.at)} (entry {entry.number})"


def _not_frozen(log: OrderLog) -> list[Found]:
    if log.opening is None or log.freeze is not None:
        return []
    text = f"Truth was opened on {_at(log.opening[0])}, and nothing had been frozen before"
    if log.freezes:
        text += f"; the freeze of {_at(log.freezes[0][0])} came too late"
    return [("not_frozen_before_opening", "plan", f"{text}.")]


def _changed(log: OrderLog, now: Standing) -> list[Found]:
    if log.freeze is None:
        return []
    entry, frozen = log.freeze
    found: list[Found] = [
        (
            "changed_after_freezing",
            part,
            f"{_capital(words_of(part))}: not what was frozen on {_at(entry)}"
            f"{_how(frozen, now, part)}.",
        )
        for part in changed_parts(frozen.parts, now.parts)
    ]
    if frozen.software != now.software:
        then, program = frozen.software, now.software
        versions = f"version {then.version}, digest {then.sha256[:12]}…"
        text = f"The software: frozen on {_at(entry)} as {versions}; the analysis used version "
        text += f"{program.version}, digest {program.sha256[:12]}…."
        found.append(("changed_after_freezing", SOFTWARE, text))
    return found


def _how(frozen: Frozen, now: Standing, part: str) -> str:
    if part not in now.parts:
        return ", it was taken out"
    return "" if part in frozen.parts else ", it was put in later"


def sealed_late(at: str, begun: date) -> bool:
    """Whether a moment of the log lies after the day on which a trial began."""
    return date.fromisoformat(at[:10]) > begun


def _sealed_late(log: OrderLog, declaration: Declaration) -> list[Found]:
    if log.seal is None:
        return []
    entry, begun = log.seal[0], declaration.trial_from
    if not sealed_late(entry.at, begun):
        return []
    text = f"Truth was sealed on {_at(entry)}; the trial had begun on {begun.isoformat()}."
    return [("sealed_after_start", "truth", text)]


def _seal(log: OrderLog, now: Standing) -> list[Found]:
    if log.opening is None:
        if log.seal is None:
            return []
        text = f"Truth was sealed on {_at(log.seal[0])}; no opening is in the log, so that nobody "
        text += "can check whether it is still what was sealed."
        return [("seal_not_opened", "truth", text)]
    opening, opened = log.opening
    if log.seal is None:
        text = f"Truth was opened on {_at(opening)}, and no seal of it is in the log."
        return [("seal_broken", "truth", text)]
    entry, sealed = log.seal
    salt = bytes.fromhex(opened.salt)
    if digest(salt) != sealed.salt_sha256:
        text = f"The salt given on {_at(opening)} is not that of the seal of {_at(entry)}."
        return [("seal_broken", "truth", text)]
    return [
        ("seal_broken", name, f"{name}: not what was sealed on {_at(entry)}.")
        for name in differing(salt, sealed.commitment, sealed.files, now.truth)
    ]


def _sheets(log: OrderLog, now: Standing) -> list[Found]:
    if log.opening is None:
        return []
    entry, opened = log.opening
    then = opened.call_sheets
    before, opened_on = f"recorded on {_at(entry)}", f"when truth was opened, on {_at(entry)}"
    told = [(n, f"{before}, it is not there now") for n in sorted(set(then) - set(now.sheets))]
    told += [(n, f"{opened_on}, it was not there yet") for n in sorted(set(now.sheets) - set(then))]
    told += [
        (name, f"{before}, it has another content now")
        for name in sorted(set(then) & set(now.sheets))
        if then[name] != now.sheets[name]
    ]
    return [("changed_after_opening", name, f"{name}: {how}.") for name, how in told]


def recorded_dates(recorded: Recorded | None) -> tuple[list[date], list[date]]:
    """Return the days of the freeze that counts and of the opening, as far as they are recorded."""
    if recorded is None or recorded.log.breaks:
        return [], []
    return (
        [date.fromisoformat(e[0].at[:10]) for e in (recorded.log.freeze,) if e is not None],
        [date.fromisoformat(e[0].at[:10]) for e in (recorded.log.opening,) if e is not None],
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
