"""The command line: parse, call one function, show.

Exit codes: 0 done (also when a criterion is not met), 2 input error, 3 no number that was
asked for exists. Heavy imports stand inside the commands, so that `--help` is quick.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from qualify import __version__
from qualify.errors import InputError

CAUTION = (
    "This tool organises evidence. It does not qualify a procedure or certify a person: "
    "a qualification body decides, under the governing code, with certified personnel."
)
INPUT_ERROR, NO_NUMBER, STOPPED = 2, 3, 130

app = typer.Typer(
    help="From reference blocks and blind call sheets to a qualification dossier.\n\n" + CAUTION,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
pod_app = typer.Typer(
    help="Probability of detection of a table.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(pod_app, name="pod")


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

    likelihood = "likelihood"
    wald = "wald"


class Unit(StrEnum):
    """Unit of a size column."""

    mm = "mm"
    inch = "in"


class Example(StrEnum):
    """What an example is shown of."""

    block = "block"
    study = "study"
    calls = "calls"
    tables = "tables"


AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout.")]
Table = Annotated[Path, typer.Argument(help="Table, CSV or .xlsx.", show_default=False)]
Study = Annotated[
    Path, typer.Argument(help="Study: its folder, or its .xlsx workbook.", show_default=False)
]


@contextmanager
def _answering() -> Iterator[None]:
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


def _next(step: str) -> None:
    typer.echo(f"next: {step}", err=True)


def _show(document: dict[str, Any], as_json: bool, lines: Callable[[], list[str]]) -> None:
    if as_json:
        typer.echo(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1))
        return
    for line in lines():
        typer.echo(line)


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


@app.command()
def demo(
    out: Annotated[
        Path, typer.Option(help="Folder to write; an earlier run of it is replaced.")
    ] = Path("output/demo"),
    as_json: AsJson = False,
) -> None:
    """Run the embedded study, from blocks and call sheets to its dossier.

    Everything in it is invented.
    """
    with _answering():
        from qualify.demo.study_files import study_files
        from qualify.files import write_folder

        typer.echo("copying the embedded study (invented data)", err=True)
        study = out / "study"
        write_folder(study, study_files(), mark="plan.toml")
        _dossier(study, out / "dossier", as_json)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="New folder to write.")],
    workbook: Annotated[
        bool, typer.Option("--workbook", help="One .xlsx workbook in place of TOML files.")
    ] = False,
) -> None:
    """Write a study to fill in: a small invented one, explained line by line."""
    with _answering():
        from qualify.errors import refuse
        from qualify.files import write_folder
        from qualify.study.template import template_files, template_workbook

        if folder.exists() and (folder.is_file() or any(folder.iterdir())):
            raise refuse(str(folder), "is there already", "give a new or empty folder")
        files = {"study.xlsx": template_workbook()} if workbook else template_files()
        write_folder(folder, files, mark="study.xlsx")
        typer.echo(f"wrote {', '.join(sorted(files))} in {folder}", err=True)
        _next(f"fill it in, then: qualify check {folder / 'study.xlsx' if workbook else folder}")


@app.command()
def example(
    what: Annotated[Example, typer.Argument(help="What to show.", show_default=False)],
) -> None:
    """Print a commented example of a file."""
    with _answering():
        from qualify.study.template import example_text

        typer.echo(example_text(what.value))
        _next("qualify new DIR writes all files of a study at once")


@app.command()
def check(
    paths: Annotated[
        list[Path], typer.Argument(help="Studies and block files.", show_default=False)
    ],
    as_json: AsJson = False,
) -> None:
    """Check studies and block files, and print totals of a study without showing truth.

    Changes nothing.
    """
    with _answering():
        from qualify.study.totals import check_path

        documents = [check_path(path) for path in paths]
        _show(
            {"checked": documents},
            as_json,
            lambda: [f"{d['path']}: {d['what']}: {d['totals']}" for d in documents],
        )
        studies = [str(p) for p, d in zip(paths, documents, strict=True) if d["what"] == "study"]
        _next(f"qualify dossier {studies[0]}" if studies else "qualify draw BLOCK --out FILE.pdf")


@app.command()
def draw(
    block: Annotated[Path, typer.Argument(help="Block file (TOML).", show_default=False)],
    out: Annotated[
        Path, typer.Option(help="File to write: .png, .svg or .pdf.", show_default=False)
    ],
) -> None:
    """Draw a block to scale, with its target table."""
    with _answering():
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
        _next(f"look at {out} beside the as-built certificate")


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
    bound: Annotated[Bound, typer.Option(help="Method of the bound.")] = Bound.likelihood,
    confidence: Annotated[
        float, typer.Option(min=0.5, max=0.9999, help="One-sided confidence.")
    ] = 0.95,
    as_json: AsJson = False,
) -> None:
    """Fit a POD curve to hits and misses: a50, a90, and the bound on a90."""
    with _answering():
        from qualify.files import read_table
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
        _show(document, as_json, lambda: pod_lines(document))
        _next("qualify false-calls on the blank units read by the same rule")
        if document["a90_95"] is None:
            raise typer.Exit(NO_NUMBER)


@app.command("false-calls")
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
    with _answering():
        from qualify.files import read_table
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
        _show(document, as_json, lambda: false_call_lines(document))
        _next("qualify pod hit-miss on the targets read by the same rule")
        if document["rate"] is None:
            raise typer.Exit(NO_NUMBER)


@app.command()
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
    with _answering():
        from qualify.files import read_table
        from qualify.study.answers import sizing as answer
        from qualify.study.answers import sizing_lines

        unit = None if size_unit is None else size_unit.value
        document = answer(read_table(table), true=true, reported=reported, size_unit=unit)
        _show(document, as_json, lambda: sizing_lines(document))
        _next("say how many flaws were missed: they have no size and are not in this number")
        if document["bias"] is None:
            raise typer.Exit(NO_NUMBER)


@app.command()
def dossier(
    study: Study,
    out: Annotated[
        Path | None, typer.Option(help="Folder to write; default: output/NAME of the study.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Score, analyse and judge a study, and write its dossier."""
    with _answering():
        _dossier(study, out, as_json)


def _dossier(path: Path, out: Path | None, as_json: bool) -> None:
    from qualify.dossier.build import build_dossier
    from qualify.files import write_folder
    from qualify.study.load import load_study
    from qualify.study.run import run_study
    from qualify.study.totals import outcome_document, outcome_lines

    def step(name: str) -> None:
        typer.echo(f"  {name}", err=True)

    step("reading the study")
    inputs = load_study(path)
    result = run_study(inputs, step)
    step("drawing figures and setting pages")
    files = build_dossier(result)
    folder = out or Path("output") / inputs.name
    write_folder(folder, files, mark="results.json")
    document = {"dossier": str(folder / "dossier.pdf"), **outcome_document(result)}
    _show(document, as_json, lambda: outcome_lines(result, folder / "dossier.pdf"))
    _next(f"read {folder / 'dossier.pdf'}, pages 1 and 2 first")


def main() -> None:
    """Run the command line."""
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(encoding="utf-8")
        sys.stderr.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
    app()
