"""What all commands share: errors and exit codes, output, option types."""

import json
import shlex
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from qualify.errors import Fault, InputError, told

INPUT_ERROR, NO_NUMBER, STOPPED = 2, 3, 130
STILL_S = 5
AS_IT_WAS = "as it was, nothing changed; --anew computes it again"


class Unit(StrEnum):
    """Unit of a size column."""

    mm = "mm"
    inch = "in"


AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout.")]
Anew = Annotated[bool, typer.Option("--anew", help="Compute it again, though nothing has changed.")]
Table = Annotated[Path, typer.Argument(help="Table, CSV or .xlsx.", show_default=False)]
Study = Annotated[
    Path, typer.Argument(help="Study: its folder, or its .xlsx workbook.", show_default=False)
]


@contextmanager
def answering(*, writes: bool = True) -> Iterator[None]:
    """Turn an input error into its message and exit code; `writes`: whether a file is asked for."""
    try:
        yield
    except InputError as error:
        for line in told(error.faults):
            typer.echo(f"error: {line}", err=True)
        if writes:
            typer.echo("nothing was written", err=True)
        raise typer.Exit(INPUT_ERROR) from None
    except KeyboardInterrupt:
        typer.echo("stopped; nothing was written" if writes else "stopped", err=True)
        raise typer.Exit(STOPPED) from None


@contextmanager
def gathering(faults: list[Fault]) -> Iterator[None]:
    """Keep the faults of one of several inputs, to tell those of all together."""
    try:
        yield
    except InputError as error:
        faults.extend(error.faults)


@contextmanager
def waiting(words: str) -> Iterator[None]:
    """Say what is being done, and every 5 seconds for how long it has been."""
    typer.echo(words, err=True)
    done = threading.Event()

    def tell() -> None:
        seconds = 0
        while not done.wait(STILL_S):
            seconds += STILL_S
            typer.echo(f"  still simulating, {seconds} s", err=True)

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()


def quoted(path: Path | str) -> str:
    """Return a path as a shell takes it, one with blanks too."""
    return shlex.quote(str(path))


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
