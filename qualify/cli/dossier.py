"""The commands `dossier` and `demo`: a study scored, analysed, judged, and its dossier written."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import (
    AS_IT_WAS,
    STOPPED,
    Anew,
    AsJson,
    Study,
    answering,
    quoted,
    say_next,
    show,
)

if TYPE_CHECKING:
    from qualify.study.result import StudyInputs
    from qualify.study.totals import Outcome


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
    anew: Anew = False,
    as_json: AsJson = False,
) -> None:
    """Score, analyse and judge a study, and write its dossier.

    An earlier run of the same study id in the same folder is replaced; one that was made from the
    same, and whose files are whole, is left as it is.
    """
    with answering():
        _dossier(study, out, as_json, anew=anew)


def _dossier(
    path: Path, out: Path | None, as_json: bool, *, quick: bool = False, anew: bool = False
) -> None:
    from qualify.dossier.manifest import made_from
    from qualify.files import check_folder
    from qualify.study.load import load_study

    def step(name: str) -> None:
        typer.echo(f"  {name}", err=True)

    step("reading the study")
    inputs = load_study(path)
    folder = out or Path("output") / inputs.name
    check_folder(folder, mark="results.json")

    from qualify.dossier.results import outcome_from
    from qualify.study.totals import outcome_document, outcome_lines
    from qualify.study.trial_pictures import images_digest

    pictured = inputs.reading is not None and path.is_dir() and not quick
    images = images_digest(path) if pictured else None
    told = made_from(inputs, quick=quick, images=images)
    held = None if anew else _as_it_was(folder, told)
    if held is not None:
        typer.echo(AS_IT_WAS, err=True)
        outcome = outcome_from(held, inputs.plan)
    else:
        outcome = _made(inputs, path, folder, step, quick=quick, images=images)
    document = {"dossier": str(folder / "dossier.pdf"), **outcome_document(outcome)}
    show(document, as_json, lambda: outcome_lines(outcome, folder / "dossier.pdf"))
    say_next(f"read {quoted(folder / 'dossier.pdf')}, pages 1 and 2 first")


def _as_it_was(folder: Path, told: dict[str, Any]) -> bytes | None:
    """Return the results of an earlier run made from the same, if all of its files are whole."""
    from qualify.dossier.manifest import outputs_if_same
    from qualify.files import digest

    try:
        outputs = outputs_if_same((folder / "manifest.json").read_bytes(), told)
        if not outputs or any(
            digest((folder / name).read_bytes()) != sha for name, sha in outputs.items()
        ):
            return None
        return (folder / "results.json").read_bytes()
    except OSError:
        return None


def _made(
    inputs: "StudyInputs",
    path: Path,
    folder: Path,
    step: Callable[[str], None],
    *,
    quick: bool,
    images: str | None,
) -> "Outcome":
    """Compute a study, write its dossier, and return what it came to."""
    from qualify.dossier.build import build_dossier
    from qualify.files import write_folder
    from qualify.study.run import run_study
    from qualify.study.totals import outcome_of
    from qualify.study.trial_pictures import show_trial

    result = replace(run_study(inputs, step, quick=quick), images=images)
    if result.rule is not None and images is not None:
        step("cutting pictures from the images of the trial")
        result = replace(result, shown=show_trial(result, path))
    step("drawing figures and setting pages")
    write_folder(folder, build_dossier(result), mark="results.json")
    return outcome_of(result)
