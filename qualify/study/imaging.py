"""A recording imaged in all modes, with what the images are worth."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from typing import Any

from qualify import __version__
from qualify.blocks.definition import Block
from qualify.files import canonical_json, digest
from qualify.imaging.beams import around_mm, beams_of
from qualify.imaging.controls import (
    DeadZone,
    PositiveControl,
    coherent_control,
    dead_zone,
    positive_control,
)
from qualify.imaging.coverage import coverage
from qualify.imaging.fidelity import GridLoss, PointSpread, grid_loss, point_spread
from qualify.imaging.focus import Setting, make_images
from qualify.imaging.grid import Grid, Image
from qualify.imaging.mode_quality import mode_quality
from qualify.imaging.modes import Mode
from qualify.imaging.quality import coherence_at_target, signal_to_noise
from qualify.imaging.region import peak_in
from qualify.imaging.steering import region_warning
from qualify.recording.faults import Examination, examine
from qualify.recording.gate import GateResult, gate
from qualify.recording.record import Recording, samples_digest
from qualify.study.imaging_cautions import cautions, steering_warning
from qualify.study.imaging_plan import Control, ImagingPlan, LookedAt
from qualify.study.twins import check_twin

NO_TWIN = "no recording without flaws was given, or the gate rejects it"
NO_THRESHOLD = "the mode has no threshold"


@dataclass(frozen=True, slots=True)
class Imaged:
    """One recording imaged.

    Attributes
    ----------
    images : one a mode, in the order of the plan. twins : of the flaw-free twin, or empty.
    result : what the gate says; a rejected recording is imaged too, and marked.
    document : everything that is told of it, as plain values.
    """

    images: tuple[Image, ...]
    twins: tuple[Image, ...]
    result: GateResult
    document: dict[str, Any]


@dataclass(slots=True)
class Imager:
    """Images recordings by one plan; what depends on the probe alone is computed once.

    Attributes
    ----------
    twin : a recording of the same piece or of one like it, without flaws; None without one.
    block : whose targets are drawn, because somebody said that their truth is open; else None.
    """

    plan: ImagingPlan
    twin: Recording | None = None
    block: Block | None = None
    _points: dict[str, Any] = field(default_factory=dict)
    _setting: Setting = field(default_factory=Setting)
    _twins: tuple[Image, ...] | None = None
    _twin_result: GateResult | None = None

    def inputs(self, recording: Recording) -> str:
        """Return the digest of all that an outcome depends on."""
        told = {
            "version": __version__,
            "plan": self.plan.model_dump(mode="json"),
            "block": None if self.block is None else self.block.model_dump(mode="json"),
            "recordings": [identity(one) for one in (recording, self.twin) if one is not None],
        }
        return digest(canonical_json(told))

    def image(self, recording: Recording) -> Imaged:
        """Image a recording in all modes and weigh the images.

        Raises
        ------
        InputError : if a mode does not fit the probe, or the twin the recording.
        """
        if self.twin is not None:
            check_twin(recording, self.twin)
        grid = self.plan.region.grid()
        images = make_images(recording, self.plan.modes, grid, setting=self._setting)
        examination = examine(recording)
        result = gate(examination, self.plan.gate)
        modes = [
            self._mode(recording, examination, mode, k, image)
            for k, (mode, image) in enumerate(zip(self.plan.modes, images, strict=True))
        ]
        document = {
            "format": 1,
            "inputs_sha256": self.inputs(recording),
            "samples_sha256": samples_digest(recording.samples),
            "signal": recording.provenance.signal,
            "source": recording.provenance.source,
            "left_out": list(recording.provenance.left_out),
            "block": recording.block,
            "position_mm": recording.position_mm,
            "gain_db": recording.gain_db,
            "full_scale": recording.full_scale,
            "accepted": result.accepted,
            "rejected_because": [reason.words for reason in result.reasons],
            "not_shown": list(result.not_shown),
            "twin": self._about_twin(),
            "truth_shown": None if self.block is None else f"{self.block.id} {self.block.revision}",
            "region": self.plan.region.model_dump(mode="json"),
            "warning": region_warning(
                recording.probe,
                recording.coupling,
                recording.medium,
                (self.plan.region.x_from_mm, self.plan.region.x_to_mm),
                (self.plan.region.z_from_mm, self.plan.region.z_to_mm),
            ),
            "modes": modes,
        }
        twins = self.twins() if self.twin is not None else ()
        return Imaged(images, twins, result, document)

    def _mode(
        self, recording: Recording, examination: Examination, mode: Mode, k: int, image: Image
    ) -> dict[str, Any]:
        region = self.plan.region.box()
        twin = self.twins()[k] if self.twin is not None and self._twin_accepted() else None
        told = mode_quality(
            image,
            dead_zone=self._dead_zone(mode, twin),
            positive_control=control_in(image, self.plan.control),
            coverage=coverage(image, region),
            clipped_samples_fraction=_clipped(examination),
        )
        return {
            **told.summary(),
            "unit": image.unit,
            "threshold": mode.threshold,
            "random_level": image.random_level,
            "random_99": image.random_99,
            "fewest_elements": image.fewest_elements,
            "largest": asdict(peak_in(image, region)),
            "looked_at": [self._looked_at(place, image, twin) for place in self.plan.looked_at],
            "grid": self._grid(recording, mode),
            "warning": steering_warning(recording, mode),
            "remarks": [*told.remarks(), *cautions(recording, mode, image)],
        }

    def _twin_accepted(self) -> bool:
        return self.twin is not None and self.twin_result().accepted

    def twin_result(self) -> GateResult:
        """Return what the gate says of the twin; judged once."""
        assert self.twin is not None
        if self._twin_result is None:
            self._twin_result = gate(examine(self.twin), self.plan.gate)
        return self._twin_result

    def _about_twin(self) -> dict[str, Any] | None:
        if self.twin is None:
            return None
        result = self.twin_result()
        return {
            "samples_sha256": samples_digest(self.twin.samples),
            "source": self.twin.provenance.source,
            "block": self.twin.block,
            "accepted": result.accepted,
            "rejected_because": [reason.words for reason in result.reasons],
        }

    def twins(self) -> tuple[Image, ...]:
        """Return the images of the twin; made once."""
        assert self.twin is not None
        if self._twins is None:
            self._twins = make_images(self.twin, self.plan.modes, self.plan.region.grid())
        return self._twins

    def _looked_at(self, place: LookedAt, image: Image, twin: Image | None) -> dict[str, Any]:
        assert self.plan.noise is not None
        box = place.box()
        if image.unit == "coherence":
            found = coherence_at_target(image, twin, box)
            return {"name": place.name, **asdict(found)}
        noise = signal_to_noise(image, twin, box, self.plan.noise.box())
        return {"name": place.name, **asdict(noise)}

    def _dead_zone(self, mode: Mode, twin: Image | None) -> DeadZone | None:
        asked = self.plan.near_surface
        if asked is None:
            return None
        if twin is None or mode.threshold is None:
            reason = NO_TWIN if twin is None else NO_THRESHOLD
            grid = self.plan.region.grid()
            return DeadZone(None, grid.step_z_mm, mode.threshold or 0.0, reason, None)
        return dead_zone(
            twin,
            mode.threshold,
            (asked.x_from_mm, asked.x_to_mm),
            search_to_mm=asked.search_to_mm,
            clear_mm=asked.clear_mm,
        )

    def _grid(self, recording: Recording, mode: Mode) -> list[dict[str, Any]]:
        """Return what the grid loses of points, and how large they are shown, point by point."""
        if mode.show != "amplitude":
            return []
        key = f"{_geometry(recording)} {mode.model_dump_json()}"
        if key not in self._points:
            self._points[key] = [
                self._of_point(recording, mode, (point.x_mm, point.z_mm))
                for point in self.plan.fidelity_points
            ]
        found: list[dict[str, Any]] = self._points[key]
        return found

    def _of_point(
        self, recording: Recording, mode: Mode, point: tuple[float, float]
    ) -> dict[str, Any]:
        imager, grid = _imager(mode), self.plan.region.grid()
        beams = () if mode.focusing == "total_focusing" else beams_of(recording, mode)
        loss: GridLoss = grid_loss(
            imager,
            recording,
            point,
            grid.step_x_mm,
            grid.step_z_mm,
            beside_mm=around_mm(beams, point),
            limit_db=self.plan.fidelity_limit_db,
        )
        spread: PointSpread = point_spread(imager, recording, point)
        return {"loss": asdict(loss), "spread": asdict(spread)}


def control_in(image: Image, asked: Control | None) -> PositiveControl | None:
    """Return whether the known echo that a plan names, if it does, stands in an image."""
    if asked is None:
        return None
    across = (asked.x_from_mm, asked.x_to_mm)
    if image.unit == "coherence":
        return coherent_control(
            image,
            asked.depth_mm,
            across,
            limit_mm=asked.limit_mm,
            least_level=asked.least_coherence,
        )
    return positive_control(
        image,
        asked.depth_mm,
        across,
        search_mm=asked.search_mm,
        limit_mm=asked.limit_mm,
        least_level=asked.least_db,
    )


def _clipped(examination: Examination) -> float | None:
    figures = examination.figures
    return None if figures is None else figures.clipping.samples_fraction


def _imager(mode: Mode) -> Callable[[Recording, Grid], Image]:
    def image(recording: Recording, grid: Grid) -> Image:
        return make_images(recording, [mode], grid)[0]

    return image


def identity(recording: Recording) -> dict[str, Any]:
    """Return all of a recording that images of it depend on, as digests and plain values."""
    return {
        "samples_sha256": samples_digest(recording.samples),
        "geometry": _geometry(recording),
        "full_scale": recording.full_scale,
        "provenance": repr(recording.provenance),
    }


def _geometry(recording: Recording) -> str:
    models = (recording.probe, recording.coupling, recording.medium)
    told = "".join(model.model_dump_json() for model in models)
    return f"{told} {recording.sampling_mhz!r} {recording.start_us!r} {recording.sample_count}"
