"""How sure a claim is, and whether detection levels off, in words that need no statistics."""

from dataclasses import dataclass

from qualify.dossier.claim_words import bound_of
from qualify.dossier.lookup import governing, readers_of, value, worst_reader
from qualify.dossier.words import mm, percent, share_pm
from qualify.pod.plateau_words import LEVEL
from qualify.study.check_estimates import CASE_WORDS
from qualify.study.result import StudyResult

METHODS = {
    "calibrated": "The limit is set by simulating this very trial.",
    "likelihood": "The limit rests on a rule for large trials and holds less often in small ones.",
    "wald": "The limit rests on a rule for large trials and holds less often in small ones.",
}
MEANT = 0.95
NOT_CLAIMED = "Nothing is stated, as no size is claimed."


@dataclass(frozen=True, slots=True)
class LevelOff:
    """What a reader's data say of a detection that levels off.

    Attributes
    ----------
    top : share found of the largest targets, by the curve that levels off.
    speaks : whether the data speak for it and against a curve that rises to 1.
    a90, a90_95 : under that curve, None where there is none.
    """

    reader: str
    top: float
    speaks: bool
    a90: float | None
    a90_95: float | None

    @property
    def in_question(self) -> bool:
        """Whether the claim must name it."""
        return self.speaks or self.a90 is None


def how_sure(result: StudyResult, kind: str, mode: str) -> str:
    """Say how often the bound holds in simulation, and what speaks against the curve."""
    bound = bound_of(result, kind, mode)
    if bound is None or bound.value is None or bound.in_range is False:
        told = NOT_CLAIMED
    else:
        told = _held(result, kind, mode)
    return " ".join(part for part in (told, level_words(result, kind, mode)) if part)


def _held(result: StudyResult, kind: str, mode: str) -> str:
    reader = worst_reader(result, kind, mode) or ""
    shares = _lowest_shares(result, kind, mode)
    if "fit" not in shares:
        return "Meant: 95 %. How often such a size holds was not simulated."
    fit = result.fits[(result.headline, kind, mode, reader)]
    curve = "the fitted curve" if fit.outcome == "fitted" else "the curve at the bound itself"
    low = min(shares, key=lambda case: shares[case][0])
    share, error = shares["fit"]
    first = "Meant: 95 %." if share + 2.0 * error >= MEANT else "Meant: 95 %, not reached."
    told = f"{first} Simulated, such a size held in {share_pm(share, error)} if {curve} is true"
    if low == "fit":
        return f"{told}, and no less often under each other shape tried."
    return f"{told}; worst other shape tried: {share_pm(*shares[low])}."


def _lowest_shares(result: StudyResult, kind: str, mode: str) -> dict[str, tuple[float, float]]:
    """Return for each true curve the lowest share among the readers whose size is told."""
    out: dict[str, tuple[float, float]] = {}
    for reader in governing(result, kind, mode):
        for case, share in held_shares(result, kind, mode, reader).items():
            out[case] = min(out.get(case, share), share)
    return out


def held_shares(
    result: StudyResult, kind: str, mode: str, reader: str
) -> dict[str, tuple[float, float]]:
    """Return for each true curve simulated how often the bound held, and the error of that."""
    out = {}
    for case in CASE_WORDS:
        share = value(result, f"holds_{case}", kind, mode, reader)
        error = value(result, f"holds_{case}_error", kind, mode, reader)
        if share is not None and error is not None:
            out[str(case)] = (share, error)
    return out


def sure_explained(result: StudyResult) -> str:
    """Explain the row on how sure once, below the boxes."""
    held = next((c.holds["fit"] for c in result.checks.values() if "fit" in c.holds), None)
    first = (
        "95 %: each size is set on the safe side so that 95 of 100 such trials would not promise "
        f"too much. {METHODS[result.inputs.plan.analysis.bound]}"
    )
    read = [
        (p.kind, m.id) for p in result.inputs.plan.populations for m in result.inputs.plan.modes
    ]
    claimed = [bound_of(result, kind, mode) for kind, mode in read]
    nothing = all(b is None or b.value is None or b.in_range is False for b in claimed)
    if held is None or nothing:
        return f"{first}{_level_explained(result)}"
    return (
        f"{first} 'Held': of {held.replicates} trials simulated from a known curve, so many of 100 "
        "told no size that is too small; ± is the error of that count. Simulated, if that curve is "
        "true; no experience with real trials."
        f"{_level_explained(result)} Curve by curve: chapter 9."
    )


def _level_explained(result: StudyResult) -> str:
    plan = result.inputs.plan
    if not any(level_words(result, p.kind, m.id) for p in plan.populations for m in plan.modes):
        return ""
    return " Levels off: however large, no more than that share of the targets examined is found."


def levels_off(result: StudyResult, kind: str, mode: str) -> list[LevelOff]:
    """Return what each reader's data say of a detection that levels off, where a curve exists."""
    out = []
    for reader in readers_of(result, kind, mode):
        top = value(result, "plateau", kind, mode, reader)
        check = result.checks.get((result.headline, kind, mode, reader))
        if top is None or check is None or check.plateau.outcome != "fitted":
            continue
        p = value(result, "plateau_p", kind, mode, reader)
        a90, upper = (
            value(result, f"plateau_{name}", kind, mode, reader) for name in ("a90", "a90_95")
        )
        out.append(LevelOff(reader, top, p is not None and p <= LEVEL, a90, upper))
    return out


def level_words(result: StudyResult, kind: str, mode: str) -> str:
    """Say in plain words where the data speak for a detection that levels off, '' if nowhere."""
    found = [one for one in levels_off(result, kind, mode) if one.in_question]
    if not found:
        return ""
    own = governing(result, kind, mode)
    mine = [one for one in found if one.reader in own]
    parts = [_own(one) for one in mine[:1]]
    others = [f"{one.reader} ({percent(one.top)})" for one in found if one not in mine[:1]]
    if others:
        first = "Also in question" if parts else "Levelling off is in question"
        parts.append(f"{first}: {', '.join(others)}.")
    return " ".join(parts)


def _own(one: LevelOff) -> str:
    at = percent(one.top)
    if not one.speaks:
        return (
            f"A detection that levels off at {at}, so that no size is found 90 of 100 times, is "
            "not excluded."
        )
    first = f"The data speak for a detection that levels off at {at}"
    if one.a90 is None:
        return f"{first}; under such a curve no size is found 90 of 100 times."
    if one.a90_95 is None:
        return f"{first}; a level below 90 % is not excluded."
    size = f"{mm(one.a90_95)} mm, by a rule for large trials"
    return f"{first}; under such a curve the a90/95 is {size}."


def level_stop(result: StudyResult, kind: str, mode: str) -> str | None:
    """Say where levelling off keeps the word 'demonstrated' off a claim, None where it does not.

    That is where the data of a reader whose size is told speak against a curve that rises to
    1, and the curve that levels off gives no a90/95.
    """
    own = governing(result, kind, mode)
    for one in levels_off(result, kind, mode):
        if one.reader in own and one.speaks and one.a90_95 is None:
            return "the data speak for a detection that levels off"
    return None
