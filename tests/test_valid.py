"""Rings that bound no single flat part are refused, however their sums come out."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from strategies import plates

from boxjoint.check.as_cut import joints_as_cut, sides_off
from boxjoint.check.exact import exact_proof
from boxjoint.errors import CannotBeCut
from boxjoint.geometry.rings import Rings, Role
from boxjoint.geometry.valid import ring_problem
from boxjoint.job.read import parse_job
from boxjoint.make import build

Ring = list[tuple[int, int]]
MM = 1_000_000
JOB = """
unit = "mm"
[inside]
length = 120
width = 80
height = 40
[stock]
material = "birch plywood"
thickness = 3
"""


def square(a: int, b: int, c: int, d: int, *, hole: bool = False) -> Ring:
    ring = [(a, b), (c, b), (c, d), (a, d)]
    return ring[::-1] if hole else ring


def rings(*found: Ring) -> Rings:
    xy = np.array([v for ring in found for v in ring], dtype=np.int64)
    return Rings(
        xy=xy,
        start=np.cumsum([0] + [len(r) for r in found]),
        role=np.zeros(len(xy), dtype=np.uint8),
        joint=np.full(len(xy), -1, dtype=np.int32),
    )


OUTER = square(0, 0, 100, 100)
BAD = {
    "hole and doubled place": [square(10, 10, 20, 20, hole=True), square(30, 30, 40, 40)],
    "two pieces": [square(200, 0, 300, 100)],
    "pieces that share an edge": [square(100, 0, 200, 100)],
    "slit": [[(20, 50), (80, 50)]],
    "slit of four": [[(20, 50), (50, 50), (80, 50), (50, 50)]],
    "hole over the edge": [square(90, 90, 110, 110, hole=True)],
    "holes that overlap": [square(10, 10, 30, 30, hole=True), square(20, 20, 40, 40, hole=True)],
    "hole in a hole": [square(10, 10, 50, 50, hole=True), square(20, 20, 30, 30, hole=True)],
    "hole outside": [square(200, 200, 210, 210, hole=True)],
}


@pytest.mark.parametrize("more", BAD.values(), ids=BAD.keys())
def test_rings_that_bound_no_part(more: list[Ring]) -> None:
    assert ring_problem(rings(OUTER, *more)) is not None


def test_askew_clockwise_and_pinched_rings() -> None:
    assert ring_problem(rings([(0, 0), (100, 0), (100, 50), (50, 100), (0, 100)])) is not None
    assert ring_problem(rings(square(0, 0, 9, 9, hole=True))) is not None
    right_turns = [(0, 0), (50, 0), (50, 50), (100, 50), (100, 100), (50, 100), (50, 50), (0, 50)]
    assert ring_problem(rings(right_turns)) is not None


def test_a_whole_part_with_a_hole() -> None:
    assert ring_problem(rings(OUTER, square(10, 10, 20, 20, hole=True))) is None


@settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))
@given(plates())
def test_agrees_with_shapely(plate: Rings) -> None:
    """What shapely takes for a valid polygon with its interior in one piece is none of these."""
    import shapely

    polygon = shapely.Polygon(
        plate.ring(0).tolist(), [plate.ring(k).tolist() for k in range(1, plate.count)]
    )
    if polygon.is_valid:
        assert ring_problem(plate) is None


def test_the_exact_proof_is_not_taken_in_by_sums_that_agree() -> None:
    built = build(parse_job(JOB))
    bottom = built.solution.panel("bottom")
    c = 60 * MM
    hole = square(c, c // 2, c + 9 * MM, c // 2 + 9 * MM, hole=True)
    doubled = square(c - 20 * MM, c // 2, c - 11 * MM, c // 2 + 9 * MM)
    more = rings(hole, doubled)
    wrong = dataclasses.replace(
        bottom,
        rings=Rings(
            xy=np.concatenate([bottom.rings.xy, more.xy]),
            start=np.concatenate([bottom.rings.start, bottom.rings.start[-1] + more.start[1:]]),
            role=np.concatenate([bottom.rings.role, more.role]),
            joint=np.concatenate([bottom.rings.joint, more.joint]),
        ),
    )
    assert wrong.rings.area == bottom.rings.area
    panels = [wrong if p.name == "bottom" else p for p in built.solution.panels]
    proof = exact_proof(panels, built.solution.arrangement.insides)
    assert [(f.kind, f.panels) for f in proof.faults] == [("ring", ("bottom",))]


def test_a_divider_cut_through_by_its_reliefs_fails() -> None:
    text = JOB.replace("height = 40", "height = 10") + (
        "[dividers.length]\ncompartments = 3\n[dividers.width]\ncompartments = 2\n"
        "[joint]\nfloor_relief = 5\nshoulder_relief = 3\n"
    )
    with pytest.raises(CannotBeCut, match="out of proportion") as caught:
        build(parse_job(text))
    assert "divider" in str(caught.value)


@pytest.mark.parametrize("role", [Role.TIP, Role.SHOULDER, Role.FLANK])
def test_a_single_side_out_of_its_place_is_seen(role: Role) -> None:
    built = build(parse_job(JOB))
    part = built.part("front")
    cut = part.as_cut
    keep = np.flatnonzero(cut.role == role)[:1]
    i = int(keep[0])
    along_x, sign = cut.direction()
    xy = cut.xy.copy()
    k = 0 if along_x[i] else 1
    for v in (i, int(cut.following[i])):
        xy[v, k] += 400_000 * sign[i]
    moved = dataclasses.replace(cut, xy=xy)
    outward = [0.0] * len(Role)
    flanks = [-c / 4 for c in built.plan.clearances]
    assert sides_off(part.panel.rings, cut, outward, flanks) == ()
    off = sides_off(part.panel.rings, moved, outward, flanks)
    assert (off[0].role, off[0].off) == (role, 400_000)


def test_a_panel_shifted_along_its_shoulders_jams_on_single_flanks() -> None:
    built = build(parse_job(JOB))
    cut = [p.as_cut for p in built.parts]
    at = next(i for i, p in enumerate(built.parts) if p.panel.name == "back")
    along_x, _ = cut[at].direction()
    xy = cut[at].xy.copy()
    for i in np.flatnonzero((cut[at].role == Role.FLANK) & along_x).tolist():
        xy[i, 0] += 400_000
        xy[int(cut[at].following[i]), 0] += 400_000
    cut[at] = dataclasses.replace(cut[at], xy=xy)
    name = {built.solution.joint_name(j.joint): j for j in joints_as_cut(built.solution, cut)}
    joint = name["bottom-back"]
    assert joint.greatest_flank - joint.least_flank == 4 * 400_000
