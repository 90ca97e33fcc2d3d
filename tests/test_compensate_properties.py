"""Compensate for a beam, cut by the same beam: the nominal box with the clearance that was asked.

The judge sweeps a rectangle ``kerf_x`` by ``kerf_y`` along the drawn outlines with shapely
(``oracle.kept_by_beam``) and moves nominal sides one by one (``oracle.moved_region``); it shares no
code with the outlines it judges. What each role moves by is written down here once more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import oracle
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import affinity
from strategies import (
    allowances,
    beams,
    box_slabs,
    boxes,
    labelled_rings,
    shelf_slabs,
    tray_slabs,
)

from boxjoint.errors import CannotBeCut, InputError
from boxjoint.fit.compensate import Allowance, Beam, compensate, virtual_cut
from boxjoint.geometry.rings import Rings, Role, move_sides, rectangle, turned
from boxjoint.job.records import Job, PerAxis
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution, solve
from boxjoint.solve.tabs import TabAsk

MM = 1_000_000
SIDE_MM = 1e-6  # what a side may be off: one rounding to a nanometre
CLEARANCE_MM = 3e-6  # what a clearance may be off: it has four sides
WALLS = {"front": 3 * MM, "back": 4 * MM, "left": 5 * MM, "right": 6 * MM}
quick = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])


def beam(kx: float, ky: float | None = None, sx: float = 1.0, sy: float = 1.0) -> Beam:
    return Beam(kerf=PerAxis(x=kx, y=kx if ky is None else ky), scale=PerAxis(x=sx, y=sy))


def amount_as_cut(role: str, clearance: float, a: Allowance) -> float:
    """How far a side as cut stands out beyond its nominal place, mm."""
    return {
        "rim": 0.0,
        "tip": a.proud,
        "shoulder": -a.shoulder_relief,
        "flank": -clearance / 4,
        "cheek": -a.sheet_clearance / 2,
        "floor": -a.floor_relief / 2,
    }[role]


def in_mm(rings: Rings) -> list[np.ndarray]:
    return [rings.xy[a:b] / 1e6 for a, b in pairwise(rings.start.tolist())]


def kept(rings: Rings, by: Beam) -> Any:
    """What the beam leaves of drawn rings, in the sheet's axes, mm."""
    return oracle.kept_by_beam(
        in_mm(rings), kerf_x=by.kerf.x, kerf_y=by.kerf.y, scale_x=by.scale.x, scale_y=by.scale.y
    )


def apart(one: Any, other: Any) -> float:
    """The greatest distance between two boundaries, mm."""
    return float(shapely.hausdorff_distance(one.boundary, other.boundary))


def sides_of(rings: Rings) -> list[oracle.Side]:
    """Rings as sides of the oracle, the joint's number as mate."""
    return [
        oracle.Side(
            begin=(int(b[0]), int(b[1])),
            end=(int(e[0]), int(e[1])),
            role=oracle.ROLES[int(role)],
            mate=str(joint),
        )
        for b, e, role, joint in zip(rings.xy, rings.ends, rings.role, rings.joint, strict=True)
    ]


def expected_region(panel: Panel, grid: oracle.Grid, amount: Callable[[oracle.Side], float]) -> Any:
    """What should be left of a panel in its own drawing, by roles that the judge found."""
    block = grid.blocks[panel.name]
    laps = oracle.half_lap_pairs(list(grid.blocks.values()))
    whole = oracle.moved_region(grid.sides(panel.name, half_laps=laps), amount)
    frame = oracle.FRAMES[panel.slab.normal, panel.slab.outward]
    return affinity.affine_transform(whole, oracle.drawing_matrix(block, frame))


def check_panels(
    solution: Solution, by: Beam, allow: Callable[[Panel], Allowance], quarters: Sequence[int]
) -> None:
    """Each panel, drawn and cut by the same beam, is the nominal one with the asked fit."""
    names = [s.name for s in solution.arrangement.slabs]
    number = {frozenset((names[j.a], names[j.b])): j.index for j in solution.joints}
    grid = oracle.grid_of(solution)
    for panel, turn in zip(solution.panels, quarters, strict=False):
        allowance = allow(panel)

        def amount(side: oracle.Side, panel: Panel = panel, a: Allowance = allowance) -> float:
            joint = number.get(frozenset((panel.name, side.mate)), -1)
            return amount_as_cut(side.role, a.clearance[joint] if joint >= 0 else 0.0, a)

        wanted = expected_region(panel, grid, amount)
        drawn = compensate(panel.rings, by, allowance, quarters=turn, name=panel.name)
        left = affinity.rotate(kept(drawn.rings, by), -90 * turn, origin=(0, 0))
        assert left.geom_type == "Polygon"
        assert apart(left, wanted) <= SIDE_MM
        cut = virtual_cut(drawn.rings, by, quarters=turn, name=panel.name)
        assert apart(oracle.region(in_mm(cut)), wanted) <= 1.5 * SIDE_MM


def worst_side(nominal: Rings, cut: Rings, a: Allowance) -> float:
    """The greatest distance of a side as cut from where it was asked, mm."""
    true_sides = cut.role != Role.STEP
    along_x, sign = nominal.direction()
    k = np.where(along_x, 0, 1)
    index = np.arange(len(nominal))
    asked = nominal.xy[index, k] / 1e6 + sign * [
        amount_as_cut(oracle.ROLES[int(r)], a.clearance[int(j)] if j >= 0 else 0.0, a)
        for r, j in zip(nominal.role, nominal.joint, strict=True)
    ]
    found = cut.xy[true_sides][index, k] / 1e6
    worst: float = np.abs(found - asked).max()
    return worst


# any rings, any roles -------------------------------------------------------------------------------


@settings(quick, max_examples=80)
@given(labelled_rings(), beams(), st.data(), st.integers(0, 3))
def test_any_rings_come_back_as_asked(
    nominal: Rings, by: Beam, data: st.DataObject, quarters: int
) -> None:
    allowance = data.draw(allowances(4, guest=data.draw(st.booleans())))
    drawn = compensate(nominal, by, allowance, quarters=quarters)
    cut = virtual_cut(drawn.rings, by, quarters=quarters)
    assert worst_side(nominal, cut, allowance) <= SIDE_MM + 1e-12
    wanted = oracle.moved_region(
        sides_of(nominal),
        lambda s: amount_as_cut(s.role, allowance.clearance[int(s.mate)], allowance),
    )
    left = affinity.rotate(kept(drawn.rings, by), -90 * quarters, origin=(0, 0))
    assert apart(left, wanted) <= SIDE_MM


@pytest.mark.parametrize("proud", [1e-16, 1e-9, 1e-7, 4e-7, -1e-9])
def test_steps_shorter_than_a_nanometre_are_no_fault(proud: float) -> None:
    """Two clearances that differ in a last bit must not be refused."""
    plain = Rings(
        xy=np.array([(0, 0), (9, 0), (20, 0), (20, 9), (0, 9)], dtype=np.int64) * MM,
        start=np.array([0, 5], dtype=np.int64),
        role=np.array([0, int(Role.TIP), 0, 0, 0], dtype=np.uint8),
        joint=np.array([-1, 0, -1, -1, -1], dtype=np.int32),
    )
    by = beam(0.18, 0.2)
    drawn = compensate(plain, by, Allowance(clearance=[0.0], proud=proud))
    assert apart(kept(drawn.rings, by), shapely.box(0, 0, 20, 9)) <= SIDE_MM


@settings(quick, max_examples=60)
@given(labelled_rings(), st.data(), st.integers(0, 3))
def test_the_virtual_cut_is_the_sweep_of_a_rectangle(
    nominal: Rings, data: st.DataObject, quarters: int
) -> None:
    """Also by another beam than the one that the outlines were drawn for."""
    drawn_for, cut_by = data.draw(beams()), data.draw(beams())
    drawn = compensate(
        nominal, drawn_for, Allowance(clearance=[0.1] * 4, proud=0.2), quarters=quarters
    )
    cut = virtual_cut(drawn.rings, cut_by, quarters=quarters)
    left = affinity.rotate(kept(drawn.rings, cut_by), -90 * quarters, origin=(0, 0))
    assert apart(oracle.region(in_mm(cut)), left) <= SIDE_MM


@settings(quick, max_examples=40)
@given(labelled_rings(), beams())
def test_with_no_allowance_the_cut_is_the_nominal_to_a_nanometre(nominal: Rings, by: Beam) -> None:
    nothing = Allowance(clearance=[0.0] * 4, sheet_clearance=0.0, floor_relief=0.0)
    cut = virtual_cut(compensate(nominal, by, nothing).rings, by)
    assert len(cut) == len(nominal)  # nothing moves apart, so no step is put in
    assert np.abs(cut.xy - nominal.xy).max() <= 1


@given(labelled_rings(), st.integers(-5, 9))
def test_turning_moves_no_side_and_four_turns_are_none(nominal: Rings, quarters: int) -> None:
    once = turned(nominal, quarters)
    assert once.area == nominal.area and once.perimeter == nominal.perimeter
    assert (turned(once, -quarters).xy == nominal.xy).all()
    by_shapely = affinity.rotate(oracle.region(in_mm(nominal)), 90 * quarters, origin=(0, 0))
    assert apart(by_shapely, oracle.region(in_mm(once))) < 1e-9


# whole boxes and trays ---------------------------------------------------------------------------


@settings(quick, max_examples=30)
@given(boxes(largest_mm=300, plain=True), beams(), st.data())
def test_a_box_as_cut_is_the_nominal_box_with_the_asked_fit(
    drawn: tuple[Job, TabAsk], by: Beam, data: st.DataObject
) -> None:
    job, ask = drawn
    solution = solve(box_arrangement(job), ask)
    allowance = data.draw(allowances(len(solution.joints)))
    turns = data.draw(st.lists(st.integers(0, 3), min_size=6, max_size=6))
    check_panels(solution, by, lambda _: allowance, turns)


def _arrangement(what: str) -> Arrangement:
    if what.startswith("tray"):
        t = WALLS | {"bottom": 3_050_000, "divider": 1_600_000}
        slabs = tray_slabs(3, 2, (31 * MM, 27 * MM, 25 * MM), t, raised=6 * MM * ("raised" in what))
    elif what == "shelves":
        slabs = shelf_slabs((90 * MM, 70 * MM, 60 * MM), WALLS, [15 * MM, 40 * MM], 3 * MM)
    else:
        slabs = box_slabs((90 * MM, 70 * MM, 60 * MM), WALLS, beyond=12 * MM)
    return Arrangement(slabs=tuple(slabs))


@pytest.mark.parametrize("what", ["tray", "tray, raised base", "shelves", "crossing walls"])
@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_arrangements_as_cut_are_as_asked(what: str, quarters: int) -> None:
    """Mortises, half-laps, cheeks and floors; guests keep a relief at their shoulders."""
    solution = solve(_arrangement(what))
    clearances = [0.04 + 0.012 * k for k in range(len(solution.joints))]

    def allow(panel: Panel) -> Allowance:
        return Allowance(
            clearance=clearances,
            sheet_clearance=0.09,
            proud=0.25,
            shoulder_relief=0.1 if panel.slab.guest else 0.0,
            floor_relief=0.3,
        )

    by = beam(0.16, 0.24, 1.0011, 0.9987)
    check_panels(solution, by, allow, [quarters] * len(solution.panels))


def clearances_as_cut(solution: Solution, cut: dict[str, Rings]) -> list[tuple[int, float]]:
    """(joint, slot minus tab) of every tab between two divisions that both mates' flanks face."""
    found: list[tuple[int, float]] = []
    place: dict[tuple[int, str], dict[int, float]] = {}
    for panel in solution.panels:
        true_sides = cut[panel.name].role != Role.STEP
        here = cut[panel.name].xy[true_sides]
        nominal = panel.rings
        along_x, _ = nominal.direction()
        for i in np.flatnonzero(nominal.role == Role.FLANK):
            k = 0 if along_x[i] else 1
            sense, zero = panel.frame.senses[k], panel.frame.origin[k]
            key = (int(nominal.joint[i]), panel.name)
            at = zero + sense * int(nominal.xy[i, k])
            place.setdefault(key, {})[at] = (zero + sense * int(here[i, k])) / 1e6
    names = [s.name for s in solution.arrangement.slabs]
    for joint, tabs in zip(solution.joints, solution.tabs, strict=True):
        for lo, hi, owner in zip(
            tabs.lo.tolist(), tabs.hi.tolist(), tabs.owner.tolist(), strict=True
        ):
            tab = place.get((joint.index, names[owner]), {})
            slot = place.get((joint.index, names[joint.mate(owner)]), {})
            if all(x in side for x in (lo, hi) for side in (tab, slot)):
                found.append((joint.index, (slot[hi] - slot[lo]) - (tab[hi] - tab[lo])))
    return found


@settings(quick, max_examples=60)
@given(boxes(largest_mm=400, plain=True), beams(), st.data())
def test_every_clearance_as_cut_is_the_one_asked_for_its_joint(
    drawn: tuple[Job, TabAsk], by: Beam, data: st.DataObject
) -> None:
    job, ask = drawn
    solution = solve(box_arrangement(job), ask)
    allowance = data.draw(allowances(len(solution.joints)))
    cut = {}
    for panel in solution.panels:
        turn = data.draw(st.integers(0, 3))
        rings = compensate(panel.rings, by, allowance, quarters=turn, name=panel.name).rings
        cut[panel.name] = virtual_cut(rings, by, quarters=turn)
    for joint, found in clearances_as_cut(solution, cut):
        assert abs(found - allowance.clearance[joint]) <= CLEARANCE_MM + 1e-9


def test_clearances_are_measured_on_every_inner_tab() -> None:
    """The measuring above must see something: all tabs of a box but those that end in corners."""
    solution = solve(Arrangement(slabs=tuple(box_slabs((90 * MM, 70 * MM, 60 * MM), WALLS))))
    flat = {panel.name: panel.rings for panel in solution.panels}
    found = clearances_as_cut(solution, flat)
    assert len(found) >= sum(len(t.owner) - 2 for t in solution.tabs) > 0
    assert all(c == 0 for _, c in found)


@settings(quick, max_examples=30)
@given(boxes(largest_mm=300, plain=True, closed=True), beams(), st.integers(-150, 200))
def test_the_inside_as_cut_is_held_between_shoulders(
    drawn: tuple[Job, TabAsk], by: Beam, micro: int
) -> None:
    """Kerf, scale and clearance leave shoulders where they are: to the nanometre, on every panel."""
    job, ask = drawn
    solution = solve(box_arrangement(job), ask)
    allowance = Allowance(clearance=[micro / 1000] * len(solution.joints), proud=0.2)
    for panel in solution.panels:
        cut = virtual_cut(compensate(panel.rings, by, allowance).rings, by)
        true_sides = cut.role != Role.STEP
        shoulder = panel.rings.role == Role.SHOULDER
        along_x, _ = panel.rings.direction()
        for k in (0, 1):
            pick = shoulder & (along_x == (k == 0))
            moved = cut.xy[true_sides][pick, k] - panel.rings.xy[pick, k]
            assert np.abs(moved).max(initial=0) <= 1


# refusals ----------------------------------------------------------------------------------------


def comb(slot: int, tab: int = 10 * MM) -> Rings:
    """A bar with one open slot, flanks on joint 0 and a shoulder at its bottom."""
    w, h = 2 * tab + slot, 20 * MM
    points = [
        (0, 0),
        (w, 0),
        (w, h),
        (tab + slot, h),
        (tab + slot, 9 * MM),
        (tab, 9 * MM),
        (tab, h),
    ]
    roles = [
        Role.RIM,
        Role.RIM,
        Role.TIP,
        Role.FLANK,
        Role.SHOULDER,
        Role.FLANK,
        Role.TIP,
        Role.RIM,
    ]
    return Rings(
        xy=np.array([*points, (0, h)], dtype=np.int64),
        start=np.array([0, 8], dtype=np.int64),
        role=np.array(roles, dtype=np.uint8),
        joint=np.zeros(8, dtype=np.int32),
    )


@settings(quick, max_examples=60)
@given(st.integers(50_000, 900_000), st.floats(0.05, 0.8), st.integers(-100, 200))
def test_a_slot_is_refused_exactly_when_the_kerf_closes_it(
    slot: int, kerf: float, micro: int
) -> None:
    """Drawn width: slot - kerf + clearance/2."""
    clearance = micro / 1000
    width = slot / 1e6 - kerf + clearance / 2
    allowance = Allowance(clearance=[clearance])
    if width > 2e-6:
        drawn = compensate(comb(slot), beam(kerf, 0.2), allowance)
        assert kept(drawn.rings, drawn.beam).geom_type == "Polygon"
    elif width < -2e-6:
        with pytest.raises(CannotBeCut) as caught:
            compensate(comb(slot), beam(kerf, 0.2), allowance, name="front")
        assert caught.value.exit_code == 2
        assert "front" in str(caught.value) and f"{kerf:.3f}" in str(caught.value)


def test_kerf_across_a_slot_counts_by_its_direction_on_the_sheet() -> None:
    """A 0.3 mm slot that is open upward: kerf_x closes it, and after a quarter turn kerf_y does."""
    allowance = Allowance(clearance=[0.0])
    wide_x, wide_y = beam(0.4, 0.1), beam(0.1, 0.4)
    for turn in (0, 2):
        compensate(comb(300_000), wide_y, allowance, quarters=turn)
        with pytest.raises(CannotBeCut):
            compensate(comb(300_000), wide_x, allowance, quarters=turn)
    for turn in (1, 3):
        compensate(comb(300_000), wide_x, allowance, quarters=turn)
        with pytest.raises(CannotBeCut):
            compensate(comb(300_000), wide_y, allowance, quarters=turn)


def test_a_hole_that_the_kerf_closes_is_refused() -> None:
    plate = rectangle(0, 0, 20 * MM, 20 * MM)
    hole = np.array([(9, 9), (9, 11), (11, 11), (11, 9)], dtype=np.int64) * MM
    nominal = Rings(
        xy=np.concatenate([plate.xy, hole]),
        start=np.array([0, 4, 8], dtype=np.int64),
        role=np.array([0] * 4 + [int(Role.CHEEK)] * 4, dtype=np.uint8),
        joint=np.array([-1] * 4 + [0] * 4, dtype=np.int32),
    )
    allowance = Allowance(clearance=[0.0], sheet_clearance=0.1)
    compensate(nominal, beam(2.05), allowance)
    for by in (beam(2.15, 0.2), beam(0.2, 2.15), beam(2.15)):
        with pytest.raises(CannotBeCut):
            compensate(nominal, by, allowance)


@pytest.mark.parametrize("clearance", [3.9, 4.1])
def test_a_clearance_larger_than_a_tab_is_refused(clearance: float) -> None:
    """A tab 2 mm wide between two slots loses clearance/4 on each side: gone at 4 mm and over.

    Both mates lose alike, so slot minus tab exceeds what the tab had.
    """
    solid = rectangle(0, 0, 2 * MM, 10 * MM)
    tab = Rings(
        xy=solid.xy,
        start=solid.start,
        role=np.array([Role.RIM, Role.FLANK, Role.TIP, Role.FLANK], dtype=np.uint8),
        joint=np.zeros(4, dtype=np.int32),
    )
    # the kerf would hide the loss in the drawn outline: it must be refused all the same
    by, allowance = beam(0.3), Allowance(clearance=[clearance])
    if clearance < 4:
        compensate(tab, by, allowance)
        return
    with pytest.raises(CannotBeCut, match="clearance"):
        compensate(tab, by, allowance)


def test_a_beam_wider_than_a_web_leaves_nothing_to_cut_virtually() -> None:
    with pytest.raises(CannotBeCut):
        virtual_cut(rectangle(0, 0, 300_000, 10 * MM), beam(0.31, 0.1))
    virtual_cut(rectangle(0, 0, 300_000, 10 * MM), beam(0.29, 0.1))


@pytest.mark.parametrize(
    ("kerf", "scale"),
    [
        ((-0.1, 0.1), (1, 1)),
        ((0.1, float("nan")), (1, 1)),
        ((0.1, 0.1), (0, 1)),
        ((50, 0.1), (1, 1)),
    ],
)
def test_beams_that_cannot_be_are_refused(
    kerf: tuple[float, float], scale: tuple[float, float]
) -> None:
    with pytest.raises(InputError):
        Beam(kerf=PerAxis(x=kerf[0], y=kerf[1]), scale=PerAxis(x=scale[0], y=scale[1]))


# moving sides ------------------------------------------------------------------------------------


def test_a_step_stands_at_its_nominal_vertex_as_cut() -> None:
    """Tip beside rim on one line, 0.4 mm proud: the step as cut is at x = 9 mm exactly."""
    nominal = Rings(
        xy=np.array([(0, 0), (9, 0), (20, 0), (20, 9), (0, 9)], dtype=np.int64) * MM,
        start=np.array([0, 5], dtype=np.int64),
        role=np.array([0, int(Role.TIP), 0, 0, 0], dtype=np.uint8),
        joint=np.array([-1, 0, -1, -1, -1], dtype=np.int32),
    )
    for proud in (0.4, -0.4):
        by = beam(0.18, 0.3)
        drawn = compensate(nominal, by, Allowance(clearance=[0.0], proud=proud))
        # drawn, it stands half of kerf_x out along its own normal
        steps = drawn.rings.xy[drawn.rings.role == Role.STEP]
        assert steps[:, 0].tolist() == [9 * MM - 90_000 if proud > 0 else 9 * MM + 90_000]
        y = -proud
        wanted = shapely.Polygon([(0, 0), (9, 0), (9, y), (20, y), (20, 9), (0, 9)])
        assert apart(kept(drawn.rings, by), wanted) <= SIDE_MM


def test_moving_by_nothing_changes_nothing() -> None:
    nominal = comb(3 * MM)
    moved, flipped = move_sides(nominal, np.zeros(len(nominal)))
    assert (moved.xy == nominal.xy).all() and not flipped.any()
