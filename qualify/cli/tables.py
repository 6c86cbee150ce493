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
    size_unit: SizeUnit = None,
    as_json: AsJson = False,
) -> None:
    """Sizing error, reported minus true: bias, SD, RMSE, tolerance interval 95/95."""
    with answering(writes=False):
        from qualify.raw_tables import read_table
        from qualify.study.answers_tables import sizing as answer
        from qualify.study.answers_tables import sizing_lines

        unit = None if size_unit is None else size_unit.value
        document = answer(read_table(table), true=true, reported=reported, size_unit=unit)
        show(document, as_json, lambda: sizing_lines(document))
        say_next("say how many flaws were missed: they have no size and are not in this number")
        if document["bias"] is None:
            raise typer.Exit(NO_NUMBER)
