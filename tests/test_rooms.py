"""Who imports whom: rooms stand in a line, files within a room too, and heavy libraries stay at the rim."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "boxjoint"
JOB = ROOT / "fixtures" / "jobs" / "slide-tray.toml"

#: Each room imports only from those named before it (the design, section 7).
ROOMS = (
    "errors",
    "units",
    "geometry",
    "job",
    "solve",
    "fit",
    "gauge",
    "sheet",
    "check",
    "export",
    "shop",
    "make",
    "again",
    "order",
    "cli",
)
#: The line of files that the design names.
SOLVE = (
    "arrangement",
    "inside",
    "box",
    "guests",
    "clearances",
    "hinges",
    "moves",
    "tills",
    "lids",
    "cases",
    "joints",
    "tabs",
    "panels",
    "solution",
    "seams",
)

Edge = tuple[str, str, int]


def modules_of(package: Path) -> dict[str, Path]:
    """Every module by its dotted name; a folder goes by the name of the folder."""
    found = {}
    for path in sorted(package.rglob("*.py")):
        parts = [package.name, *path.relative_to(package).with_suffix("").parts]
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports_of(name: str, path: Path, modules: dict[str, Path]) -> Iterator[tuple[str, int]]:
    """Modules of the package that a file names in any import, and the line.

    Imports in functions and under ``TYPE_CHECKING`` count, and so does a string that is the whole
    name of a module, since ``importlib.import_module`` takes it; but not in the package's own
    ``__init__``, which hands out public names late and knows all rooms. A name taken from there,
    other than the version, is given as ``boxjoint.<name>``.
    """
    package = name.split(".")[0]
    here = name if path.name == "__init__.py" else name.rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.split(".")[0] == package:
                    yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = here.split(".")
                above = above[: len(above) - node.level + 1]
                base = ".".join([*above, base] if base else above)
            if base.split(".")[0] != package:
                continue
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                late = base == package and alias.name != "__version__"
                yield (inner if inner in modules or late else base), node.lineno
        elif (
            isinstance(node, ast.Constant)
            and node.value in modules
            and name not in (package, node.value)
        ):
            yield node.value, node.lineno


def edges_of(package: Path) -> list[Edge]:
    modules = modules_of(package)
    return [
        (name, target, line)
        for name, path in modules.items()
        for target, line in imports_of(name, path, modules)
    ]


def room_of(module: str) -> str:
    """The room of a module; ``""`` for the package itself and ``__main__``, the rim."""
    parts = module.split(".")
    return "" if len(parts) == 1 or parts[1] == "__main__" else parts[1]


def back_edges(package: Path, rooms: tuple[str, ...]) -> list[str]:
    """What imports against the sequence of the rooms, or from a room that nobody named."""
    place = {room: i for i, room in enumerate(rooms)}
    found = []
    for name in modules_of(package):
        if room_of(name) not in ("", *rooms):
            found.append(f"{name} is in no room")
    for name, target, line in edges_of(package):
        here, there = room_of(name), room_of(target)
        if there == "":
            if target != package.name:  # the version, and nothing else, may be taken from the top
                found.append(f"{name}:{line} imports {target}")
        elif here == "":
            if name == package.name:
                found.append(f"{name}:{line} loads {target} for everybody")
        elif place.get(there, len(rooms)) > place.get(here, -1):
            found.append(f"{name}:{line} imports {target}: {there} comes after {here}")
    return found


def cycles(package: Path) -> list[str]:
    """A way round from each module that can be reached from itself."""
    after: dict[str, set[str]] = {}
    for name, target, _ in edges_of(package):
        after.setdefault(name, set()).add(target)
    found = []
    for begin in sorted(after):
        ways = [[begin, n] for n in sorted(after[begin])]
        seen: set[str] = set()
        while ways:
            way = ways.pop()
            if way[-1] == begin:
                found.append(" -> ".join(way))
                break
            if way[-1] not in seen:
                seen.add(way[-1])
                ways += [[*way, n] for n in sorted(after.get(way[-1], ()))]
    return found


def test_no_room_imports_from_a_later_one() -> None:
    assert back_edges(PACKAGE, ROOMS) == []


def test_files_import_in_no_circle() -> None:
    assert cycles(PACKAGE) == []


def test_the_files_of_solve_form_the_line_of_the_design() -> None:
    names = {m.rpartition(".")[2] for m in modules_of(PACKAGE) if m.startswith("boxjoint.solve.")}
    assert names == set(SOLVE)
    wrong = []
    for name, target, line in edges_of(PACKAGE):
        if name.startswith("boxjoint.solve.") and target.startswith("boxjoint.solve."):
            here, there = (SOLVE.index(m.rpartition(".")[2]) for m in (name, target))
            if there >= here:
                wrong.append(f"{name}:{line} imports {target}")
    assert wrong == []


def test_every_public_name_can_be_had() -> None:
    import boxjoint

    for name in boxjoint.__all__:
        assert getattr(boxjoint, name) is not None
    assert dir(boxjoint) == sorted(boxjoint.__all__)
    with pytest.raises(AttributeError, match="glue"):
        boxjoint.glue  # noqa: B018


def test_only_units_imports_pint() -> None:
    users = {
        path.relative_to(PACKAGE).parts[0]
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if (isinstance(node, ast.Import) and any(a.name.startswith("pint") for a in node.names))
        or (isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pint"))
    }
    assert users == {"units"}


@pytest.mark.parametrize(
    ("file", "text", "said"),
    [
        ("solve/tabs.py", "from boxjoint.fit import kerf", "solve.tabs:1 imports boxjoint.fit"),
        ("solve/tabs.py", "import boxjoint.fit.kerf", "solve.tabs:1 imports boxjoint.fit.kerf"),
        ("solve/tabs.py", "def f():\n    from ..fit.kerf import k", ":2 imports boxjoint.fit.kerf"),
        (
            "solve/tabs.py",
            "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from boxjoint.fit import kerf",
            ":3 imports boxjoint.fit",
        ),
        (
            "solve/tabs.py",
            'import importlib\nimportlib.import_module("boxjoint.fit.kerf")',
            ":2 imports boxjoint.fit.kerf",
        ),
        ("page/server.py", "", "boxjoint.page is in no room"),
        ("__init__.py", "from boxjoint.errors import x", "loads boxjoint.errors for everybody"),
        ("solve/tabs.py", "from boxjoint import build", ":1 imports boxjoint.build"),
        ("cli/main.py", "import boxjoint.__main__", "cli.main:1 imports boxjoint.__main__"),
    ],
)
def test_a_back_edge_is_seen_wherever_it_hides(
    tmp_path: Path, file: str, text: str, said: str
) -> None:
    package = tmp_path / "boxjoint"
    for name in ("__init__.py", "__main__.py", "errors.py", "fit/__init__.py", "fit/kerf.py"):
        (package / name).parent.mkdir(parents=True, exist_ok=True)
        (package / name).touch()
    assert back_edges(package, ROOMS) == []
    (package / file).parent.mkdir(exist_ok=True)
    (package / file).parent.joinpath("__init__.py").touch()
    (package / file).write_text(text, encoding="utf-8")
    assert any(said in fault for fault in back_edges(package, ROOMS))


def test_a_circle_is_seen(tmp_path: Path) -> None:
    package = tmp_path / "boxjoint"
    package.mkdir()
    (package / "a.py").write_text("from boxjoint.b import x", encoding="utf-8")
    (package / "b.py").write_text("def f():\n    from . import c", encoding="utf-8")
    (package / "c.py").write_text("import boxjoint.a", encoding="utf-8")
    assert "boxjoint.a -> boxjoint.b -> boxjoint.c -> boxjoint.a" in cycles(package)


HEAVY = ("cadquery", "OCP", "pint", "scipy", "shapely", "matplotlib", "rich", "reportlab")


def loaded_by(code: str) -> set[str]:
    """Top names of all modules that a fresh interpreter has loaded after some code; stdout is a pipe."""
    code += "\nimport sys\nprint(*sorted({m.split('.')[0] for m in sys.modules}), file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return set(done.stderr.splitlines()[-1].split())


def command(*words: str) -> str:
    return (
        f"import sys; sys.argv = ['boxjoint', *{words!r}]\n"
        "from boxjoint.cli.main import run\n"
        "try:\n    run()\n"
        "except SystemExit as end:\n    assert end.code == 0, end.code\n"
    )


def test_importing_the_package_loads_nothing_heavy() -> None:
    assert loaded_by("import boxjoint") & {*HEAVY, "numpy", "ezdxf", "click", "tomlkit"} == set()


def test_help_loads_nothing_heavy() -> None:
    assert loaded_by(command("--help")) & {*HEAVY, "numpy", "ezdxf", "tomlkit"} == set()


def test_check_loads_nothing_heavy() -> None:
    loaded = loaded_by(command("check", str(JOB)))
    assert loaded & {*HEAVY, "ezdxf", "tomlkit"} == set()
    assert "numpy" in loaded  # else the command did not run


def test_build_loads_nothing_heavy(tmp_path: Path) -> None:
    loaded = loaded_by(command("build", str(JOB), "--out", str(tmp_path / "tray")))
    assert loaded & {*HEAVY, "tomlkit"} == set()
    assert (tmp_path / "tray" / "panels.dxf").exists()
