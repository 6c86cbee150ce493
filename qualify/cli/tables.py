"""Commands that count one thing on one table: false calls, sizing error."""

from typing import Annotated

import typer

from qualify.cli.common import NO_NUMBER, AsJson, Table, answering, say_next, show
from qualify.cli.options import Reader, SizeUnit


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
    reader: Reader = None,
    as_json: AsJson = False,
) -> None:
    """Count false calls on blank units, with the exact upper bound of their rate."""
    with answering(writes=False):
        from qualify.raw_tables import read_table
        from qualify.study.answers_tables import false_call_lines
        from qualify.study.answers_tables import false_calls as answer

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
