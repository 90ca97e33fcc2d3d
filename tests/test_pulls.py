"""Finger holes and notches that drawers and lids are taken hold of by."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from boxjoint.check.built import Built
from boxjoint.errors import InputError, JobError
from boxjoint.export.report import report
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import Source
from boxjoint.job.write import job_to_toml
from boxjoint.make import build

JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
MM = 1_000_000
BASE = """\
unit = "mm"

[inside]
length = 160
width = 100
height = 60

[stock]
material = "birch plywood"
thickness = 3

[cut]
kerf = 0.2
"""


def with_lid(kind: str) -> Built:
    return build(parse_job(f'{BASE}\n[top]\nkind = "{kind}"\nnotch = true\n'))


def case(pull: str, height: float = 120) -> Built:
    text = BASE.replace("height = 60", f"height = {height}")
    return build(parse_job(f'{text}\n[drawers]\ncount = 3\npull = "{pull}"\n'))


def test_every_drawer_has_a_finger_hole_in_the_middle_of_its_inside() -> None:
    built = case("hole")
    built.require()
    for k in (1, 2, 3):
        part = built.part(f"drawer-{k}-front")
        (hole,) = part.holes
        h = hole.placed.hole
        assert h.is_circle
        # common practice, no source: a finger needs 18 to 25 mm
        assert 18 * MM <= h.diameter <= 25 * MM
        bottom = 3 * MM  # of the drawer, below its inside
        middle = (part.panel.size[0] / 2, (bottom + part.panel.size[1]) / 2)
        assert [(h.lo[i] + h.hi[i]) / 2 for i in (0, 1)] == pytest.approx(middle, abs=1)
    assert sum(len(p.holes) for p in built.parts) == 3
    assert built.figures["drawer_pull"].source is Source.ASSUMED


def test_a_pull_is_what_a_table_of_cutouts_makes() -> None:
    job = replace(read_job(JOBS / "specimen-case-pulls.toml"), cutouts=())
    sugar = build(replace(job, drawers=replace(job.drawers, pull="notch")))
    text = job_to_toml(job) + '\n[[cutouts]]\npanel = "drawer-front"\nkind = "finger notch"\n'
    plain = build(parse_job(text))
    for k in (1, 2, 3):
        name = f"drawer-{k}-front"
        assert sugar.part(name).holes[0].as_cut == plain.part(name).holes[0].as_cut
    told = report(sugar)["panels"]["drawer-1-front"]["cutouts"][0]
    assert (told["table"], told["asked_by"], told["open"]) == (None, "[drawers] pull", "top")


def test_a_hole_that_does_not_go_into_a_low_drawer_is_refused_with_the_distance() -> None:
    with pytest.raises(InputError, match=r"(?s)\[drawers\] pull.*mm"):
        case("hole", height=84)


@pytest.mark.parametrize(
    ("kind", "panel", "opening"),
    [
        ("lift-off", "front", "top"),
        ("rim", "lid-front", "bottom"),
        ("cut-through", "lid-front", "bottom"),
        ("sliding", "lid", "bottom"),
    ],
)
def test_a_lid_has_its_notch_on_a_free_rim(kind: str, panel: str, opening: str) -> None:
    built = with_lid(kind)
    built.require()
    told = report(built)["panels"]
    assert [n for n, p in told.items() if p["cutouts"]] == [panel]
    assert told[panel]["cutouts"][0]["open"] == opening
    assert built.figures["lid_notch"].source is Source.ASSUMED


@pytest.mark.parametrize("kind", ["open", "closed"])
def test_a_box_without_a_lid_has_no_notch(kind: str) -> None:
    with pytest.raises(InputError, match="no lid to take hold of"):
        with_lid(kind)


@pytest.mark.parametrize(
    "table", ['[drawers]\ncount = 2\npull = "knob"', '[top]\nkind = "rim"\nnotch = 1']
)
def test_other_values_are_refused(table: str) -> None:
    with pytest.raises(JobError, match=r"pull|notch"):
        parse_job(f"{BASE}\n{table}\n")
