"""Write the demonstration's blocks and studies, or check that they are as written.

Run `python -m qualify.demo.generate` to write, with `--check` to compare. The seed is
recorded in `qualify.demo.seeds`. Written by hand, and only completed or left alone here: the
plan (`study/plan.toml`) and the declaration (`texts/study.toml`, into which the digests go).
"""

import argparse
import sys
import tomllib
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path

from qualify.blocks.checks import check_block
from qualify.blocks.definition import Block
from qualify.demo.assumptions import MODES, READERS
from qualify.demo.block_text import coupon_texts
from qualify.demo.planted import OVER_TWO_UNITS, over_two_units
from qualify.demo.reader_model import Look
from qualify.demo.setup_blocks import setup_texts
from qualify.demo.setup_studies import setup_study_texts
from qualify.demo.toml_text import array, comment, keys, text
from qualify.demo.trial import CHANGED_FOR, COLUMNS, key_table, prepare, re_reading, sheet, table
from qualify.files import digest, validated, write_whole

HERE = Path(__file__).parent
REPOSITORY = HERE.parent.parent
STUDY = "qualify/demo/study"
SETUP = "qualify/demo/setup"
STUDY_ID = "lug-demo"
SET_FROM = {
    "setup": date(2026, 1, 26),
    "open": date(2026, 2, 2),
    "blind": date(2026, 2, 16),
}
TRUTH_SALT = "44f9f11090645a234214b68905ec7d2feb60ee42eeae315f788bcfe7e54da2aa"
"""Salt of the seal on the blind set's truth; it was published when truth was opened."""
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
        ("blocks", array([text(f"blocks/{name}.toml") for name in blocks])),
    ]
    top = comment("Where the data of the demonstration lie. Everything in them is invented.")
    return top + "\n" + keys(pairs) + "".join(f"\n[[call_sheets]]\n{item}" for item in sources)


def call_sheets(blocks: Mapping[str, Block]) -> dict[str, bytes]:
    """Return the key and the call sheets by file name."""
    trial = prepare(blocks)
    files = {"key.csv": key_table(trial)}
    for reader in READERS:
        for mode in MODES:
            rows = sheet(trial, Look(reader, mode))
            if (reader, mode) == OVER_TWO_UNITS:
                rows = over_two_units(trial, rows)
            files[f"call_sheets/{reader}_{mode}.csv"] = table(COLUMNS, rows)
            if (reader, mode) == (CHANGED_FOR.reader, CHANGED_FOR.mode):
                again = table(COLUMNS, re_reading(trial, rows))
                files[f"call_sheets/{reader}_{mode}_re-reading.csv"] = again
    return files


def study_text(coupons: Mapping[str, str], key: bytes, plan: bytes) -> str:
    """Return `study.toml`: the text written by hand with its digests filled in."""
    sealed = [words.encode() for name, words in coupons.items() if set_of(name) == "blind"]
    fillings = {
        "PLAN_DIGEST": digest(plan),
        "TRUTH_SALT": TRUTH_SALT,
        "TRUTH_DIGEST": digest(b"".join([bytes.fromhex(TRUTH_SALT), key, *sealed])),
        "RESERVE_COMMITMENT": RESERVE_COMMITMENT,
    }
    words = (HERE / "texts" / "study.toml").read_text("utf-8")
    for name, value in fillings.items():
        words = words.replace(f"@{name}@", value)
    return words


def contents() -> dict[str, bytes]:
    """Return every generated file by its path relative to the repository."""
    coupons = coupon_texts()
    setup = setup_texts()
    texts = {**setup, **coupons}
    blocks = blocks_from(texts)
    files = {f"reference_blocks/{name}.toml": words.encode() for name, words in texts.items()}
    study = call_sheets(blocks)
    plan = (HERE / "study" / "plan.toml").read_bytes()
    study["sets.csv"] = sets_table(blocks)
    study["study.toml"] = study_text(coupons, study["key.csv"], plan).encode()
    sheets = [name for name in study if name.startswith("call_sheets/")]
    study["data.toml"] = data_text(blocks, sheets).encode()
    files |= {f"{SETUP}/{n}": words.encode() for n, words in setup_study_texts(setup).items()}
    return files | {f"{STUDY}/{name}": content for name, content in study.items()}


def differences(root: Path = REPOSITORY) -> list[str]:
    """Return the generated files that are missing or differ from what would be written."""
    return [
        name
        for name, content in contents().items()
        if not (root / name).is_file() or (root / name).read_bytes() != content
    ]


def main() -> int:
    """Write the files, or compare them with `--check`; 1 if some differ."""
    parser = argparse.ArgumentParser(description="Blocks and study of the demonstration.")
    parser.add_argument("--check", action="store_true", help="compare and write nothing")
    if parser.parse_args().check:
        wrong = differences()
        sys.stderr.write("".join(f"{name}: not as generated\n" for name in wrong))
        return 1 if wrong else 0
    for name, content in contents().items():
        write_whole(REPOSITORY / name, content)
    return 0


if __name__ == "__main__":
    sys.exit(main())
