"""The chapter on the model behind simulated signals: what it says, and when."""

import io
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1]))
from made_study import inputs_of
from quick import run_quickly

from qualify.dossier.chapters_model import model_pdf, simulated_signals
from qualify.simulation.checks import LAW, Check
from qualify.simulation.conditions import Conditions, Grain, Receiver
from qualify.simulation.face_checks import FaceCase, TipCase
from qualify.study.model_result import GrainCase, ModeCase, ModelCheck

needs_pdftotext = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="pdftotext reads the pages, and is not here"
)
CHECK = ModelCheck(
    study="invented",
    block="B-1",
    depth_mm=30.0,
    attenuation_db_per_mm=0.01,
    setting=(("Seed", "1"),),
    conditions=Conditions(
        receiver=Receiver(set_on_wall_mm=60.0), grain=Grain(backscatter_db=-40.0)
    ).model_dump(mode="json"),
    checks=(Check("energy", "1", LAW, 1e-14, 0.0, "", 1e-10),),
    faces=(FaceCase(0.4, 0.47, 0.0, -0.1, 0.17), FaceCase(0.4, 0.47, 30.0, 0.2, 0.2)),
    tips=(TipCase(45.0, 2.2, 2.1, 0.9),),
    grain=(GrainCase("linear", 10.0, 50.0, 2.0, 0.03, True),),
    modes=(ModeCase(-40.0, 1.0, "linear", 30.0, 7.0, 23.0, 1.5),),
)


def told(check, tmp_path):
    path = tmp_path / "model.pdf"
    path.write_bytes(model_pdf(check, "0" * 64))
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    return done.stdout


@needs_pdftotext
def test_every_page_says_simulated_and_the_same_check_gives_the_same_bytes(tmp_path):
    """SIMULATED at the foot of each page; what the model leaves out; no measurement compared."""
    content = model_pdf(CHECK, "0" * 64)
    assert content == model_pdf(CHECK, "0" * 64)
    with pikepdf.open(io.BytesIO(content)) as pdf:
        pages = len(pdf.pages)
    text = told(CHECK, tmp_path)
    assert len(re.findall(r"^ *model.json.*SIMULATED|SIMULATED$|  SIMULATED", text, re.M)) >= pages
    words = " ".join(text.split())
    assert "No measurement was compared with it" in words
    assert "multiple scattering" in words
    assert "loses at least 0.0055 dB/mm" in words


@needs_pdftotext
def test_what_fails_is_said(tmp_path):
    """A comparison beyond its tolerance FAILS; grain beyond 1.9 to 2.2 is NOT ACCEPTED."""
    wrong = replace(
        CHECK,
        checks=(replace(CHECK.checks[0], found=0.3),),
        grain=(GrainCase("total_focusing", 3.0, 10.0, 4.4, 0.1, False),),
    )
    assert "FAILS" in told(wrong, tmp_path)
    assert "NOT ACCEPTED" in told(wrong, tmp_path)
    assert "FAILS" not in told(CHECK, tmp_path)


@needs_pdftotext
def test_grain_that_loses_more_than_is_declared_is_said(tmp_path):
    """4πη in dB/mm: η = 1e-3/mm sr loses at least 0.055 dB/mm, more than the declared 0.01."""
    coarse = replace(
        CHECK,
        conditions=Conditions(
            receiver=Receiver(set_on_wall_mm=60.0), grain=Grain(backscatter_db=-30.0)
        ).model_dump(mode="json"),
    )
    words = " ".join(told(coarse, tmp_path).split())
    assert "loses at least 0.055 dB/mm" in words
    assert "The declared grain does not go with so little attenuation" in words


@pytest.mark.parametrize(
    ("signal", "check", "found"),
    [
        ("measured", None, None),
        ("simulated", None, "no check of the model was given"),
        ("simulated", CHECK, "Against exact solutions and laws"),
    ],
)
def test_a_dossier_has_the_chapter_where_signals_are_simulated(signal, check, found):
    """None for measured signals; without a check it says so."""
    inputs = replace(inputs_of(pieces=2, signal=signal), model_check=check)
    story = simulated_signals(run_quickly(inputs))
    text = " ".join(getattr(part, "text", "") for part in story)
    assert (found in text) if found else not story
