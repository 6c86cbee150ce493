"""What readings by rule say to the question asked, in a few sentences for page 1."""

from qualify.dossier.lookup import BLANKS, estimate, value
from qualify.dossier.rule_views import as_study, modes_read
from qualify.dossier.words import kind_words, mm, p_value, percent, sentence, whole
from qualify.study.plan import Population
from qualify.study.result import StudyResult
from qualify.study.rule_analysis import against

CLEAR = 0.05
SHOWN = 5


def rule_answer(result: StudyResult) -> str:
    """Return the sentences; empty where nothing was read by rule."""
    own = as_study(result)
    if own is None or own.inputs.plan.claim.reference_mode is None:
        return ""
    kinds = [_kind(own, p) for p in own.inputs.plan.populations]
    parts = [_head(own), *kinds, grain_caution(own)]
    return " ".join(part for part in parts if part)


def _head(own: StudyResult) -> str:
    reading, reader = own.inputs.reading, own.readers[0]
    rate = "one declared false-call rate"
    if reading is not None:
        rate = f"the same declared false-call rate ({percent(reading.thresholds.declared_rate)})"
    called = [
        f"{mode} {whole(value(own, 'units_called', BLANKS, mode, reader))} of "
        f"{whole(value(own, 'blank_units', BLANKS, mode, reader))}"
        for mode in modes_read(own)
    ]
    return f"Each mode at {rate}; blank units called: {', '.join(called)}."


def _kind(own: StudyResult, population: Population) -> str:
    kind, reader = population.kind, own.readers[0]
    claim = own.inputs.plan.claim
    candidate, reference = claim.candidate_mode, str(claim.reference_mode)
    found = [f"{mode} {whole(value(own, 'hits', kind, mode, reader))}" for mode in modes_read(own)]
    total = whole(value(own, "targets", kind, candidate, reader))
    words = kind_words(kind)
    told = [f"Of {total} {words} found: {', '.join(found)}"]
    ratio = value(own, "a90_ratio", kind, candidate, reader)
    upper = value(own, "a90_ratio_upper", kind, candidate, reader)
    shown = estimate(own, "a90_ratio", kind, candidate, reader)
    if ratio is None or shown is None or shown.in_range is not True:
        told.append("no ratio of a90: one of them lies outside the sizes tested, or none exists")
    else:
        bound = "no upper bound" if upper is None else f"upper 95 % bound {mm(upper)}"
        told.append(f"a90 of {candidate} over that of {reference} {mm(ratio)}, {bound}")
    for mode in modes_read(own):
        if mode not in (candidate, reference):
            told.append(_other(own, kind, candidate, mode))
    told.append(_missed(own, population, candidate))
    told.append(_shallow(own, population))
    if population.sized:
        sizes = [
            f"{mode} {mm(value(own, 'sizing_rmse', kind, mode, reader))} "
            f"({whole(value(own, 'sized', kind, mode, reader))} sized)"
            for mode in modes_read(own)
        ]
        told.append(f"RMSE of sizes, mm: {', '.join(sizes)}")
    return sentence("; ".join(one for one in told if one))


def _missed(own: StudyResult, population: Population, candidate: str) -> str:
    """Name the largest targets that the candidate missed though they were examined."""
    frame = own.views[own.headline].opportunities
    rows = frame[(frame["kind"] == population.kind) & (frame["mode"] == candidate)]
    missed = rows[(rows["hit"] == 0) & (rows["examined"] == 1)]
    if missed.empty:
        return ""
    largest = missed.sort_values("size_mm", ascending=False).head(SHOWN)
    named = ", ".join(
        f"{mm(size)} at {depth:.0f}"
        for size, depth in zip(largest["size_mm"], largest["depth_mm"], strict=True)
    )
    some = f"{len(missed)} missed though examined"
    if len(missed) > len(largest):
        some += f", the largest {len(largest)} of them"
    return f"{candidate}: {some}, mm by mm of depth: {named}"


def _shallow(own: StudyResult, population: Population) -> str:
    """Tell what each mode found in the shallowest third of the depths tested."""
    frame = own.views[own.headline].opportunities
    rows = frame[(frame["kind"] == population.kind) & frame["depth_mm"].notna()]
    if rows.empty:
        return ""
    low, high = float(rows["depth_mm"].min()), float(rows["depth_mm"].max())
    edge = low + (high - low) / 3.0
    top = rows[rows["depth_mm"] < edge]
    if top.empty:
        return ""
    found = [
        f"{mode} {int(mine['hit'].sum())} of {len(mine)}"
        for mode in modes_read(own)
        if len(mine := top[top["mode"] == mode])
    ]
    return f"in the shallowest third ({low:.0f} to {edge:.0f} mm): {', '.join(found)}"


def grain_caution(own: StudyResult) -> str:
    """Say where the check of the model did not accept the grain; empty where it did everywhere."""
    check = own.inputs.model_check
    if check is None:
        return ""
    failed = [
        f"{one.mode} from {one.z_from_mm:.0f} to {one.z_to_mm:.0f} mm"
        for one in check.grain
        if not one.accepted
    ]
    if not failed:
        return ""
    return (
        f"The model's own check does not accept its grain in {', '.join(failed)}: there the "
        "comparison of modes is biased, to what extent is not known."
    )


def _other(own: StudyResult, kind: str, candidate: str, mode: str) -> str:
    """Say how the candidate stands against another mode from the same recordings."""
    key, reader = against(candidate, mode), own.readers[0]
    alone = [
        value(own, name, kind, key, reader)
        for name in ("compared_candidate_only", "compared_reference_only")
    ]
    p = value(own, "mcnemar_exact_p", kind, key, reader)
    if alone[0] is None or alone[1] is None or p is None:
        return ""
    shown = "" if p < CLEAR else ", no difference is shown"
    return (
        f"against {mode}, {candidate} alone hit {whole(alone[0])} and {mode} alone "
        f"{whole(alone[1])} (exact p {p_value(p)}{shown})"
    )
