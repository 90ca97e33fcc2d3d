"""The pictures in the docs are what the program draws today, and the gallery shows every job."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "docs" / "pictures"
GALLERY = (ROOT / "docs" / "gallery.md").read_text(encoding="utf-8")
JOBS = sorted(path.stem for path in (ROOT / "fixtures" / "jobs").glob("*.toml"))


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    """All pictures, each job built once."""
    pictures: dict[str, bytes] = runpy.run_path(str(PICTURES / "make.py"))["pictures"]()
    return pictures


def test_pictures_are_the_programs_own(made: dict[str, bytes]) -> None:
    found = {p.relative_to(PICTURES).as_posix(): p.read_bytes() for p in PICTURES.rglob("*.svg")}
    assert sorted(found) == sorted(made), "python docs/pictures/make.py"
    old = [name for name, data in made.items() if found[name] != data]
    assert not old, f"{', '.join(old)}: old; python docs/pictures/make.py"


def test_pictures_are_small_enough_for_one_page(made: dict[str, bytes]) -> None:
    large = {n: len(d) for n, d in made.items() if n.startswith("gallery/") and len(d) > 120_000}
    assert not large


def test_the_gallery_shows_every_job_once() -> None:
    shown = re.findall(r"^!\[[^\]]+\]\(pictures/gallery/(\S+)\.svg\)$", GALLERY, re.MULTILINE)
    assert sorted(set(shown) - {"slide-tray-nested-sheets", "leaf-box-marked-panels"}) == JOBS
    assert len(shown) == len(set(shown))
    linked = re.findall(
        r"^### \[[^\]]+\]\(\.\./fixtures/jobs/(\S+)\.toml\)$", GALLERY, re.MULTILINE
    )
    assert sorted(linked) == JOBS
    commands = re.findall(r"boxjoint build fixtures/jobs/(\S+)\.toml --out out/(\S+) ", GALLERY)
    assert sorted(commands) == [(name, name) for name in JOBS]


def test_the_keys_that_the_gallery_names_stand_in_the_job() -> None:
    # a table, a key, or both are what stands in backticks: `[top]`, `thickness`, `[top] notch`
    entry = r"^### \[[^\]]+\]\(\.\./fixtures/jobs/(\S+)\.toml\)$(.*?)^```"
    found = re.findall(entry, GALLERY, re.MULTILINE | re.DOTALL)
    assert len(found) == len(JOBS)
    for name, text in found:
        job = (ROOT / "fixtures" / "jobs" / f"{name}.toml").read_text(encoding="utf-8")
        named = re.findall(r"`(\[+[a-z0-9_.-]+\]+)? ?([a-z_]*)`", text)
        assert named and 2 * len(named) == text.count("`"), name
        for table, key in named:
            assert not table or f"\n{table}" in job, f"{name}: {table}"
            assert not key or re.search(rf"^[^#]*\b{key}\b", job, re.MULTILINE), f"{name}: {key}"
