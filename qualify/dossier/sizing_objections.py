"""End of chapter 11: an examiner's objections to sizes, with the answer of these data."""

from collections.abc import Mapping, Sequence
from typing import Any

from reportlab.platypus import Flowable

from qualify.dossier.layout import bullets, section
from qualify.dossier.sizing_parts import Sized, named
from qualify.dossier.tables import grid
from qualify.dossier.words import kind_words, listed, mm, whole
from qualify.study.result import StudyResult

Rows = Mapping[str, Sequence[Sized]]
TOLD_IN_TABLES = ("few_sized", "without_size")


def sizing_objections(result: StudyResult, rows: Rows) -> list[Flowable]:
    """Return the table of objections; nothing where nothing was sized."""
    if not any(rows.values()):
        return []
    table = [
        ["'RMSE without missed flaws: how many sized?'", _counted(rows), "a, e"],
        ["'Does RMSE hide a bias?'", _bias(rows), "a"],
        ["'Small oversized, large undersized?'", _regression(rows), "c"],
        ["'One SD for all sizes?'", _noticed(rows, "uneven_spread", SPREAD), "c"],
        [
            "'Are errors normal, as tolerance takes them?'",
            _noticed(rows, "not_normal", NORMAL),
            "b",
        ],
        ["'Is the truth better than the sizing?'", _metrology(rows), "a"],
        ["'Was truth from ultrasound?'", _truth(result, rows), "blocks"],
    ]
    heads = ["Objection", "Answer of these data", "Where"]
    return [
        *section("Objections to sizing, and where each is met"),
        grid(heads, table, [50, 104, 16]),
    ]


SPREAD = ("The scatter changes with size for {}.",
          "No change of scatter is shown; what would have been seen stands in c.")  # fmt: skip
NORMAL = (
    "Not for {}: limits from the normal law do not stand there.",
    "No departure from normal errors is shown; few targets show only gross ones.",
)


def _all(rows: Rows) -> list[Sized]:
    return [row for some in rows.values() for row in some]


def _each(rows: Rows, code: str) -> str:
    """Name the passes with a remark of this code."""
    held = {
        kind: [r for r in some if code in {n.code for n in r.sizes.report.notices}]
        for kind, some in rows.items()
    }
    return "; ".join(f"{kind_words(kind)}: {named(some)}" for kind, some in held.items() if some)


def _noticed(rows: Rows, code: str, words: tuple[str, str]) -> str:
    told = _each(rows, code)
    return words[0].format(told) if told else words[1]


def _largest_filled(row: Any) -> float | None:
    """Return the larger RMSE of the two ways to count missed targets in, None without any."""
    names = ("sizing_missed_as_zero_rmse", "sizing_unsized_as_zero_rmse")
    known = [v for name in names if (v := row.value(name)) is not None]
    return max(known, default=None)


def _counted(rows: Rows) -> str:
    every = _all(rows)
    total = [sum(row.value(name) or 0.0 for row in every)
             for name in ("sized", "unsized", "sizing_missed", "sizing_not_examined")]  # fmt: skip
    words = (
        f"Over all kinds, modes and readers {whole(total[0])} sizes; {whole(total[1])} found but "
        f"not sized, {whole(total[2])} missed, {whole(total[3])} not examined."
    )
    factors = [
        (worse / alone, row)
        for row in every
        if (alone := row.value("sizing_rmse")) and (worse := _largest_filled(row)) is not None
    ]
    if not factors:
        return words
    factor, row = max(factors, key=lambda item: item[0])
    return (
        f"{words} With missed, or missed and unsized, ones counted as size 0 the RMSE changes by a "
        f"factor of up to {factor:.1f} "
        f"({kind_words(row.kind)}, {named([row])})."
    )


def _bias(rows: Rows) -> str:
    clear = {
        kind: [
            row for row in some
            if (low := row.value("sizing_bias_low")) is not None
            and (high := row.value("sizing_bias_high")) is not None and not low <= 0.0 <= high
        ]
        for kind, some in rows.items()
    }  # fmt: skip
    told = "; ".join(f"{kind_words(k)}: {named(some)}" for k, some in clear.items() if some)
    return f"A bias is shown for {told}." if told else "No bias is shown: 0 lies in each interval."


def _regression(rows: Rows) -> str:
    told = _each(rows, "regression_to_mean")
    grows = _each(rows, "grows_with_size")
    parts = [f"The error falls with size for {told}."] if told else []
    parts += [f"It grows with size for {grows}."] if grows else []
    return " ".join(parts) or "No change of the error with size is shown; no proof of none."


def _metrology(rows: Rows) -> str:
    shares = [
        (u / sd, row)
        for row in _all(rows)
        if (u := row.value("sizing_true_u")) is not None and (sd := row.value("sizing_sd"))
    ]
    if not shares:
        return "Not shown: no uncertainty of the true sizes beside a scatter of errors."
    share, row = max(shares, key=lambda item: item[0])
    return (
        f"u of the true sizes is at most {100 * share:.0f} % of the SD of errors "
        f"({kind_words(row.kind)}, {named([row])}: u {mm(row.value('sizing_true_u'))} mm)."
    )


def _truth(result: StudyResult, rows: Rows) -> str:
    targets = [t for b in result.inputs.blocks for t in b.targets if t.kind in rows]
    if not targets:
        return "Not shown: the study entered with finished tables."
    methods = sorted({t.size.method for t in targets if t.size.method is not None})
    drawing = sum(t.size.basis == "drawing" for t in targets)
    words = f"Measured by: {listed(methods)}." if methods else "No size was measured."
    by_ultrasound = [m for m in methods if "ultras" in m.lower()]
    if by_ultrasound:
        words += " ULTRASOUND IS AMONG THEM: such sizes can't serve as truth here."
    return f"{words} Drawing values: {drawing} of {len(targets)}." if drawing else words


def sizing_notices(rows: Rows) -> list[Flowable]:
    """Return the remarks of the analysis that no table tells, each once with what it is about."""
    held: dict[str, dict[str, list[str]]] = {}
    for row in _all(rows):
        for notice in row.sizes.report.notices:
            if notice.code in TOLD_IN_TABLES:
                continue
            place = f"{kind_words(row.kind)}, {row.mode}"
            held.setdefault(notice.text, {}).setdefault(place, []).append(row.reader)
    if not held:
        return []
    lines = []
    for text, about in held.items():
        places = [f"{place} {', '.join(readers)}" for place, readers in about.items()]
        lines.append(f"{text} [{'; '.join(places)}]")
    return [*section("Notices on sizing"), *bullets(lines)]
