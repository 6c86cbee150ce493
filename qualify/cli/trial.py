"""Stages of a trial from its folder: images of all places, and their reading."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from qualify.cli.common import (
    AS_IT_WAS,
    STOPPED,
    Anew,
    AsJson,
    answering,
    quoted,
    say_next,
    show,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from qualify.study.thresholds import ModeThreshold, Thresholds
    from qualify.study.trial_images import TrialEntry
    from qualify.study.trial_recordings import Told
    from qualify.study.trial_run import ReadTrial

Entry = TypeVar("Entry")

EVERY = 14  # places told in one line: a coupon's


def image_folder(folder: Path, given: Path | None, as_json: bool) -> None:
    """Make the images of every place of a trial; those of an earlier run are kept.

    given : folder of recordings; None: `recordings`, where nothing says how to compute them.
    """
    from qualify.study.trial_run import is_trial

    document: dict[str, Any]
    if given is None and is_trial(folder):
        document, line = _simulated(folder)
    else:
        document, line = _recorded(folder, given)
    show(document, as_json, lambda: [line])
    say_next(f"qualify read {quoted(folder)} --open, then qualify read {quoted(folder)}")


def _simulated(folder: Path) -> tuple[dict[str, Any], str]:
    from qualify.study.trial_run import image_trial

    def told(tell: "Told") -> "list[TrialEntry]":
        return list(image_trial(folder, lambda n, count, job, kept: tell(n, count, job.name, kept)))

    made = _going_on(told)
    kept = sum(entry.kept for entry in made)
    document = {
        "folder": str(folder / "images"),
        "places": len(made),
        "kept": kept,
        "images": [
            {"file": one.file, "samples_sha256": one.samples_sha256, "inputs": one.inputs_sha256}
            for one in made
        ],
    }
    return document, f"SIMULATED: images of {len(made)} places in {folder / 'images'}, {kept} kept"


def _recorded(folder: Path, given: Path | None) -> tuple[dict[str, Any], str]:
    from qualify.study.trial_run import image_recordings

    made = _going_on(lambda tell: image_recordings(folder, given, tell))
    kept = sum(entry.kept for entry in made)
    rejected = sum(bool(entry.rejected) for entry in made)
    signal = made[0].signal
    document = {
        "folder": str(folder / "images"),
        "signal": signal,
        "places": len(made),
        "kept": kept,
        "accepted": len(made) - rejected,
        "rejected": rejected,
        "images": [
            {
                "recording": one.recording,
                "file": one.file,
                "rejected_because": list(one.rejected),
                "samples_sha256": one.samples_sha256,
                "inputs": one.inputs_sha256,
            }
            for one in made
        ],
    }
    for one in made:
        if one.rejected:
            typer.echo(f"  rejected: {one.recording}: {'; '.join(one.rejected)}", err=True)
    head = "SIMULATED: images" if signal == "simulated" else "images"
    line = f"{head} of {len(made)} recordings in {folder / 'images'}, {kept} kept; {rejected} "
    return document, f"{line}rejected by the gate, their units count as not examined"


def _going_on(work: "Callable[[Told], list[Entry]]") -> "list[Entry]":
    """Return what is made, told a coupon at a time; a stopped run goes on later."""
    stands = 0

    def told(done: int, count: int, _name: str, kept: bool) -> None:
        nonlocal stands
        stands = done
        if done % EVERY == 0 or done == count:
            typer.echo(f"  {done} of {count} places{', kept' if kept else ''}", err=True)

    try:
        return work(told)
    except KeyboardInterrupt:
        typer.echo(f"stopped; {stands} places stand, the same command goes on", err=True)
        raise typer.Exit(STOPPED) from None


def read(
    study: Annotated[Path, typer.Argument(help="Folder of the study.", show_default=False)],
    open_set: Annotated[
        bool,
        typer.Option("--open", help="Set thresholds from the blank units of the open blocks."),
    ] = False,
    anew: Anew = False,
    as_json: AsJson = False,
) -> None:
    """Read the images of a trial by rule, and by the models of readers the study declares.

    With --open, thresholds come from the open blanks at the declared false-call rate
    (thresholds.json): do this first, then freeze. Without it, all blind units are read with these
    thresholds and the call sheets written. The truth of blind blocks is not looked at. What was
    made from the same inputs before is kept; a call sheet that somebody changed is not overwritten.
    """
    with answering():
        from qualify.study.trial_run import read_trial, set_open_thresholds

        if open_set:
            found, changed = set_open_thresholds(study, _progress("open blanks"), anew=anew)
            show(threshold_document(found), as_json, lambda: threshold_lines(found))
            if not changed:
                typer.echo("thresholds.json is as it was", err=True)
            say_next(f"put the thresholds in plan.toml, then qualify freeze {quoted(study)}")
            return
        done = read_trial(study, _progress("pieces"), anew=anew)
        document = {
            "folder": str(study),
            "units": done.units,
            "rejected": list(done.rejected),
            "files": done.files,
        }
        if done.kept:
            typer.echo(AS_IT_WAS, err=True)
        show(document, as_json, lambda: _read_lines(done))
        say_next(f"name the call sheets in data.toml, then qualify dossier {quoted(study)}")


def _read_lines(done: "ReadTrial") -> list[str]:
    verb = "holds" if done.kept else "wrote"
    lines = [f"{verb} {name}" for name in done.files]
    lines += [f"took away {name}, which this reading does not make" for name in done.removed]
    if done.rejected:
        lines.append(
            f"{len(done.rejected)} of {done.units} units: recording rejected by the gate, "
            "not examined"
        )
    return lines


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
