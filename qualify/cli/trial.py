"""Stages of a trial from its folder: images of all places, and their reading."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import STOPPED, AsJson, answering, quoted, say_next, show

if TYPE_CHECKING:
    from qualify.study.simulation import Job
    from qualify.study.thresholds import ModeThreshold, Thresholds

EVERY = 14  # places told in one line: a coupon's


def image_folder(folder: Path, as_json: bool) -> None:
    """Make the images of every place of a simulated trial; those of an earlier run are kept."""
    made = images_of(folder)
    kept = sum(entry.kept for entry in made)
    document: dict[str, Any] = {
        "folder": str(folder / "images"),
        "places": len(made),
        "kept": kept,
        "images": [
            {"file": one.file, "samples_sha256": one.samples_sha256, "inputs": one.inputs_sha256}
            for one in made
        ],
    }
    line = f"SIMULATED: images of {len(made)} places in {folder / 'images'}, {kept} kept"
    show(document, as_json, lambda: [line])
    say_next(f"qualify read {quoted(folder)} --open, then qualify read {quoted(folder)}")


def images_of(folder: Path) -> list[Any]:
    """Return the images of a trial, told a coupon at a time; stopped ones go on later."""
    from qualify.study.trial_run import image_trial

    stands = 0

    def told(done: int, count: int, job: "Job", kept: bool) -> None:
        nonlocal stands
        stands = done
        if done % EVERY == 0 or done == count:
            typer.echo(f"  {done} of {count} places{', kept' if kept else ''}", err=True)

    try:
        return list(image_trial(folder, told))
    except KeyboardInterrupt:
        typer.echo(f"stopped; {stands} places stand, the same command goes on", err=True)
        raise typer.Exit(STOPPED) from None


def read(
    study: Annotated[Path, typer.Argument(help="Folder of the study.", show_default=False)],
    open_set: Annotated[
        bool,
        typer.Option("--open", help="Set thresholds from the blank units of the open blocks."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Read the images of a trial by rule, and by the models of readers the study declares.

    With --open, thresholds come from the open blanks at the declared false-call rate
    (thresholds.json): do this first, then freeze. Without it, all blind units are read with these
    thresholds and the call sheets written. The truth of blind blocks is not looked at.
    """
    with answering():
        from qualify.study.trial_run import read_trial, set_open_thresholds

        if open_set:
            found, changed = set_open_thresholds(study, _progress("open blanks"))
            show(threshold_document(found), as_json, lambda: threshold_lines(found))
            if not changed:
                typer.echo("thresholds.json is as it was", err=True)
            say_next(f"put the thresholds in plan.toml, then qualify freeze {quoted(study)}")
            return
        files = read_trial(study, _progress("pieces"))
        document = {"folder": str(study), "files": files}
        show(document, as_json, lambda: [f"wrote {name}" for name in files])
        say_next(f"name the call sheets in data.toml, then qualify dossier {quoted(study)}")


def _progress(what: str) -> Any:
    def told(done: int, count: int) -> None:
        if done % EVERY == 0 or done == count:
            typer.echo(f"  {done} of {count} {what}", err=True)

    return told


def threshold_document(found: "Thresholds") -> dict[str, Any]:
    """Return thresholds as JSON without their course over depth and their peaks."""
    left_out = {"z_mm", "level", "peaks"}
    modes = [one.model_dump(mode="json", exclude=left_out) for one in found.modes]
    return found.model_dump(mode="json", exclude={"modes"}) | {"modes": modes}


def threshold_lines(found: "Thresholds") -> list[str]:
    """Return thresholds for people, a line a mode."""
    head = (
        f"thresholds for a false-call rate of {100 * found.declared_rate:g} % of blank units, from "
        f"{found.blank_units} open blank units; {found.law}"
    )
    return [head, *(_line(one) for one in found.modes)]


def _line(one: "ModeThreshold") -> str:
    unit = " dB" if one.unit == "db" else ""
    digits = 2 if one.unit == "db" else 3
    return (
        f"  {one.mode}: {one.threshold:.{digits}f}{unit} ± {one.standard_error:.{digits}f} at "
        f"{one.reference_z_mm:g} mm; realised rate {100 * one.rate_low:.2g} to "
        f"{100 * one.rate_high:.2g} % (95 %); {one.units_called} of {len(one.peaks)} called"
    )
