"""The answer of `compare`: two modes on the same targets, as a JSON-ready document.

The keys are documented in README.md and tested; lines for people stand in `answers_compare_words`.
"""

from dataclasses import dataclass
from typing import Any

from qualify.comparison.modes import Asked, Comparison, compare_modes
from qualify.comparison.paired_targets import PairedTargets
from qualify.errors import refuse
from qualify.pod.links import link_named
from qualify.raw_tables import RawTable
from qualify.study.answers_blanks import Blanks, with_blanks
from qualify.study.answers_compare_response import RateAsked, responses_document
from qualify.study.answers_compare_rows import CompareColumns, CompareRows, compare_rows
from qualify.study.answers_told import pair
from qualify.study.columns import unit_of

Document = dict[str, Any]
FEWEST = 60  # as in `qualify.pod.notices`
FEW_DISCORDANT = 6  # below it no two-sided exact p can reach 5 %


@dataclass(frozen=True, slots=True)
class CompareAsked:
    """What `compare` was asked for beside the columns."""

    names: tuple[str, str] = ("a", "b")
    size_unit: str | None = None
    link: str = "logit"
    scale: str = "log"
    margin: float | None = None
    confidence: float = 0.95
    seed: int = 1
    blanks: Blanks | None = None
    rate: RateAsked | None = None


def compare(table: RawTable, columns: CompareColumns, asked: CompareAsked) -> Document:
    """Return the comparison of two modes, the keys as README.md lists them.

    With readers each is told apart, and all together under `all_readers`; the document is that of
    the reader for whom the candidate looks worst: without an upper bound of the ratio, else with
    the largest.

    Raises
    ------
    InputError : see `compare_rows`; a margin out of range; blanks or noise that can't be read.
    """
    rows = compare_rows(table, columns)
    unit = unit_of(table, columns.size, asked.size_unit)
    how = Asked(
        link=link_named(asked.link), margin=asked.margin, confidence=asked.confidence,
        names=(f"in {asked.names[0]}", f"in {asked.names[1]}"), seed=asked.seed,
    )  # fmt: skip

    def one(readers: tuple[str, ...]) -> Document:
        try:
            found = compare_modes(rows.paired(readers, asked.scale), how)
        except ValueError as error:
            raise refuse(table.place, str(error), "mend the rows or options named") from None
        return document_of(found, unit, asked.names)

    if columns.reader is None:
        document = one(rows.readers)
    else:
        each = {name: one((name,)) for name in rows.readers}
        worst = max(each, key=lambda name: _badness(each[name]))
        together = one(rows.readers) if len(rows.readers) > 1 else None
        document = {**each[worst], "reader": worst, "readers": each, "all_readers": together}
    document["false_calls"] = None
    if asked.blanks is not None:
        with_blanks(table, document, asked.blanks, columns.reader, asked.confidence)
    document["responses"] = _responses(table, columns, rows, asked)
    return document


def _badness(document: Document) -> tuple[bool, float]:
    upper = document["a90_ratio_upper_95"]
    return upper is None, -document["rate_difference"] if upper is None else upper


def _responses(
    table: RawTable, columns: CompareColumns, rows: CompareRows, asked: CompareAsked
) -> Document | None:
    if asked.rate is None:
        return None
    if columns.response_a is None or columns.response_b is None:
        raise refuse("compare", "--noise or --rate without --response-a and --response-b",
                     "give both columns of responses")  # fmt: skip
    if columns.reader is not None:
        raise refuse("compare", "responses with --reader", "compare responses of one reader")
    return responses_document(table, (columns.response_a, columns.response_b), rows, asked.rate,
                              asked.scale, asked.names, asked.confidence, asked.seed)  # fmt: skip


def document_of(found: Comparison, unit: str, names: tuple[str, str]) -> Document:
    """Return a comparison as a document."""
    counts, ratio, test, data = found.counts, found.ratio, found.test, found.data
    odds, difference = found.odds, found.difference
    return {
        "names": list(names), "n": data.n, "readings": counts.n, "both": counts.both,
        "a_only": counts.a_only, "b_only": counts.b_only, "neither": counts.neither,
        "mcnemar_exact_p": test.exact_p, "mcnemar_mid_p": test.mid_p,
        "b_better_p": test.b_better_p, "a_better_p": test.a_better_p,
        "odds_ratio": odds.value,
        "odds_ratio_ci": None if odds.low is None and odds.high is None else [odds.low, odds.high],
        "rate_a": difference.rate_a, "rate_b": difference.rate_b,
        "rate_difference": difference.value,
        "newcombe_ci": pair(difference.newcombe), "tango_ci": pair(difference.tango),
        "by_target_ci": pair(difference.by_target),
        "a90_a": ratio.a90_a, "a90_b": ratio.a90_b, "a90_ratio": ratio.ratio,
        "a90_ratio_ci": pair(ratio.interval), "a90_ratio_upper_95": ratio.upper,
        "a90_ratio_lower_95": ratio.lower,
        "resampled": {
            "percentile": list(ratio.percentile), "bias_corrected": list(ratio.corrected),
            "unfitted": ratio.unfitted, "resamples": found.asked.resamples,
        },
        "margin": ratio.margin, "not_inferior_p": ratio.inferior_p,
        "curves": _curves(found), "holm": dict(found.holm_p),
        "by_size": [_class(c) for c in found.classes],
        "pod_at": [
            {"size": p.size, "pod_a": p.pod_a, "pod_b": p.pod_b, "difference": p.value,
             "ci": [p.low, p.high]}
            for p in found.pods
        ],
        "discordant": discordant(data),
        "unit": unit, "link": found.asked.link, "scale": data.scale,
        "confidence": found.asked.confidence, "seed": found.asked.seed,
        "simulations": ratio.simulations,
        "tested_range": [float(data.size[0]), float(data.size[-1])],
        "extrapolated": None if ratio.inside is None else not ratio.inside,
        "notices": _notices(found),
    }  # fmt: skip


def _curves(found: Comparison) -> Document:
    tests = found.curves
    return {
        "exchange_p": tests.exchange_p, "exchanges": tests.exchanges, "every": tests.every,
        "statistic": tests.exchange_statistic, "wald": tests.wald,
        "chi_square_p": tests.chi_square_p, "hotelling_p": tests.hotelling_p,
        "coefficients": None if tests.coef is None else tests.coef.tolist(),
        "covariance": None if tests.cr1 is None else tests.cr1.tolist(),
        "reason": tests.reason, "wald_reason": tests.wald_reason,
    }  # fmt: skip


def _class(one: Any) -> Document:
    return {
        "from": one.low, "to": one.high, "targets": one.targets, "readings": one.readings,
        "hits_a": one.hits_a, "hits_b": one.hits_b, "exact_p": one.exact_p, "holm_p": one.holm_p,
    }  # fmt: skip


def discordant(data: PairedTargets) -> list[Document]:
    """Return the targets that one mode hit and the other missed, by name, smallest first."""
    told = []
    for i, name in enumerate(data.names):
        for reader, a, b in zip(data.readers, data.a[i], data.b[i], strict=True):
            if a != b and a == a:  # nan: not read in both modes
                one: Document = {"target": name, "size": float(data.size[i]),
                                 "hit_in": "a" if a > b else "b"}  # fmt: skip
                told.append({**one, "reader": reader} if reader else one)
    return told


def _notices(found: Comparison) -> list[Document]:
    ratio, counts = found.ratio, found.counts
    told = []
    if ratio.reason is not None:
        told.append(("no_a90_ratio", f"No ratio of a90: {ratio.reason}."))
    elif ratio.upper_reason is not None:
        told.append(("no_upper_bound", f"No upper bound of the ratio: {ratio.upper_reason}."))
    if ratio.reason is None and ratio.lower_reason is not None:
        told.append(("no_lower_bound", f"No lower bound of the ratio: {ratio.lower_reason}."))
    if ratio.inside is False:
        told.append(("extrapolated", "An a90 lies outside the sizes tested: so does the ratio."))
    if found.odds.reason is not None:
        told.append(("odds_ratio", f"Odds ratio: {found.odds.reason}."))
    if found.curves.reason is not None:
        told.append(("no_exchange", f"No test of the curves: {found.curves.reason}."))
    if found.data.n < FEWEST:
        told.append(("few_targets", f"{found.data.n} targets are few to tell two modes apart."))
    if counts.discordant < FEW_DISCORDANT and len(found.data.readers) == 1:
        told.append(
            ("few_discordant",
             f"{counts.discordant} discordant targets: an exact two-sided p can't fall below "
             f"{min(1.0, 2.0 * 0.5**counts.discordant):.3g}. No difference is shown, none is "
             "excluded.")
        )  # fmt: skip
    return [{"code": code, "text": text} for code, text in told]


def answered(document: Document) -> bool:
    """Whether any number asked for exists: a ratio, a discordant target, or one from responses."""
    parts = [document, *document.get("readers", {}).values()]
    told = any(d["a90_ratio"] is not None or d["a_only"] + d["b_only"] > 0 for d in parts)
    responses = document["responses"]
    return told or (responses is not None and responses["a90_ratio"] is not None)
