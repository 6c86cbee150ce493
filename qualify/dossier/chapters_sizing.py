"""Chapter 11: sizing error by kind, mode and reader."""

from reportlab.platypus import Flowable

from qualify.dossier.layout import body, chapter, section
from qualify.dossier.pictures import Pictures
from qualify.dossier.sizing_objections import sizing_notices, sizing_objections
from qualify.dossier.sizing_parts import Sized, sized
from qualify.dossier.sizing_tables import (
    error_table,
    limit_table,
    tilt_table,
    trend_table,
    unsized_table,
    worst_table,
)
from qualify.dossier.words import kind_words, sentence
from qualify.study.plan import Population
from qualify.study.result import StudyResult

INTRODUCTION = (
    "Error = reported − true size, found and sized targets only; negative = undersized. Targets "
    "missed or not sized are not in these numbers, which may look better or worse for it: their "
    "counts stand beside, and e counts them in. Where c shows an error that changes with size, one "
    "band or bound for all sizes (b) is too wide at one end and too narrow at the other. "
    "All sizes in mm."
)


def sizing_chapter(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    """Return chapter 11."""
    out = chapter("11  Sizing")
    if not result.sizings:
        return [*out, body("Not shown: the plan names no kind whose size is judged.")]
    out.append(body(INTRODUCTION))
    rows: dict[str, list[Sized]] = {}
    for number, population in enumerate(result.inputs.plan.populations, start=1):
        if population.sized:
            rows[population.kind] = sized(result, population.kind)
            out += _population(result, pictures, number, population, rows[population.kind])
    return [*out, *sizing_objections(result, rows), *sizing_notices(rows)]


def _population(
    result: StudyResult,
    pictures: Pictures,
    number: int,
    population: Population,
    rows: list[Sized],
) -> list[Flowable]:
    words = kind_words(population.kind)
    out = section(f"{sentence(words)[:-1]}: {population.size_in_words}", 60)
    if not rows:
        return [*out, body("Nobody read this kind.")]
    for table in (error_table, limit_table, trend_table, worst_table, unsized_table, tilt_table):
        out += table(rows)
    for m, mode in enumerate(result.inputs.plan.modes, start=1):
        out += pictures.on_page(
            f"sizing-{number}-{m}",
            f"Reported against true {population.size_in_words}, {words}, mode {mode.id}, a panel a "
            "reader.",
        )
        out += pictures.on_page(
            f"sizing-error-{number}-{m}",
            f"Sizing error against true {population.size_in_words}, {words}, mode {mode.id}: trend "
            "of the error, bias, limits of agreement, tolerance interval.",
        )
    return out
