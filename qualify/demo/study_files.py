"""The embedded studies as files: their folders with the blocks copied beside them."""

import tomllib
from pathlib import Path

STUDY = Path(__file__).parent / "study"
SETUP = Path(__file__).parent / "setup"


def reference_blocks() -> Path:
    """Return the folder of block designs, of an installed package or of a checkout."""
    package = Path(__file__).parents[1]
    inside = package / "reference_blocks"
    return inside if inside.is_dir() else package.parent / "reference_blocks"


def study_files() -> dict[str, bytes]:
    """Return the embedded study: relative file names and their bytes."""
    files = {
        path.relative_to(STUDY).as_posix(): path.read_bytes()
        for path in sorted(STUDY.rglob("*"))
        if path.is_file()
    }
    for name in tomllib.loads(files["data.toml"].decode())["blocks"]:
        files[name] = (reference_blocks() / Path(name).name).read_bytes()
    return files


def setup_files() -> dict[str, bytes]:
    """Return the simulated studies of the set-up blocks: relative file names and their bytes."""
    from qualify.demo.setup_studies import STUDIES, block_text

    files = {
        path.relative_to(SETUP).as_posix(): path.read_bytes()
        for path in sorted(SETUP.rglob("*.toml"))
    }
    for study in STUDIES:
        texts = {study.block: (reference_blocks() / f"{study.block}.toml").read_text("utf-8")}
        words = block_text(study, texts)
        files[f"{study.name}/blocks/{study.block}.toml"] = words.encode()
    return files
