"""Pictures of a trial from its images: coverage by mode, targets of the rule beside their twins.

Twins are made anew for the places that are shown: the same grain, coupling and noise without the
targets, so that what stands over a twin is the best case.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from qualify.blocks.definition import Block
from qualify.blocks.targets import TargetBase
from qualify.files import canonical_json, digest, read_bytes
from qualify.imaging.grid import Grid, Image, Mask
from qualify.imaging.region import Box, peak_in
from qualify.reading.detection import Background
from qualify.study.reading_files import ReadingFiles
from qualify.study.result import StudyResult
from qualify.study.simulation import Job, SimulatedStudy, load_simulation
from qualify.study.trial_image_file import trial_head
from qualify.study.trial_images import FOLDER, load_trial_image, make_trial_images
from qualify.study.trial_recordings import from_recordings
from qualify.study.trial_run import is_trial
from qualify.study.trial_shown import BesideTwin, Cut, ModeShown, TrialShown, Which

TWINS = "twins"
ROUND_MM = 7.0  # shown to each side of a target
WHICH: tuple[Which, ...] = ("hit", "miss")
Wanted = tuple[tuple[str, str, Which], pd.Series]


def show_trial(result: StudyResult, folder: Path) -> TrialShown | None:
    """Return the pictures of a trial; None where its images, or a reading by rule, are not there.

    None also where recordings were given: a simulated twin is none of theirs.

    Raises
    ------
    InputError : where an image is damaged.
    """
    reading, rule = result.inputs.reading, result.rule
    if reading is None or rule is None or (found := _images(folder)) is None:
        return None
    study, files = found
    places = {(job.block, job.name.removeprefix(f"{job.block}-")): job for job in study.jobs}
    wanted = list(_wanted(rule.views[result.headline].opportunities))
    jobs = [places[(str(row["specimen"]), str(row["grading_unit"]))] for _, row in wanted]
    twins = _make_twins(study, reading, folder, jobs)
    blocks = {block.id: block for block in result.inputs.blocks}
    beside = {
        key: _beside(key[1], row, blocks[job.block], job, folder, twins, reading, result)
        for (key, row), job in zip(wanted, jobs, strict=True)
    }
    return TrialShown(_coverage(files, reading), beside)


def images_digest(folder: Path) -> str | None:
    """Return the digest of what the images that are shown depend on; None where none is.

    Raises
    ------
    InputError : where an image is damaged.
    """
    if (found := _images(folder)) is None:
        return None
    heads = {path.name: trial_head(read_bytes(path), str(path)) for path in found[1]}
    return digest(canonical_json({name: head.inputs_sha256 for name, head in heads.items()}))


def _images(folder: Path) -> tuple[SimulatedStudy, list[Path]] | None:
    """Return a simulated trial with the files of its images, if all of them are there."""
    if not is_trial(folder) or from_recordings(folder):
        return None
    study = load_simulation(folder)
    files = [folder / FOLDER / f"{job.name}.h5" for job in study.jobs]
    return (study, files) if all(file.is_file() for file in files) else None


def _wanted(frame: pd.DataFrame) -> Iterator[Wanted]:
    """Yield the smallest hit and the largest miss of each kind and mode."""
    flawed = frame[(frame["examined"] == 1) & frame["size_mm"].notna()]
    for (kind, mode), rows in flawed.groupby(["kind", "mode"], sort=True):
        for which in WHICH:
            own = rows[rows["hit"] == int(which == "hit")]
            if len(own):
                place = own["size_mm"].argmin() if which == "hit" else own["size_mm"].argmax()
                yield (str(kind), str(mode), which), own.iloc[int(place)]


def _make_twins(
    study: SimulatedStudy, reading: ReadingFiles, folder: Path, jobs: list[Job]
) -> dict[str, Path]:
    """Make the twins of these places, or keep them; return their files by the place's name."""
    unique = {job.name: job for job in jobs}
    twins = tuple(replace(job, name=f"{name}-twin", twin=True) for name, job in unique.items())
    of = replace(study, jobs=twins)
    made = make_trial_images(of, reading.imaging, folder / TWINS, lambda *_: None)
    return {one.name.removesuffix("-twin"): folder / TWINS / one.file for one in made}


def _beside(
    mode: str,
    row: pd.Series,
    block: Block,
    job: Job,
    folder: Path,
    twins: dict[str, Path],
    reading: ReadingFiles,
    result: StudyResult,
) -> BesideTwin:
    target = next(t for t in block.targets if t.id == row["target"])
    background = reading.thresholds.of(mode).background()
    x = target.x_mm - job.place.x_mm
    box = _box(target, x, result)
    cuts = [
        _cut(_image(path, mode), box, (x, target.z_mm), background, reading, mode)
        for path in (folder / "images" / f"{job.name}.h5", twins[job.name])
    ]
    half_x, half_z = target.half_extent_mm
    return BesideTwin(
        target.id,
        target.size.value,
        target.z_mm,
        x,
        half_x,
        half_z,
        target.tilt or 0.0,
        cuts[0],
        cuts[1],
    )


def _box(target: TargetBase, x: float, result: StudyResult) -> Box:
    """Return the matching box about a target, in the frame of the recording."""
    rule = result.inputs.plan.matching
    half_x, half_z = rule.x_mm or ROUND_MM, rule.z_mm or ROUND_MM
    if rule.add_target_extent:
        half_x, half_z = half_x + target.half_extent_mm[0], half_z + target.half_extent_mm[1]
    z = target.z_mm
    return Box((x - half_x, x + half_x), (max(0.0, z - half_z), z + half_z))


def _image(path: Path, mode: str) -> Image:
    return next(image for image in load_trial_image(path).images if image.mode == mode)


def _cut(
    image: Image,
    box: Box,
    middle: tuple[float, float],
    background: Background,
    reading: ReadingFiles,
    mode: str,
) -> Cut:
    grid = image.grid
    within = reading.plan.looking(mode).within(grid)
    peak = peak_in(replace(image, covered=image.covered & within), box)
    x, z = grid.x_mm(), grid.z_mm()
    columns = np.flatnonzero(np.abs(x - middle[0]) <= ROUND_MM)
    rows = np.flatnonzero(np.abs(z - middle[1]) <= ROUND_MM)
    held = np.ix_(rows, columns)
    values = np.where(image.covered[held], image.values[held], np.nan).astype(np.float32)
    at = None
    threshold = None
    if peak.value is not None and peak.x_mm is not None and peak.z_mm is not None:
        at = (peak.x_mm, peak.z_mm)
        limit = reading.thresholds.of(mode).threshold
        threshold = float(background.threshold_at(limit, np.array([peak.z_mm]))[0])
    return Cut(values, _edges(x[columns], grid.step_x_mm), _edges(z[rows], grid.step_z_mm),
               peak.value, at, threshold)  # fmt: skip


def _edges(centres: np.ndarray, step: float) -> tuple[float, float]:
    return (float(centres[0] - 0.5 * step), float(centres[-1] + 0.5 * step))


def _coverage(files: list[Path], reading: ReadingFiles) -> tuple[ModeShown, ...]:
    counts: dict[str, np.ndarray] = {}
    units: dict[str, Image] = {}
    for path in files:
        for image in load_trial_image(path).images:
            counts[image.mode] = counts.get(image.mode, 0) + image.covered
            units.setdefault(image.mode, image)
    return tuple(
        _mode_shown(units[one.mode], counts[one.mode] / len(files), len(files), reading)
        for one in reading.thresholds.modes
        if one.mode in counts
    )


def _mode_shown(image: Image, share: np.ndarray, images: int, reading: ReadingFiles) -> ModeShown:
    grid, told = image.grid, reading.thresholds.of(image.mode)
    region = reading.plan.region.box().holds(grid)
    rows, columns = np.flatnonzero(region.any(axis=1)), np.flatnonzero(region.any(axis=0))
    read = reading.plan.looking(image.mode).within(grid) & (share > 0.0)
    depths = grid.z_mm()[rows]
    threshold = told.background().threshold_at(told.threshold, depths)
    return ModeShown(
        image.mode,
        image.unit,
        share[np.ix_(rows, columns)],
        _edges(grid.x_mm()[columns], grid.step_x_mm),
        _edges(depths, grid.step_z_mm),
        tuple(map(float, depths)),
        tuple(map(float, threshold)),
        images,
        _dead_mm(read, grid, rows),
    )


def _dead_mm(read: Mask, grid: Grid, rows: np.ndarray) -> float | None:
    """Return the depth above which the middle of the region is not read."""
    middle = int(np.argmin(np.abs(grid.x_mm())))
    seen = rows[read[rows, middle]]
    if len(seen) and seen[0] == rows[0]:
        return None
    return float(grid.z_mm()[seen[0] if len(seen) else rows[-1]])
