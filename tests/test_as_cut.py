"""What the virtual cut leaves: clearances, insides and webs, against closed forms and a slow judge."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import oracle
import pytest
import shapely
from hypothesis import HealthCheck, assume, example, given, settings
from strategies import box_slabs, plates, shelf_slabs, tray_slabs

from boxjoint.check.as_cut import inside_as_cut, joints_as_cut, least_void, least_web, sheets_as_cut
from boxjoint.fit.compensate import Allowance, Beam, compensate, virtual_cut
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Rings, Role
from boxjoint.job.records import PerAxis
from boxjoint.solve.arrangement import Arrangement, InsideBlock
from boxjoint.solve.solution import Solution, solve

MM = 1_000_000
INSIDE = (120 * MM, 80 * MM, 45 * MM)
T = {
    "bottom": 6_100_000,
    "top": 2_950_000,
    "front": 4_000_000,
    "back": 5_200_000,
    "left": 3_100_000,
    "right": 4_700_000,
}
BLOCK = InsideBlock(name="inside", box=Cuboid((0, 0, 0), INSIDE))
OPEN = InsideBlock(name="inside", box=Cuboid((0, 0, 0), INSIDE), open=((2, 1),))


def box(*, top: bool = True) -> Solution:
    walls = T if top else {n: t for n, t in T.items() if n != "top"}
    slabs = tuple(box_slabs(INSIDE, walls))
    return solve(Arrangement(slabs=slabs, insides=(BLOCK if top else OPEN,)))


def beam(x: float, y: float | None = None, *, scale: float = 1.0) -> Beam:
    return Beam(kerf=PerAxis(x=x, y=x if y is None else y), scale=PerAxis(x=scale, y=scale))


def cut(
    solution: Solution, drawn_for: Beam, cut_by: Beam, clearance: float = 0.0, **more: float
) -> list[Rings]:
    allowance = Allowance(clearance=[clearance] * len(solution.joints), **more)
    return [
        virtual_cut(compensate(p.rings, drawn_for, allowance).rings, cut_by)
        for p in solution.panels
    ]


# clearance on joints ------------------------------------------------------------------------------


@pytest.mark.parametrize("clearance", [-0.08, -0.03, 0.0, 0.02, 0.2])
def test_the_right_beam_leaves_the_clearance_that_was_asked(clearance: float) -> None:
    solution = box()
    measured = joints_as_cut(solution, cut(solution, beam(0.17, 0.21), beam(0.17, 0.21), clearance))
    for joint, tabs in zip(measured, solution.tabs, strict=True):
        assert joint.unmatched == 0
        assert joint.flanks == tabs.flanks
        # four sides, each rounded to a nanometre
        assert joint.least == pytest.approx(clearance * 1e6, abs=4)
        assert joint.greatest == pytest.approx(clearance * 1e6, abs=4)


@pytest.mark.parametrize("more", [0.03, -0.03])
def test_another_kerf_changes_the_clearance_by_twice_the_difference(more: float) -> None:
    """Slot and tab each move by the difference of the kerfs: slot minus tab by twice that."""
    solution = box()
    measured = joints_as_cut(solution, cut(solution, beam(0.18), beam(0.18 + more), 0.05))
    for joint in measured:
        assert joint.least == pytest.approx((0.05 + 2 * more) * 1e6, abs=4)
        assert joint.greatest == pytest.approx((0.05 + 2 * more) * 1e6, abs=4)


def test_only_the_kerf_across_a_joint_changes_its_clearance() -> None:
    """kerf_x narrows a part in X: it changes joints whose flanks look along the drawing's X."""
    solution = box()
    measured = joints_as_cut(solution, cut(solution, beam(0.2, 0.2), beam(0.25, 0.2)))
    for joint, found in zip(solution.joints, measured, strict=True):
        across = [solution.panels[s].frame.axes.index(joint.axis) == 0 for s in (joint.a, joint.b)]
        # each mate that shows this joint along its X gives half of twice 0.05
        assert found.greatest == pytest.approx(0.05 * sum(across) * 1e6, abs=4)


def test_one_flank_off_by_a_micrometre_shows_in_least_or_greatest() -> None:
    solution = box()
    rings = cut(solution, beam(0.18), beam(0.18))
    joint = solution.joints[0]
    victim = rings[joint.b]
    along_x, sign = victim.direction()
    at_joint = (victim.role == Role.FLANK) & (victim.joint == joint.index) & along_x
    sides = np.flatnonzero(at_joint)
    assert len(sides) >= 6
    i = int(sides[2])
    assert victim.xy[i, 0] == victim.ends[i, 0]
    xy = victim.xy.copy()
    xy[[i, int(victim.following[i])], 0] += 1000
    rings[joint.b] = replace(victim, xy=xy)
    found = joints_as_cut(solution, rings)[0]
    assert found.unmatched == 0
    # outward: a wider tab in the same slot, and beside it a narrower slot for the same tab
    assert [found.least, found.greatest] == ([-1000, 0] if sign[i] > 0 else [0, 1000])


def test_a_lost_flank_is_unmatched() -> None:
    solution = box()
    rings = cut(solution, beam(0.18), beam(0.18))
    joint = solution.joints[0]
    role = rings[joint.a].role.copy()
    first = np.flatnonzero((role == Role.FLANK) & (rings[joint.a].joint == joint.index))[0]
    role[first] = Role.RIM
    rings[joint.a] = replace(rings[joint.a], role=role)
    found = joints_as_cut(solution, rings)[0]
    assert (found.flanks, found.unmatched) == (0, 1)
    assert joints_as_cut(solution, rings)[1].unmatched == 0


def test_a_joint_of_one_segment_has_no_clearance_to_measure() -> None:
    slabs = tuple(box_slabs((40 * MM, 30 * MM, 8 * MM), T))
    solution = solve(Arrangement(slabs=slabs))
    measured = joints_as_cut(solution, cut(solution, beam(0.18), beam(0.18), 0.05))
    flat = [m for m in measured if solution.joints[m.joint].axis == 2]
    assert len(flat) == 4
    assert [(m.flanks, m.least, m.greatest, m.unmatched) for m in flat] == [(0, 0, 0, 0)] * 4


# the inside ---------------------------------------------------------------------------------------


def test_the_right_beam_holds_the_inside_to_two_roundings() -> None:
    solution = box()
    rings = cut(solution, beam(0.16, 0.22, scale=1.002), beam(0.16, 0.22, scale=1.002), -0.05)
    found = inside_as_cut(solution, BLOCK, rings)
    assert [f.axis for f in found] == [0, 1, 2]
    for f in found:
        assert f.asked == INSIDE[f.axis]
        # every panel that spans the direction bears on both walls
        assert set(f.by_panel) == {p.name for p in solution.panels if f.axis in p.frame.axes}
        assert abs(f.least - f.asked) <= 2
        assert abs(f.greatest - f.asked) <= 2


def test_another_kerf_changes_the_inside_by_the_difference() -> None:
    """A part cut by a wider beam is smaller all round: shoulder to shoulder by the difference."""
    solution = box()
    found = inside_as_cut(solution, BLOCK, cut(solution, beam(0.18), beam(0.2)))
    for f in found:
        assert f.least == pytest.approx(INSIDE[f.axis] - 0.02e6, abs=2)


def test_scale_is_the_size_cut_over_the_size_drawn() -> None:
    solution = box()
    found = inside_as_cut(solution, BLOCK, cut(solution, beam(0.0), beam(0.0, scale=1.001)))
    for f in found:
        assert f.least == pytest.approx(INSIDE[f.axis] * 1.001, abs=2)
        assert f.greatest == f.least


def test_the_panel_that_is_smallest_binds() -> None:
    solution = box()
    rings = cut(solution, beam(0.18), beam(0.18))
    narrow = cut(solution, beam(0.18), beam(0.19))
    i = solution.arrangement.index("top")
    rings[i] = narrow[i]
    along_x = inside_as_cut(solution, BLOCK, rings)[0]
    assert along_x.binds == "top"
    assert along_x.least == pytest.approx(INSIDE[0] - 0.01e6, abs=2)
    assert along_x.greatest == pytest.approx(INSIDE[0], abs=2)


def test_an_open_top_is_measured_to_the_rims() -> None:
    solution = box(top=False)
    rings = cut(solution, beam(0.18), beam(0.18))
    found = inside_as_cut(solution, OPEN, rings)
    assert set(found[2].by_panel) == {"front", "back", "left", "right"}
    assert abs(found[2].least - INSIDE[2]) <= 2
    # asked to be closed, nothing spans the height
    closed = inside_as_cut(solution, BLOCK, rings)[2]
    assert (closed.by_panel, closed.least, closed.greatest, closed.binds) == ({}, 0, 0, "")


# slots that take a sheet --------------------------------------------------------------------------


@pytest.mark.parametrize("wanted", [0.0, 0.1, 0.25])
def test_mortises_are_as_wide_as_their_sheet_and_the_clearance(wanted: float) -> None:
    walls = {n: t for n, t in T.items() if n != "top"}
    slabs = tray_slabs(2, 2, (50 * MM, 35 * MM, 30 * MM), {**walls, "divider": 3_250_000})
    solution = solve(Arrangement(slabs=tuple(slabs)))
    rings = cut(solution, beam(0.18), beam(0.18), sheet_clearance=wanted)
    found = sheets_as_cut(solution, rings)
    # two walls and the base take each divider; where the two cross, each takes the other
    assert {(f.panel, f.sheet) for f in found} == {
        ("front", "across 1"),
        ("back", "across 1"),
        ("left", "along 1"),
        ("right", "along 1"),
        ("bottom", "across 1"),
        ("bottom", "along 1"),
        ("across 1", "along 1"),
        ("along 1", "across 1"),
    }
    for f in found:
        assert f.least == pytest.approx(3_250_000 + wanted * 1e6, abs=2)
        assert f.greatest == pytest.approx(f.least, abs=2)


def test_shelves_through_walls_take_their_sheet() -> None:
    walls = {n: t for n, t in T.items() if n not in ("top", "bottom")}
    slabs = shelf_slabs((90 * MM, 60 * MM, 120 * MM), walls, [30 * MM, 70 * MM], 4 * MM)
    solution = solve(Arrangement(slabs=tuple(slabs)))
    found = sheets_as_cut(solution, cut(solution, beam(0.18), beam(0.2), sheet_clearance=0.1))
    assert len(found) == 8
    for f in found:  # a slot cut by a wider beam is wider by the difference
        assert f.least == pytest.approx(4_120_000, abs=2)


# webs and necks against a slow judge --------------------------------------------------------------


def facing(rings: Rings, *, necks: bool) -> int | None:
    """The least material between facing sides, by scanning between all places where sides end.

    O(n^2) and by even-odd pairs: along a line through the part, material lies between the first and
    second side that it meets, the third and fourth, and so on.
    """
    hole = np.repeat(np.arange(rings.count) > 0, np.diff(rings.start))
    along_x, _ = rings.direction()
    best: int | None = None
    for k in (0, 1):
        sides = np.flatnonzero(along_x if k == 0 else ~along_x)
        a, b = rings.xy[sides, 1 - k], rings.ends[sides, 1 - k]
        lo, hi = np.minimum(a, b), np.maximum(a, b)
        places = np.unique(np.concatenate([lo, hi]))
        for p, q in pairwise(places.tolist()):
            met = sides[(lo <= p) & (hi >= q)]
            met = met[np.argsort(rings.xy[met, k], kind="stable")]
            for i, j in zip(met[::2].tolist(), met[1::2].tolist(), strict=True):
                if bool(hole[i] or hole[j]) == necks:
                    continue
                flanks = rings.role[i] == rings.role[j] == Role.FLANK
                if flanks and rings.joint[i] == rings.joint[j]:
                    continue
                width = int(rings.xy[j, k] - rings.xy[i, k])
                best = width if best is None else min(best, width)
    return best


#: A tongue of 1 above a notch, and all four sides across it begin at one place.
TONGUE = Rings(
    xy=np.array([(0, 0), (3, 0), (3, 4), (0, 4), (0, 3), (1, 3), (1, 2), (0, 2)], dtype=np.int64),
    start=np.array([0, 8], dtype=np.int64),
    role=np.zeros(8, dtype=np.uint8),
    joint=np.full(8, -1, dtype=np.int32),
)


@settings(deadline=None, max_examples=250, suppress_health_check=list(HealthCheck))
@given(plates())
@example(TONGUE)
def test_webs_and_necks_agree_with_the_slow_judge(rings: Rings) -> None:
    for necks in (False, True):
        found = least_web(rings, necks=necks)
        assert (found.width if found else None) == facing(rings, necks=necks)


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(plates())
def test_the_least_web_is_material_from_side_to_side(rings: Rings) -> None:
    found = least_web(rings)
    assume(found is not None)
    assert found is not None
    region = oracle.region([rings.ring(k) for k in range(rings.count)])
    x, y = found.place
    half = found.width / 2
    # its middle (rounded down to a nanometre) lies on the panel, and its ends on two of its sides
    assert region.distance(shapely.Point(x, y)) == 0
    ends = [
        (shapely.Point(x - half, y), shapely.Point(x + half, y)),
        (shapely.Point(x, y - half), shapely.Point(x, y + half)),
    ]
    assert any(all(region.boundary.distance(p) <= 0.5 for p in pair) for pair in ends)


def test_a_plain_panel_has_no_web() -> None:
    solution = box()
    assert [least_web(p.rings) for p in solution.panels] == [None] * 6


def test_the_web_below_a_row_of_mortises() -> None:
    """A base 10 mm above the rim leaves 10 mm below its mortises, less half of each kerf's surplus."""
    walls = {n: t for n, t in T.items() if n not in ("top", "front", "back", "left", "right")}
    walls |= dict.fromkeys(("front", "back", "left", "right"), 4 * MM)
    slabs = box_slabs(INSIDE, walls, below=10 * MM)
    solution = solve(Arrangement(slabs=tuple(slabs)))
    rings = dict(zip([p.name for p in solution.panels], solution.panels, strict=True))
    for name in ("front", "back", "left", "right"):
        web = least_web(rings[name].rings)
        assert web is not None
        assert web.width == 10 * MM
        assert web.place[1] == 5 * MM
    cut_rings = cut(solution, beam(0.18), beam(0.22), sheet_clearance=0.1)
    i = solution.arrangement.index("front")
    as_cut = least_web(cut_rings[i])
    assert as_cut is not None
    # the rim moves in by half of 0.04, and so does the mortise, which is 0.05 wider on this side
    assert as_cut.width == pytest.approx((10 - 0.02 - 0.02 - 0.05) * MM, abs=2)


# slots that a cutter has to enter -----------------------------------------------------------------


def narrowest(cells: np.ndarray) -> int | None:
    """The shortest run of empty unit cells between full ones, along rows and columns."""
    best: int | None = None
    for grid in (cells, cells.T):
        for line in grid.tolist():
            text = "".join("#" if full else "." for full in line).strip(".")
            for run in text.replace("#", " ").split():
                best = len(run) if best is None else min(best, len(run))
    return best


@settings(deadline=None, max_examples=60)
@given(plates())
def test_the_narrowest_void_is_that_of_the_cells(rings: Rings) -> None:
    """Plates of whole numbers, looked at cell by cell in shapely."""
    outer, *holes = [rings.ring(k) for k in range(rings.count)]
    part = shapely.Polygon(outer, holes)
    x0, y0, x1, y1 = rings.extent
    xs, ys = np.meshgrid(np.arange(x0, x1) + 0.5, np.arange(y0, y1) + 0.5)
    found = least_void(rings)
    wanted = narrowest(shapely.contains_xy(part, xs, ys))
    assert (None if found is None else found.width) == wanted


@pytest.mark.parametrize("middle", [[], [12], [11, 13], [12, 12]])
def test_a_divided_shoulder_is_one_slot(middle: list[int]) -> None:
    """A slot of 5 mm whose bottom is cut into pieces, one of them without length."""
    xy = [(0, 0), (40, 0), (40, 20), (15, 20), (15, 10)]
    xy += [(x, 10) for x in reversed(middle)]
    xy += [(10, 10), (10, 20), (0, 20)]
    n = len(xy)
    rings = Rings(
        xy=np.array(xy, dtype=np.int64) * 1_000_000,
        start=np.array([0, n]),
        role=np.zeros(n, dtype=np.uint8),
        joint=np.full(n, -1, dtype=np.int32),
    )
    found = least_void(rings)
    assert found is not None
    assert found.width == 5_000_000
