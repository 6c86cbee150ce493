"""The command `simulate`: recordings of a study computed from a model of waves."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import STOPPED, AsJson, answering, say_next, show

if TYPE_CHECKING:
    from qualify.study.simulation import Job


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
        import shlex

        from qualify.errors import refuse
        from qualify.study.simulation import load_simulation
        from qualify.study.simulation_run import run_simulation

        loaded = load_simulation(study)
        if only is not None and only not in loaded.blocks:
            blocks = ", ".join(sorted(loaded.blocks))
            raise refuse("--only", f"'{only}' is none of the blocks", f"give one of {blocks}")
        folder = out or loaded.path.parent / "recordings"
        count = sum(only is None or job.block == only for job in loaded.jobs)
        state = {"kept": 0, "stands": 0}

        def told(number: int, job: "Job", kept: bool) -> None:
            state["stands"] += 1
            state["kept"] += kept
            word = "as it was" if kept else "made"
            typer.echo(f"  {state['stands']} of {count}: {job.name}, {word}", err=True)

        try:
            document = run_simulation(loaded, folder, told, only)
        except KeyboardInterrupt:
            typer.echo(
                f"stopped; {state['stands']} of {count} recordings stand, the same command goes "
                "on with the rest",
                err=True,
            )
            raise typer.Exit(STOPPED) from None
        summary = document | {"folder": str(folder), "kept": state["kept"]}
        show(summary, as_json, lambda: _lines(summary))
        first = folder / str(document["recordings"][0]["file"])
        quoted = shlex.quote(str(first))
        say_next(f"qualify image {quoted} --imaging FILE --out DIR; qualify example imaging")


def _lines(summary: dict[str, Any]) -> list[str]:
    made = summary["recordings"]
    return [
        f"SIMULATED: {len(made)} recordings in {summary['folder']}, {summary['kept']} kept from "
        "an earlier run",
        f"  {summary['model']}; seed {summary['seed']}",
        "  left out: " + "; ".join(summary["left_out"]),
        *(f"  in {one['recordings']} recordings: {one['text']}" for one in summary["remarks"]),
    ]
