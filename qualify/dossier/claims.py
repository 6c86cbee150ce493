"""What the study shows, one claim for each mode and kind of target, and its evidence grade."""

from dataclasses import dataclass

from qualify.criteria.estimate import Estimate
from qualify.dossier.beside import beside
from qualify.dossier.lookup import BLANKS, order_stop, readers_of, value, worst_reader
from qualify.dossier.questions import questions
from qualify.dossier.words import kind_words, mm, percent, sentence, whole
from qualify.study.result import StudyResult

HOLDS = {
    "likelihood": "likelihood bound; holds less often than it says in small samples",
    "wald": "delta-method bound; holds less often than it says in small samples",
}
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
    beside: str
    status: str
    grade: Grade


def claim_of(result: StudyResult, kind: str, mode: str) -> Claim:
    """Return the claim on one kind of target in one mode."""
    bound = _bound(result, kind, mode)
    stops = blocked(result, kind, mode)
    grade = grade_of(result, kind, mode)
    return Claim(
        mode=mode,
        kind=kind,
        how_big=_how_big(result, kind, mode, bound),
        how_sure=_how_sure(result, bound),
        on_what=_on_what(result, kind, mode),
        false_calls=_false_calls(result, mode),
        beside=beside(result, kind, mode),
        status=_status(result, kind, stops),
        grade=grade,
    )


def _bound(result: StudyResult, kind: str, mode: str) -> Estimate | None:
    worst = worst_reader(result, kind, mode)
    if worst is None:
        return None
    return result.estimates.get(result.headline, "a90_95", kind, mode, worst)


def _how_big(result: StudyResult, kind: str, mode: str, bound: Estimate | None) -> str:
    words = result.inputs.plan.population(kind).size_in_words
    worst = worst_reader(result, kind, mode)
    if worst is None:
        return f"No size can be told: no {kind_words(kind)} were read in this mode."
    if bound is None or bound.value is None:
        reason = bound.reason if bound is not None and bound.reason else "no curve was fitted"
        counted = _counted(result, kind, mode, worst)
        return f"No size can be told. Worst reader, {worst}: {reason}. {counted}"
    low = result.estimates.value(result.headline, "smallest_size", kind, mode, worst)
    high = result.estimates.value(result.headline, "largest_size", kind, mode, worst)
    tested = f"{mm(low)} to {mm(high)} mm were tested"
    if bound.in_range is False:
        side = "above" if high is not None and bound.value > high else "below"
        return (
            f"No size is claimed: the a90/95 of the worst reader, {worst}, comes to "
            f"{mm(bound.value)} mm, {side} the sizes tested ({tested}). "
            f"{_counted(result, kind, mode, worst)}"
        )
    return (
        f"{sentence(words)[:-1]} of {mm(bound.value)} mm (a90/95 of the worst reader, {worst}): "
        f"from this size on, 90 of 100 such targets or more are found. {tested}. "
        f"{_counted(result, kind, mode, worst)}"
    )


def _counted(result: StudyResult, kind: str, mode: str, reader: str) -> str:
    """Say hits of targets; with none missed, what that shows and what not."""
    where = (result.headline,), (kind, mode, reader)
    n = result.estimates.value(*where[0], "targets", *where[1])
    hits = result.estimates.value(*where[0], "hits", *where[1])
    lower = result.estimates.value(*where[0], "detection_rate_lower", *where[1])
    if n is None or hits is None or not n:
        return "No target of this kind was read."
    told = f"{whole(hits)} of {whole(n)} were found, all sizes together"
    if hits == n:
        told += f"; none missed of {whole(n)} shows no more than {percent(lower)} (lower bound)"
    return told + "."


def _how_sure(result: StudyResult, bound: Estimate | None) -> str:
    if bound is None or bound.value is None or bound.in_range is False:
        return "No sureness is stated, as no size is claimed."
    method = result.inputs.plan.analysis.bound
    return (
        "95 %, one-sided: a bound is drawn on the safe side so that, by its own account, 95 of "
        f"100 such trials would not promise too much ({HOLDS[method]})."
    )


def _on_what(result: StudyResult, kind: str, mode: str) -> str:
    worst = worst_reader(result, kind, mode)
    readers = readers_of(result, kind, mode)
    if worst is None:
        return f"on no {kind_words(kind)}"
    n = result.estimates.value(result.headline, "targets", kind, mode, worst)
    signal = "" if result.inputs.plan.signal == "measured" else ", simulated signals"
    by = {"person": "readers", "rule": "reading by a rule", "model": "modelled readers"}
    return (
        f"On {kind_words(kind)} in these blocks{signal}; {whole(n)} targets, {len(readers)} "
        f"{by[result.inputs.plan.read_by]}."
    )


def _false_calls(result: StudyResult, mode: str) -> str:
    rows = [
        (upper, reader)
        for reader in result.readers
        if (
            upper := result.estimates.value(
                result.headline, "false_call_rate_upper", "blank_units", mode, reader
            )
        )
        is not None
    ]
    if not rows:
        return "Not known: no blank unit was read, so no number of finds means much."
    upper, reader = max(rows)
    get = result.estimates.value
    called = get(result.headline, "units_called", "blank_units", mode, reader)
    blank = get(result.headline, "blank_units", "blank_units", mode, reader)
    rate = get(result.headline, "false_call_rate", "blank_units", mode, reader)
    return (
        f"{whole(called)} of {whole(blank)} blank units called ({percent(rate)}; upper bound "
        f"{percent(upper)}), worst reader {reader}, same reading rule and readings."
    )


def blocked(result: StudyResult, kind: str, mode: str) -> list[str]:
    """Return what keeps the word 'demonstrated' off this claim, in words."""
    stops = []
    bound = _bound(result, kind, mode)
    if result.synthetic:
        stops.append("simulated or invented data show nothing of a real component")
    if bound is None or bound.value is None:
        stops.append("no a90/95 exists for the worst reader")
    elif bound.in_range is False:
        stops.append("the a90/95 lies outside the tested sizes")
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
    if _false_calls(result, mode).startswith("Not known"):
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
    if plan.signal == "simulated":
        links.append(("F", "signals are simulated and this file holds no validation of the model"))
    if plan.read_by == "model":
        links.append(("F", "readers are modelled"))
    links += [_blind_link(result), _independent_link(result), _order_link(result)]
    bound = _bound(result, kind, mode)
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
    return ("A", "the truth was held by another body than the developer's")


def _order_link(result: StudyResult) -> tuple[str, str]:
    stop = order_stop(result)
    if stop:
        return ("D", stop)
    needed = ("plan_frozen", "calls_committed", "truth_opened")
    if all(e.status == "recorded" for e in result.events if e.kind in needed):
        return ("A", "the order of events is recorded")
    return ("B", "the order of events is declared, not proven by this file")
