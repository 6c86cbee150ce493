"""The command `simulate`: recordings of a study computed from a model of waves."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import INPUT_ERROR, STOPPED, AsJson, answering, quoted, say_next, show
from qualify.errors import InputError, refuse

if TYPE_CHECKING:
    from qualify.study.simulation import Job, SimulatedStudy

MODEL_FILE = "model.json"


def simulate(
    study: Annotated[
        Path,
        typer.Argument(
            help="Simulation file (TOML), or a folder with a simulation.toml.", show_default=False
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder to write; default: recordings, beside the file.", show_default=False
        ),
    ] = None,
    only: Annotated[
        str | None,
        typer.Option(metavar="BLOCK", help="Make the recordings of one block alone."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Compute the recordings of a study: holes, faces, pores, back wall, grain, noise.

    Recordings made before from the same inputs are kept, so that a stopped run goes on where it
    was. Nothing simulated is evidence of what an instrument does on a piece.
    """
    with answering():
        from qualify.study.simulation import load_simulation

        loaded = load_simulation(study)
        placed = sorted({job.block for job in loaded.jobs})
        if only is not None and only not in placed:
            found = f"'{only}' is none of the blocks that have positions"
            raise refuse("--only", found, f"give one of {', '.join(placed)}")
        folder = out or loaded.path.parent / "recordings"
        summary = _run(loaded, folder, only)
        show(summary, as_json, lambda: _lines(summary))
        say_next(_next(loaded.path, folder, summary["recordings"]))


def _run(study: "SimulatedStudy", folder: Path, only: str | None) -> dict[str, Any]:
    """Make the recordings, telling each; what is finished stays when the run is stopped."""
    from qualify.study.simulation_run import run_simulation

    count = sum(only is None or job.block == only for job in study.jobs)
    stands = kept = 0

    def told(number: int, job: "Job", was_there: bool) -> None:
        nonlocal stands, kept
        stands, kept = stands + 1, kept + was_there
        word = "as it was" if was_there else "made"
        typer.echo(f"  {stands} of {count}: {job.name}, {word}", err=True)

    try:
        document = run_simulation(study, folder, told, only)
    except KeyboardInterrupt:
        typer.echo(
            f"stopped; {stands} of {count} recordings stand, the same command goes on with the "
            "rest",
            err=True,
        )
        raise typer.Exit(STOPPED) from None
    except InputError as error:
        if not stands:
            raise
        for fault in error.faults:
            typer.echo(f"error: {fault}", err=True)
        typer.echo(f"{stands} of {count} recordings stand", err=True)
        raise typer.Exit(INPUT_ERROR) from None
    earlier = len(document["recordings"]) - stands + kept
    return document | {"folder": str(folder), "kept": earlier}


def _next(path: Path, folder: Path, made: list[dict[str, Any]]) -> str:
    """Return how the first recording is imaged, with its twin and the imaging file beside."""
    names = {one["twin"]: quoted(folder / one["file"]) for one in reversed(made)}
    head = f"qualify image {names.get(False, '')}"
    if True in names:
        head += f" --twin {names[True]}"
    beside = path.with_name("imaging.toml")
    if beside.is_file():
        out = quoted(folder.parent / "images")
        return f"{head} --imaging {quoted(beside)} --out {out}"
    return f"{head} --imaging FILE --out DIR; qualify example imaging"


def _lines(summary: dict[str, Any]) -> list[str]:
    made = summary["recordings"]
    return [
        f"SIMULATED: {len(made)} recordings in {summary['folder']}, {summary['kept']} kept from "
        "an earlier run",
        f"  {summary['model']}; seed {summary['seed']}",
        "  left out: " + "; ".join(summary["left_out"]),
        *(f"  in {one['recordings']} recordings: {one['text']}" for one in summary["remarks"]),
        *(f"  caution: {text}" for text in summary["cautions"]),
    ]


def model(
    study: Annotated[
        Path,
        typer.Argument(
            help="Simulation file (TOML), or a folder with a simulation.toml.", show_default=False
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(help="Folder to write; default: model, beside the file.", show_default=False),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Hold the model of a simulated study against exact solutions, and say where it ends.

    Writes model.json and model.pdf. A study whose signals are simulated names model.json in its
    data.toml, and its dossier then has the chapter.
    """
    with answering():
        from qualify.dossier.chapters_model import model_pdf
        from qualify.files import canonical_json, check_folder, digest, write_folder
        from qualify.study.model_check import check_model
        from qualify.study.simulation import load_simulation

        loaded = load_simulation(study)
        folder = out or loaded.path.parent / "model"
        check_folder(folder, mark=MODEL_FILE)
        found = check_model(loaded, lambda words: typer.echo(f"  {words}", err=True))
        document = found.document() | {"files": ["model.pdf"]}
        content = canonical_json({k: v for k, v in document.items() if k != "files"})
        files = {MODEL_FILE: content, "model.pdf": model_pdf(found, digest(content))}
        write_folder(folder, files, mark=MODEL_FILE)
        show(document | {"folder": str(folder)}, as_json, lambda: _model_lines(document))
        say_next(f"read {quoted(folder / 'model.pdf')}")


def _model_lines(document: dict[str, Any]) -> list[str]:
    failed = [row["what"] for row in document["checks"] if not row["holds"]]
    unfair = [row["mode"] for row in document["grain"] if not row["accepted"]]
    worst = max(document["faces"], key=lambda row: abs(row["level_db"]))
    lines = [
        f"SIMULATED: {len(document['checks'])} comparisons with laws, exact solutions, formulas "
        f"and the code itself, {len(failed)} fail" + (": " + "; ".join(failed) if failed else ""),
        "  faces have no limit here: the worst peak is "
        f"{worst['level_db']:+.1f} dB off the exact strip ({worst['extent_waves']:g} waves, "
        f"{worst['tilt_deg']:g}° of tilt); read where the model ends",
    ]
    if document["grain"]:
        lines.append(
            "  grain is dense enough for every mode of amplitude"
            if not unfair
            else f"  grain is not accepted in {', '.join(unfair)}: the comparison is biased"
        )
    for row in document["modes"]:
        head = f"  grain {row['grain_db']:g} dB, hole {row['diameter_mm']:g} mm, {row['mode']}: "
        if row["excess_db"] is not None:
            lines.append(f"{head}{row['excess_db']:.1f} dB over the same box without the hole")
        elif row["coherence"] is not None and row["twin_coherence"] is not None:
            lines.append(
                f"{head}coherence {row['coherence']:.2f}, same box without the hole "
                f"{row['twin_coherence']:.2f}"
            )
    return lines


def write_simulation_example(folder: Path) -> None:
    """Write the invented example of a simulation file with its block."""
    from qualify.study.template import BLOCK, SIMULATION, example_text

    files = {SIMULATION: example_text("simulation"), BLOCK: example_text("block")}
    _write_new(folder, {name: text.encode() for name, text in files.items()}, SIMULATION)
    say_next(f"qualify simulate {quoted(folder)}")


def write_setup_studies(folder: Path) -> None:
    """Write simulation and imaging files of the set-up blocks."""
    from qualify.demo.study_files import setup_files

    files = setup_files()
    _write_new(folder, files, min(files))
    say_next(f"qualify simulate {quoted(folder / 'near_surface')}")


def _write_new(folder: Path, files: dict[str, bytes], mark: str) -> None:
    from qualify.files import write_folder

    if folder.exists() and (folder.is_file() or any(folder.iterdir())):
        raise refuse(str(folder), "is there already", "give a new or empty folder")
    write_folder(folder, files, mark=mark)
    typer.echo(f"wrote {', '.join(sorted(files))} in {folder} (invented data)", err=True)
