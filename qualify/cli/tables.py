"""Commands that answer one question on one table."""

from enum import StrEnum
from typing import Annotated

import typer

from qualify.cli.common import NO_NUMBER, AsJson, Table, Unit, answering, say_next, show

pod_app = typer.Typer(
    help="Probability of detection of a table.", no_args_is_help=True, rich_markup_mode=None
)


class Link(StrEnum):
    """Link functions of the POD curve."""

    logit = "logit"
    probit = "probit"
    cloglog = "cloglog"
    loglog = "loglog"


class Scale(StrEnum):
    """Size axis of the POD curve."""

    log = "log"
    linear = "linear"


class Bound(StrEnum):
    """Method of the bound on a90."""

    calibrated = "calibrated"
    likelihood = "likelihood"
    wald = "wald"


@pod_app.command("hit-miss")
def pod_hit_miss(
    table: Table,
    size: Annotated[str, typer.Option(help="Column of sizes.", show_default=False)],
    hit: Annotated[str, typer.Option(help="Column of hits.", show_default=False)],
    trials: Annotated[
        str | None, typer.Option(help="Column of trials, where --hit holds numbers of hits.")
    ] = None,
    size_unit: Annotated[
        Unit | None, typer.Option(help="Unit of sizes; mm is taken if the name ends in _mm.")
    ] = None,
    target: Annotated[
        str | None, typer.Option(help="Column of target ids, to find repeated readings.")
    ] = None,
    reader: Annotated[
        str | None, typer.Option(help="Column of readers; each is fitted apart.")
    ] = None,
    link: Annotated[Link, typer.Option(help="Link function.")] = Link.logit,
    scale: Annotated[Scale, typer.Option(help="Size axis.")] = Scale.log,
    bound: Annotated[Bound, typer.Option(help="Method of the bound.")] = Bound.calibrated,
    confidence: Annotated[
        float, typer.Option(min=0.5, max=0.9999, help="One-sided confidence.")
    ] = 0.95,
    as_json: AsJson = False,
) -> None:
    """Fit a POD curve to hits and misses: a50, a90, and the bound on a90."""
    with answering():
        from qualify.raw_tables import read_table
        from qualify.study.answers import pod_hit_miss as answer
        from qualify.study.answers import pod_lines

        document = answer(
            read_table(table),
            size=size,
            hit=hit,
            trials=trials,
            size_unit=None if size_unit is None else size_unit.value,
            target=target,
            reader=reader,
            link=link.value,
            scale=scale.value,
            bound=bound.value,
            confidence=confidence,
        )
        show(document, as_json, lambda: pod_lines(document))
        say_next("qualify false-calls on the blank units read by the same rule")
        if document["a90_95"] is None:
            raise typer.Exit(NO_NUMBER)


def false_calls(
    table: Table,
    called: Annotated[
        str, typer.Option(help="Column that says whether the unit was called.", show_default=False)
    ],
    calls: Annotated[str | None, typer.Option(help="Column of numbers of calls.")] = None,
    kind: Annotated[
        str | None, typer.Option(help="Column in which only rows that say 'blank' count.")
    ] = None,
    examined: Annotated[
        str | None, typer.Option(help="Column that says whether the unit was examined.")
    ] = None,
    reader: Annotated[
        str | None, typer.Option(help="Column of readers; each is counted apart.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Count false calls on blank units, with the exact upper bound of their rate."""
    with answering():
        from qualify.raw_tables import read_table
        from qualify.study.answers import false_call_lines
        from qualify.study.answers import false_calls as answer

        document = answer(
            read_table(table),
            called=called,
            calls=calls,
            kind=kind,
            examined=examined,
            reader=reader,
        )
        show(document, as_json, lambda: false_call_lines(document))
        say_next("qualify pod hit-miss on the targets read by the same rule")
        if document["rate"] is None:
            raise typer.Exit(NO_NUMBER)


def sizing(
    table: Table,
    true: Annotated[str, typer.Option(help="Column of true sizes.", show_default=False)],
    reported: Annotated[
        str, typer.Option(help="Column of reported sizes; empty = not sized.", show_default=False)
    ],
    size_unit: Annotated[
        Unit | None, typer.Option(help="Unit of both; mm is taken if the name ends in _mm.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Sizing error, reported minus true: bias, SD, RMSE, tolerance interval 95/95."""
    with answering():
        from qualify.raw_tables import read_table
        from qualify.study.answers import sizing as answer
        from qualify.study.answers import sizing_lines

        unit = None if size_unit is None else size_unit.value
        document = answer(read_table(table), true=true, reported=reported, size_unit=unit)
        show(document, as_json, lambda: sizing_lines(document))
        say_next("say how many flaws were missed: they have no size and are not in this number")
        if document["bias"] is None:
            raise typer.Exit(NO_NUMBER)
