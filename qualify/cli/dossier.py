"""The commands `dossier` and `demo`: a study scored, analysed, judged, and its dossier written."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from qualify.cli.common import STOPPED, AsJson, Study, answering, quoted, say_next, show


def demo(
    out: Annotated[
        Path, typer.Option(help="Folder to write; an earlier run of it is replaced.")
    ] = Path("output/demo"),
    quick: Annotated[
        bool,
        typer.Option(
            "--quick",
            help="Start from the call sheets of an earlier whole run, and simulate fewer trials "
            "behind each bound: a first look, marked so on every page.",
        ),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Run the embedded study: recordings computed, imaged, read, scored, judged, its dossier.

    Everything in it is invented. A whole run takes some minutes and 120 MB; it goes on where it was
    stopped.
    """
    with answering():
        from qualify.demo.run import run_trial

        typer.echo("writing the embedded study (invented data)", err=True)
        try:
            run_trial(out / "study", lambda text: typer.echo(text, err=True), quick=quick)
        except KeyboardInterrupt:
            typer.echo("stopped; images made so far stand, the same command goes on", err=True)
            raise typer.Exit(STOPPED) from None
        _dossier(out / "study", out / "dossier", as_json, quick=quick)


def dossier(
    study: Study,
    out: Annotated[
        Path | None, typer.Option(help="Folder to write; default: output/NAME of the study.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Score, analyse and judge a study, and write its dossier.

    An earlier run of the same study id in the same folder is replaced.
    """
    with answering():
        _dossier(study, out, as_json)


def _dossier(path: Path, out: Path | None, as_json: bool, *, quick: bool = False) -> None:
    from qualify.files import check_folder, write_folder
    from qualify.study.load import load_study

    def step(name: str) -> None:
        typer.echo(f"  {name}", err=True)

    step("reading the study")
    inputs = load_study(path)
    folder = out or Path("output") / inputs.name
    check_folder(folder, mark="results.json")

    from qualify.dossier.build import build_dossier
    from qualify.study.run import run_study
    from qualify.study.totals import outcome_document, outcome_lines
    from qualify.study.trial_pictures import show_trial

    result = run_study(inputs, step, quick=quick)
    if result.rule is not None and not quick and path.is_dir():
        step("cutting pictures from the images of the trial")
        result = replace(result, shown=show_trial(result, path))
    step("drawing figures and setting pages")
    write_folder(folder, build_dossier(result), mark="results.json")
    document = {"dossier": str(folder / "dossier.pdf"), **outcome_document(result)}
    show(document, as_json, lambda: outcome_lines(result, folder / "dossier.pdf"))
    say_next(f"read {quoted(folder / 'dossier.pdf')}, pages 1 and 2 first")
