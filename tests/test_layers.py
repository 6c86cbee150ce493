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
    ("files", "threads", "effort"),
    ("raw_tables",),
    ("blocks", "evidence"),
    ("recording",),
    ("simulation",),
    ("imaging",),
    ("reading",),
    ("pod", "sizing"),
    ("comparison", "planning"),
    ("criteria",),
    ("study",),
    ("figures",),
    ("dossier",),
    ("demo",),
    ("cli",),
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
    """Rooms that compute or lay out touch neither files nor clock nor environment."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    called = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    names = {f.id for f in called if isinstance(f, ast.Name)}
    methods = {f.attr for f in called if isinstance(f, ast.Attribute)}
    assert not names & {"print", "open", "input"}
    if room_of(path) in (
        "blocks",
        "recording",
        "simulation",
        "imaging",
        "reading",
        "pod",
        "sizing",
        "criteria",
        "figures",
        "dossier",
    ):
        assert not methods & {"read_text", "read_bytes", "write_text", "write_bytes", "unlink"}
        assert not methods & {"now", "today", "getenv", "perf_counter"}
        imported = {
            n.name for node in ast.walk(tree) if isinstance(node, ast.Import) for n in node.names
        }
        assert not imported & {"os", "time", "subprocess"}


def test_modules_are_small():
    long = {
        str(path.relative_to(HOUSE)): lines
        for path in MODULES
        if (lines := path.read_text(encoding="utf-8").count("\n")) > 300
    }
    assert not long
