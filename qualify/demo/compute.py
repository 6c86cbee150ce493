"""Make what of the demonstration is simulated: pilot, thresholds, call sheets, check of the model.

`python -m qualify.demo.compute` takes some ten minutes; images stay in `output/demo-images`, so
that a second run is quick. What it writes is what `qualify demo --quick` starts from.
"""

import json
import shutil
import sys
from typing import Any

from qualify.demo import generate
from qualify.demo.block_text import coupon_texts
from qualify.demo.pilot import pilot
from qualify.demo.study_files import study_files
from qualify.files import canonical_json, write_whole
from qualify.study.reading_sizes import FILE as SIZES
from qualify.study.thresholds import FILE as THRESHOLDS
from qualify.study.trial_run import image_trial, read_trial, set_open_thresholds

STUDY = generate.REPOSITORY / generate.STUDY
WORK = generate.REPOSITORY / "output" / "demo-images"


def main() -> None:
    """Make everything that is not there, in the order in which it rests on one another."""
    if not (STUDY / "pilot.json").is_file():
        texts = coupon_texts()
        record = pilot(texts, generate.blocks_from(texts), _say)
        write_whole(STUDY / "pilot.json", canonical_json(record))
    generate.main([])
    for name, content in study_files().items():
        write_whole(WORK / name, content)
    shutil.rmtree(WORK / "call_sheets", ignore_errors=True)
    image_trial(WORK, lambda done, count, job, kept: _say(f"{done} of {count} {job.name} {kept}"))
    set_open_thresholds(WORK, lambda *_: None)
    shutil.copy(WORK / THRESHOLDS, STUDY / THRESHOLDS)
    generate.main([])
    read_trial(WORK, lambda *_: None)
    shutil.rmtree(STUDY / "call_sheets", ignore_errors=True)
    shutil.copytree(WORK / "call_sheets", STUDY / "call_sheets")
    shutil.copy(WORK / SIZES, STUDY / SIZES)


def _say(what: Any) -> None:
    sys.stderr.write(f"{what if isinstance(what, str) else json.dumps(what)}\n")


if __name__ == "__main__":
    main()
