"""The command `image`: recordings imaged in every mode, one folder a recording."""

import json
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.cli.common import INPUT_ERROR, STOPPED, AsJson, answering, say_next, show
from qualify.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from qualify.blocks.definition import Block
    from qualify.figures.image_panel import ImagePanel, TrueTarget
    from qualify.recording.record import Recording
    from qualify.study.imaging import Imaged, Imager
    from qualify.study.imaging_plan import ImagingPlan

MARK = "images.json"


class Figures(StrEnum):
    """Which figures are drawn."""

    all = "all"
    modes = "modes"
    none = "none"


def image(
    recordings: Annotated[
        list[Path],
        typer.Argument(
            metavar="RECORDING...", help="Recordings (.h5), or side-cars.", show_default=False
        ),
    ],
    imaging: Annotated[
        Path,
        typer.Option(
            help="Region, modes and questions (TOML): qualify example imaging.", show_default=False
        ),
    ],
    out: Annotated[
        Path, typer.Option(help="Folder to write: one folder a recording.", show_default=False)
    ],
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
    figures: Annotated[
        Figures, typer.Option(help="all; modes: only those side by side; none.")
    ] = Figures.all,
    as_json: AsJson = False,
) -> None:
    """Image recordings in every mode on one region, and weigh the images.

    A recording imaged before with the same inputs is left as it is, so that a stopped run goes on
    where it was. One that the gate rejects is imaged, marked and counted.
    """
    with answering():
        from qualify.study.imaging import Imager
        from qualify.study.recordings import load_recording

        plan = _plan(imaging)
        block = _block(targets, truth_open)
        folders = _folders(recordings, out)
        imager = Imager(plan, None if twin is None else load_recording(twin), block)
        documents = _all(imager, folders, figures)
        summary = _summary(documents, folders)
        show(summary, as_json, lambda: _lines(summary))
        first = next(iter(folders.values()))
        say_next(f"look at {first / ('images.h5' if figures is Figures.none else 'modes.png')}")


def _plan(path: Path) -> "ImagingPlan":
    from qualify.files import read_toml, validated
    from qualify.study.imaging_plan import ImagingPlan

    return validated(ImagingPlan, read_toml(path), str(path))


def _block(path: Path | None, truth_open: bool) -> "Block | None":
    """Return the block whose targets are drawn; refused unless its truth is said to be open."""
    from qualify.errors import refuse
    from qualify.study.load import load_block

    if path is None:
        return None
    if not truth_open:
        raise refuse(
            str(path),
            "its targets are truth, and images that readers see must not show it",
            "give --truth-open if it is open to all who will see the images",
        )
    return load_block(path)


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


def _all(imager: "Imager", folders: dict[Path, Path], figures: Figures) -> list[dict[str, Any]]:
    """Image all recordings, telling each; what is finished stays when the run is stopped."""
    from qualify.files import write_folder
    from qualify.study.recordings import load_recording

    documents: list[dict[str, Any]] = []
    for number, (path, folder) in enumerate(folders.items(), start=1):
        try:
            recording = load_recording(path)
            document = _held(folder, imager.inputs(recording), figures)
            told = "as it was"
            if document is None:
                truth = _truth(imager, recording, path)
                imaged = imager.image(recording)
                contents = _contents(imager, recording, imaged, figures, truth)
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


def _held(folder: Path, inputs: str, figures: Figures) -> dict[str, Any] | None:
    """Return the document of an earlier run with the same inputs and figures, or None."""
    try:
        document: dict[str, Any] = json.loads((folder / MARK).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    whole = all((folder / name).is_file() for name in document.get("files", ["-"]))
    same = (document.get("inputs_sha256"), document.get("figures")) == (inputs, figures.value)
    return document if whole and same else None


def _truth(imager: "Imager", recording: "Recording", path: Path) -> "tuple[TrueTarget, ...] | None":
    from qualify.dossier.truth_views import true_targets

    return None if imager.block is None else true_targets(imager.block, recording, str(path))


def _contents(
    imager: "Imager",
    recording: "Recording",
    imaged: "Imaged",
    asked: Figures,
    truth: "tuple[TrueTarget, ...] | None",
) -> dict[str, bytes]:
    """Return the files of one recording by name."""
    from qualify.dossier.image_views import Shown, image_panels, top_db
    from qualify.figures.images import alt_text
    from qualify.figures.palette import render
    from qualify.files import canonical_json
    from qualify.imaging.image_archive import images_bytes
    from qualify.recording.gate import GateResult

    plan = imager.plan
    top = plan.amplitude_top_db
    top = top_db([*imaged.images, *imaged.twins]) if top is None else top
    shown = Shown(plan.amplitude_range_db, top, plan.scale_bar_mm, truth)
    panels = image_panels(imaged.images, plan.modes, recording, imaged.result, shown)
    figures = _drawn(panels, asked)
    if imager.twin is not None and asked is not Figures.none:
        bare = Shown(plan.amplitude_range_db, top, plan.scale_bar_mm)
        rejected = GateResult((), ())
        twins = image_panels(imaged.twins, plan.modes, imager.twin, rejected, bare)
        figures |= {
            name.replace("modes", "twin"): figure
            for name, figure in _drawn(twins, Figures.modes).items()
            if name.startswith("modes")
        }
    files = {"images.h5": images_bytes(imaged.images)}
    for name, figure in figures.items():
        drawn = render(figure)
        files |= {f"{name}.png": drawn.png, f"{name}.svg": drawn.svg, f"{name}.pdf": drawn.pdf}
    imaged.document["figures_in_words"] = [alt_text((panel,)) for panel in panels]
    imaged.document["figures"] = asked.value
    imaged.document["files"] = sorted(files)
    return files | {MARK: canonical_json(imaged.document)}


def _drawn(panels: "tuple[ImagePanel, ...]", asked: Figures) -> "dict[str, Figure]":
    """Return the figures asked for by name: of each mode, side by side, and what they cover."""
    from qualify.dossier.image_views import coverage_views
    from qualify.figures.coverage import MOST, coverage_figure
    from qualify.figures.images import image_figure, modes_figure

    figures: dict[str, Figure] = {}
    if asked is Figures.all:
        figures |= {f"mode-{panel.mode}": image_figure(panel) for panel in panels}
    for first in range(0, 0 if asked is Figures.none else len(panels), MOST):
        number = "" if first == 0 else f"-{first // MOST + 1}"
        together = panels[first : first + MOST]
        figures[f"modes{number}"] = modes_figure(together)
        figures[f"coverage{number}"] = coverage_figure(coverage_views(together))
    return figures


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


def _lines(summary: dict[str, Any]) -> list[str]:
    from qualify.study.imaging_words import image_lines

    lines = [line for document in summary["images"] for line in image_lines(document)]
    if summary["recordings"] > 1:
        lines.append(
            f"{summary['recordings']} recordings: {summary['accepted']} accepted, "
            f"{summary['rejected']} rejected by the gate"
        )
    return lines
