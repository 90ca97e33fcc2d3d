"""Assembly sequences: every one found is replayed cell by cell, every lock is tried set by set.

``mover`` is the judge: it shares no code with the search and moves parts made of cells one cell at a
time. Strong connection is checked against networkx, parallel parts against shapely.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import networkx
import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from mover import WAYS, Mover, is_locked, least_locked
from shapely import Polygon
from strategies import (
    box_slabs,
    boxes,
    boxes_within,
    flat_part,
    plate_puzzles,
    protruding,
    random_slabs,
    shelf_slabs,
    shelves,
    slab,
    tray_slabs,
    trays,
)

from boxjoint.check.assembly import Assembly, Step, direction_text, steps_text
from boxjoint.check.blocking import find_strikes
from boxjoint.check.interlock import DIRECTIONS, Blocks, members, opposite
from boxjoint.check.sequence import assembly_sequence
from boxjoint.errors import ArrangementError, InputError
from boxjoint.geometry.rings import rectangle
from boxjoint.job.read import read_job
from boxjoint.job.records import Job
from boxjoint.make import tab_ask
from boxjoint.solve.arrangement import Arrangement, Body, Slab
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.panels import Frame, Panel
from boxjoint.solve.solution import solve
from boxjoint.solve.tabs import TabAsk

MM = 1_000_000
JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
CLOSED = dict.fromkeys(("bottom", "top", "front", "back", "left", "right"), 3 * MM)
OPEN = {n: 3 * MM for n in CLOSED if n != "top"}
TRAY = OPEN | {"divider": 1_500_000}
UP, DOWN, OUT = (2, 1), (2, -1), (1, -1)
quick = settings(
    deadline=None,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.filter_too_much,
    ],
)


def panels_of(slabs: list[Slab] | tuple[Slab, ...]) -> tuple[Panel, ...]:
    return solve(Arrangement(slabs=tuple(slabs))).panels


def check_lock(mover: Mover, found: Assembly, blocks: list[tuple[str, ...]]) -> None:
    """No proper part of a locked set may have a way out, and every named strike must be one."""
    lock = found.lock
    assert lock is not None
    assert found.steps == ()
    within = [b for b in blocks if set(b) <= set(lock.parts)]
    assert sorted(n for b in within for n in b) == sorted(lock.parts)
    assert len(within) > 1
    assert is_locked(mover.table(within), (1 << len(within)) - 1)
    home = {n: k for k, b in enumerate(within) for n in b}
    for way in WAYS:
        pairs = {
            (a, b)
            for a in lock.parts
            for b in lock.parts
            if home[a] != home[b] and mover.strikes([a], [b], way)
        }
        assert set(lock.blocks[way]) == pairs
    assert all(name in str(lock) for name in lock.parts[:5])


def judge(panels: list[Panel] | tuple[Panel, ...]) -> Assembly:
    """Find the sequence and let the judge confirm all of it."""
    mover = Mover(panels)
    assert not mover.shares_space
    assert mover.names
    found = assembly_sequence(panels)
    for name in mover.names:
        others = [n for n in mover.names if n != name]
        ways = tuple(w for w in WAYS if not others or not mover.strikes([name], others, w))
        assert found.free[name] == ways
    if found.lock:
        check_lock(mover, found, [(n,) for n in mover.names])
    else:
        assert mover.faults_of(found.steps) == []
    return found


def how(found: Assembly) -> str:
    """For hypothesis' statistics: what kind of example this was."""
    if found.lock:
        return f"locked: {len(found.lock.parts)}"
    return f"sets moved as one: {min(3, sum(len(s.parts) > 1 for s in found.steps))}"


# who strikes whom ---------------------------------------------------------------------------------


@settings(quick, max_examples=150)
@given(plate_puzzles())
def test_strikes_are_those_of_cells_moved_one_by_one(panels: list[Panel]) -> None:
    mover = Mover(panels)
    strikes = find_strikes(panels)
    assert strikes.shape == (3, len(panels), len(panels))
    for axis, sense in WAYS:
        found = strikes[axis] if sense > 0 else strikes[axis].T
        for i, a in enumerate(mover.names):
            for j, b in enumerate(mover.names):
                if i != j:
                    assert found[i, j] == mover.strikes([a], [b], (axis, sense))


@settings(quick, max_examples=40)
@given(trays(most=3))
def test_strikes_of_solved_trays(arrangement: Arrangement) -> None:
    panels = solve(arrangement).panels
    mover = Mover(panels)
    strikes = find_strikes(panels)
    for axis in range(3):
        for i, j in combinations(range(len(panels)), 2):
            a, b = [mover.names[i]], [mover.names[j]]
            assert strikes[axis, i, j] == mover.strikes(a, b, (axis, 1))
            assert strikes[axis, j, i] == mover.strikes(b, a, (axis, 1))


@settings(quick, max_examples=60)
@given(plate_puzzles(most=8))
def test_parallel_parts_strike_along_their_normal_where_their_shapes_overlap(
    panels: list[Panel],
) -> None:
    """Against shapely's intersection of polygons, in whole cells so that areas are exact."""
    strikes = find_strikes(panels)

    def shape(p: Panel) -> Polygon:
        u, v = p.frame.to_world(p.rings.xy)
        if p.frame.axes[0] > p.frame.axes[1]:
            u, v = v, u
        points = np.column_stack([u, v]).astype(float)
        rings = [points[a:b] for a, b in zip(p.rings.start[:-1], p.rings.start[1:], strict=True)]
        # holes that touch in a corner are no valid polygon for shapely until they are mended
        return Polygon(rings[0], rings[1:]).buffer(0)

    for i, j in combinations(range(len(panels)), 2):
        p, q = panels[i].slab, panels[j].slab
        if p.normal == q.normal and p.box.lo[p.normal] != q.box.lo[p.normal]:
            low, high = (i, j) if p.box.lo[p.normal] < q.box.lo[p.normal] else (j, i)
            overlap = shape(panels[i]).intersection(shape(panels[j])).area > 0
            assert strikes[p.normal, low, high] == overlap
            assert not strikes[p.normal, high, low]


def test_faces_that_touch_slide_past_each_other() -> None:
    low = slab("low", 2, (0, 0, 0), (9, 9, 1))
    beside = slab("beside", 0, (9, 0, 0), (10, 9, 9))
    upon = slab("upon", 2, (0, 0, 1), (9, 9, 2))
    plain = [
        Panel(slab=s, frame=Frame.of(s), rings=rectangle(0, 0, *_size(s)))
        for s in (low, beside, upon)
    ]
    strikes = find_strikes(plain)
    assert {tuple(x) for x in np.argwhere(strikes).tolist()} == {(0, 0, 1), (0, 2, 1), (2, 0, 2)}


def _size(s: Slab) -> tuple[int, int]:
    return s.box.size[Frame.of(s).axes[0]], s.box.size[Frame.of(s).axes[1]]


def test_a_nanometre_in_the_way_strikes_and_a_nanometre_of_clearance_does_not() -> None:
    far = 2_000 * MM  # two metres: no float of 32 bits tells these apart
    frame = slab("frame", 2, (0, 0, 0), (far, far, 3))
    for over, hit in ((0, False), (1, True)):
        rod = slab("rod", 0, (far - over, 0, 3), (far + 9, far, 9))
        both = [
            Panel(slab=s, frame=Frame.of(s), rings=rectangle(0, 0, *_size(s))) for s in (frame, rod)
        ]
        assert bool(find_strikes(both)[2, 0, 1]) is hit
        assert not find_strikes(both)[2, 1, 0]


def test_a_panel_of_which_nothing_is_left_is_refused() -> None:
    panel = panels_of(box_slabs((50 * MM, 40 * MM, 30 * MM), OPEN))[1]
    none = replace(
        panel,
        rings=replace(
            panel.rings,
            xy=panel.rings.xy[:0],
            start=np.zeros(1, dtype=np.int64),
            role=panel.rings.role[:0],
            joint=panel.rings.joint[:0],
        ),
    )
    with pytest.raises(ArrangementError, match="nothing is left of panel front"):
        find_strikes([none])


# strong connection --------------------------------------------------------------------------------


@settings(quick, max_examples=100)
@given(st.integers(1, 9), st.data())
def test_rings_and_movable_sets_are_those_of_networkx(n: int, data: st.DataObject) -> None:
    """networkx.strongly_connected_components and its condensation are the reference."""
    bits = data.draw(st.lists(st.booleans(), min_size=3 * n * n, max_size=3 * n * n))
    strikes = np.array(bits, dtype=bool).reshape(3, n, n)
    for axis in range(3):
        np.fill_diagonal(strikes[axis], False)
    blocks = Blocks.of(strikes, [(i,) for i in range(n)])
    within = data.draw(st.integers(0, (1 << n) - 1))
    for d, (axis, sense) in enumerate(DIRECTIONS):
        matrix = strikes[axis] if sense > 0 else strikes[axis].T
        graph = networkx.DiGraph(zip(*np.nonzero(matrix), strict=True))
        graph.add_nodes_from(range(n))
        graph = graph.subgraph(members(within))
        rings = blocks.rings(d, within)
        assert {frozenset(members(r)) for r in rings} == {
            frozenset(c) for c in networkx.strongly_connected_components(graph)
        }
        after: set[int] = set()
        for ring in reversed(rings):
            after |= set(members(ring))
            assert all(j in after for i in members(ring) for j in graph.successors(i))
        whole = networkx.condensation(graph)
        ends = [whole.nodes[c]["members"] for c in whole if whole.out_degree(c) == 0]
        assert sorted(map(sorted, ends)) == sorted(
            list(members(s)) for s in blocks.movable(d, within)
        )


def relations(n: int) -> st.SearchStrategy[np.ndarray]:
    """(3, n, n) bool: any relation at all, most of it true, so that much locks."""
    often = st.integers(0, 5).map(bool)
    return st.lists(often, min_size=3 * n * n, max_size=3 * n * n).map(
        lambda bits: np.array(bits, dtype=bool).reshape(3, n, n) & ~np.eye(n, dtype=bool)
    )


def as_table(strikes: np.ndarray) -> dict[tuple[int, int], list[int]]:
    return {
        (axis, sense): [
            sum(1 << j for j, hit in enumerate(row) if hit)
            for row in (strikes[axis] if sense > 0 else strikes[axis].T).tolist()
        ]
        for axis, sense in WAYS
    }


@pytest.mark.parametrize("tries", [20_000, 0])
@settings(quick, max_examples=100)
@given(st.integers(2, 7).flatmap(relations))
def test_the_smallest_locked_set_of_any_relation(tries: int, strikes: np.ndarray) -> None:
    n = strikes.shape[1]
    table = as_table(strikes)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("boxjoint.check.interlock._TRIES", tries)
        blocks = Blocks.of(strikes, [(i,) for i in range(n)])
        found = blocks.smallest_locked(blocks.all)
    least = least_locked(table, n)
    event(f"least locked set: {least}")
    assert (found == 0) == (least == 0)
    if found:
        assert is_locked(table, found)
        if tries:
            assert found.bit_count() == least
        # however little is tried, no block of it can be left out
        for i in members(found):
            rest = found & ~(1 << i)
            inner = [s for s in range(3, 1 << n) if s & rest == s and s & (s - 1)]
            assert not any(is_locked(table, s) for s in inner)


# sequences ----------------------------------------------------------------------------------------


@settings(quick, max_examples=150)
@given(plate_puzzles())
def test_puzzles_of_plates_go_together_or_lock(panels: list[Panel]) -> None:
    event(how(judge(panels)))


@settings(quick, max_examples=80)
@given(plate_puzzles(most=7, size=4))
def test_the_set_that_locks_is_the_smallest(panels: list[Panel]) -> None:
    found = assembly_sequence(panels)
    names = [(p.name,) for p in panels]
    least = least_locked(Mover(panels).table(names), len(names))
    event(f"least locked set: {least}")
    assert len(found.locked) == least


@settings(quick, max_examples=25)
@given(boxes(largest_mm=400, plain=True))
def test_every_box_goes_together(box: tuple[Job, TabAsk]) -> None:
    job, ask = box
    found = judge(solve(box_arrangement(job), ask).panels)
    assert found.lock is None
    assert found.steps[0].parts == ("bottom",)
    if job.top.kind == "closed":
        assert found.steps[-1] == Step(parts=("top",), direction=DOWN, there=found.steps[-1].there)
    # with every wall in its place each can only go straight out
    for name, way in (("front", OUT), ("left", (0, -1)), ("back", (1, 1)), ("right", (0, 1))):
        assert way in found.free[name]


@settings(quick, max_examples=25)
@given(trays(most=3))
def test_every_tray_goes_together_base_guests_walls(arrangement: Arrangement) -> None:
    found = judge(solve(arrangement).panels)
    assert found.lock is None
    guests = {s.name for s in arrangement.slabs if s.guest}
    first = [s.parts[0] for s in found.steps]
    assert first[0] == "bottom"
    assert set(first[1 : 1 + len(guests)]) == guests
    assert all(len(s.parts) == 1 for s in found.steps)
    assert all(s.direction == DOWN for s in found.steps[1 : 1 + len(guests)])


@settings(quick, max_examples=25)
@given(shelves())
def test_shelves(arrangement: Arrangement) -> None:
    try:
        found = judge(solve(arrangement).panels)
    except ArrangementError:
        return  # shelves that lie on each other cut a wall in two
    tall = max(s.box.hi[0] for s in arrangement.slabs if s.normal == 0)
    stands_out = any(s.normal == 2 and s.box.hi[0] > tall for s in arrangement.slabs)
    assert bool(found.lock) == stands_out


@settings(quick, max_examples=25)
@given(protruding())
def test_walls_that_cross_lock_on_a_base_mortised_into_them(arrangement: Arrangement) -> None:
    try:
        solution = solve(arrangement)
    except ArrangementError:
        return
    found = judge(solution.panels)
    raised = any(
        s.name == "bottom" and s.box.lo[2] > min(o.box.lo[2] for o in arrangement.slabs)
        for s in arrangement.slabs
    )
    event(f"raised base: {raised}")
    # a run too short for three segments is one: no tab, and nothing that locks
    base = next((i for i, p in enumerate(solution.panels) if p.name == "bottom"), None)
    held = all(
        tabs.interlocks
        for joint, tabs in zip(solution.joints, solution.tabs, strict=True)
        if base in (joint.a, joint.b)
    )
    if raised and held:
        assert found.lock is not None


@settings(quick, max_examples=15)
@given(boxes_within())
def test_a_box_in_a_closed_box_is_put_in_before_the_lid(arrangement: Arrangement) -> None:
    found = judge(solve(arrangement).panels)
    assert found.lock is None
    assert found.steps[-1].parts == ("top",)
    whole = next(s for s in found.steps if len(s.parts) > 1)
    assert all(name.startswith("inner ") for name in whole.parts)
    assert len(whole.parts) == 5
    assert whole.direction == DOWN


@settings(quick, max_examples=60)
@given(random_slabs())
def test_slabs_thrown_together(slabs: list[Slab]) -> None:
    try:
        panels = panels_of(slabs)
    except ArrangementError:
        return
    event(how(judge(panels)))


# built to lock, and to move as a set ----------------------------------------------------------------


def cells(x: range, y: range, z: range) -> set[tuple[int, int, int]]:
    return {(i, j, k) for i in x for j in y for k in z}


GRID = [[k * 5 * MM for k in range(12)] for _ in range(3)]


def three_half_laps() -> list[Panel]:
    """Three plates, each square to the others, each pair half-lapped: x in z, z in y, y in x."""
    whole = range(7)
    x = cells(range(3, 4), whole, whole)
    y = cells(whole, range(3, 4), whole)
    z = cells(whole, whole, range(3, 4))
    x -= cells(range(3, 4), range(3, 4), range(4, 7)) | cells(range(3, 4), range(3), range(3, 4))
    y -= cells(range(3, 4), range(3, 4), range(4)) | cells(range(4, 7), range(3, 4), range(3, 4))
    z -= cells(range(3, 4), range(3, 7), range(3, 4)) | cells(range(4), range(3, 4), range(3, 4))
    return [flat_part(n, k, GRID, c) for k, (n, c) in enumerate({"x": x, "y": y, "z": z}.items())]


def test_three_plates_half_lapped_into_each_other_lock() -> None:
    found = judge(three_half_laps())
    assert found.locked == ("x", "y", "z")
    assert found.steps == ()
    with pytest.raises(ArrangementError, match="x, y and z lock each other") as caught:
        found.require()
    assert caught.value.data["panels"] == ("x", "y", "z")
    assert caught.value.exit_code == 1
    assert "half-lap" in str(caught.value)
    assert "towards +x: x strikes y" in str(caught.value)
    # any two of them go together
    for two in combinations(three_half_laps(), 2):
        assert judge(list(two)).lock is None


def test_a_raised_base_mortised_into_walls_that_cross_locks_and_without_it_they_do_not() -> None:
    slabs = box_slabs((100 * MM, 80 * MM, 60 * MM), OPEN, beyond=20 * MM, below=15 * MM)
    found = judge(panels_of(slabs))
    assert "bottom" in found.locked
    opens = {frozenset((j.a, j.b)) for j in found.lock.joints if j.opens} if found.lock else set()
    assert any("bottom" in pair for pair in opens)
    assert "let bottom stand loose, without tabs in" in steps_text(found)
    assert judge(panels_of([s for s in slabs if s.name != "bottom"])).lock is None


def test_a_joint_is_said_to_open_the_set_only_if_it_does() -> None:
    for panels in (
        three_half_laps(),
        panels_of(box_slabs((100 * MM, 80 * MM, 60 * MM), OPEN, beyond=20 * MM, below=15 * MM)),
        panels_of(
            shelf_slabs((90 * MM, 80 * MM, 90 * MM), OPEN, [30 * MM, 60 * MM], MM, overhang=5 * MM)
        ),
    ):
        mover, lock = Mover(panels), assembly_sequence(panels).lock
        assert lock is not None
        table = mover.table([(n,) for n in lock.parts])
        for joint in lock.joints:
            i, j = lock.parts.index(joint.a), lock.parts.index(joint.b)
            loose = {way: list(rows) for way, rows in table.items()}
            for rows in loose.values():
                rows[i] &= ~(1 << j)
                rows[j] &= ~(1 << i)
            assert joint.opens != is_locked(loose, (1 << len(lock.parts)) - 1)


def crossed_in_a_frame() -> list[Panel]:
    """A plate with a hole and one that stands in it, in a frame that is open above.

    Neither can rise alone, for each has material above the other, and the frame keeps them from
    sliding apart; both together can rise.
    """
    frame = {
        "bottom": (2, cells(range(9), range(9), range(1))),
        "front": (1, cells(range(9), range(1), range(1, 7))),
        "back": (1, cells(range(9), range(8, 9), range(1, 7))),
        "left": (0, cells(range(1), range(1, 8), range(1, 7))),
        "right": (0, cells(range(8, 9), range(1, 8), range(1, 7))),
    }
    holed = cells(range(4, 5), range(1, 8), range(1, 7)) - cells(
        range(4, 5), range(3, 6), range(3, 5)
    )
    parts = frame | {"holed": (0, holed)}
    bar = cells(range(1, 8), range(4, 5), range(3, 5))
    return [flat_part(n, k, GRID, c) for n, (k, c) in (parts | {"bar": (1, bar)}).items()]


FRAME = frozenset(("bottom", "front", "back", "left", "right"))


def test_a_set_that_must_move_together_does() -> None:
    panels = crossed_in_a_frame()
    found = assembly_sequence(panels, together=[FRAME])
    assert Mover(panels).faults_of(found.steps, [FRAME]) == []
    assert found.lock is None
    assert found.free["holed"] == found.free["bar"] == ()
    last = found.steps[-1]
    assert (set(last.parts), last.direction) == ({"holed", "bar"}, DOWN)
    # the frame could be opened, but not when it is glued; glue the cover on too and nothing goes
    cover = flat_part("cover", 2, GRID, cells(range(9), range(9), range(7, 8)))
    shut = [*panels, cover]
    assert assembly_sequence(shut).lock is None
    glued = FRAME | {"cover"}
    found = assembly_sequence(shut, together=[glued])
    check_lock(
        Mover(shut), found, [tuple(n.name for n in shut if n.name in glued), ("holed",), ("bar",)]
    )


def test_the_pair_in_the_frame_moves_as_a_set_although_each_is_joined_to_the_frame() -> None:
    """As above, but with tabs in the bottom, so that no body says what belongs together."""
    panels = crossed_in_a_frame()
    slabs = {p.name: p.slab for p in panels}
    tab = cells(range(4, 5), range(2, 3), range(1))
    planes = GRID
    bottom = flat_part("bottom", 2, planes, cells(range(9), range(9), range(1)) - tab)
    holed_cells = (
        cells(range(4, 5), range(1, 8), range(1, 7)) - cells(range(4, 5), range(3, 6), range(3, 5))
    ) | tab
    holed = flat_part("holed", 0, planes, holed_cells)
    assert slabs["holed"].box != holed.slab.box
    changed = [{"bottom": bottom, "holed": holed}.get(p.name, p) for p in panels]
    found = assembly_sequence(changed, together=[FRAME])
    assert Mover(changed).faults_of(found.steps, [FRAME]) == []
    assert set(found.steps[-1].parts) == {"holed", "bar"}


@settings(quick, max_examples=60)
@given(plate_puzzles(most=8), st.data())
def test_glued_groups_are_never_parted_and_what_stays_is_never_moved(
    panels: list[Panel], data: st.DataObject
) -> None:
    names = [p.name for p in panels]
    cut = data.draw(st.integers(1, len(names)))
    group = frozenset(data.draw(st.permutations(names))[:cut])
    stays = data.draw(st.sampled_from(names))
    mover = Mover(panels)
    found = assembly_sequence(panels, together=[group], stays=stays)
    blocks = [tuple(sorted(group)), *((n,) for n in names if n not in group)]
    if found.lock and set(found.lock.parts) <= group:
        check_lock(mover, found, [(n,) for n in names])
    elif found.lock:
        check_lock(mover, found, blocks)
    else:
        assert mover.faults_of(found.steps, [group]) == []
        assert not any(stays in s.parts for s in found.steps if s.direction is not None)
        assert found.steps[0].parts == (stays,)
    table = mover.table(blocks)
    for k, block in enumerate(blocks):
        assert {found.free[n] for n in block} == {tuple(w for w in WAYS if not table[w][k])}


# habits ---------------------------------------------------------------------------------------------


def test_a_closed_box_as_a_maker_puts_it_together() -> None:
    found = assembly_sequence(panels_of(box_slabs((100 * MM, 80 * MM, 60 * MM), CLOSED)))
    assert steps_text(found) == (
        "1. bottom on the bench.\n"
        "2. front: push on from the front (towards +y).\n"
        "3. back: push on from the back (towards -y).\n"
        "4. left: push on from the left (towards +x).\n"
        "5. right: push on from the right (towards -x).\n"
        "6. top: set on from above (towards -z)."
    )
    assert found.passed
    found.require()


def test_the_sequence_does_not_depend_on_how_often_it_is_asked() -> None:
    panels = panels_of(tray_slabs(3, 3, (30 * MM, 30 * MM, 30 * MM), TRAY, raised=8 * MM))
    assert assembly_sequence(panels) == assembly_sequence(panels)


def test_a_shelf_is_never_put_where_it_hangs_on_to_nothing() -> None:
    panels = panels_of(shelf_slabs((90 * MM, 80 * MM, 150 * MM), OPEN, [40 * MM, 90 * MM], 3 * MM))
    solution = Arrangement(slabs=tuple(p.slab for p in panels))
    mates = {frozenset((i, j)) for i, j in solution.overlaps()}
    number = {p.name: i for i, p in enumerate(panels)}
    for step in assembly_sequence(panels).steps[1:]:
        assert any(
            frozenset((number[a], number[b])) in mates for a in step.parts for b in step.there
        )


@pytest.mark.parametrize("path", sorted(JOBS.glob("*.toml")), ids=lambda p: p.stem)
def test_every_job_of_the_science_room_goes_together_and_opens(path: Path) -> None:
    job = read_job(path)
    arrangement = job_arrangement(job)
    panels = solve(arrangement, tab_ask(job)).panels
    found = assembly_sequence(panels, bodies=arrangement.bodies)
    found.require()
    moving = [b for b in arrangement.bodies if b.out is not None]
    assert [r.name for r in found.removals] == [b.name for b in moving]
    if len(panels) > 8 and path.stem != "sliding-pencil-box":
        return  # cells by the million; their kinds are replayed above
    assert Mover(panels).faults_of(found.steps) == []


def test_six_drawers_are_made_first_and_then_pushed_in() -> None:
    job = read_job(JOBS / "specimen-case-six-drawers.toml")
    arrangement = job_arrangement(job)
    found = assembly_sequence(solve(arrangement).panels, bodies=arrangement.bodies)
    pushed = [s for s in found.steps if s.body]
    assert [s.body for s in pushed] == [f"drawer-{k}" for k in range(1, 7)]
    for step in pushed:
        assert step.direction == opposite(OUT)
        assert len(step.parts) == 5
        assert set(arrangement.bodies[0].slabs) <= set(step.there)
    assert "22. drawer-1, put together: push on from the front (towards +y)." in steps_text(found)


# what must come out ---------------------------------------------------------------------------------


def drawer_in_case(*, strip: bool) -> tuple[list[Slab], frozenset[str]]:
    case = {n: 3 * MM for n in CLOSED if n != "front"}
    slabs = box_slabs((100 * MM, 80 * MM, 60 * MM), case)
    drawer = box_slabs(
        (92 * MM, 73 * MM, 50 * MM), OPEN, prefix="drawer ", at=(4 * MM, 3 * MM, 4 * MM)
    )
    if strip:
        slabs.append(slab("strip", 1, (0, -3 * MM, 0), (100 * MM, 0, 8 * MM)))
    return [*slabs, *drawer], frozenset(s.name for s in drawer)


def test_a_drawer_comes_out_unless_a_strip_is_in_front_of_it() -> None:
    for strip in (False, True):
        slabs, drawer = drawer_in_case(strip=strip)
        panels = panels_of(slabs)
        found = assembly_sequence(
            panels, together=[drawer], removable={"drawer front": OUT, "drawer bottom": OUT}
        )
        assert found.lock is None
        assert found.passed is not strip
        assert (
            Mover(panels).strikes(drawer, [p.name for p in panels if p.name not in drawer], OUT)
            is strip
        )
        if strip:
            assert found.held == {"drawer front": ("strip",), "drawer bottom": ("strip",)}
            with pytest.raises(ArrangementError, match="drawer front does not come out") as caught:
                found.require()
            assert caught.value.data["panels"] == ("drawer front", "strip")
            assert "it comes out towards no side" in str(caught.value)
        else:
            found.require()


def test_a_body_comes_out_past_those_named_before_it() -> None:
    lower = box_slabs((50 * MM, 50 * MM, 20 * MM), OPEN, prefix="a ")
    upper = box_slabs((50 * MM, 50 * MM, 20 * MM), OPEN, prefix="b ", at=(0, 0, 23 * MM))
    panels = panels_of([*lower, *upper])
    bodies = [
        Body(name=n, slabs=tuple(s.name for s in slabs), out=UP)
        for n, slabs in (("lower", lower), ("upper", upper))
    ]
    assert assembly_sequence(panels, bodies=bodies).held == {}
    reverse = assembly_sequence(panels, bodies=bodies[::-1])
    assert set(reverse.held) == {"lower"}
    assert "b bottom" in reverse.held["lower"]
    with pytest.raises(ArrangementError, match=r"lower does not come out towards \+z.*-x or"):
        reverse.require()


# bad input --------------------------------------------------------------------------------------------


def test_names_and_directions_that_are_not_there_are_refused() -> None:
    panels = panels_of(box_slabs((50 * MM, 40 * MM, 30 * MM), OPEN))
    with pytest.raises(InputError, match="Did you mean 'front'") as caught:
        assembly_sequence(panels, stays="fron")
    assert caught.value.exit_code == 2
    with pytest.raises(InputError, match="together: no part of that name: lid"):
        assembly_sequence(panels, together=[frozenset(("lid", "front"))])
    with pytest.raises(InputError, match="a part is in two groups: front"):
        assembly_sequence(
            panels, together=[frozenset(("front", "left")), frozenset(("front", "back"))]
        )
    with pytest.raises(InputError, match="removable: no part of that name: lid"):
        assembly_sequence(panels, removable={"lid": UP})
    with pytest.raises(InputError, match="no such direction"):
        assembly_sequence(panels, removable={"front": (3, 1)})
    with pytest.raises(InputError, match="box: no part of that name"):
        assembly_sequence(panels, bodies=[Body(name="box", slabs=("nothing",))])


def test_no_part_and_one_part() -> None:
    none = assembly_sequence([])
    assert none.steps == () and none.passed and steps_text(none) == ""
    one = assembly_sequence(panels_of([slab("shelf", 2, (0, 0, 0), (9 * MM, 9 * MM, MM))]))
    assert steps_text(one) == "1. shelf on the bench."
    assert one.free == {"shelf": DIRECTIONS}
    assert [direction_text(d) for d in DIRECTIONS] == ["+x", "-x", "+y", "-y", "+z", "-z"]
