"""Commands that count one thing on one table: false calls, sizing error."""

from typing import Annotated

import typer

from qualify.cli import options as o
from qualify.cli.common import NO_NUMBER, AsJson, Table, answering, say_next, show
from qualify.cli.options import Reader, SizeUnit


def false_calls(
    table: Table,
    called: Annotated[
        str | None, typer.Option(help="Column that says whether the unit was called.")
    ] = None,
    calls: Annotated[str | None, typer.Option(help="Column of numbers of calls.")] = None,
    kind: Annotated[
        str | None, typer.Option(help="Column in which only rows that say 'blank' count.")
    ] = None,
    examined: Annotated[
        str | None, typer.Option(help="Column that says whether the unit was examined.")
    ] = None,
    reader: Reader = None,
    length: Annotated[
        str | None,
        typer.Option(help="Column of lengths (name ends in _m or _mm), for calls per metre."),
    ] = None,
    area: Annotated[
        str | None,
        typer.Option(
            help="Column of areas (name ends in _m2 or _mm2), for calls per square metre."
        ),
    ] = None,
    cause: Annotated[str | None, typer.Option(help="Column of the cause given to a call.")] = None,
    specimen: Annotated[
        str | None, typer.Option(help="Column of specimens, to see whether calls cluster.")
    ] = None,
    response: Annotated[
        str | None, typer.Option(help="Column of peaks of the noise, for thresholds and rates.")
    ] = None,
    threshold: Annotated[
        float | None, typer.Option(help="Threshold in use, in the unit of --response.")
    ] = None,
    rate: o.Rate = None,
    law: o.LawOption = o.Law.gumbel,
    response_unit: o.ResponseUnitOption = None,
    axis: Annotated[
        o.Axis | None, typer.Option(help="Axis of the peaks; linear unless said otherwise.")
    ] = None,
    floor: o.NoiseFloor = None,
    confidence: o.Confidence = 0.95,
    seed: o.Seed = 1,
    as_json: AsJson = False,
) -> None:
    """Count false calls on blank units, with the exact upper bound of their rate.

    With --response, the peak of the noise in each blank unit: the false-call rate at a --threshold,
    and the threshold of a declared --rate with its standard error.
    """
    with answering(writes=False):
        from qualify.raw_tables import read_table
        from qualify.study.answers_false_calls import FalseCallsAsked, answer, lines
        from qualify.study.answers_rates import More

        document = answer(
            read_table(table),
            FalseCallsAsked(
                called=called,
                calls=calls,
                kind=kind,
                examined=examined,
                reader=reader,
                more=More(length, area, cause, specimen),
                response=response,
                threshold=threshold,
                rate=rate,
                law=law.value,
                response_unit=None if response_unit is None else response_unit.value,
                axis="linear" if axis is None else axis.value,
                floor=floor,
                confidence=confidence,
                seed=seed,
            ),
        )
        show(document, as_json, lambda: lines(document))
        say_next("qualify pod hit-miss or pod response on the targets read by the same rule")
        noise = document.get("noise")
        none = document["rate"] is None
        if none and (noise is None or (noise["in_use"] is None and noise["declared"] is None)):
            raise typer.Exit(NO_NUMBER)


def sizing(
    table: Table,
    true: Annotated[str, typer.Option(help="Column of true sizes.", show_default=False)],
    reported: Annotated[
        str, typer.Option(help="Column of reported sizes; empty = not sized.", show_default=False)
    ],
    true_u: Annotated[
        str | None,
        typer.Option("--true-u", help="Column of standard uncertainties of the true sizes."),
    ] = None,
    reported_u: Annotated[
        str | None,
        typer.Option(
            "--reported-u",
            help="Column of standard uncertainties of the reported sizes; without it their scatter "
            "is taken from the data.",
        ),
    ] = None,
    target: Annotated[
        str | None, typer.Option(help="Column of target ids, to name the worst cases.")
    ] = None,
    reader: Reader = None,
    found: Annotated[
        str | None,
        typer.Option(help="Column that says whether the target was found; no = missed."),
    ] = None,
    smallest: Annotated[
        float | None,
        typer.Option(help="Smallest size that is reported at all, to count the others in."),
    ] = None,
    confidence: Annotated[
        float,
        typer.Option(
            min=0.5001, max=0.9999, help="Of intervals (two-sided) and of bounds (one-sided)."
        ),
    ] = 0.95,
    size_unit: SizeUnit = None,
    as_json: AsJson = False,
) -> None:
    """Sizing error, reported minus true: bias, RMSE, trends, tolerance limits, worst cases.

    With --true-u, a line of reported on true size with uncertainty in both, and the scatter of
    the method apart from that of the true sizes.
    """
    with answering(writes=False):
        from qualify.raw_tables import read_table
        from qualify.study.answers_sizing import SizingAsked, answer
        from qualify.study.answers_sizing_words import sizing_lines

        unit = None if size_unit is None else size_unit.value
        asked = SizingAsked(
            true, reported, true_u, reported_u, target, reader, found, smallest, confidence, unit
        )
        document = answer(read_table(table), asked)
        show(document, as_json, lambda: sizing_lines(document))
        say_next(
            "tell the cause of each worst case; targets that were missed have no size"
            if found is not None
            else "say which flaws were missed (--found): they have no size and are in no number"
        )
        if document["bias"] is None:
            raise typer.Exit(NO_NUMBER)
