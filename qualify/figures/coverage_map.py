"""One map of what a mode covers, in three classes, with its masks and its threshold over depth."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import ListedColormap
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from qualify.figures.image_axes import NOT_COVERED, hatch_ground, map_axes
from qualify.figures.image_panel import Region, region_words, share_words
from qualify.figures.page import frame, linear_ticks, number, text_width_mm, write
from qualify.figures.palette import GREY, INK, LIMIT, PAPER, RULE, SMALL_PT
from qualify.figures.ramps import Unit

EVERY, SOME = "#7f9fbe", "#d5e1ec"
WHOLE = 1.0 - 1e-9
CLASS_STYLES: tuple[dict[str, Any], ...] = (
    {"fc": EVERY, "ec": GREY}, {"fc": SOME, "ec": GREY}, NOT_COVERED,
)  # fmt: skip
DEAD_STYLE: dict[str, Any] = {"fc": "none", "ec": LIMIT, "hatch": "xxxx", "lw": 0.0}
MASK_STYLE: dict[str, Any] = {"fc": "none", "ec": INK, "hatch": "---", "lw": 0.8}
THRESHOLD_LINE: dict[str, Any] = {"color": INK, "linewidth": 1.3}


@dataclass(frozen=True, slots=True)
class MaskBox:
    """A part of the region where nothing is read: `box` is x from, x to, z from, z to, mm."""

    box: Region
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class CoverageMap:
    """What one mode covers.

    Attributes
    ----------
    fraction : (rows, columns), share of the units in which a place is covered, depth downwards.
    x_mm, z_mm : from and to of the region declared, outer edges of the pixels.
    units : how many units were imaged.
    dead_zone_mm : depth down to which nothing can be told near the scan face, None without.
    depths_mm, threshold : (m,), the threshold at each depth, `unit` dB or coherence; None without
        one, and `no_threshold` says why.

    Raises
    ------
    ValueError
        If shapes, shares or extents do not fit together.
    """

    mode: str
    fraction: NDArray[np.floating]
    x_mm: tuple[float, float]
    z_mm: tuple[float, float]
    units: int
    masks: tuple[MaskBox, ...] = ()
    dead_zone_mm: float | None = None
    unit: Unit = "db"
    depths_mm: tuple[float, ...] = ()
    threshold: tuple[float, ...] | None = None
    no_threshold: str = ""

    def __post_init__(self) -> None:
        share = np.asarray(self.fraction)
        if share.ndim != 2 or not share.size or not ((share >= 0) & (share <= 1)).all():
            msg = f"mode {self.mode}: a map holds rows and columns of shares from 0 to 1"
            raise ValueError(msg)
        if not (self.x_mm[0] < self.x_mm[1] and self.z_mm[0] < self.z_mm[1]) or self.units < 1:
            told = f"{region_words(self.region)}, {self.units} units"
            msg = f"mode {self.mode}: a map has an extent and at least one unit, found {told}"
            raise ValueError(msg)
        if self.threshold is None:
            fits = bool(self.no_threshold)
        else:
            fits = len(self.threshold) == len(self.depths_mm) > 0
        if not fits:
            msg = f"mode {self.mode}: a threshold for each depth, or none and the reason in words"
            raise ValueError(msg)

    @property
    def region(self) -> Region:
        """Outer edges of the map."""
        return (*self.x_mm, *self.z_mm)


def shares(one: CoverageMap) -> tuple[str, str, str]:
    """Return the shares of the region covered in every unit, in some and never."""
    share = np.asarray(one.fraction)
    every, never = share >= WHOLE, share <= 0.0
    return share_words(every), share_words(~every & ~never), share_words(never)


def _edges(covered: NDArray[np.bool_], region: Region) -> list[NDArray[np.float64]]:
    """Return the sides (2, 2) between pixels that are covered and pixels that are not."""
    x_from, x_to, z_from, z_to = region
    rows, columns = covered.shape
    x = np.linspace(x_from, x_to, columns + 1)
    z = np.linspace(z_from, z_to, rows + 1)
    upright = [
        np.array([(x[c + 1], z[r]), (x[c + 1], z[r + 1])])
        for r, c in np.argwhere(covered[:, 1:] != covered[:, :-1])
    ]
    level = [
        np.array([(x[c], z[r + 1]), (x[c + 1], z[r + 1])])
        for r, c in np.argwhere(covered[1:] != covered[:-1])
    ]
    return upright + level


def _draw_masks(axes: Axes, one: CoverageMap, per_mm: tuple[float, float], index: int) -> None:
    """Hatch dead zone and masks; a mask carries its number in the middle of what is shown."""
    x_from, x_to, z_from, z_to = one.region
    if one.dead_zone_mm is not None:
        deep = min(one.dead_zone_mm, z_to) - z_from
        zone = Rectangle((x_from, z_from), x_to - x_from, deep, **DEAD_STYLE, zorder=3)
        zone.set_gid(f"map-{index}-dead")
        axes.add_patch(zone)
        if z_from < one.dead_zone_mm < z_to:
            axes.axhline(one.dead_zone_mm, color=LIMIT, linewidth=0.9, zorder=4)
    for k, mask in enumerate(one.masks):
        left, right = max(mask.box[0], x_from), min(mask.box[1], x_to)
        top, bottom = max(mask.box[2], z_from), min(mask.box[3], z_to)
        if right <= left or bottom <= top:
            continue
        patch = Rectangle((left, top), right - left, bottom - top, **MASK_STYLE, zorder=5)
        patch.set_gid(f"map-{index}-mask-{k}")
        axes.add_patch(patch)
        inside = (text_width_mm("0", SMALL_PT) / 2 + 0.6) / per_mm[0]
        x = min(max((left + right) / 2, x_from + inside), x_to - inside)
        half = 1.5 / per_mm[1]
        z = min(max((top + bottom) / 2, z_from + half), z_to - half)
        white = {"facecolor": PAPER, "edgecolor": INK, "linewidth": 0.4, "pad": 0.8}
        axes.text(x, z, str(k + 1), fontsize=SMALL_PT, ha="center", va="center", bbox=white,
                  zorder=6)  # fmt: skip


def draw_map(
    page: Axes, one: CoverageMap, at: tuple[float, float], size: tuple[float, float], index: int
) -> list[float]:
    """Draw a map and return the depths numbered beside it.

    What is never covered is hatched paper, the rest is light or dark.
    """
    axes = map_axes(page, one.region, at, size, f"map-{index}")
    x_from, x_to, z_from, z_to = one.region
    share = np.asarray(one.fraction)
    classes = np.ma.masked_equal(np.where(share >= WHOLE, 2, np.where(share > 0.0, 1, 0)), 0)
    hatch_ground(axes, one.region)
    axes.imshow(
        classes, cmap=ListedColormap([SOME, EVERY]), vmin=1, vmax=2,
        extent=(x_from, x_to, z_to, z_from), origin="upper", aspect="auto",
        interpolation="nearest", zorder=1, gid=f"map-{index}-classes",
    )  # fmt: skip
    axes.set_xlim(x_from, x_to)
    axes.set_ylim(z_to, z_from)
    for covered, width in ((share >= WHOLE, 0.8), (share > 0.0, 0.5)):
        edges = LineCollection(_edges(covered, one.region), colors=INK, linewidths=width, zorder=2)
        axes.add_collection(edges, autolim=False)
    _draw_masks(axes, one, (size[0] / (x_to - x_from), size[1] / (z_to - z_from)), index)
    return [float(depth) for depth in axes.get_yticks()]


def threshold_ends(maps: Sequence[CoverageMap], one: CoverageMap) -> tuple[float, float]:
    """Return the axis of thresholds that all modes of one unit share."""
    held = [v for other in maps if other.unit == one.unit for v in other.threshold or ()]
    low, high = min(held), max(held)
    pad = 0.15 * (high - low) or 0.1 * abs(high) or 0.1
    if one.unit == "coherence":
        return 0.0, min(high + pad, 1.0)
    return low - pad, high + pad


def draw_threshold(
    page: Axes,
    one: CoverageMap,
    box: tuple[float, float, float, float],
    ends: tuple[float, float],
    depths: Sequence[float],
    index: int,
) -> None:
    """Draw the threshold over the depths of the map, ticked at the depths numbered there."""
    left, top, width, height = box
    axes = frame(page, *box, f"threshold-{index}")
    for spine in axes.spines.values():
        spine.set_visible(True)
    axes.set_xlim(*ends)
    axes.set_ylim(one.z_mm[1], one.z_mm[0])
    for most in (4, 3, 2):
        ticks = linear_ticks(*ends, most)
        wide = sum(text_width_mm(number(tick), SMALL_PT) + 1.5 for tick in ticks)
        if wide <= width + 2.0:
            break
    over = width + 2.5
    ticks = [t for t in ticks if (t - ends[0]) / (ends[1] - ends[0]) * width
             + text_width_mm(number(t), SMALL_PT) / 2 <= over]  # fmt: skip
    axes.set_xticks(ticks, [number(tick) for tick in ticks])
    axes.set_yticks(depths, [])
    for tick in ticks:
        axes.axvline(tick, color=RULE, linewidth=0.3, zorder=0)
    axes.plot(one.threshold or (), one.depths_mm, gid=f"threshold-{index}-line", **THRESHOLD_LINE)
    words = "threshold (dB)" if one.unit == "db" else "threshold (0 to 1)"
    write(page, left + width / 2, top + height + 4.4, words, ha="center")
