"""The command that compares two modes on the same targets."""

from pathlib import Path
from typing import Annotated

import typer

from qualify.cli import options as o
from qualify.cli.common import NO_NUMBER, AsJson, Table, answering, say_next, show


def _only(given: list[str] | None) -> tuple[tuple[str, str], ...]:
    from qualify.errors import refuse

    pairs = []
    for text in given or []:
        name, sign, value = text.partition("=")
        if not (sign and name.strip() and value.strip()):
            raise refuse("--only", f"found '{text}'", "give COLUMN=VALUE, as kind=notch")
        pairs.append((name.strip(), value.strip()))
    return tuple(pairs)


def compare(
    table: Table,
    target: Annotated[str, typer.Option(help="Column of target ids.", show_default=False)],
    size: o.SizeColumn,
    hit_a: Annotated[str | None, typer.Option(help="Column of hits in the reference.")] = None,
    hit_b: Annotated[str | None, typer.Option(help="Column of hits in the candidate.")] = None,
    name_a: Annotated[str | None, typer.Option(help="Name of the reference, for words.")] = None,
    name_b: Annotated[str | None, typer.Option(help="Name of the candidate, for words.")] = None,
    mode: Annotated[
        str | None, typer.Option(help="Column of modes, where each row holds one of them.")
    ] = None,
    a: Annotated[str | None, typer.Option(help="Reference, as it stands in --mode.")] = None,
    b: Annotated[str | None, typer.Option(help="Candidate, as it stands in --mode.")] = None,
    hit: Annotated[str | None, typer.Option(help="Column of hits, with --mode.")] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(help="COLUMN=VALUE: only such rows count; may be repeated."),
    ] = None,
    reader: o.Reader = None,
    blanks: Annotated[Path | None, typer.Option(help="Table of blank units, one a row.")] = None,
    called_a: Annotated[
        str | None, typer.Option(help="Column in --blanks: called in the reference.")
    ] = None,
    called_b: Annotated[
        str | None, typer.Option(help="Column in --blanks: called in the candidate.")
    ] = None,
    response_a: Annotated[
        str | None, typer.Option(help="Column of responses in the reference.")
    ] = None,
    response_b: Annotated[
        str | None, typer.Option(help="Column of responses in the candidate.")
    ] = None,
    noise: Annotated[
        Path | None,
        typer.Option(help="Peaks of blank units, columns named as those of responses."),
    ] = None,
    rate: o.Rate = None,
    floor_a: Annotated[
        float | None, typer.Option(help="Floor of responses and peaks in the reference.")
    ] = None,
    floor_b: Annotated[
        float | None, typer.Option(help="Floor of responses and peaks in the candidate.")
    ] = None,
    margin: Annotated[
        float | None,
        typer.Option(min=0.01, help="Ratio of a90 up to which the candidate is not inferior."),
    ] = None,
    size_unit: o.SizeUnit = None,
    link: o.LinkOption = o.Link.logit,
    scale: o.ScaleOption = o.Scale.log,
    confidence: o.Confidence = 0.95,
    seed: o.Seed = 1,
    as_json: AsJson = False,
) -> None:
    """Compare two modes on the same targets: hits, curves, and the ratio of a90 with its bounds.

    A row holds both modes (--hit-a, --hit-b), or one of them (--mode, --a, --b, --hit). A fair
    comparison has the same targets, readers of one class, and false calls told of both modes.
    """
    with answering(writes=False):
        from qualify.errors import refuse
        from qualify.raw_tables import read_table
        from qualify.study.answers_blanks import Blanks
        from qualify.study.answers_compare import CompareAsked, answered
        from qualify.study.answers_compare import compare as answer
        from qualify.study.answers_compare_response import RateAsked
        from qualify.study.answers_compare_rows import CompareColumns
        from qualify.study.answers_compare_words import compare_lines

        if (blanks is None) != (called_a is None) or (called_a is None) != (called_b is None):
            raise refuse("compare", "--blanks, --called-a, --called-b not all given", "give all")
        if (noise is None) != (rate is None):
            raise refuse("compare", "--noise without --rate, or --rate without --noise",
                         "give both")  # fmt: skip
        names = (name_a or a or hit_a or "a", name_b or b or hit_b or "b")
        document = answer(
            read_table(table),
            CompareColumns(target, size, hit_a, hit_b, mode, hit, a, b, reader, response_a,
                           response_b, _only(only)),
            CompareAsked(
                names=names,
                size_unit=None if size_unit is None else size_unit.value,
                link=link.value,
                scale=scale.value,
                margin=margin,
                confidence=confidence,
                seed=seed,
                blanks=None if blanks is None or called_a is None or called_b is None
                else Blanks(read_table(blanks), called_a, called_b),
                rate=None if noise is None or rate is None
                else RateAsked(read_table(noise), rate, (floor_a, floor_b)),
            ),
        )  # fmt: skip
        show(document, as_json, lambda: compare_lines(document))
        if not answered(document):
            say_next("read the notes: these targets do not tell the modes apart")
            raise typer.Exit(NO_NUMBER)
        beside = "" if blanks is not None else ", and give the false calls of both (--blanks)"
        say_next(f"say who set up each mode{beside}")
