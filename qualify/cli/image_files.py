"""The files that the command `image` writes of one recording, and whether they stand already."""

import json
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from qualify.figures.image_panel import ImagePanel, TrueTarget
    from qualify.recording.record import Recording
    from qualify.study.imaging import Imaged, Imager

MARK = "images.json"
TWIN = "flaw-free TWIN"


class Figures(StrEnum):
    """Which figures are drawn."""

    all = "all"
    modes = "modes"
    none = "none"


def held_before(folder: Path, inputs: str, figures: Figures) -> dict[str, Any] | None:
    """Return the document of an earlier run with the same inputs and figures, or None."""
    try:
        document: dict[str, Any] = json.loads((folder / MARK).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    whole = _as_written(folder, document.get("files_sha256"))
    same = (document.get("inputs_sha256"), document.get("figures")) == (inputs, figures.value)
    return document if whole and same else None


def _as_written(folder: Path, digests: Any) -> bool:
    """Return whether every file of an earlier run is there and holds what was written."""
    from qualify.files import digest

    try:
        return bool(digests) and all(
            digest((folder / name).read_bytes()) == told for name, told in digests.items()
        )
    except (OSError, AttributeError):
        return False


def _truth(imager: "Imager", recording: "Recording", name: str) -> "tuple[TrueTarget, ...] | None":
    from qualify.dossier.truth_views import true_targets

    return None if imager.block is None else true_targets(imager.block, recording, name)


def image_files(
    imager: "Imager",
    recording: "Recording",
    imaged: "Imaged",
    asked: Figures,
    place: str,
) -> dict[str, bytes]:
    """Return the files of one recording by their names; `place` is its name in messages."""
    from qualify.dossier.image_views import Shown, image_panels, top_db
    from qualify.figures.images import alt_text
    from qualify.figures.palette import render
    from qualify.files import canonical_json, digest
    from qualify.imaging.image_archive import images_bytes

    plan, truth = imager.plan, _truth(imager, recording, place)
    top = plan.amplitude_top_db
    top = top_db([*imaged.images, *imaged.twins]) if top is None else top
    shown = Shown(plan.amplitude_range_db, top, plan.scale_bar_mm, truth)
    panels = image_panels(imaged.images, plan.modes, recording, imaged.result, shown)
    figures = _drawn(panels, asked)
    if imager.twin is not None and asked is not Figures.none:
        bare = Shown(plan.amplitude_range_db, top, plan.scale_bar_mm)
        twins = image_panels(imaged.twins, plan.modes, imager.twin, imager.twin_result(), bare)
        told = tuple(replace(panel, mode=f"{TWIN}: {panel.mode}") for panel in twins)
        figures |= {
            name.replace("modes", "twin"): figure
            for name, figure in _drawn(told, Figures.modes).items()
            if name.startswith("modes")
        }
    files = {"images.h5": images_bytes(imaged.images)}
    for name, figure in figures.items():
        drawn = render(figure)
        files |= {f"{name}.png": drawn.png, f"{name}.svg": drawn.svg, f"{name}.pdf": drawn.pdf}
    imaged.document["figures_in_words"] = [alt_text((panel,)) for panel in panels]
    imaged.document["figures"] = asked.value
    imaged.document["files"] = sorted(files)
    imaged.document["files_sha256"] = {name: digest(held) for name, held in files.items()}
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
        figures[f"coverage{number}"] = coverage_figure(
            coverage_views(together), mark="SIMULATED" if together[0].signal == "simulated" else ""
        )
    return figures
