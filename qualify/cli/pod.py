"""Commands on probability of detection: one table of hits, and how often bounds hold."""

from pathlib import Path
from typing import Annotated

import typer

from qualify.cli import options as o
from qualify.cli.common import NO_NUMBER, AsJson, Table, answering, say_next, show, waiting
from qualify.cli.pod_response import pod_response

pod_app = typer.Typer(
    help="Probability of detection of a table.", no_args_is_help=True, rich_markup_mode=None
)


@pod_app.command("hit-miss")
def pod_hit_miss(
    table: Table,
    size: o.SizeColumn,
    hit: o.HitColumn,
    trials: o.Trials = None,
    size_unit: o.SizeUnit = None,
    target: o.Target = None,
    reader: o.Reader = None,
    link: o.LinkOption = o.Link.logit,
    scale: o.ScaleOption = o.Scale.log,
    bound: o.BoundOption = o.Bound.calibrated,
    confidence: o.Confidence = 0.95,
    seed: o.Seed = 1,
    check_bound: o.CheckBound = False,
    replicates: o.Replicates = None,
    all_bounds: o.AllBounds = False,
    models: o.Models = False,
    plateau: o.Plateau = False,
    blank_units: o.BlankUnits = None,
    blank_called: o.BlankCalled = None,
    covariate: o.Covariate = None,
    size_u: o.SizeUncertainty = None,
    at: o.At = None,
    as_json: AsJson = False,
) -> None:
    """Fit a POD curve to hits and misses: a50, a90, and the bound on a90."""
    with answering(writes=False):
        from qualify.raw_tables import read_table
        from qualify.study.answers import answered
        from qualify.study.answers import pod_hit_miss as answer
        from qualify.study.answers_more import Asked
        from qualify.study.answers_words import pod_lines

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
            seed=seed,
            waiting=waiting,
            asked=Asked(
                check_bound=check_bound,
                replicates=replicates,
                all_bounds=all_bounds,
                models=models,
                plateau=plateau,
                blank_units=blank_units,
                blank_called=blank_called,
                at=tuple(at or ()),
                covariate=covariate,
                size_u=size_u,
            ),
        )
        show(document, as_json, lambda: pod_lines(document))
        if document["a90_95"] is None:
            say_next("read the notes: they say what is missing")
            if not answered(document):
                raise typer.Exit(NO_NUMBER)
            return
        say_next("qualify false-calls on the blank units read by the same rule")


pod_app.command("response")(pod_response)


@pod_app.command("holds-table")
def holds_table(
    out: Annotated[
        Path | None, typer.Option(help="File to write (.md); without it, print.")
    ] = None,
    replicates: Annotated[int, typer.Option(min=100, help="Simulated trials in each cell.")] = 2000,
    seed: o.Seed = 1,
    cells: Annotated[
        list[str] | None,
        typer.Option(help="Cells by name, as moderate-uniform-60 or 'steep-*'; may be repeated."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Simulate how often nominal 95 % bounds on a90 hold, by kind of bound and design.

    A cell is named CURVE-SIZES-TARGETS: moderate or steep; uniform or loguniform (even in size or
    in log size); 30, 40, 60, 90 or 120. Each part may be a wildcard: 'steep-*', '*-uniform-60'.

    All 20 cells with 2000 trials each take some minutes.
    """
    with answering(writes=out is not None):
        from qualify.files import write_whole
        from qualify.study.answers_holds import cells_named, holds_rows, table_document, table_text

        wanted = cells_named(cells or ["*"])
        rows = holds_rows(
            wanted, replicates=replicates, seed=seed, step=lambda s: typer.echo(s, err=True)
        )
        text = table_text(rows, replicates=replicates, seed=seed, asked=cells or [])
        if out is not None:
            write_whole(out, text.encode("utf-8"))
            typer.echo(f"wrote {out}", err=True)
        if out is None or as_json:
            document = table_document(rows, replicates=replicates, seed=seed)
            show(document, as_json, lambda: text.splitlines())
        say_next("qualify pod hit-miss TABLE --check-bound counts it for a design of your own")
