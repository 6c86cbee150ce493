"""What all commands share: errors and exit codes, output, option types."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from qualify.errors import InputError

INPUT_ERROR, NO_NUMBER, STOPPED = 2, 3, 130


class Unit(StrEnum):
    """Unit of a size column."""

    mm = "mm"
    inch = "in"


AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout.")]
Table = Annotated[Path, typer.Argument(help="Table, CSV or .xlsx.", show_default=False)]
Study = Annotated[
    Path, typer.Argument(help="Study: its folder, or its .xlsx workbook.", show_default=False)
]


@contextmanager
def answering() -> Iterator[None]:
    """Turn an input error into its message and exit code."""
    try:
        yield
    except InputError as error:
        for fault in error.faults:
            typer.echo(f"error: {fault}", err=True)
        typer.echo("nothing was written", err=True)
        raise typer.Exit(INPUT_ERROR) from None
    except KeyboardInterrupt:
        typer.echo("stopped; nothing was written", err=True)
        raise typer.Exit(STOPPED) from None


def say_next(step: str) -> None:
    """Print the line that every command ends with."""
    typer.echo(f"next: {step}", err=True)


def show(document: dict[str, Any], as_json: bool, lines: Callable[[], list[str]]) -> None:
    """Print a document as JSON, or as lines for people."""
    if as_json:
        typer.echo(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1))
        return
    for line in lines():
        typer.echo(line)
