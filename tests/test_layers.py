"""The floors of the house: a module imports only from floors above its own and its own room.

The order stands in DEVELOPERS.md; this test reads the imports.
"""

import ast
from pathlib import Path

import pytest

import qualify

HOUSE = Path(qualify.__file__).parent
FLOORS = (
    ("errors",),
    ("files",),
    ("blocks", "evidence"),
    ("recording",),
    ("imaging",),
    ("reading",),
    ("pod", "sizing"),
    ("comparison", "planning"),
    ("criteria",),
    ("study",),
    ("figures",),
    ("dossier",),
    ("demo", "cli"),
)
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}
STANDS_ALONE = {"figures"}
MODULES = sorted(path for path in HOUSE.rglob("*.py") if path != HOUSE / "__init__.py")


def room_of(path: Path) -> str:
    return path.relative_to(HOUSE).parts[0].removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            found.add(node.module or "")
        elif isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
    return {name.split(".")[1] for name in found if name.startswith("qualify.")}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(HOUSE)))
def test_imports_go_upwards_only(path):
    own = room_of(path)
    assert own in FLOOR, f"room '{own}' has no floor"
    for other in imports_of(path) - {own}:
        assert FLOOR[other] < FLOOR[own], f"{own} imports {other}, which is not above it"
        assert own not in STANDS_ALONE, f"{own} takes plain values and imports no room"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(HOUSE)))
def test_computation_neither_prints_nor_reads_files(path):
    """Only `files`, `cli`, the demo's generator and the study's loader touch files or print."""
    text = path.read_text(encoding="utf-8")
    calls = {
        node.func.id
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not calls & {"print", "open", "input"}
    if room_of(path) in ("blocks", "reading", "pod", "sizing", "criteria", "figures", "dossier"):
        assert "pathlib" not in text
        assert "datetime.now" not in text
        assert "os.environ" not in text


def test_modules_are_small():
    long = {
        str(path.relative_to(HOUSE)): lines
        for path in MODULES
        if (lines := path.read_text(encoding="utf-8").count("\n")) > 300
    }
    assert not long
