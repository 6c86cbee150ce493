"""The embedded study as files: its folder with the blocks copied beside it."""

import tomllib
from pathlib import Path

STUDY = Path(__file__).parent / "study"


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
