"""Every command of the README runs as printed; the set-up and the test command run in CI."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
CI = (ROOT / ".ci" / "run").read_text()


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.M | re.S)


def commands() -> list[str]:
    return [line for block in blocks(README, "sh") for line in block.splitlines() if line.strip()]


#: Run by .ci/run itself, on a clean checkout: they make the environment these tests run in.
IN_CI = ("python3 -m venv .venv", '.venv/bin/pip install -e ".[solid,test]"', "-m pytest")


def runs_in_ci(command: str) -> bool:
    return any(part in command for part in IN_CI)


def test_set_up_main_and_test_commands_come_first() -> None:
    first = blocks(README, "sh")[:3]
    assert [len(b.splitlines()) for b in first] == [2, 1, 1]
    assert "boxjoint build fixtures/" in first[1]
    assert "pytest" in first[2]


@pytest.mark.parametrize("command", [c for c in commands() if runs_in_ci(c)])
def test_ci_runs_the_same_set_up_and_tests(command: str) -> None:
    wanted = command.replace("pip install", "pip install -q")
    assert command in CI or wanted in CI


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder like the README's: the fixtures are there, and files go to out/."""
    folder = tmp_path_factory.mktemp("readme")
    (folder / "fixtures").symlink_to(ROOT / "fixtures")
    (folder / "out").mkdir()
    return folder


def test_every_command_runs_as_printed(workplace: Path) -> None:
    """In the sequence of the README, since later ones use what earlier ones wrote."""
    environment = {
        **os.environ,
        "BOXJOINT_BOOK": str(workplace / "shop.book"),
        "PYTHONWARNINGS": "error",
    }
    ran = 0
    for command in commands():
        if runs_in_ci(command):
            continue
        words = shlex.split(command)
        assert words[0] == ".venv/bin/boxjoint", command
        if "--solid" in words:
            try:
                import cadquery  # noqa: F401
            except ImportError:
                words.remove("--solid")
        result = subprocess.run(
            [sys.executable, "-m", "boxjoint", *words[1:]],
            cwd=workplace,
            env=environment,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert result.returncode == 0, f"{command}\n{result.stdout}\n{result.stderr}"
        ran += 1
    assert ran >= 5
    assert (workplace / "out/slide-tray/panels/front.dxf").exists()


@pytest.mark.parametrize("block", blocks(README, "python"))
def test_python_runs(block: str, workplace: Path) -> None:
    result = subprocess.run(
        [sys.executable, "-c", block], cwd=workplace, capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stderr
    assert "232.0" in result.stdout


@pytest.mark.parametrize(
    "page",
    [
        "README.md",
        "DEVELOPERS.md",
        *sorted(str(p.relative_to(ROOT)) for p in (ROOT / "docs").rglob("*.md")),
    ],
)
def test_links_lead_somewhere(page: str) -> None:
    here = (ROOT / page).parent
    for target in re.findall(r"\]\(([^)#]+)", (ROOT / page).read_text()):
        if "://" not in target:
            assert (here / target).exists(), f"{page}: {target}"


def test_developers_commands_run_in_ci() -> None:
    for part in ("ruff check .", "ruff format --check .", "mypy", "pytest -n 2"):
        assert part in DEVELOPERS
        assert part in CI
