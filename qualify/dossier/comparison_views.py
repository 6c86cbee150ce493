"""Candidate and reference as the plain values that their figure takes."""

from qualify.criteria.estimate import Estimate
from qualify.criteria.words import ALL_READERS
from qualify.dossier.lookup import estimate, value
from qualify.dossier.words import p_value
from qualify.figures.comparison import ComparisonPanel, ModeCurve, Side
from qualify.figures.pod import PodPanel
from qualify.study.comparisons import ModeComparison
from qualify.study.plan import Population
from qualify.study.result import StudyResult

PodPanels = dict[str, tuple[PodPanel, ...]]


def names_of(result: StudyResult) -> tuple[str, str]:
    """Return the ids of reference and candidate; empty ones where there is no reference."""
    claim = result.inputs.plan.claim
    return (claim.reference_mode or "", claim.candidate_mode)


def together_of(result: StudyResult) -> str:
    """Return what stands for all readers: their cell, or that of the only one."""
    return ALL_READERS if len(result.readers) > 1 else result.readers[0]


def compared(result: StudyResult, kind: str, reader: str) -> ModeComparison | None:
    """Return a comparison on the basis of the claim box, None where there is none."""
    mode = result.inputs.plan.claim.candidate_mode
    return result.comparisons.modes.get((result.headline, kind, mode, reader))


def figures_of(result: StudyResult, name: str, kind: str, reader: str) -> Estimate | None:
    """Return an estimate of the comparison on the basis of the claim box."""
    return estimate(result, name, kind, result.inputs.plan.claim.candidate_mode, reader)


def discordant(one: ModeComparison) -> list[tuple[str, float, Side, str]]:
    """Return discordant targets, smallest first: name, size, mode that hit it, and reader."""
    told: list[tuple[str, float, Side, str]] = []
    if one.found is None:
        return told
    data = one.found.data
    for i, name in enumerate(data.names):
        for reader, a, b in zip(data.readers, data.a[i], data.b[i], strict=True):
            if a in (0.0, 1.0) and b in (0.0, 1.0) and a != b:
                side: Side = "reference" if a > b else "candidate"
                told.append((name.rsplit("/", 1)[-1], float(data.size[i]), side, reader))
    return told


def comparison_panels(
    result: StudyResult, population: Population, panels: PodPanels
) -> tuple[ComparisonPanel, ...]:
    """Return a panel a reader; `panels` are those of POD curves by mode, a panel a reader each."""
    reference, candidate = names_of(result)
    out = []
    for reader in result.readers:
        one = compared(result, population.kind, reader)
        if one is None or one.found is None:
            continue
        title = f"Reader {reader}"
        modes = [
            next((p for p in panels.get(mode, ()) if p.title.split(" (")[0] == title), None)
            for mode in (reference, candidate)
        ]
        test, ratio = one.found.test, one.found.ratio
        told = f"hits {_p(test.exact_p)}; curves {_p(one.found.curves.exchange_p)}; "
        shown = value(result, "a90_ratio", population.kind, candidate, reader)
        told += "no ratio of a90" if shown is None else f"a90 ratio {shown:.2f}"
        upper = value(result, "a90_ratio_upper", population.kind, candidate, reader)
        if upper is not None:
            told += f", upper bound {upper:.2f}"
        out.append(
            ComparisonPanel(
                title=f"Reader {reader}",
                lines=(told,),
                size_label=population.size_in_words,
                size_unit="mm",
                reference=_curve(one, modes[0], 0, ratio.a90_a),
                candidate=_curve(one, modes[1], 1, ratio.a90_b),
                discordant=tuple(row[:3] for row in discordant(one)),
                log_axis=result.inputs.plan.analysis.scale == "log",
            )
        )
    return tuple(out)


def _p(value: float | None) -> str:
    return "no p" if value is None else f"p {p_value(value)}"


def _curve(one: ModeComparison, panel: PodPanel | None, which: int, a90: float | None) -> ModeCurve:
    assert one.found is not None
    data = one.found.data
    hits = (data.a, data.b)[which][:, 0]
    found = tuple(float(v) for v in data.size[hits == 1.0])
    missed = tuple(float(v) for v in data.size[hits == 0.0])
    if panel is None:
        return ModeCurve(found, missed, a90=a90)
    return ModeCurve(found, missed, panel.curve_sizes, panel.curve_pod, panel.bound_sizes,
                     panel.bound_pod, a90)  # fmt: skip
