"""Chapter 12: one basis against another, a row a reader, mode and kind of target."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from qualify.criteria.estimate import BASIS_WORDS
from qualify.dossier.layout import body, chapter, section, small
from qualify.dossier.lookup import BLANKS, FLAWED
from qualify.dossier.tables import Cell, bold, grid
from qualify.dossier.words import kind_words, mm, sentence, signed, whole
from qualify.dossier.worst import BOLD_WORDS, marks
from qualify.study.result import StudyResult

FOUND, REMEDIED, EXAMINED = "as_found", "after_remedy", "examined_only"
STUDY = {"set_overlap": "targets in two sets", "software_revisions": "software revisions"}
Pass = tuple[str, str]


def bases_chapter(result: StudyResult) -> list[Flowable]:
    """Return chapter 14."""
    out = chapter("14  One basis against another", 45)
    tables = [*_kinds(result), *_study(result), *_examined(result)]
    if not tables:
        same = "All bases give the same numbers: nothing was put right that changed a result, and "
        return [*out, body(same + "no flawed unit that was not examined was in the count.")]
    told = (
        f"Only what differs, as found → after remedy. The claim on page 1 stands on results "
        f"{BASIS_WORDS[result.headline]}. {result.headline_reason}"
    )
    return [*out, body(told), *tables]


def differs_examined(result: StudyResult) -> bool:
    """Whether leaving out flawed units that were not examined changes a number."""
    return bool(_examined(result))


def _passes(result: StudyResult, kind: str) -> list[Pass]:
    return [
        (mode.id, reader)
        for mode in result.inputs.plan.modes
        for reader in result.readers
        if result.estimates.get(result.headline, "targets", kind, mode.id, reader) is not None
    ]


def _badness(result: StudyResult, kind: str, one: Pass) -> list[float | None]:
    """Return what the columns hold on the headline basis, larger is worse."""

    def get(name: str, population: str = kind) -> float | None:
        return result.estimates.value(result.headline, name, population, *one)

    n, hits, bias = get("targets"), get("hits"), get("sizing_bias")
    return [
        n - hits if n is not None and hits is not None else None,
        get("a90"), get("a90_95"), get("largest_miss"),
        get("units_called", BLANKS), get("false_calls", FLAWED),
        None if bias is None else abs(bias), get("sizing_rmse"), get("largest_undersizing"),
    ]  # fmt: skip


def _cells(result: StudyResult, kind: str, one: Pass, basis: str) -> list[str]:
    def get(name: str, population: str = kind) -> float | None:
        return result.estimates.value(basis, name, population, *one)

    return [
        f"{whole(get('hits'))}/{whole(get('targets'))}",
        mm(get("a90")), mm(get("a90_95")), mm(get("largest_miss")),
        f"{whole(get('units_called', BLANKS))}/{whole(get('blank_units', BLANKS))}",
        whole(get("false_calls", FLAWED)),
        signed(get("sizing_bias")), mm(get("sizing_rmse")), mm(get("largest_undersizing")),
    ]  # fmt: skip


def _kinds(result: StudyResult) -> list[Flowable]:
    out: list[Flowable] = []
    for population in result.inputs.plan.populations:
        kind = population.kind
        rows = _rows(result, kind, sized=population.sized)
        if not rows:
            continue
        heads = [
            "Mode", "Reader", "Found of targets", "a90, mm", "a90/95, mm",
            "Largest miss, examined, mm", "Blank units called", "False calls, flawed units",
        ]  # fmt: skip
        heads += ["Bias, mm", "RMSE, mm", "Largest under-sizing, mm"] if population.sized else []
        widths = [17, 11, 22, 18, 18, 18, 22, 15, 20, 18, 18][: len(heads)]
        table = grid(heads, rows, widths, align="ll" + "r" * 9)
        out += [*section(sentence(kind_words(kind))[:-1]), table]
    if out:
        words = "False calls are of mode and reader, the same for each kind."
        out.append(small(f"{words} {BOLD_WORDS} Held on the basis of the claim."))
    return out


def _rows(result: StudyResult, kind: str, *, sized: bool) -> list[Sequence[Cell]]:
    passes = _passes(result, kind)
    worst = marks({one: _badness(result, kind, one) for one in passes})
    rows: list[Sequence[Cell]] = []
    for one in passes:
        old, new = (_cells(result, kind, one, basis) for basis in (FOUND, REMEDIED))
        last = len(old) if sized else len(old) - 3
        if old[:last] == new[:last]:
            continue
        cells: list[Cell] = [*one]
        for column in range(last):
            same = old[column] == new[column]
            text = new[column] if same else f"{old[column]} → {new[column]}"
            cells.append(bold(text) if (one, column) in worst else text)
        rows.append(cells)
    return rows


def _study(result: StudyResult) -> list[Flowable]:
    rows = []
    for statistic, words in STUDY.items():
        old, new = (
            whole(result.estimates.value(basis, statistic, "study")) for basis in (FOUND, REMEDIED)
        )
        if old != new:
            rows.append([words, old, new])
    if not rows:
        return []
    heads = ["Of the study as a whole", "As found", "After remedy"]
    return [grid(heads, rows, [80, 45, 45], align="lrr")]


def _examined(result: StudyResult) -> list[Flowable]:
    """Set the basis after remedy beside the same without flawed units not examined."""
    rows = []
    for population in result.inputs.plan.populations:
        for one in _passes(result, population.kind):
            old, new = (
                _cells(result, population.kind, one, basis)[:3] for basis in (REMEDIED, EXAMINED)
            )
            if old != new:
                pairs = zip(old, new, strict=True)
                told = [b if a == b else f"{a} → {b}" for a, b in pairs]
                rows.append([kind_words(population.kind), *one, *told])
    if not rows:
        return []
    heads = ["Targets", "Mode", "Reader", "Found of targets", "a90, mm", "a90/95, mm"]
    table = grid(heads, rows, [36, 26, 18, 32, 29, 29], align="lllrrr")
    title = "After remedy → examined only: flawed units that were not examined left out"
    return [*section(title), table]
