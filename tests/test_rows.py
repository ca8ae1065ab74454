"""The rooms and their rows: a file imports only from lower rows, or from files named before it in its own row."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "grainplan"

# Row by row, as DEVELOPERS.md names them. A name that ends in "/" is a folder whose files stand in this order.
ROWS: list[list[str]] = [
    ["errors", "measured", "progress", "units"],
    ["geometry", "arch", "picture"],
    ["boards", "frame", "shop", "species", "plan", "job"],
    ["jobfolder/"],
    ["photos/"],
    ["wood/"],
    ["resaw", "movement", "boardmeasure", "aftersaw", "inside", "pieces", "machines"],
    ["match/", "sight", "choice", "hand", "repair"],
    ["show/"],
    ["steps", "changes", "looks", "says"],
    ["cli", "screens/", "app"],
]


def _place(module: str) -> tuple[int, int]:
    """Row of a module (dotted, below the package) and its place in the row."""
    head = module.split(".")[0]
    for row, names in enumerate(ROWS):
        for place, name in enumerate(names):
            if name.rstrip("/") == head and (name.endswith("/") == (PACKAGE / head).is_dir()):
                return row, place
    raise AssertionError(f"{module} stands in no row")


def _imports(path: Path) -> set[str]:
    """Modules of the package that a file imports, anywhere in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{a.name}" for a in node.names} if _is_folder(node.module) else {node.module or ""}
    return {m.removeprefix("grainplan.") for m in found if m.startswith("grainplan")}


def _is_folder(module: str | None) -> bool:
    return bool(module) and (PACKAGE.parent / str(module).replace(".", "/")).is_dir()


FILES = sorted(p for p in PACKAGE.rglob("*.py") if p.stem not in {"__init__", "__main__"})


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    mine = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
    for other in _imports(path):
        assert other != "grainplan", f"{mine} imports the package itself"
        if mine.split(".")[0] == other.split(".")[0]:
            continue  # one room: loops inside it are caught below
        assert _place(other) < _place(mine), f"{mine} imports {other}, which stands no lower"


def test_no_room_imports_in_a_circle() -> None:
    graph = {".".join(p.relative_to(PACKAGE).with_suffix("").parts): _imports(p) for p in FILES}
    done: set[str] = set()

    def visit(module: str, path: tuple[str, ...]) -> None:
        assert module not in path, f"a circle: {' → '.join((*path, module))}"
        if module in done or module not in graph:
            return
        for other in graph[module]:
            visit(other, (*path, module))
        done.add(module)

    for module in graph:
        visit(module, ())


def test_every_room_is_of_a_readable_size() -> None:
    long = {p.name: n for p in FILES if (n := len(p.read_text(encoding="utf-8").splitlines())) > 500}
    assert not long, f"over 500 lines: {long}"
