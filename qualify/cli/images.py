"""The command `image`: recordings imaged in every mode, one folder a recording."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import INPUT_ERROR, STOPPED, AsJson, answering, quoted, say_next, show
from qualify.cli.image_files import MARK, Figures, held_before, image_files
from qualify.errors import InputError

if TYPE_CHECKING:
    from qualify.recording.record import Recording
    from qualify.study.imaging import Imager


def image(
    recordings: Annotated[
        list[Path],
        typer.Argument(
            metavar="RECORDING...",
            help="Recordings (.h5), side-cars, or the folder of a trial.",
            show_default=False,
        ),
    ],
    imaging: Annotated[
        Path | None,
        typer.Option(
            help="Region, modes and questions (TOML): qualify example imaging.", show_default=False
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder to write: one folder a recording.", show_default=False),
    ] = None,
    twin: Annotated[
        Path | None,
        typer.Option(help="Recording of the same kind of piece without flaws.", show_default=False),
    ] = None,
    targets: Annotated[
        Path | None,
        typer.Option(help="Block file: its targets are drawn too.", show_default=False),
    ] = None,
    truth_open: Annotated[
        bool, typer.Option("--truth-open", help="Say that the truth of these targets is open.")
    ] = False,
    given: Annotated[
        Path | None,
        typer.Option(
            "--recordings",
            metavar="DIR",
            help="With the folder of a trial: its recordings, in place of simulated ones.",
            show_default=False,
        ),
    ] = None,
    figures: Annotated[
        Figures, typer.Option(help="all; modes: only those side by side; none.")
    ] = Figures.all,
    as_json: AsJson = False,
) -> None:
    """Image recordings in every mode on one region, and weigh the images.

    A recording imaged before with the same inputs is left as it is, so that a stopped run goes on
    where it was. One that the gate rejects is imaged, marked and counted. Of a folder with
    simulation.toml and imaging.toml, the recordings of all places are computed, imaged and let go;
    of one with recordings (.h5) and imaging.toml, all of these, named BLOCK-UNIT or CODE-NUMBER.
    """
    with answering():
        from qualify.cli.trial import image_folder

        if _is_folder_of_trial(recordings, given):
            _nothing_else(imaging, out, twin, targets)
            image_folder(recordings[0], given, as_json)
            return
        from qualify.dossier.truth_views import true_targets
        from qualify.study.images_table import TABLE, check_table
        from qualify.study.imaging import Imager
        from qualify.study.imaging_door import read_given

        _no_bare_folder(recordings, imaging, out)
        imaging, out = _both_given(imaging, out)
        _check_truth(targets, truth_open)
        folders = _folders(recordings, out)
        table = out / TABLE if len(folders) > 1 else None
        if table is not None:
            check_table(table)
        found = read_given(recordings, imaging, twin, targets, true_targets)
        imager = Imager(found.plan, found.twin, found.block)
        documents = _all(imager, folders, figures, found.first)
        summary = _summary(documents, folders) | {
            "table": _table_written(table, documents, folders)
        }
        show(summary, as_json, lambda: _lines(summary))
        first = next(iter(folders.values()))
        look = first / ("images.h5" if figures is Figures.none else "modes.png")
        say_next(f"look at {quoted(look)}")


def _is_folder_of_trial(recordings: list[Path], given: Path | None) -> bool:
    """Return whether a trial is to be imaged; recordings of one are refused without its folder."""
    from qualify.errors import refuse
    from qualify.study.trial_run import has_recordings, is_trial

    alone = len(recordings) == 1 and recordings[0].is_dir()
    if given is not None and not alone:
        raise refuse("--recordings", "is given without the folder of a trial", "give that alone")
    return alone and (given is not None or is_trial(recordings[0]) or has_recordings(recordings[0]))


def _nothing_else(*given: Path | None) -> None:
    """Refuse options beside the folder of a trial, which holds all that is asked."""
    from qualify.errors import refuse

    if any(path is not None for path in given):
        found = "is given with the folder of a trial"
        raise refuse("--imaging, --out, --twin or --targets", found, "leave it out")


def _no_bare_folder(recordings: list[Path], imaging: Path | None, out: Path | None) -> None:
    """Refuse a folder that is no trial, before options are asked for that it would not need."""
    from qualify.errors import refuse

    if imaging is None and out is None and len(recordings) == 1 and recordings[0].is_dir():
        found = "is no trial: it has no imaging.toml with recordings/ or a simulation.toml"
        wanted = "give the folder of a trial, or recordings with --imaging and --out"
        raise refuse(str(recordings[0]), found, wanted)


def _both_given(imaging: Path | None, out: Path | None) -> tuple[Path, Path]:
    """Return both options, or refuse."""
    from qualify.errors import Fault, InputError

    if imaging is not None and out is not None:
        return imaging, out
    pairs = (("--imaging", imaging, "FILE: qualify example imaging"), ("--out", out, "DIR"))
    raise InputError(Fault(n, "is missing", f"give {n} {w}") for n, v, w in pairs if v is None)


def _check_truth(targets: Path | None, truth_open: bool) -> None:
    """Refuse targets unless their truth is said to be open, and the word without targets."""
    from qualify.errors import refuse

    if targets is not None and not truth_open:
        raise refuse(
            str(targets),
            "its targets are truth, and images that readers see must not show it",
            "give --truth-open if it is open to all who will see the images",
        )
    if targets is None and truth_open:
        raise refuse(
            "--truth-open",
            "is given without --targets, so that it opens nothing",
            "give the block file in --targets, or leave it out",
        )


def _folders(recordings: list[Path], out: Path) -> dict[Path, Path]:
    """Return the folder of each recording; two of one name are refused."""
    from qualify.errors import refuse
    from qualify.files import check_folder

    folders: dict[Path, Path] = {}
    for path in recordings:
        folder = out / path.stem
        if folder in folders.values():
            raise refuse(
                str(path), f"two recordings are named '{path.stem}'", "rename one, or run it apart"
            )
        check_folder(folder, mark=MARK)
        folders[path] = folder
    return folders


def _all(
    imager: "Imager", folders: dict[Path, Path], figures: Figures, first: "Recording"
) -> list[dict[str, Any]]:
    """Image all recordings, telling each; what is finished stays when the run is stopped."""
    from qualify.files import write_folder
    from qualify.study.recordings import load_recording

    documents: list[dict[str, Any]] = []
    for number, (path, folder) in enumerate(folders.items(), start=1):
        try:
            recording = first if number == 1 else load_recording(path)
            document = held_before(folder, imager.inputs(recording), figures)
            told = "as it was"
            if document is None:
                imaged = imager.image(recording)
                contents = image_files(imager, recording, imaged, figures, str(path))
                write_folder(folder, contents, mark=MARK)
                document, told = imaged.document, "imaged"
        except KeyboardInterrupt:
            typer.echo(
                f"stopped; {number - 1} of {len(folders)} recordings stand, the same command "
                "goes on with the rest",
                err=True,
            )
            raise typer.Exit(STOPPED) from None
        except InputError as error:
            if number == 1:
                raise
            for fault in error.faults:
                typer.echo(f"error: {path}: {fault}", err=True)
            typer.echo(f"{number - 1} of {len(folders)} recordings stand", err=True)
            raise typer.Exit(INPUT_ERROR) from None
        typer.echo(f"  {number} of {len(folders)}: {path}, {told}", err=True)
        documents.append(document)
    return documents


def _summary(documents: list[dict[str, Any]], folders: dict[Path, Path]) -> dict[str, Any]:
    accepted = sum(document["accepted"] for document in documents)
    return {
        "recordings": len(documents),
        "accepted": accepted,
        "rejected": len(documents) - accepted,
        "images": [
            {"recording": str(path), "folder": str(folder), **document}
            for (path, folder), document in zip(folders.items(), documents, strict=True)
        ],
    }


def _table_written(
    table: Path | None, documents: list[dict[str, Any]], folders: dict[Path, Path]
) -> str | None:
    """Write the table across several recordings; return its name."""
    from qualify.files import write_whole
    from qualify.study.images_table import images_table

    if table is None:
        return None
    pairs = zip(folders, documents, strict=True)
    write_whole(table, images_table([document | {"recording": str(p)} for p, document in pairs]))
    typer.echo(f"wrote {table}", err=True)
    return str(table)


def _lines(summary: dict[str, Any]) -> list[str]:
    from qualify.study.imaging_words import image_lines

    lines = [line for document in summary["images"] for line in image_lines(document)]
    if summary["recordings"] > 1:
        lines.append(
            f"{summary['recordings']} recordings: {summary['accepted']} accepted, "
            f"{summary['rejected']} rejected by the gate"
        )
    return lines
