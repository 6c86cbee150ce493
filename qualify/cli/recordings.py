"""Commands of recordings: `record`, and what `check` and `example` do with them."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import answering, gathering, quoted, say_next
from qualify.errors import Fault, InputError

if TYPE_CHECKING:
    from qualify.recording.gate import GateResult
    from qualify.study.recordings import CheckedRecording

Limits = Annotated[
    Path | None,
    typer.Option(
        help="Limits of the gate for recordings (TOML); qualify example limits shows the defaults."
    ),
]


def record(
    side_car: Annotated[
        Path,
        typer.Argument(
            metavar="SIDE_CAR", help="Side-car (TOML) beside the array.", show_default=False
        ),
    ],
    out: Annotated[Path, typer.Option(help="File to write: .h5.", show_default=False)],
    limits: Limits = None,
) -> None:
    """Read a measured matrix by its side-car and write it as one HDF5 recording.

    A recording that the gate rejects is written too: it is evidence, and counts.
    """
    with answering():
        from qualify.errors import refuse
        from qualify.recording.archive import recording_bytes
        from qualify.study.recordings import ARCHIVES, check_recording, load_limits

        if out.suffix.lower() not in ARCHIVES:
            raise refuse(str(out), f"ends in '{out.suffix}'", "end it in .h5")
        if side_car.suffix.lower() in ARCHIVES:
            raise refuse(str(side_car), "is a recording already", "give a side-car")
        checked = check_recording(side_car, load_limits(limits))
        told = _written(out, recording_bytes(checked.recording))
        for line in checked.lines():
            typer.echo(line)
        typer.echo(told, err=True)
        say_next(f"qualify check {quoted(out)}")


def _written(out: Path, content: bytes) -> str:
    """Write a file that is not there yet; one of the same bytes is left, any other refused."""
    from qualify.errors import refuse
    from qualify.files import read_bytes, write_whole

    if not out.exists():
        write_whole(out, content)
        return f"wrote {out}"
    if out.is_file() and read_bytes(out) == content:
        return f"{out} holds it already"
    raise refuse(
        str(out), "is there already and holds something else", "give another name, or remove it"
    )


def check_all(
    paths: Sequence[Path], limits: Path | None, figure: Path | None = None
) -> tuple[dict[str, Any], list[str]]:
    """Check studies, block files and recordings in their order; return document and lines.

    Recordings are let go one by one, so that thousands of them need the memory of one. Faults of
    all files are told together.
    """
    from qualify.errors import refuse
    from qualify.study.recordings import (
        check_recording,
        is_recording,
        load_limits,
        totals_document,
        totals_lines,
    )
    from qualify.study.totals import check_lines, check_path

    if figure is not None:
        figure_kind(figure)
        if len(paths) != 1 or not is_recording(paths[0]):
            raise refuse("--figure", "is of one recording", "give one recording alone")
    judged_by = load_limits(limits)
    documents: list[dict[str, Any]] = []
    lines: list[str] = []
    results: list[GateResult] = []
    faults: list[Fault] = []
    for path in paths:
        with gathering(faults):
            if not is_recording(path):
                documents.append(check_path(path))
                lines += check_lines(documents[-1])
                continue
            checked = check_recording(path, judged_by)
            results.append(checked.result)
            documents.append(checked.document())
            lines += checked.lines()
            if figure is not None:
                write_figure(checked, figure)
    if faults:
        raise InputError(faults)
    document: dict[str, Any] = {"checked": documents}
    if results:
        document["recordings"] = totals_document(results)
    return document, [*lines, *totals_lines(results)]


def write_figure(checked: "CheckedRecording", out: Path) -> None:
    """Draw one recording: levels of its elements, maps of its pairs."""
    from qualify.figures.palette import render
    from qualify.figures.recording import RecordingView, recording_figure
    from qualify.files import write_whole
    from qualify.study.recordings import pair_maps

    figures = checked.examination.figures
    residual, clipped, reason = pair_maps(checked.recording)
    levels = None if figures is None else figures.levels
    told = levels is not None and not levels.reason
    view = RecordingView(
        title=Path(checked.path).name,
        answer="; ".join(checked.answer()),
        transmit_db=levels.transmit_db if levels is not None and told else None,
        receive_db=levels.receive_db if levels is not None and told and levels.told_apart else None,
        dead_db=checked.limits.dead_db,
        residual_db=residual,
        clipped_fraction=clipped,
        no_levels="every sample is zero" if levels is None else levels.reason,
        no_residual=reason,
    )
    simulated = checked.recording.provenance.signal == "simulated"
    figure = recording_figure(view, mark="SIMULATED" if simulated else "")
    write_whole(out, getattr(render(figure), figure_kind(out)))
    typer.echo(f"wrote {out}", err=True)


def figure_kind(out: Path) -> str:
    """Return `png`, `svg` or `pdf` by the ending of a file; refuse any other."""
    from qualify.errors import refuse

    kind = out.suffix.lower().lstrip(".")
    if kind not in ("png", "svg", "pdf"):
        raise refuse(str(out), f"ends in '{out.suffix}'", "end it in .png, .svg or .pdf")
    return kind


def write_example(folder: Path) -> None:
    """Write the invented example of a recording."""
    from qualify.errors import refuse
    from qualify.files import write_folder
    from qualify.study.example_recording import ARCHIVE, example_recording_files
    from qualify.study.template import RECORDING

    if folder.exists() and (folder.is_file() or any(folder.iterdir())):
        raise refuse(str(folder), "is there already", "give a new or empty folder")
    files = example_recording_files()
    write_folder(folder, files, mark=RECORDING)
    typer.echo(f"wrote {', '.join(sorted(files))} in {folder} (invented data)", err=True)
    say_next(f"qualify check {quoted(folder / RECORDING)} {quoted(folder / ARCHIVE)}")
