"""The chapter on the model behind simulated signals, and the same as a document of its own."""

import math
from typing import Any

from reportlab.platypus import Flowable

from qualify.dossier.layout import (
    Footer,
    Heading,
    PageTotal,
    body,
    build_pages,
    bullets,
    chapter,
    section,
)
from qualify.dossier.model_faces import face_sections, limit_sections, tip_sections
from qualify.dossier.place import Places, finished
from qualify.dossier.style import register_fonts
from qualify.dossier.tables import facts, grid
from qualify.simulation.checks import Check
from qualify.simulation.conditions import Conditions
from qualify.simulation.words import LEFT_OUT, MODEL
from qualify.study.model_result import (
    COARSER_DB,
    RATIO_FROM,
    RATIO_TO,
    SEEDS,
    ModeCase,
    ModelCheck,
)
from qualify.study.result import StudyResult

SIMULATED = "SIMULATED"
NEPER_TO_DB = 10.0 / math.log(10.0)  # of power
TITLE = "The model behind the simulated signals"
NOT_CHECKED = "Not shown: no check of the model was given (qualify model)."
NO_GRAIN = "Not shown: the study declares no grain, so that nothing hides a target."
WARNING = (
    "Signals of this study were computed, not received. A model shows what the method of analysis "
    "does with signals of a known kind; it shows nothing of what an instrument, a probe and an "
    "examiner do on a piece. No measurement was compared with it."
)


def simulated_signals(result: StudyResult) -> list[Flowable]:
    """Return the end of chapter 7 of a study with simulated signals; of any other, nothing."""
    if result.inputs.plan.signal != "simulated":
        return []
    if result.inputs.model_check is None:
        return [*section(TITLE), body(WARNING), body(NOT_CHECKED)]
    return model_chapter(result.inputs.model_check, section(TITLE))


def model_chapter(check: ModelCheck, head: list[Flowable]) -> list[Flowable]:
    """Return the chapter: what the model is, what it was held against, where it ends."""
    return [
        *head,
        body(WARNING),
        body(f"Model: {MODEL}. {_declared(check)}"),
        facts([("Simulated study", check.study), *check.setting]),
        *section("What the model leaves out"),
        *bullets(LEFT_OUT),
        *section("Against exact solutions and laws"),
        body(
            "Computed anew for the velocities, the array and the pulse of this study. A residual "
            "of 0 is wanted where no unit stands."
        ),
        _checks(check.checks),
        *face_sections(check.faces),
        *tip_sections(check.tips),
        *limit_sections(),
        *_grain(check),
        *_modes(check),
    ]


def model_pdf(check: ModelCheck, content_sha256: str) -> bytes:
    """Return the chapter as a document; the same check gives the same bytes."""
    register_fonts()
    footer = Footer(check.study, "model check", content_sha256, SIMULATED, "model.json")
    story: list[Flowable] = [
        Heading(f"{check.study}: the model behind simulated signals", 0),
        *model_chapter(check, chapter("Check of the model")),
    ]
    title = f"{check.study}: check of the model"
    pages, _ = build_pages(story, title, footer, PageTotal())
    return finished(pages, Places(), pages, [], title)


def _declared(check: ModelCheck) -> str:
    told = Conditions.model_validate(check.conditions)
    parts = [
        f"Gain set on a back wall at {told.receiver.set_on_wall_mm:g} mm, whose echo peaks at "
        f"{told.receiver.wall_fraction:g} of full scale"
    ]
    if told.grain is not None:
        parts.append(
            f"grain of {told.grain.backscatter_db:g} dB backscatter (re 1/(mm sr)), "
            f"{told.grain.points_per_mm2:g} points a mm²"
        )
    noise = told.electronics
    if noise.noise_db is not None:
        parts.append(f"electronic noise of {noise.noise_db:g} dB re full scale")
    if noise.ring_down_db is not None:
        parts.append(
            f"ring-down from {noise.ring_down_db:g} dB, less by e every {noise.ring_down_us:g} µs"
        )
    return "Declared, not fitted: " + "; ".join(parts) + "."


def _number(value: float) -> str:
    if value != 0.0 and abs(value) < 1e-3:
        return f"{value:.1e}"
    return f"{value:.4g}"


def _checks(checks: tuple[Check, ...]) -> Flowable:
    rows = [
        [
            check.what,
            f"{check.against} ({check.kind})",
            f"{_number(check.found)} {check.unit}".strip(),
            f"{_number(check.wanted)} {check.unit}".strip(),
            _number(check.tolerance),
            "holds" if check.holds else "FAILS",
        ]
        for check in checks
    ]
    heads = ["What", "Against", "Found", "Wanted", "Tolerance", ""]
    bars = [number for number, check in enumerate(checks) if not check.holds]
    return grid(heads, rows, [50, 52, 22, 18, 18, 12], align="llrrrl", bars=bars)


def _grain(check: ModelCheck) -> list[Flowable]:
    out, cases = section("Grain in every mode"), check.grain
    if not cases:
        return [*out, body(NO_GRAIN)]
    rows = [
        [
            case.mode,
            f"{case.z_from_mm:.0f} to {case.z_to_mm:.0f}",
            f"{case.ratio:.2f} ± {case.error:.2f}",
            "accepted" if case.accepted else "NOT ACCEPTED: the comparison of modes is biased",
        ]
        for case in cases
    ]
    return [
        *out,
        body(
            "Mean fourth power of the envelope over its squared mean square. Dense grain has 2 "
            "(Rayleigh); sparse grain has more, most of all in the sharpest mode, and would "
            f"favour the others. Accepted: {RATIO_FROM:g} to {RATIO_TO:g} (chosen here, no "
            "source), two standard errors allowed."
        ),
        grid(
            ["Mode", "Depth mm", "Ratio ± standard error", ""],
            rows,
            [36, 24, 36, 74],
            align="lrrl",
            bars=[number for number, case in enumerate(cases) if not case.accepted],
        ),
        body(_own_loss(check)),
    ]


def _own_loss(check: ModelCheck) -> str:
    """Say what grain would lose by itself, beside the attenuation that is declared."""
    grain = Conditions.model_validate(check.conditions).grain
    assert grain is not None
    told = [
        NEPER_TO_DB * 4.0 * math.pi * 10.0 ** (level / 10.0)
        for level in (grain.backscatter_db, grain.backscatter_db + COARSER_DB)
    ]
    text = (
        f"Grain that scatters alike in all directions loses at least {told[0]:.2g} dB/mm as "
        f"declared, and {told[1]:.2g} dB/mm where it is {COARSER_DB:g} dB coarser (4π times its "
        "backscatter coefficient, shear waves not counted); the model attenuates by "
        f"{check.attenuation_db_per_mm:.2g} dB/mm in both."
    )
    if told[0] > check.attenuation_db_per_mm:
        return text + " The declared grain does not go with so little attenuation."
    if told[1] > check.attenuation_db_per_mm:
        return text + " The coarser grain does not go with so little: deep targets look too good."
    return text


def _modes(check: ModelCheck) -> list[Flowable]:
    out = section("A hole in each mode, beside the same place without it")
    if not check.modes:
        return [*out, body(NO_GRAIN)]
    rows = [_mode_row(case) for case in check.modes]
    heads = [
        "Grain dB",
        "Hole mm",
        "Mode",
        "Signal to noise dB",
        "Same box, no hole",
        "Excess dB (sd)",
        "Coherence",
        "Same box, no hole",
    ]
    return [
        *out,
        body(
            f"Hole {check.depth_mm:g} mm deep under the middle of the array; grain as declared and "
            f"{COARSER_DB:g} dB coarser; means of {SEEDS} draws of grain. A box without a hole "
            "stands above the noise too, and has a coherence: only the excess, or the two side by "
            "side, say anything. Grain and receiver alone: no electronic noise, ring-down, "
            "coupling or back wall; a real twin would differ in those too. No threshold and no "
            "false-call rate stand here: this is no comparison of detection."
        ),
        grid(heads, rows, [16, 14, 32, 22, 22, 24, 20, 20], align="rrlrrrrr"),
    ]


def _mode_row(case: ModeCase) -> list[Any]:
    def told(value: float | None, form: str) -> str:
        return "–" if value is None else format(value, form)

    excess = told(case.excess_db, ".1f")
    if case.excess_sd_db is not None:
        excess += f" ({case.excess_sd_db:.1f})"
    return [
        f"{case.grain_db:g}",
        f"{case.diameter_mm:g}",
        case.mode.replace("_", " "),
        told(case.snr_db, ".1f"),
        told(case.twin_snr_db, ".1f"),
        excess,
        told(case.coherence, ".2f"),
        told(case.twin_coherence, ".2f"),
    ]
