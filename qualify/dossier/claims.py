"""What the study shows, one claim for each mode and kind of target, and its evidence grade."""

from dataclasses import dataclass

from qualify.dossier.beside import beside
from qualify.dossier.claim_sure import how_sure, level_stop
from qualify.dossier.claim_words import (
    bound_of,
    false_calls,
    how_big,
    on_what,
    sizing,
)
from qualify.dossier.lookup import BLANKS, value, worst_caller
from qualify.dossier.order_views import order_recorded, order_stop, software_changed
from qualify.dossier.questions import questions
from qualify.dossier.words import kind_words
from qualify.study.result import StudyResult

BLOCKING = {
    1: "how the sizes of the targets were measured is not shown",
    7: "hits and false calls do not rest on one threshold",
    20: "the scope is wider than the blocks",
}
GRADES = {
    "A": "blind, independent, inside the tested range, order of events recorded",
    "B": "blind, but by one's own body, in part of the range, or with the order only declared",
    "C": "open trial, witnessed",
    "D": "open trial, or blindness not shown",
    "E": "validated model",
    "F": "reasoning or a model that this file does not validate",
}


@dataclass(frozen=True, slots=True)
class Grade:
    """The lowest letter in the chain, and every link of it as (letter, reason)."""

    letter: str
    links: tuple[tuple[str, str], ...]

    @property
    def weakest(self) -> str:
        """The reasons of the links that decide the letter."""
        return "; ".join(text for letter, text in self.links if letter == self.letter)


@dataclass(frozen=True, slots=True)
class Claim:
    """One claim in words of the trade, ready for print."""

    mode: str
    kind: str
    how_big: str
    how_sure: str
    on_what: str
    false_calls: str
    sizing: str
    beside: str
    status: str
    grade: Grade


def claim_of(result: StudyResult, kind: str, mode: str) -> Claim:
    """Return the claim on one kind of target in one mode."""
    return Claim(
        mode=mode,
        kind=kind,
        how_big=how_big(result, kind, mode),
        how_sure=how_sure(result, kind, mode),
        on_what=on_what(result, kind, mode),
        false_calls=false_calls(result, kind, mode),
        sizing=sizing(result, kind, mode),
        beside=beside(result, kind, mode),
        status=_status(result, kind, blocked(result, kind, mode)),
        grade=grade_of(result, kind, mode),
    )


def blocked(result: StudyResult, kind: str, mode: str) -> list[str]:
    """Return what keeps the word 'demonstrated' off this claim, in words."""
    stops = []
    bound = bound_of(result, kind, mode)
    if result.synthetic:
        stops.append("simulated or invented data show nothing of a real component")
    if bound is None or bound.value is None:
        stops.append("no a90/95 exists for the worst reader")
    elif bound.in_range is False:
        stops.append("the a90/95 lies outside the tested sizes")
    level = level_stop(result, kind, mode)
    if level:
        stops.append(level)
    overlap = result.estimates.value(result.headline, "set_overlap", "study")
    if overlap is None:
        stops.append("overlap of set-up and test targets can't be checked")
    elif overlap > 0:
        stops.append("targets of the test were also used before it")
    revisions = result.estimates.value(result.headline, "software_revisions", "study")
    if revisions is None:
        stops.append("no software revision is recorded")
    elif revisions > 1:
        stops.append("more than one software revision was in use")
    order = order_stop(result)
    if order:
        stops.append(order)
    if worst_caller(result, mode) is None:
        stops.append("false calls are not known")
    stops += _too_few_examined(result, kind, mode)
    asked = {question.number: question for question in questions(result)}
    stops += [BLOCKING[n] for n in BLOCKING if asked[n].standing == "open"]
    return stops


def _too_few_examined(result: StudyResult, kind: str, mode: str) -> list[str]:
    limit = result.inputs.plan.not_examined.limit_fraction
    over = sorted(
        {
            reader
            for reader in result.readers
            for what in (kind, BLANKS)
            if (value(result, "not_examined_fraction", what, mode, reader) or 0.0) > limit
        }
    )
    who = ", ".join(over)
    return [f"{who} left more units unexamined than the plan allows"] if over else []


def _status(result: StudyResult, kind: str, stops: list[str]) -> str:
    if not stops:
        return (
            f"Demonstrated, for the size and false calls told here, on {kind_words(kind)} in these "
            "blocks; not on real flaws. Whether that is enough, the criteria below say."
        )
    head = "Not demonstrated"
    if result.synthetic:
        head += " (invented or simulated data only)"
    rest = [s for s in stops if not (result.synthetic and s.startswith("simulated or"))]
    return f"{head}{': ' if rest else ''}{'; '.join(rest)}."


def grade_of(result: StudyResult, kind: str, mode: str) -> Grade:
    """Return the evidence grade of a claim: the lowest letter of its links."""
    plan, declaration = result.inputs.plan, result.inputs.declaration
    links: list[tuple[str, str]] = []
    if declaration.invented:
        links.append(("F", "the data are declared invented"))
    if plan.signal == "none":
        links.append(("F", "no signal exists"))
    if plan.signal == "simulated":
        links.append(
            ("F", "signals are simulated and no measurement was compared with their model")
        )
    if plan.read_by == "model":
        links.append(("F", "readers are modelled"))
    links += [_blind_link(result), _independent_link(result), _order_link(result)]
    bound = bound_of(result, kind, mode)
    if bound is not None and bound.value is not None and bound.in_range:
        links.append(("A", "the bound lies inside the tested sizes"))
    else:
        links.append(("B", "no bound inside the tested sizes: at best a part of the range"))
    return Grade(max(letter for letter, _ in links), tuple(links))


def _blind_link(result: StudyResult) -> tuple[str, str]:
    readers = [r for r in result.inputs.declaration.roles if r.role == "reader"]
    if not readers:
        return ("D", "nobody declares what the readers knew")
    knew = sorted({r.person for r in readers if r.knew_truth in ("blind set", "all")})
    if knew:
        return ("D", f"{', '.join(knew)} read and knew the truth of the blind set")
    return ("A", "no reader knew the truth of the blind set, as declared")


def _independent_link(result: StudyResult) -> tuple[str, str]:
    roles = result.inputs.declaration.roles
    developers = {r.party for r in roles if r.role == "developer"}
    custodians = {r.party for r in roles if r.role == "truth_custodian"}
    if not custodians:
        return ("D", "nobody is named as custodian of the truth")
    if not developers or custodians & developers:
        return ("B", "the truth was held by the developer's own body, or no developer is named")
    readers = {r.party for r in roles if r.role == "reader"}
    if readers & custodians:
        return ("B", "the readers belong to the body that held the truth")
    return ("A", "the truth was held by another body than the developer's")


def _order_link(result: StudyResult) -> tuple[str, str]:
    stop = order_stop(result)
    if stop:
        return ("D", stop)
    if software_changed(result):
        return ("B", "the order of events is recorded, but the software changed after freezing")
    if order_recorded(result):
        return ("A", "the order of events is recorded")
    return ("B", "the order of events is declared, not proven by this file")
