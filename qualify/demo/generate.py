"""Write the demonstration's blocks and studies, or check that they are as written.

Run `python -m qualify.demo.generate` to write, with `--check` to compare. The seed is
recorded in `qualify.demo.seeds`. Written by hand, and only completed here: the plan
(`texts/plan.toml`, into which the thresholds go) and the declaration (`texts/study.toml`). What
takes minutes, since it is simulated, is made by `qualify.demo.compute`: pilot, thresholds, sheets.
"""

import argparse
import json
import sys
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

from qualify.blocks.checks import check_block
from qualify.blocks.definition import Block
from qualify.demo.assumptions import READERS
from qualify.demo.block_text import coupon_texts
from qualify.demo.lug_study import STUDY_ID, study_texts
from qualify.demo.setup_blocks import setup_texts
from qualify.demo.setup_studies import setup_study_texts
from qualify.demo.toml_text import array, comment, keys, text
from qualify.demo.trial import (
    CHANGED_FOR,
    MODEL_MODES,
    RULE_MODES,
    key_table,
    prepare,
    presentation_table,
    table,
)
from qualify.files import read_bytes, validated, write_whole
from qualify.study.presentation import FILE as PRESENTATION
from qualify.study.thresholds import FILE as THRESHOLDS
from qualify.study.thresholds import read_thresholds

HERE = Path(__file__).parent
REPOSITORY = HERE.parent.parent
STUDY = "qualify/demo/study"
SETUP = "qualify/demo/setup"
SET_FROM = {
    "setup": date(2026, 1, 26),
    "open": date(2026, 2, 2),
    "blind": date(2026, 2, 16),
}
RESERVE_COMMITMENT = "9f53b0c1e5f6be733916b0188268bed1c0fcc8641525ffae7264c3e8220b5f2e"
"""SHA-256 over a salt of 32 random bytes and the files of the three reserve coupons.

Made once; the salt and the three files were discarded and aren't part of this project, so
that nobody can open it here. In a real study the custodian keeps both.
"""


def blocks_from(texts: Mapping[str, str]) -> dict[str, Block]:
    """Return the blocks of these texts, validated and checked."""
    blocks = {}
    for name, words in texts.items():
        blocks[name] = validated(Block, tomllib.loads(words), f"{name}.toml")
        check_block(blocks[name], f"{name}.toml")
    return blocks


def set_of(block: str) -> str:
    """Return the set of a block by its id."""
    return next((name for name in ("open", "blind") if f"_{name}_" in block), "setup")


def sets_table(blocks: Mapping[str, Block]) -> bytes:
    """Return the history of sets as CSV: a row for every target of every block."""
    rows = [
        {
            "target": target.id,
            "block": name,
            "set": set_of(name),
            "from_date": SET_FROM[set_of(name)].isoformat(),
        }
        for name, block in blocks.items()
        for target in block.targets
    ]
    return table(("target", "block", "set", "from_date", "until_date"), rows)


def data_text(blocks: Iterable[str], sheets: Iterable[str]) -> str:
    """Return `data.toml`."""
    sources = [
        keys([("file", text(file)), *([("re_reading", "true")] if "re-reading" in file else [])])
        for file in sheets
    ]
    pairs = [
        ("format", "1"),
        ("study", text(STUDY_ID)),
        ("sets", text("sets.csv")),
        ("key", text("key.csv")),
        ("model_check", text("model.json")),
        ("blocks", array([text(f"blocks/{name}.toml") for name in blocks])),
    ]
    top = comment("Where the data of the demonstration lie. Everything in them is invented.")
    return top + "\n" + keys(pairs) + "".join(f"\n[[call_sheets]]\n{item}" for item in sources)


def sheet_names() -> list[str]:
    """Return the files of the call sheets, the rule's last."""
    names = [f"{reader}_{mode}" for reader in READERS for mode in MODEL_MODES]
    names.append("_".join(CHANGED_FOR) + "_re-reading")
    return [f"call_sheets/{name}.csv" for name in [*names, *(f"rule_{m}" for m in RULE_MODES)]]


def plan_text(thresholds: Path) -> str:
    """Return `plan.toml`: the text written by hand with the thresholds of the open set."""
    words = (HERE / "texts" / "plan.toml").read_text("utf-8")
    for one in read_thresholds(thresholds).modes:
        words = words.replace(f"@{one.mode}@", f"{one.threshold:g}")
    return words


def study_text() -> str:
    """Return `study.toml`: the text written by hand with the commitment of the reserve."""
    words = (HERE / "texts" / "study.toml").read_text("utf-8")
    return words.replace("@RESERVE_COMMITMENT@", RESERVE_COMMITMENT)


def grain_db(root: Path) -> float:
    """Return the grain level that the recorded pilot chose."""
    level = json.loads(read_bytes(root / STUDY / "pilot.json"))["chosen_backscatter_db"]
    return float(level)


def contents(root: Path = REPOSITORY) -> dict[str, bytes]:
    """Return every generated file by its path relative to the repository."""
    coupons = coupon_texts()
    setup = setup_texts()
    texts = {**setup, **coupons}
    blocks = blocks_from(texts)
    trial = prepare(blocks)
    files = {f"reference_blocks/{name}.toml": words.encode() for name, words in texts.items()}
    study = {
        "key.csv": key_table(trial),
        "sets.csv": sets_table(blocks),
        PRESENTATION: presentation_table(trial),
        "study.toml": study_text().encode(),
        "data.toml": data_text(blocks, sheet_names()).encode(),
    }
    if (root / STUDY / "pilot.json").is_file():
        told = study_texts(blocks, trial, grain_db(root))
        study |= {name: words.encode() for name, words in told.items()}
    if (root / STUDY / THRESHOLDS).is_file():
        study["plan.toml"] = plan_text(root / STUDY / THRESHOLDS).encode()
    files |= {f"{SETUP}/{n}": words.encode() for n, words in setup_study_texts(setup).items()}
    return files | {f"{STUDY}/{name}": content for name, content in study.items()}


def differences(root: Path = REPOSITORY) -> list[str]:
    """Return the generated files that are missing or differ from what would be written."""
    return [
        name
        for name, content in contents(root).items()
        if not (root / name).is_file() or (root / name).read_bytes() != content
    ]


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the files, or compare them with `--check`; 1 if some differ."""
    parser = argparse.ArgumentParser(description="Blocks and study of the demonstration.")
    parser.add_argument("--check", action="store_true", help="compare and write nothing")
    if parser.parse_args(arguments).check:
        wrong = differences()
        sys.stderr.write("".join(f"{name}: not as generated\n" for name in wrong))
        return 1 if wrong else 0
    for name, content in contents().items():
        write_whole(REPOSITORY / name, content)
    return 0


if __name__ == "__main__":
    sys.exit(main())
