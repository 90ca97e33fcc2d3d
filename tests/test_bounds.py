"""Reliefs and proud tips that no joint bears are refused, with the limit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from boxjoint.errors import CannotBeCut
from boxjoint.job.read import read_job
from boxjoint.make import build

JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
MM = 1_000_000


def built_with(name: str, **ask: Any) -> None:
    job = read_job(JOBS / f"{name}.toml")
    build(replace(job, joint=replace(job.joint, **ask)))


# walls and dividers of the tray are 3 mm sheets, or near it: half of one is 1.5 mm


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        ({"shoulder_relief": 2 * MM}, "shoulder relief is out of proportion"),
        ({"proud": 8 * MM}, "proud is out of proportion"),
        ({"proud": -2 * MM}, "proud is out of proportion"),
        ({"floor_relief": 4 * MM}, "floor relief is out of proportion"),
    ],
)
def test_what_is_out_of_proportion_is_refused_with_its_limit(
    ask: dict[str, int], said: str
) -> None:
    with pytest.raises(CannotBeCut, match=said) as raised:
        built_with("slide-tray-100", **ask)
    text = str(raised.value)
    assert f"[joint] {next(iter(ask))}" in text
    assert f"{next(iter(ask.values())) / MM:.3f} mm" in text
    assert raised.value.limit
    assert raised.value.exit_code == 2


@pytest.mark.parametrize(
    "ask", [{"shoulder_relief": MM}, {"proud": 2 * MM}, {"proud": -MM}, {"floor_relief": MM}]
)
def test_what_is_in_proportion_is_built(ask: dict[str, int]) -> None:
    built_with("slide-tray-100", **ask)


def test_a_relief_that_plays_no_part_is_not_looked_at() -> None:
    built_with("slide-tray", shoulder_relief=5 * MM, floor_relief=5 * MM)
