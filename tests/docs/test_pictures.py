"""The pictures in the docs are what the program draws today."""

from __future__ import annotations

import runpy
from pathlib import Path

PICTURES = Path(__file__).resolve().parents[2] / "docs" / "pictures"


def test_pictures_are_the_programs_own() -> None:
    made = runpy.run_path(str(PICTURES / "make.py"))["pictures"]()
    for name, data in made.items():
        same = (PICTURES / name).read_bytes() == data
        assert same, f"{name} is old: python docs/pictures/make.py"
