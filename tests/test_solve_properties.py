"""What follows from the model, for boxes of any size, thickness, rank and count.

The judge is ``oracle.py``: a grid of cells made from slabs and rings alone, and the rules for ends
and corners written down once more. Where a source is not named, the rule is the project's own.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import oracle
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from strategies import boxes, tab_ask

from boxjoint.check.exact import exact_proof
from boxjoint.errors import ArrangementError, InputError
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import (
    DIRECTIONS,
    PANELS,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    Stock,
    Thickness,
    Top,
)
from boxjoint.solve.box import box_arrangement, outside_of
from boxjoint.solve.solution import Solution, solve
from boxjoint.solve.tabs import TabAsk

MM = 1_000_000
SIX = {
    "bottom": 6_100_000,
    "top": 2_950_000,
    "front": 4_030_000,
    "back": 5_210_000,
    "left": 3_175_000,
    "right": 7_777_777,
}
OPPOSITE = (("bottom", "top"), ("front", "back"), ("left", "right"))
quick = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])


def box_job(
    size: tuple[int, int, int],
    thickness: dict[str, int] | int,
    *,
    closed: bool = True,
    ask: JointAsk | None = None,
) -> Job:
    own = thickness if isinstance(thickness, dict) else dict.fromkeys(PANELS, thickness)
    return Job(
        title="Slide tray",
        unit="mm",
        inside=Inside(length=size[0], width=size[1], height=size[2]),
        stock=Stock(
            material="birch plywood", thickness=Thickness(readings=(3 * MM,), measured=False)
        ),
        panels={
            name: PanelAsk(thickness=Thickness(readings=(t,), measured=False))
            for name, t in own.items()
        },
        joint=ask or JointAsk(),
        top=Top(kind="closed" if closed else "open"),
    )


def solved(job: Job) -> Solution:
    return solve(box_arrangement(job), tab_ask(job))


def runs_of(solution: Solution) -> list[tuple[int, int, int, int, str]]:
    """(axis, length, count, joint index, why) of every run."""
    return [
        (joint.axis, run.run.length, run.count, joint.index, run.why)
        for joint, tabs in zip(solution.joints, solution.tabs, strict=True)
        for run in tabs.runs
    ]


def check_by_grid(solution: Solution, job: Job) -> None:
    inside = job.inside.xyz
    grid = oracle.grid_of(solution, [(0, side) for side in inside])
    assert grid.faults() == []
    assert oracle.misowned(grid, solution) == 0
    assert grid.is_free((0, 0, 0), inside)
    faces = ["x-", "x+", "y-", "y+", "z-"] + ["z+"] * (job.top.kind == "closed")
    assert grid.touches_all_faces((0, 0, 0), inside, faces)


# section 3: one owner for every bit of space, the inside held -----------------------------------


@settings(quick, max_examples=70)
@given(boxes())
def test_panels_share_the_slabs_exactly_and_hold_the_inside(drawn: tuple[Job, TabAsk]) -> None:
    job, ask = drawn
    try:
        solution = solve(box_arrangement(job), ask)
    except InputError:
        # only what was asked of the tabs can be refused; the rule itself never is
        assert ask != TabAsk()
        return
    assert not has_empty_segment(solution)
    check_by_grid(solution, job)


def has_empty_segment(solution: Solution) -> bool:
    """Whether rounding left a segment without length: see the test of that name."""
    return any((tabs.hi <= tabs.lo).any() for tabs in solution.tabs)


def test_outer_ends_leave_no_segment_without_length() -> None:
    """Three times 4.000000333 mm, the corner 4 mm: rounded, nothing is left of one end tab."""
    own = dict.fromkeys(PANELS, 800_000) | {"front": 3 * MM, "back": 4 * MM}
    job = box_job((5 * MM, 5_000_001, 5 * MM), own, closed=False)
    try:
        solution = solve(box_arrangement(job), TabAsk(counts={1: 3}, ends="outer"))
    except InputError:
        return
    assert not has_empty_segment(solution)


@settings(quick, max_examples=70)
@given(boxes())
def test_the_exact_proof_agrees(drawn: tuple[Job, TabAsk]) -> None:
    job, ask = drawn
    try:
        solution = solve(box_arrangement(job), ask)
    except InputError:
        assume(False)
    proof = exact_proof(solution.panels, solution.arrangement.insides)
    assert proof.faults == ()
    assert proof.volume == proof.union
    outer = outside_of(solution.arrangement)
    inside = job.inside.xyz
    hollow = inside[0] * inside[1] * inside[2]
    if job.top.kind == "open":
        assert outer.size[2] == inside[2] + job.thickness("bottom").nm
    # a box is its outside less its inside, whatever the thicknesses
    assert proof.volume == outer.volume - hollow


@settings(quick, max_examples=40)
@given(boxes())
def test_roles_of_all_sides_follow_from_the_cell_across(drawn: tuple[Job, TabAsk]) -> None:
    job, ask = drawn
    try:
        solution = solve(box_arrangement(job), ask)
    except InputError:
        assume(False)
    grid = oracle.grid_of(solution)
    for panel in solution.panels:
        assert oracle.differing_sides(grid, panel, solution) == []


@settings(quick, max_examples=40)
@given(boxes())
def test_rings_keep_their_promises(drawn: tuple[Job, TabAsk]) -> None:
    job, ask = drawn
    try:
        solution = solve(box_arrangement(job), ask)
    except InputError:
        assume(False)
    for panel in solution.panels:
        check_rings(panel.rings)
        x0, y0, x1, y1 = panel.rings.extent
        assert x0 >= 0 and y0 >= 0 and x1 <= panel.size[0] and y1 <= panel.size[1]


def check_rings(rings: Rings) -> None:
    areas = [oracle.signed_area(rings.ring(k)) for k in range(rings.count)]
    assert areas[0] > 0
    assert all(a < 0 for a in areas[1:])
    assert sum(areas) == 2 * rings.area
    steps = rings.ends - rings.xy
    assert ((steps == 0).sum(axis=1) == 1).all()  # along one axis, and never of length 0
    after = rings.following
    straight = (steps[:, 0] == 0) == (steps[after, 0] == 0)
    same = (rings.role == rings.role[after]) & (rings.joint == rings.joint[after])
    assert not (straight & same).any()
    assert (np.sign(steps[straight]) == np.sign(steps[after[straight]])).all()


@pytest.mark.parametrize("counts", [(3, 3, 3), (5, 3, 7)])
def test_all_720_ranks_of_a_closed_box_with_six_thicknesses(counts: tuple[int, int, int]) -> None:
    job = box_job((123_456_789, 87_654_321, 45_678_901), SIX)
    job = replace(job, joint=JointAsk(segments=dict(zip(DIRECTIONS, counts, strict=True))))
    base = box_arrangement(job)
    ask = tab_ask(job)
    outer = outside_of(base)
    volume = outer.volume - 123_456_789 * 87_654_321 * 45_678_901
    for number, rank in enumerate(permutations(base.slabs)):
        solution = solve(replace(base, slabs=rank), ask)
        proof = exact_proof(solution.panels, base.insides)
        assert proof.faults == (), [s.name for s in rank]
        assert proof.volume == proof.union == volume
        if number % 30 == 0:
            check_by_grid(solution, job)


def test_the_strongest_shows_its_tabs_at_all_its_corners() -> None:
    for strongest in PANELS:
        job = box_job((60 * MM, 50 * MM, 40 * MM), SIX, ask=JointAsk(rank=(strongest,)))
        panel = solved(job).panel(strongest)
        corners = {tuple(p) for p in panel.rings.xy.tolist()}
        assert corners >= set(product((0, panel.size[0]), (0, panel.size[1])))


def test_every_corner_of_a_box_has_one_owner_that_is_its_strongest() -> None:
    for rank in list(permutations(PANELS))[::97]:
        solution = solved(box_job((60 * MM, 50 * MM, 40 * MM), SIX, ask=JointAsk(rank=rank)))
        assert len(solution.corners) == 8
        for corner, owner in zip(solution.corners, solution.owners, strict=True):
            assert owner == min(corner.slabs)


def test_a_wall_spans_the_outside_and_thickness_never_reaches_the_inside() -> None:
    thin = solved(box_job((100 * MM, 80 * MM, 60 * MM), 1 * MM))
    thick = solved(box_job((100 * MM, 80 * MM, 60 * MM), 18 * MM))
    for solution, t in ((thin, 1 * MM), (thick, 18 * MM)):
        assert solution.panel("front").size == (100 * MM + 2 * t, 60 * MM + 2 * t)
        assert solution.panel("bottom").size == (100 * MM + 2 * t, 80 * MM + 2 * t)
        check_by_grid(solution, box_job((100 * MM, 80 * MM, 60 * MM), t))


def test_panels_are_drawn_as_seen_from_outside() -> None:
    """The drawing's (0, 0) and far corner lie where the glossary's right and up put them."""
    job = box_job((97 * MM, 71 * MM, 53 * MM), SIX, ask=JointAsk(rank=("bottom",)))
    solution = solved(job)
    outer = outside_of(solution.arrangement)
    lo, hi = outer.lo, outer.hi
    expected = {
        "front": ((lo[0], lo[2]), (hi[0], hi[2])),
        "back": ((hi[0], lo[2]), (lo[0], hi[2])),
        "left": ((hi[1], lo[2]), (lo[1], hi[2])),
        "right": ((lo[1], lo[2]), (hi[1], hi[2])),
        "top": ((lo[0], lo[1]), (hi[0], hi[1])),
        "bottom": ((lo[0], hi[1]), (hi[0], lo[1])),
    }
    for name, (start, end) in expected.items():
        panel = solution.panel(name)
        across, up = panel.frame.to_world(np.array([(0, 0), panel.size], dtype=np.int64))
        assert (int(across[0]), int(up[0])) == start, name
        assert (int(across[1]), int(up[1])) == end, name


# section 4: counts and widths --------------------------------------------------------------------


@settings(quick, max_examples=80)
@given(boxes(plain=True))
def test_the_rule_chooses_the_best_count_for_the_thickest_mate(drawn: tuple[Job, TabAsk]) -> None:
    job, ask = drawn
    solution = solve(box_arrangement(job), ask)
    slabs = solution.arrangement.slabs
    groups: dict[tuple[int, int], list[tuple[int, int, int, str]]] = {}
    for axis, length, count, index, why in runs_of(solution):
        joint = solution.joints[index]
        thin, thick = sorted((slabs[joint.a].thickness, slabs[joint.b].thickness))
        groups.setdefault((axis, length), []).append((count, thin, thick, why))
    for (_, length), members in groups.items():
        counts = {m[0] for m in members}
        assert len(counts) == 1  # equal runs in one direction share a count
        count = counts.pop()
        assert count % 2 == 1
        thick = max(m[2] for m in members)
        allowed = oracle.best_counts(length, thick, max(m[1] for m in members))
        if allowed:
            assert count in allowed
        else:  # no width keeps within both limits: the least one is kept
            assert count >= 3
            assert length >= count * max(4 * MM, max(m[1] for m in members))
        for *_, why in members:
            assert ("nothing interlocks" in why) == (count == 1)


@settings(quick, max_examples=40)
@given(boxes(plain=True))
def test_opposite_panels_are_alike(drawn: tuple[Job, TabAsk]) -> None:
    job, ask = drawn
    solution = solve(box_arrangement(job), ask)
    names = [s.name for s in solution.arrangement.slabs]
    counts: dict[frozenset[str], list[int]] = {}
    for _, _, count, index, _ in runs_of(solution):
        joint = solution.joints[index]
        counts.setdefault(frozenset((names[joint.a], names[joint.b])), []).append(count)
    for one, other in OPPOSITE:
        for mate in PANELS:
            pairs = [frozenset((one, mate)), frozenset((other, mate))]
            if all(p in counts for p in pairs):
                # an open box has longer runs beside its rim only where no corner splits them
                assert counts[pairs[0]] == counts[pairs[1]]


@settings(quick, max_examples=40)
@given(boxes(plain=True))
def test_divisions_are_equal_to_a_nanometre(drawn: tuple[Job, TabAsk]) -> None:
    job, ask = drawn
    for tabs in solve(box_arrangement(job), ask).tabs:
        for run in tabs.runs:
            inside = (tabs.lo >= run.run.lo) & (tabs.hi <= run.run.hi)
            lo, hi = tabs.lo[inside], tabs.hi[inside]
            assert len(lo) == run.count
            assert lo[0] == run.run.lo and hi[-1] == run.run.hi
            assert (lo[1:] == hi[:-1]).all()
            for k in range(run.count + 1):
                place = int(lo[k]) if k < run.count else int(hi[-1])
                exact = run.count * run.run.lo + k * run.run.length
                assert abs(2 * (run.count * place - exact)) <= run.count


@settings(quick, max_examples=40)
@given(boxes(closed=True, plain=True), st.tuples(*[st.integers(1, 24)] * 3))
def test_asked_counts_are_respected_and_symmetric(
    drawn: tuple[Job, TabAsk], halves: tuple[int, int, int]
) -> None:
    job, _ = drawn
    counts = {axis: 2 * k + 1 for axis, k in enumerate(halves)}
    solution = solve(box_arrangement(job), TabAsk(counts=counts))
    found = runs_of(solution)
    assert len(found) == 12
    for axis, _, count, _, why in found:
        assert count == counts[axis]
        assert "asked" in why
    check_by_grid(solution, job)


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("even", [4, 6, 10, 200])
def test_an_even_count_is_refused_naming_both_neighbours(axis: int, even: int) -> None:
    job = box_job((100 * MM, 80 * MM, 60 * MM), 3 * MM)
    with pytest.raises(InputError) as caught:
        solve(box_arrangement(job), TabAsk(counts={axis: even}))
    assert caught.value.exit_code == 2
    text = str(caught.value)
    assert str(even - 1) in text and str(even + 1) in text and str(even) in text


@pytest.mark.parametrize("count", [-3, -2, 0, 1, 2])
def test_counts_under_three_are_refused(count: int) -> None:
    job = box_job((100 * MM, 80 * MM, 60 * MM), 3 * MM)
    with pytest.raises(InputError, match="3"):
        solve(box_arrangement(job), TabAsk(counts={0: count}))


@settings(quick, max_examples=40)
@given(boxes(closed=True, plain=True), st.floats(0.02, 0.5))
def test_an_asked_width_gives_the_nearest_odd_count(drawn: tuple[Job, TabAsk], part: float) -> None:
    job, _ = drawn
    width = max(MM, int(min(job.inside.xyz) * part))
    solution = solve(box_arrangement(job), TabAsk(width=width))
    for _, length, count, _, _ in runs_of(solution):
        assert count % 2 == 1 and count >= 3
        # compare |length/n - width| exactly, over the same denominator
        miss = abs(length - width * count)
        for other in (count - 2, count + 2):
            if other >= 3:
                assert miss * other <= abs(length - width * other) * count


@settings(quick, max_examples=40)
@given(boxes(closed=True, plain=True))
def test_outer_ends_show_the_end_tab_as_wide_as_the_others(drawn: tuple[Job, TabAsk]) -> None:
    job, _ = drawn
    try:
        solution = solve(box_arrangement(job), TabAsk(ends="outer"))
    except InputError as error:
        assert "end tab" in str(error)
        return
    check_by_grid(solution, job)
    for joint, tabs in zip(solution.joints, solution.tabs, strict=True):
        if tabs.runs[0].count == 1:
            continue
        lo, hi = joint.bar.span(joint.axis)
        edges = [lo, *tabs.lo[1:].tolist(), hi]  # corners included in the end tabs
        widths = np.diff(edges)
        assert widths.max() - widths.min() <= 1


def test_kerf_plays_no_part_in_counts() -> None:
    """Nothing that the solver takes knows of kerf, fit or scale."""
    import ast
    from pathlib import Path

    import boxjoint.solve

    for file in Path(boxjoint.solve.__file__).parent.glob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        words = {n.id for n in ast.walk(tree) if isinstance(n, ast.Name)}
        words |= {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
        words |= {a.arg for a in ast.walk(tree) if isinstance(a, ast.arg)}
        assert not words & {"kerf", "scale", "beam", "fit"}, file.name
        attributes = {ast.unparse(n) for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
        assert "job.cut" not in attributes, file.name
        # what lies or runs loose has a clearance of its own, which is a nominal size; that of joints
        # is none of the solver's business
        of = {ast.unparse(n.value) for n in ast.walk(tree) if getattr(n, "attr", "") == "clearance"}
        assert not any(name.split(".")[-1] in ("joint", "plan") for name in of), file.name


def test_a_run_too_short_for_three_is_one_segment_that_says_so() -> None:
    solution = solved(box_job((100 * MM, 80 * MM, 11_999_999), 3 * MM))
    short = [r for r in runs_of(solution) if r[0] == 2]
    assert {r[2] for r in short} == {1}
    assert all("one segment" in r[4] and "nothing interlocks" in r[4] for r in short)
    just = solved(box_job((100 * MM, 80 * MM, 12 * MM), 3 * MM))
    assert {r[2] for r in runs_of(just) if r[0] == 2} == {3}


def test_a_tiny_inside_in_thick_stock_is_a_box_or_refused_by_name() -> None:
    for rank in list(permutations(PANELS))[::37]:
        job = box_job((5 * MM, 5 * MM, 5 * MM), 20 * MM, ask=JointAsk(rank=rank))
        try:
            check_by_grid(solved(job), job)
        except ArrangementError as error:
            assert any(name in str(error) for name in PANELS)
            assert error.where


# the judge itself: it must see faults --------------------------------------------------------------


def _faulty(change: str) -> list[str]:
    """What the grid says of a small box with one fault put into a panel's rings."""
    job = box_job((60 * MM, 50 * MM, 40 * MM), SIX, ask=JointAsk(segments={"length": 3}))
    solution = solved(job)
    blocks = oracle.blocks_of(solution.arrangement)
    rings = {panel.name: oracle.world_rings(panel) for panel in solution.panels}
    front = rings["front"][0]
    if change == "shift":
        rings["front"] = [front + np.array([1, 0])]
    elif change == "tab too long":
        top = front[:, 1].max()
        rings["front"] = [front + (front == (-1, top))]
    elif change == "hole":
        rings["front"].append(np.array([(9, 9), (9, 10), (10, 10), (10, 9)], dtype=np.int64))
    elif change == "lost tab":
        rings["front"] = [
            np.array([(0, 0), (60 * MM, 0), (60 * MM, 40 * MM), (0, 40 * MM)], dtype=np.int64)
        ]
    elif change == "two pieces":
        rings["front"].append(
            np.array([(-9, 90 * MM), (9, 90 * MM), (9, 95 * MM), (-9, 95 * MM)], dtype=np.int64)
        )
    return oracle.Grid(blocks, rings).faults()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ("none", ""),
        ("shift", "two owners"),
        ("tab too long", "leaves its slab"),
        ("hole", "no owner"),
        ("lost tab", "no owner"),
        ("two pieces", "2 pieces"),
    ],
)
def test_the_judge_sees_a_fault_of_one_nanometre(change: str, word: str) -> None:
    faults = _faulty(change)
    assert (faults == []) if change == "none" else any(word in f for f in faults)
