"""Tills: trays that lift out of a box; what they rest on, how much room they have, how they come out.

Sizes are worked out here by adding and subtracting; that nothing strikes or falls is for the solid
kernel (marked solid) and the mover of the tests.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import pytest
from hypothesis import given, settings
from strategies import till_jobs

from boxjoint.errors import ArrangementError, BoxjointError, InputError, JobError
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import Job
from boxjoint.make import build
from boxjoint.solve.cases import job_arrangement

MM = 1_000_000
FIXTURE = Path(__file__).parents[1] / "fixtures" / "jobs" / "chest-with-till.toml"
PLAIN = """\
unit = "mm"
inside = { length = 200, width = 120, height = 80 }
stock = { material = "birch plywood", thickness = 3 }
cut = { kerf = 0.2 }
"""


def test_a_till_on_ledges_is_as_high_as_asked_and_clear_all_round() -> None:
    arrangement = job_arrangement(read_job(FIXTURE))
    box = {s.name: s.box for s in arrangement.slabs}
    till = next(b for b in arrangement.insides if b.name == "till").box
    asked = next(b for b in arrangement.insides if b.name == "inside").box
    assert asked.size == (240 * MM, 160 * MM, 110 * MM)
    assert till.size[2] == 34 * MM
    # 0.5 mm on each side is assumed (common practice, no source), and the spread of the walls' sheet
    thickest = 4_050_000 - 4_016_667
    for wall, axis, edge in (("left", 0, 0), ("right", 0, 1), ("front", 1, 0), ("back", 1, 1)):
        own = box[f"till-{wall}"]
        away = own.lo[axis] if edge == 0 else asked.hi[axis] - own.hi[axis]
        assert away == 500_000 + thickest
    assert asked.hi[2] - till.hi[2] == 500_000
    for wall in ("front", "back"):
        ledge = box[f"ledge-{wall}"]
        assert ledge.hi[2] == box["till-bottom"].lo[2]
        assert (ledge.lo[1] == 0) if wall == "front" else (ledge.hi[1] == 160 * MM)


def test_a_till_on_dividers_takes_what_they_leave() -> None:
    text = f'{PLAIN}[dividers]\nheight = 45\n[dividers.length]\ncompartments = 3\n[till]\non = "dividers"\n'
    built = build(parse_job(text))
    assert built.passed
    arrangement = built.solution.arrangement
    till = next(b for b in arrangement.insides if b.name == "till").box
    assert till.lo[2] == (45 + 3) * MM and till.hi[2] == (80 - 0.5) * MM
    moves = [(s.body, s.direction) for s in built.assembly.steps if s.body == "till"]
    assert moves == [("till", (2, -1))]  # it goes in from above, so it lifts out


def test_a_till_closes_the_compartments_that_lie_wholly_under_it() -> None:
    # found at random: three by three, and the middle one was named open
    rest = (
        "[dividers]\nheight = 40\n[dividers.length]\ncompartments = 3\n[dividers.width]\ncompartments = 3\n"
        '[till]\non = "dividers"\n'
    )
    built = build(parse_job(PLAIN + rest))
    assert built.passed
    assert {b.name for b in built.solution.arrangement.insides if not b.open} == {"compartment 2-2"}


@pytest.mark.parametrize("kind", ["open", "lift-off", "rim", "sliding"])
def test_lids_go_over_tills(kind: str) -> None:
    built = build(parse_job(f'{PLAIN}[top]\nkind = "{kind}"\n[till]\non = "ledges"\nrows = 3\n'))
    assert built.passed
    found = {b.name: b.out for b in built.solution.arrangement.bodies}
    assert found["till"] == (2, 1)
    # the lid goes on last
    if kind != "open":
        assert built.assembly.steps[-1].parts[0].startswith("lid")


@pytest.mark.parametrize(
    ("rest", "said"),
    [
        ('[till]\non = "dividers"\n', "no dividers for the till to rest on"),
        ('[dividers.length]\ncompartments = 2\n[till]\non = "dividers"\n', "as high as the inside"),
        ('[dividers.length]\ncompartments = 2\n[till]\non = "ledges"\n', "dividers stand where the ledges"),
        ('[till]\non = "ledges"\nheight = 78\n', "does not go into the box"),
        ('[dividers]\nheight = 70\n[dividers.length]\ncompartments = 2\n[till]\non = "dividers"\nheight = 20\n', "does not go into the box"),
        ('[top]\nkind = "closed"\n[till]\non = "ledges"\n', "cannot be lifted out"),
        ('[top]\nkind = "cut-through"\n[till]\non = "ledges"\n', "cannot be lifted out"),
        ('[stack]\ncount = 2\n[till]\non = "ledges"\n', "single box"),
        ('[drawers]\ncount = 2\n[till]\non = "ledges"\n', "single box"),
        ('[till]\non = "floor"\n', "on is none of the known"),
        ('[till]\non = "ledges"\ncolumns = 0\n', "no such count of columns"),
        ('[joint]\nproud = 0.2\n[till]\non = "ledges"\n', "proud tips"),
        ('[till]\non = "ledges"\ncolumns = 90\n', "leave nothing of the inside"),
    ],
)  # fmt: skip
def test_tills_that_cannot_be_are_refused(rest: str, said: str) -> None:
    with pytest.raises((InputError, JobError, ArrangementError), match=said):
        build(parse_job(PLAIN + rest))


def test_a_till_that_rests_on_nothing_is_asked_about() -> None:
    built = build(parse_job(f"{PLAIN}[till]\nheight = 20\n"))
    assert any("there is no till" in w for w in built.warnings)


def test_loose_dividers_stand_under_a_sliding_lid() -> None:
    rest = '[top]\nkind = "sliding"\n[dividers]\nfixing = "loose"\n[dividers.length]\ncompartments = 2\n'
    assert build(parse_job(PLAIN + rest)).passed


def test_ledges_are_of_their_own_stock_and_glued() -> None:
    built = build(read_job(FIXTURE))
    assert built.job.thickness("ledge-front").nm == 5_950_000
    (box,) = [b for b in built.solution.arrangement.bodies if b.name == "box"]
    assert set(box.glued) == {("ledge-front", "front"), ("ledge-back", "back")}
    assert not built.warnings


@given(till_jobs())
@settings(max_examples=25, deadline=None)
def test_tills_of_all_sizes_go_in_and_come_out_or_are_refused(job: Job) -> None:
    try:
        built = build(job)
    except BoxjointError as error:
        assert error.exit_code in (1, 2)
        return
    assert built.assembly.passed, built.assembly.warnings
    assert built.passed, built.faults


@pytest.mark.solid
@pytest.mark.skipif(find_spec("OCP") is None, reason="the extra 'solid'")
def test_the_till_is_lifted_out_in_the_solid_kernel() -> None:
    from boxjoint.check.replay import replay

    built = build(read_job(FIXTURE))
    assert replay(built.solution.panels, built.assembly.steps).faults == ()
