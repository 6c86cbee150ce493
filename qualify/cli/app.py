"""The command line: parse, call one function, show.

Exit codes: 0 done (also when a criterion is not met), 2 input error, 3 no number that was
asked for exists. Heavy imports stand inside the commands, so that `--help` is quick.
"""

import gc
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from qualify import __version__
from qualify.cli.bench import bench
from qualify.cli.common import AsJson, answering, quoted, say_next, show
from qualify.cli.compare import compare
from qualify.cli.dossier import demo, dossier
from qualify.cli.images import image
from qualify.cli.order import freeze, seal, unseal
from qualify.cli.pod import pod_app
from qualify.cli.pod_response import write_example_responses
from qualify.cli.recordings import Limits, check_all, record, write_example
from qualify.cli.set_up import set_up
from qualify.cli.simulate import (
    model,
    simulate,
    write_setup_studies,
    write_simulation_example,
)
from qualify.cli.tables import false_calls, sizing
from qualify.cli.trial import read

if TYPE_CHECKING:
    from qualify.study.template import What

CAUTION = (
    "This tool organises evidence. It does not qualify a procedure or certify a person: "
    "a qualification body decides, under the governing code, with certified personnel."
)
app = typer.Typer(
    help="From reference blocks and blind call sheets to a qualification dossier.\n\n" + CAUTION,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


WRITERS = {
    "recording": write_example,
    "simulation": write_simulation_example,
    "setup": write_setup_studies,
    "responses": write_example_responses,
}


class Example(StrEnum):
    """What an example is shown of."""

    block = "block"
    study = "study"
    calls = "calls"
    tables = "tables"
    recording = "recording"
    limits = "limits"
    imaging = "imaging"
    simulation = "simulation"
    reading = "reading"
    setup = "setup"
    responses = "responses"


def _version(value: bool) -> None:
    if value:
        typer.echo(f"qualify {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    """Root of all commands."""


app.command()(demo)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="New folder to write.")],
    workbook: Annotated[
        bool, typer.Option("--workbook", help="One .xlsx workbook in place of TOML files.")
    ] = False,
) -> None:
    """Write a study to fill in: a small invented one, explained line by line."""
    with answering():
        from qualify.errors import refuse
        from qualify.files import write_folder
        from qualify.study.template import template_files, template_workbook

        if folder.exists() and (folder.is_file() or any(folder.iterdir())):
            raise refuse(str(folder), "is there already", "give a new or empty folder")
        files = {"study.xlsx": template_workbook()} if workbook else template_files()
        write_folder(folder, files, mark="study.xlsx")
        typer.echo(f"wrote {', '.join(sorted(files))} in {folder}", err=True)
        made = folder / "study.xlsx" if workbook else folder
        say_next(f"fill it in, then: qualify check {quoted(made)}")


@app.command()
def example(
    what: Annotated[Example, typer.Argument(help="What to show.", show_default=False)],
    out: Annotated[
        Path | None,
        typer.Option(
            help="With recording, simulation, setup or responses: folder to write it to.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Print a commented example of a file.

    With --out: recording, an invented one; simulation, the file with its block; setup, simulation
    and imaging files of the two set-up blocks; responses, tables for pod response and a study.
    """
    with answering(writes=out is not None):
        from qualify.errors import refuse
        from qualify.study.template import example_explained, example_text

        if out is not None:
            if what.value not in WRITERS:
                found, wanted = f"given with {what.value}", f"give it with {', '.join(WRITERS)}"
                raise refuse("--out", found, wanted)
            WRITERS[what.value](out)
            return
        if what in (Example.setup, Example.responses):
            raise refuse(what.value, "is a folder of files", "give --out DIR to write it")
        name = cast("What", what.value)
        typer.echo(example_text(name))
        if explained := example_explained(name):
            typer.echo(explained, err=True)
        say_next(
            f"qualify example {what.value} --out DIR writes it with all that it needs"
            if what.value in WRITERS
            else "qualify new DIR writes all files of a study at once"
        )


@app.command()
def check(
    paths: Annotated[
        list[Path],
        typer.Argument(
            help="Studies; block, simulation and reading files; recordings, side-cars.",
            show_default=False,
        ),
    ],
    limits: Limits = None,
    figure: Annotated[
        Path | None,
        typer.Option(help="With one recording: file to draw it to, .png, .svg or .pdf."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Check studies, block files and recordings; totals of a study show no truth.

    Recordings are examined and judged; one that is rejected is counted, not refused.
    Changes nothing.
    """
    with answering(writes=figure is not None):
        document, lines = check_all(paths, limits, figure)
        show(document, as_json, lambda: lines)
        found = document["checked"]
        if studies := [one["path"] for one in found if one["what"] == "study"]:
            say_next(f"qualify dossier {quoted(studies[0])}")
        elif simulations := [one["path"] for one in found if one["what"] == "simulation"]:
            say_next(f"qualify simulate {quoted(simulations[0])}")
        elif readings := [one["path"] for one in found if one["what"] == "reading"]:
            say_next(f"qualify read {quoted(Path(readings[0]).parent)} --open")
        elif recordings := [one for one in found if one["what"] == "recording"]:
            rejected = [one["path"] for one in recordings if not one["gate"]["accepted"]]
            say_next(_after_recordings(rejected))
        else:
            say_next("qualify draw BLOCK --out FILE.pdf")


def _after_recordings(rejected: list[str]) -> str:
    if rejected:
        return f"mend what is told of {rejected[0]}, or record anew; rejected ones are counted"
    return "image the recordings, or qualify record SIDE_CAR --out FILE.h5 to keep one as a file"


@app.command()
def draw(
    block: Annotated[Path, typer.Argument(help="Block file (TOML).", show_default=False)],
    out: Annotated[
        Path, typer.Option(help="File to write: .png, .svg or .pdf.", show_default=False)
    ],
) -> None:
    """Draw a block to scale, with its target table."""
    with answering():
        from qualify.dossier.views import block_view
        from qualify.errors import refuse
        from qualify.figures.drawing import draw_block
        from qualify.figures.palette import render
        from qualify.files import write_whole
        from qualify.study.load import load_block

        kind = out.suffix.lower().lstrip(".")
        if kind not in ("png", "svg", "pdf"):
            raise refuse(str(out), f"ends in '{out.suffix}'", "end it in .png, .svg or .pdf")
        figure = draw_block(block_view(load_block(block)), table=True)
        write_whole(out, getattr(render(figure), kind))
        typer.echo(f"wrote {out}", err=True)
        say_next(f"look at {quoted(out)} beside the as-built certificate")


app.add_typer(pod_app, name="pod")
app.command("false-calls")(false_calls)
app.command()(sizing)
app.command()(compare)
for step in (freeze, seal, unseal):
    app.command()(step)


app.command()(dossier)
app.command()(simulate)
app.command()(model)
app.command("set-up")(set_up)
app.command()(record)
app.command()(image)
app.command()(read)
app.command()(bench)


SELDOM = (100_000, 50, 100)
"""When cycles are looked for: a run makes few, and looking at Python's pace took a tenth of it."""


def main() -> None:
    """Run the command line."""
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(encoding="utf-8")
        sys.stderr.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
    gc.set_threshold(*SELDOM)
    try:
        app()
    finally:
        gc.freeze()  # nothing is left to look for at the end
