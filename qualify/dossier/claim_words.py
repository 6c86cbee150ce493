"""The sentences of a claim: how big, how sure, on what, false calls, sizing."""

from qualify.criteria.estimate import Estimate
from qualify.criteria.words import ALL_READERS
from qualify.dossier.lookup import (
    BLANKS,
    FLAWED,
    estimate,
    governing,
    readers_of,
    value,
    worst_caller,
    worst_reader,
)
from qualify.dossier.words import kind_words, mm, percent, sentence, signed, whole
from qualify.pod.plateau_words import LEVEL
from qualify.study.result import StudyResult


def bound_of(result: StudyResult, kind: str, mode: str) -> Estimate | None:
    """Return the a90/95 of the worst reader, None where nobody read the kind."""
    worst = worst_reader(result, kind, mode)
    return None if worst is None else estimate(result, "a90_95", kind, mode, worst)


def how_big(result: StudyResult, kind: str, mode: str) -> str:
    """Say from which size on targets are found, or why no size can be told."""
    words = sentence(result.inputs.plan.population(kind).size_in_words)[:-1]
    worst, bound = worst_reader(result, kind, mode), bound_of(result, kind, mode)
    if worst is None:
        return f"No size can be told: no {kind_words(kind)} were read in this mode."
    if bound is None or bound.value is None:
        reason = bound.reason if bound is not None and bound.reason else "no curve was fitted"
        counted = _counted(result, kind, mode, worst)
        return f"No size can be told. Worst reader, {worst}: {reason}. {counted}"
    low = value(result, "smallest_size", kind, mode, worst)
    high = value(result, "largest_size", kind, mode, worst)
    tested = f"{mm(low)} to {mm(high)} mm were tested"
    counted = f"{_counted(result, kind, mode, worst)} {_missed(result, kind, mode)}"
    if bound.in_range is False:
        side = "above" if high is not None and bound.value > high else "below"
        return (
            f"No size is claimed: the a90/95 of the worst reader, {worst}, comes to "
            f"{mm(bound.value)} mm, {side} the sizes tested ({tested}). {counted}"
        )
    return (
        f"{words} {mm(bound.value)} mm (a90/95 of "
        f"{_worst_words(governing(result, kind, mode))}): "
        f"{_premise(result, kind, mode, worst)}, 90 of 100 such targets of this size are found, "
        f"and more of larger ones. {tested}. {counted}"
    )


def _worst_words(readers: list[str]) -> str:
    """Name the worst reader, with those whose size reads the same."""
    if len(readers) > 1:
        return f"the worst readers, {', '.join(readers[:-1])} and {readers[-1]}"
    return f"the worst reader, {readers[0]}"


def _premise(result: StudyResult, kind: str, mode: str, reader: str) -> str:
    """Say on what the size rests: on the fitted curve, or without one on the form of the plan."""
    fit = result.fits[(result.headline, kind, mode, reader)]
    if fit.outcome == "fitted":
        return "if the fitted curve holds"
    return (
        "no curve can be drawn, as no target missed is larger than any found; if "
        "detection has the form that the plan fixed, however steep"
    )


def _counted(result: StudyResult, kind: str, mode: str, reader: str) -> str:
    """Say hits of targets; with none missed, what that shows and what not."""
    n = value(result, "targets", kind, mode, reader)
    hits = value(result, "hits", kind, mode, reader)
    if n is None or hits is None or not n:
        return "No target of this kind was read."
    told = f"{whole(hits)} of {whole(n)} were found in all"
    if hits == n:
        lower = value(result, "detection_rate_lower", kind, mode, reader)
        told += f"; none missed of {whole(n)} shows no more than {percent(lower)} (lower bound)"
    return told + "."


def _missed(result: StudyResult, kind: str, mode: str) -> str:
    """Name each reader's largest miss, and say where such misses put the curve in doubt."""
    misses = [
        (size, reader)
        for reader in readers_of(result, kind, mode)
        if (size := value(result, "largest_miss", kind, mode, reader)) is not None
    ]
    if not misses:
        return "No target that was examined was missed."
    by_size: dict[str, list[str]] = {}
    for size, reader in sorted(misses, key=lambda item: -item[0]):
        by_size.setdefault(mm(size), []).append(reader)
    told = ", ".join(f"{size} mm ({', '.join(who)})" for size, who in by_size.items())
    about = f"{result.headline}/{kind}/{mode}/"
    doubt = any(n.code == "lapses" and n.about.startswith(about) for n in result.notices)
    end = "; misses so large put the curve in doubt" if doubt else ""
    return f"Largest missed: {told}{end}."


def on_what(result: StudyResult, kind: str, mode: str) -> str:
    """Say what was read and by whom, how much was not examined, and who set the mode up."""
    worst, plan = worst_reader(result, kind, mode), result.inputs.plan
    if worst is None:
        return f"on no {kind_words(kind)}"
    readers = readers_of(result, kind, mode)
    n = value(result, "targets", kind, mode, worst)
    signal = {"measured": "", "simulated": ", simulated signals", "none": "; no signal exists"}
    by = {"person": "readers", "rule": "reading by a rule", "model": "modelled readers"}
    lost = [int(value(result, "not_examined", kind, mode, r) or 0) for r in readers]
    most = f"up to {max(lost)} a reader not examined" if max(lost) else "all examined"
    few = "; fewer than 60" if n is not None and n < 60 else ""
    return (
        f"On {kind_words(kind)} in these blocks{signal[plan.signal]}; {whole(n)} targets{few}, "
        f"{most}; {len(readers)} {by[plan.read_by]}; mode set up by {plan.mode(mode).set_up_by}."
        f"{_mixed(result, kind, mode)}{_alike(result, kind, mode)}"
    )


def _mixed(result: StudyResult, kind: str, mode: str) -> str:
    """Say where detection changes with depth or tilt for a reader."""
    parts = []
    for name in ("depth", "tilt"):
        statistic = f"covariate_{name}_p"
        readers = [
            r
            for r in readers_of(result, kind, mode)
            if (p := value(result, statistic, kind, mode, r)) is not None and p <= LEVEL
        ]
        if readers:
            parts.append(f" Detection changes with {name} ({', '.join(readers)}).")
    return "".join(parts)


def _alike(result: StudyResult, kind: str, mode: str) -> str:
    """Say where readers found exactly the same targets."""
    about = f"/{kind}/{mode}/"
    alike = any(n.code == "identical_readers" and about in n.about for n in result.notices)
    return " Readers agree target for target." if alike else ""


def false_calls(result: StudyResult, kind: str, mode: str) -> str:
    """Say the false calls of the reader whose size is told, and of the worst one."""
    worst = worst_caller(result, mode)
    if worst is None:
        return "Not known: no blank unit was read, so no number of finds means much."
    own = governing(result, kind, mode)
    told = [f"Worst, {worst}: {_rate(result, mode, worst)}"]
    if own and worst not in own:
        most = max(
            own, key=lambda r: value(result, "false_call_rate_upper", BLANKS, mode, r) or 0.0
        )
        which = "whose size this is" if len(own) == 1 else "the worst of those whose size this is"
        if value(result, "a90_95", kind, mode, most) is None:
            which = "who finds least"
        told.insert(0, f"{most}, {which}: {_rate(result, mode, most)}")
    away = [
        (int(value(result, "false_calls", FLAWED, mode, reader) or 0), reader)
        for reader in result.readers
    ]
    number, reader = max(away, key=lambda item: item[0])
    if number:
        told.append(f"Beside targets in flawed units: up to {number} more ({reader})")
    return ". ".join(told) + "."


def _rate(result: StudyResult, mode: str, reader: str) -> str:
    called = value(result, "units_called", BLANKS, mode, reader)
    blank = value(result, "blank_units", BLANKS, mode, reader)
    rate = value(result, "false_call_rate", BLANKS, mode, reader)
    upper = value(result, "false_call_rate_upper", BLANKS, mode, reader)
    return (
        f"{whole(called)} of {whole(blank)} blank units ({percent(rate)}, upper bound "
        f"{percent(upper)})"
    )


def sizing(result: StudyResult, kind: str, mode: str) -> str:
    """Say the sizing error of the reader with the largest, '' for a kind that is not sized."""
    if not result.inputs.plan.population(kind).sized:
        return ""
    rows = [
        (rmse, reader)
        for reader in readers_of(result, kind, mode)
        if (rmse := value(result, "sizing_rmse", kind, mode, reader)) is not None
    ]
    if not rows:
        return "No size was reported."
    rmse, reader = max(rows, key=lambda item: item[0])
    bias = value(result, "sizing_bias", kind, mode, reader)
    sized = value(result, "sized", kind, mode, reader)
    under = [(value(result, "largest_undersizing", kind, mode, r) or 0.0, r) for _, r in rows]
    worst, whose = max(under, key=lambda item: item[0])
    return (
        f"Worst, {reader}: usual error (RMSE) {mm(rmse)} mm, mean error (bias) {signed(bias)} mm, "
        f"{whole(sized)} sized; largest undersizing {mm(worst)} mm ({whose})."
    )


def answer(result: StudyResult) -> str:
    """Set the two modes side by side, with the ratio of a90 on the same targets."""
    plan = result.inputs.plan
    one, other = plan.claim.candidate_mode, plan.claim.reference_mode
    if other is None:
        return ""
    parts = []
    for population in plan.populations:
        sizes = [bound_of(result, population.kind, mode) for mode in (one, other)]
        told = [
            f"{mm(b.value)} mm" if b is not None and b.value is not None else "none" for b in sizes
        ]
        parts.append(f"{kind_words(population.kind)} {told[0]} against {told[1]}")
    sizes_told = f"Worst readers' a90/95, {one} against {other}: {'; '.join(parts)}."
    return " ".join(part for part in (_ratios(result), sizes_told, _sizes_told(result)) if part)


def _sizes_told(result: StudyResult) -> str:
    """Return the sizing error of both modes, worst readers, for kinds that are sized."""
    plan, parts = result.inputs.plan, []
    for population in plan.populations:
        errors = [
            max(known)
            for mode in (plan.claim.candidate_mode, plan.claim.reference_mode or "")
            if (known := [
                e for r in result.readers
                if (e := value(result, "sizing_rmse", population.kind, mode, r)) is not None
            ])
        ]  # fmt: skip
        if population.sized and len(errors) == 2:
            parts.append(f"{kind_words(population.kind)} {mm(errors[0])} against {mm(errors[1])}")
    return f"Their usual sizing error (RMSE), mm: {'; '.join(parts)}." if parts else ""


def _together(result: StudyResult) -> str:
    """Return the ratio of a90 of all readers together, by kind; '' for one reader."""
    parts = []
    for population in result.inputs.plan.populations:
        ratio, low, high = (
            result.estimates.value(result.headline, f"a90_ratio{end}", population.kind,
                                   result.inputs.plan.claim.candidate_mode, ALL_READERS)
            for end in ("", "_low", "_high")
        )  # fmt: skip
        if ratio is not None and low is not None and high is not None:
            parts.append(f"{kind_words(population.kind)} {ratio:.2f} ({low:.2f} to {high:.2f})")
    return f" All readers together: {'; '.join(parts)}." if parts else ""


def _ratios(result: StudyResult) -> str:
    """Return the ratio of a90 of the reader with the largest upper bound, by kind."""
    plan, on = result.inputs.plan, result.headline
    mode, parts = plan.claim.candidate_mode, []
    for population in plan.populations:
        found = [
            result.estimates.get(on, "a90_ratio_upper", population.kind, mode, reader)
            for reader in result.readers
        ]
        known = [e for e in found if e is not None and e.value is not None]
        if not known or len(known) < len(result.readers):
            parts.append(f"{kind_words(population.kind)} not for every reader")
            continue
        worst = max(known, key=lambda e: e.value or 0.0)
        point = result.estimates.value(on, "a90_ratio", population.kind, mode, worst.reader)
        told = "none" if point is None else f"{point:.2f}"
        parts.append(
            f"{kind_words(population.kind)} {told}, upper 95 % bound {worst.value:.2f} "
            f"({worst.reader})"
        )
    if not any("bound" in part for part in parts):
        return "Not answered: the ratio of a90 has no upper bound for one reader or more."
    return (
        "On the same targets, a90 of the candidate over the reference's, of the reader with the "
        f"largest bound: {'; '.join(parts)}.{_together(result)} A bound above 1 leaves open that "
        "the candidate finds less."
    )
