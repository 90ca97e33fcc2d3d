"""Lids that turn on pins: the exact turn against brute force by other libraries, and planted faults.

The judges are shapely (rectangles turned in small steps) and the solid kernel of cadquery (the lid's
solids as cut, turned), neither of which shares code with the check.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from shapely import affinity
from strategies import hinged_jobs

from boxjoint.check.turning import Turn, turn_of
from boxjoint.errors import ArrangementError, InputError
from boxjoint.export.report import report_json, report_text
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import Job
from boxjoint.make import build
from boxjoint.solve.arrangement import Arrangement, Slab
from boxjoint.solve.cases import job_arrangement

MM = 1_000_000
FIXTURE = Path(__file__).parents[1] / "fixtures" / "jobs" / "hinged-slide-box.toml"


def slabs_of(arrangement: Arrangement) -> tuple[list[Slab], list[Slab]]:
    """What turns, and what stands still."""
    lid = set(arrangement.bodies[-1].slabs)
    return (
        [s for s in arrangement.slabs if s.name in lid],
        [s for s in arrangement.slabs if s.name not in lid],
    )


def rectangle(slab: Slab, at: tuple[int, int]) -> shapely.Polygon:
    (_, y0, z0), (_, y1, z1) = slab.box.lo, slab.box.hi
    return shapely.box(*((v - o) / MM for v, o in zip((y0, z0, y1, z1), (*at, *at), strict=True)))


def beside(a: Slab, b: Slab) -> bool:
    return a.box.lo[0] < b.box.hi[0] and b.box.lo[0] < a.box.hi[0]


def stepped(arrangement: Arrangement, degrees: np.ndarray) -> tuple[float | None, float]:
    """The first of the angles at which shapely finds an overlap, and the greatest overlap before, mm2."""
    assert arrangement.hinge is not None
    at = arrangement.hinge.at
    lid, others = slabs_of(arrangement)
    for angle in degrees.tolist():
        for a in lid:
            there = affinity.rotate(rectangle(a, at), -angle, origin=(0, 0))
            for b in others:
                if beside(a, b) and there.intersection(rectangle(b, at)).area > 1e-4:
                    return angle, 0.0
    return None, 0.0


def test_the_fixture_turns_as_shapely_says() -> None:
    arrangement = job_arrangement(read_job(FIXTURE))
    found = turn_of(arrangement)
    first, _ = stepped(arrangement, np.arange(0, 180, 0.05))
    assert first is not None
    assert found.degrees <= first <= found.degrees + 0.15
    assert found.rests == ("lid-top", "back")
    # where it rests, as worked out on paper: the corner of the back's rim comes to lie on the plate
    hinge = found.hinge
    back = arrangement.slabs[arrangement.index("back")].box
    plate = arrangement.slabs[arrangement.index("lid-top")].box
    away, reach = back.lo[1] - hinge.at[0], plate.hi[2] - hinge.at[1]
    assert found.degrees == pytest.approx(2 * math.degrees(math.atan(away / reach)), abs=1e-9)


@given(hinged_jobs())
@settings(max_examples=25, deadline=None)
def test_lids_of_all_sizes_turn_or_are_refused(job: Job) -> None:
    try:
        arrangement = job_arrangement(job)
    except (InputError, ArrangementError):
        return
    try:
        found = turn_of(arrangement)
    except ArrangementError:  # a narrow box: shapely has to find the strike as well
        first, _ = stepped(arrangement, np.arange(0, 95.2, 0.1))
        assert first is not None
        return
    assert found.passed
    assert found.least > 0
    # what is asked for is kept, but in a narrow box, where the rear of the open lid nears the front
    nears = found.least_of[1] == "front" and found.least_at > 90
    assert nears or found.least >= found.hinge.clearance - 200  # nm: angles have some 1e-8
    before, _ = stepped(arrangement, np.linspace(0, found.degrees - 1e-6, 90))
    assert before is None
    after, _ = stepped(arrangement, np.array([found.degrees + 0.5]))
    assert after is not None


def with_pins(arrangement: Arrangement, dy: int, dz: int) -> Arrangement:
    hinge = arrangement.hinge
    assert hinge is not None
    return replace(arrangement, hinge=replace(hinge, at=(hinge.at[0] + dy, hinge.at[1] + dz)))


def brute_least(arrangement: Arrangement, found: Turn) -> float:
    """The least distance on the way by small steps, of what does not touch at an end; mm."""
    lid, others = slabs_of(arrangement)
    at = found.hinge.at
    best = math.inf
    for a in lid:
        for b in others:
            if not beside(a, b):
                continue
            own = rectangle(b, at)
            gaps = [
                affinity.rotate(rectangle(a, at), -t, origin=(0, 0)).distance(own)
                for t in np.linspace(0, found.degrees, 700)
            ]
            inner = [
                g for k, g in enumerate(gaps[1:-1], 1) if g <= gaps[k - 1] and g <= gaps[k + 1]
            ]
            ends = [g for g in (gaps[0], gaps[-1]) if g > 1e-3]
            touching = len(ends) < 2
            best = min([best, *inner, *([] if touching else ends)])
    return best


def test_least_clearance_is_that_of_small_steps() -> None:
    arrangement = job_arrangement(read_job(FIXTURE))
    found = turn_of(arrangement)
    assert found.least / MM == pytest.approx(brute_least(arrangement, found), abs=0.002)


@pytest.mark.parametrize(
    ("dy", "dz", "what"),
    [
        (3 * MM, 0, "back"),  # nearer to the back: the rear edge has no room to turn
        (0, -3 * MM, "back"),  # deeper: it turns at a larger radius
        (0, 25 * MM, "front"),  # above the plate: the front would have to sink
        (-60 * MM, 0, "front"),  # the cheeks swing out against the front
    ],
)
def test_pins_out_of_their_place_are_found(dy: int, dz: int, what: str) -> None:
    arrangement = with_pins(job_arrangement(read_job(FIXTURE)), dy, dz)
    first, _ = stepped(arrangement, np.arange(0, 95, 0.05))
    if first is None:  # it only comes nearer than was asked for
        assert turn_of(arrangement).least < arrangement.hinge.clearance  # type: ignore[union-attr]
        return
    with pytest.raises(ArrangementError, match=f"strikes {what}") as caught:
        turn_of(arrangement)
    assert float(caught.value.where.split()[1]) == pytest.approx(first, abs=0.6)


def test_a_divider_that_the_rear_of_the_lid_dips_on_is_named() -> None:
    text = FIXTURE.read_text(encoding="utf-8")
    with pytest.raises(ArrangementError, match="strikes divider-x1 while the lid turns"):
        build(parse_job(f"{text}\n[dividers.length]\ncompartments = 2\n"))
    lower = f"{text}\n[dividers]\nheight = 40\n[dividers.length]\ncompartments = 2\n"
    built = build(parse_job(lower))
    assert built.passed and built.turn is not None
    rest = (60 - 40) * MM
    assert built.turn.dips < rest


def test_holes_for_the_pins_are_where_the_lid_turns() -> None:
    built = build(read_job(FIXTURE))
    hinge = built.solution.arrangement.hinge
    assert hinge is not None
    seen = {}
    for part in built.parts:
        for hole in part.holes:
            if hole.placed.kind != "hinge pin":
                continue
            h, frame = hole.placed.hole, part.panel.frame
            middle = [(h.lo[k] + h.hi[k]) / 2 for k in (0, 1)]
            world = {
                axis: frame.origin[k] + frame.senses[k] * middle[k]
                for k, axis in enumerate(frame.axes)
            }
            assert (world[1], world[2]) == pytest.approx(hinge.at, abs=1)
            seen[part.panel.name] = h.diameter / MM
    # common practice, no source: a pin turns in a hole 0.1 to 0.2 mm wider
    assert seen == {"lid-left": 3.15, "lid-right": 3.15, "left": 3.0, "right": 3.0}


def test_the_report_and_the_steps_tell_of_pins() -> None:
    built = build(read_job(FIXTURE))
    text = report_text(built)
    assert "Push 2 pins of 3.00 mm" in text
    assert "it turns 133 degrees" in text
    assert '"degrees": 132.5' in report_json(built)
    assert any("dips" in w for w in built.warnings)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("depth = 5", "no web around its pins"),
        ("pin = 0.5", "diameter of the pins"),
        ("lip = 5", "not used|has no lip"),
    ],
)
def test_what_cannot_be_is_refused(change: str, said: str) -> None:
    text = FIXTURE.read_text(encoding="utf-8").replace("pin = 3  ", f"{change}  ")
    try:
        built = build(parse_job(text))
    except InputError as error:
        assert re.search(said, str(error))
    else:
        assert re.search(said, " ".join(built.warnings))


@pytest.mark.solid
@pytest.mark.skipif(find_spec("cadquery") is None, reason="the extra 'solid'")
def test_solids_of_the_lid_turn_free_of_the_box() -> None:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Trsf

    from boxjoint.check.kernel import boolean, panel_solid, volume

    built = build(read_job(FIXTURE))
    turn = built.turn
    assert turn is not None
    lid, _ = slabs_of(built.solution.arrangement)
    names = {s.name for s in lid}
    solids = {p.panel.name: panel_solid(p.panel, p.as_cut) for p in built.parts}
    y, z = (v / MM for v in turn.hinge.at)

    def turned(shape: object, degrees: float) -> object:
        move = gp_Trsf()
        move.SetRotation(gp_Ax1(gp_Pnt(0, y, z), gp_Dir(-1, 0, 0)), math.radians(degrees))
        return BRepBuilderAPI_Transform(shape, move, True).Shape()

    for degrees in (0.0, 4.7, 60.0, 95.0, turn.degrees - 0.05, turn.degrees + 0.3):
        shared = max(
            volume(boolean("common", turned(solids[one], degrees), [solids[other]]))
            for one in names
            for other in solids
            if other not in names
        )
        assert (shared > 1e-3) == (degrees > turn.degrees), degrees


def test_a_raised_base_holds_the_inside_below_the_cheeks() -> None:
    text = FIXTURE.read_text(encoding="utf-8") + "\n[bottom]\nraised = 8\n"
    built = build(parse_job(text))
    assert built.passed
    assert [c.mean for c in built.compartments if c.axis == 2] == [60 * MM]


def test_a_low_lid_that_rests_on_its_front_has_its_clearance() -> None:
    # found at random: the lid lies on the front's rim, and at 1e-15 degrees still does
    text = """unit = "mm"
inside = { length = 250, width = 35, height = 100 }
stock = { material = "acrylic", thickness = 6 }
cut = { kerf = 0.3 }
joint = { web = 2 }
top = { kind = "hinged", pin = 2 }
"""
    built = build(parse_job(text))
    assert built.passed and built.turn is not None
    assert built.turn.rests == ("lid-left", "front")
    assert built.turn.least / MM == pytest.approx(0.3, abs=0.001)


def test_what_comes_to_rest_together_is_at_rest() -> None:
    # found at random: the cheeks reach the back's rim with the plate, but for 31 nm of rounding
    text = """unit = "mm"
inside = { length = 40, width = "66.533273 mm", height = 40 }
stock = { material = "birch plywood", thickness = ["6.705558 mm", "6.842406 mm", "6.979254 mm"] }
cut = { kerf = 0.2 }
top = { kind = "hinged" }
panels = { lid-top = { thickness = ["1.96 mm", "2 mm", "2.04 mm"] } }
"""
    found = turn_of(job_arrangement(parse_job(text)))
    assert found.least / MM == pytest.approx(0.3, abs=0.001)


def test_a_box_too_narrow_to_turn_in_is_refused() -> None:
    text = FIXTURE.read_text(encoding="utf-8").replace("width = 100", "width = 25")
    with pytest.raises(InputError, match="too narrow for a lid that turns"):
        build(parse_job(text))


def test_a_higher_box_needs_no_more_than_its_cuboids() -> None:
    # the plate is as wide as the space between the walls less the clearance on both sides
    arrangement = job_arrangement(read_job(FIXTURE))
    plate = arrangement.slabs[arrangement.index("lid-top")].box
    assert isinstance(plate, Cuboid)
    assert plate.size[0] == 150 * MM - 2 * 300_000
