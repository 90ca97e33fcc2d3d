"""Relief at inside corners, cut by a round beam in shapely and looked at there."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from strategies import plates

from boxjoint.check.webs import web_left
from boxjoint.fit.compensate import Allowance, Beam, Drawn, compensate, virtual_cut
from boxjoint.fit.relief import Relieved, relieve
from boxjoint.geometry.rings import Rings, Role, cut_rectangles, label, rectangle
from boxjoint.job.records import PerAxis

MM = 1_000_000
Points = np.ndarray


def beam(kerf: float) -> Beam:
    return Beam(kerf=PerAxis(x=kerf, y=kerf))


def slotted(slots: list[tuple[int, int, int, int]], width: int = 80, height: int = 40) -> Rings:
    """A rectangle (mm) less some slots (mm), all rims."""
    w, h = width * MM, height * MM
    cells = np.array(slots, dtype=np.int64) * MM
    rim = np.full(len(slots), label(Role.RIM), dtype=np.int64)
    return cut_rectangles(
        (
            np.array([0, 0, 1, 1]),
            np.array([0, w, 0, h]),
            np.zeros(4, dtype=np.int64),
            np.array([h, h, w, w]),
            np.full(4, label(Role.RIM), dtype=np.int64),
        ),
        cells,
        rim,
        rim,
    )


def drawn(nominal: Rings, kerf: float) -> Drawn:
    return compensate(nominal, beam(kerf), Allowance(clearance=[]))


def flattened(xy: Points, bulge: Points, pieces: int = 200) -> list[tuple[float, float]]:
    """A closed polyline with bulges as points; an arc's angle is 4 atan(bulge) (DXF's definition)."""
    out: list[tuple[float, float]] = []
    following = np.roll(xy, -1, axis=0)
    for (x0, y0), (x1, y1), b in zip(xy, following, bulge, strict=True):
        out.append((x0, y0))
        if b:
            angle = 4 * math.atan(b)
            chord = complex(x1 - x0, y1 - y0)
            # centre: from the chord's middle, square to it, by half the chord over tan(angle / 2)
            centre = complex(x0, y0) + chord / 2 + chord / 2 * 1j / math.tan(angle / 2)
            spoke = complex(x0, y0) - centre
            for k in range(1, pieces):
                p = centre + spoke * complex(
                    math.cos(angle * k / pieces), math.sin(angle * k / pieces)
                )
                out.append((p.real, p.imag))
    return out


def region(found: Relieved) -> shapely.Geometry:
    outer, *holes = [flattened(xy, bulge) for xy, bulge in found.rings]
    return shapely.Polygon(outer, holes)


def plain(rings: Rings) -> shapely.Geometry:
    outer, *holes = [rings.ring(k) / 1e6 for k in range(rings.count)]
    return shapely.Polygon(outer, holes)


def left_by(outline: shapely.Geometry, kerf: float) -> shapely.Geometry:
    """What a round beam leaves of the part when its middle follows the outline."""
    return outline.difference(outline.boundary.buffer(kerf / 2, quad_segs=64))


def inside_corners(rings: Rings) -> list[tuple[Points, Points]]:
    """(corner, direction into the slot along both axes) of every inside corner, mm."""
    d = rings.ends - rings.xy
    before = d[rings.leading]
    turn = before[:, 0] * d[:, 1] - before[:, 1] * d[:, 0]
    found = []
    for i in np.flatnonzero(turn < 0):
        # the slot lies to the right of both sides: back along the leaving one's travel is material
        into = np.sign(d[i]) - np.sign(before[i])
        found.append((rings.xy[i] / 1e6, into.astype(float)))
    return found


CASES = [(0.2, 0.5), (0.2, 0.3), (0.14, 1.0), (0.0, 1.5), (0.4, 0.45)]


@pytest.mark.parametrize(("kerf", "radius"), CASES)
def test_the_corner_as_cut_lies_on_the_circle(kerf: float, radius: float) -> None:
    nominal = slotted([(10, 30, 20, 40), (40, 10, 55, 25)])  # a slot at the edge and a hole
    found = relieve(drawn(nominal, kerf), radius)
    assert (found.corners, found.left_out) == (6, 0)
    part = left_by(region(found), kerf)
    corners = inside_corners(nominal)
    assert len(corners) == 6
    for corner, into in corners:
        centre = corner + into * radius / math.sqrt(2)
        # the cut goes through the corner, and nothing of the circle is left
        assert part.boundary.distance(shapely.Point(corner)) < 1e-4
        disc = shapely.Point(centre).buffer(radius - 1e-3, quad_segs=64)
        assert part.intersection(disc).area < 1e-9
        # it takes no more than the circle and the slot
        near = shapely.Point(corner).buffer(radius)
        lost = plain(nominal).intersection(near).difference(part.buffer(1e-3, join_style="mitre"))
        assert shapely.Point(centre).buffer(radius + 1e-3, quad_segs=64).contains(lost)


@pytest.mark.parametrize(("kerf", "radius"), CASES)
def test_a_mates_sharp_corner_goes_home(kerf: float, radius: float) -> None:
    """Without the relief, a round beam leaves fillets in the mate's way; with it, none."""
    nominal = slotted([(10, 30, 20, 40)])
    tab = shapely.box(10, 30, 20, 40)
    outlines = drawn(nominal, kerf)
    relieved = left_by(region(relieve(outlines, radius)), kerf)
    assert relieved.intersection(tab.buffer(-1e-4, join_style="mitre")).area < 1e-8
    sharp = left_by(region(relieve(outlines, 0.0)), kerf)
    fillets = sharp.intersection(tab).area
    # (1 - pi/4) r^2 in each of two corners
    assert fillets == pytest.approx(2 * (1 - math.pi / 4) * (kerf / 2) ** 2, abs=2e-5)


def test_relief_only_takes_material_away() -> None:
    nominal = slotted([(10, 30, 20, 40), (40, 10, 55, 25)])
    outlines = drawn(nominal, 0.2)
    with_relief = left_by(region(relieve(outlines, 0.6)), 0.2)
    without = left_by(plain(outlines.rings), 0.2)
    assert with_relief.difference(without.buffer(1e-5)).area < 1e-9
    # each circle takes its part outside the slot: three quarters of it less what lies in the square
    away = without.area - with_relief.area
    r = 0.6
    # of the circle through the corner, outside the quadrant of the slot: a circle less the half
    # square on its diameter and its two outer segments
    beyond = math.pi * r * r - (r * r + r * r * (math.pi / 2))
    fillet = (1 - math.pi / 4) * 0.1**2
    assert away == pytest.approx(6 * (beyond + fillet), rel=2e-3)


@pytest.mark.parametrize("radius", [0.0, 0.05, 0.1, 0.105])
def test_a_relief_no_larger_than_the_beams_own_fillet_changes_nothing(radius: float) -> None:
    outlines = drawn(slotted([(10, 30, 20, 40)]), 0.2)
    found = relieve(outlines, radius)
    assert (found.corners, found.left_out) == (0, 0)
    (xy, bulge) = found.rings[0]
    assert (xy == outlines.rings.ring(0) / 1e6).all()
    assert not bulge.any()


def test_outside_corners_stay_sharp() -> None:
    found = relieve(drawn(rectangle(0, 0, 50 * MM, 30 * MM), 0.2), 0.5)
    assert (found.corners, found.left_out) == (0, 0)
    assert len(found.rings[0][0]) == 4


def test_a_corner_without_room_is_left_out_and_counted() -> None:
    """A slot of 2 mm cannot hold two circles of 1 mm radius side by side at its bottom."""
    outlines = drawn(slotted([(10, 30, 12, 40), (30, 30, 45, 40)]), 0.2)
    found = relieve(outlines, 1.0)
    assert (found.corners, found.left_out) == (2, 2)
    assert region(found).is_valid
    # the drawn corners that were left out are still there
    points = found.rings[0][0].tolist()
    assert sum(1 for p in points if 9.9 < p[0] < 12.1 and p[1] < 31) == 2


def test_the_path_is_one_arc_of_the_radius_less_half_the_kerf() -> None:
    found = relieve(drawn(slotted([(10, 30, 20, 40)]), 0.2), 0.5)
    xy, bulge = found.rings[0]
    arcs = np.flatnonzero(bulge)
    assert len(arcs) == 2
    for i in arcs:
        a, b = xy[i], xy[(i + 1) % len(xy)]
        angle = 4 * math.atan(bulge[i])
        assert angle < 0  # clockwise: into the material
        chord = math.dist(a, b)
        assert chord / 2 / abs(math.sin(angle / 2)) == pytest.approx(0.5 - 0.1)


@pytest.mark.parametrize("radius", [0.118, 0.119, 0.12])
def test_a_relief_a_little_larger_than_the_fillet_makes_no_knot(radius: float) -> None:
    """Between 1.17 and 1.21 of half the kerf the circle crosses the sides behind their corner."""
    found = relieve(drawn(slotted([(10, 30, 20, 40)]), 0.2), radius)
    assert region(found).is_valid


def test_two_kerfs_keep_the_corner_within_half_their_difference() -> None:
    nominal = slotted([(10, 30, 20, 40)])
    wide = Beam(kerf=PerAxis(x=0.16, y=0.22))
    outlines = compensate(nominal, wide, Allowance(clearance=[]))
    found = relieve(outlines, 0.5)
    assert found.corners == 2
    # an oval beam: stretch y so that it becomes round, cut, and look again
    factor = 0.16 / 0.22
    outline = shapely.affinity.scale(region(found), 1, factor, origin=(0, 0))
    part = shapely.affinity.scale(left_by(outline, 0.16), 1, 1 / factor, origin=(0, 0))
    for corner, _ in inside_corners(nominal):
        assert part.boundary.distance(shapely.Point(corner)) < 0.015


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(plates(), st.sampled_from([0.0, 0.1, 0.2]), st.floats(0.13, 0.6))
def test_any_plate_stays_whole_and_loses_only_near_its_corners(
    small: Rings, kerf: float, radius: float
) -> None:
    """On plates of whole mm: every inside corner is relieved or counted, and rings stay simple."""
    nominal = Rings(xy=small.xy * MM, start=small.start, role=small.role * 0, joint=small.joint)
    outlines = drawn(nominal, kerf)
    assume(not (outlines.rings.role == Role.STEP).any())
    # slots that touch in a point have no material between them to stay whole
    assume(len(np.unique(nominal.xy, axis=0)) == len(nominal))
    found = relieve(outlines, radius)
    corners = inside_corners(nominal)
    if radius <= 1.05 * kerf / 2:
        assert (found.corners, found.left_out) == (0, 0)
        return
    assert found.corners + found.left_out == len(corners)
    for xy, bulge in found.rings:
        ring = flattened(xy, bulge, pieces=12)
        assert shapely.LinearRing(ring).is_simple
        assert all(math.dist(a, b) > 0 for a, b in pairwise(ring))
    lost = plain(outlines.rings).difference(region(found))
    if lost.area:
        near = shapely.union_all([shapely.Point(c).buffer(2 * radius + kerf) for c, _ in corners])
        assert near.contains(lost)


def as_cut(outlines: Drawn, found: Relieved, kerf: float) -> shapely.Geometry:
    """The part that a round beam leaves, in one piece."""
    part = left_by(region(found), kerf)
    pieces = [p for p in shapely.get_parts(part) if p.area > 1]  # what drops out of holes is none
    assert len(pieces) == 1
    return pieces[0]


def thinnest(part: shapely.Geometry) -> float:
    """The least distance between any two rings of a part, mm."""
    rings = [part.exterior, *part.interiors]
    return min(a.distance(b) for i, a in enumerate(rings) for b in rings[:i])


@pytest.mark.parametrize("kerf", [0.0, 0.2])
def test_a_relief_that_would_thin_a_web_below_the_least_is_left_out(kerf: float) -> None:
    """A hole 3 mm from the rim: a circle of 1 mm through its corner reaches 1 - 1/sqrt(2) nearer."""
    outlines = drawn(slotted([(30, 3, 50, 13)]), kerf)
    kept = relieve(outlines, 1.0, web=2.7)
    assert (kept.corners, kept.left_out, kept.spared) == (4, 0, 0)
    assert thinnest(as_cut(outlines, kept, kerf)) == pytest.approx(2 + 1 / math.sqrt(2), abs=1e-3)
    spared = relieve(outlines, 1.0, web=2.8)
    assert (spared.corners, spared.left_out, spared.spared) == (2, 2, 2)
    assert thinnest(as_cut(outlines, spared, kerf)) == pytest.approx(3, abs=1e-3)
    for found, least in ((kept, 2 + 1 / math.sqrt(2)), (spared, 3.0)):
        web = web_left(virtual_cut(outlines.rings, outlines.beam), outlines, found)
        assert web is not None
        assert web.width / 1e6 == pytest.approx(least, abs=1e-5)


def test_two_reliefs_that_meet_in_one_web_are_not_both_cut() -> None:
    """Between two holes 4 mm apart both corners reach in: 4 - 2 (1 - 1/sqrt(2)) = 3.414 mm."""
    outlines = drawn(slotted([(10, 10, 30, 30), (34, 10, 54, 30)]), 0.2)
    both = relieve(outlines, 1.0, web=3.4)
    assert both.corners == 8
    assert thinnest(as_cut(outlines, both, 0.2)) == pytest.approx(2 + math.sqrt(2), abs=1e-3)
    web = web_left(virtual_cut(outlines.rings, outlines.beam), outlines, both)
    assert web is not None
    assert web.width / 1e6 == pytest.approx(2 + math.sqrt(2), abs=1e-5)
    one = relieve(outlines, 1.0, web=3.6)
    assert (one.corners, one.spared) == (6, 2)
    assert thinnest(as_cut(outlines, one, 0.2)) >= 3.6


def test_a_relief_never_cuts_a_web_through() -> None:
    """A web of 1 mm, and no least is asked for: the bite of 1.17 mm would open the hole to the rim."""
    outlines = drawn(slotted([(30, 1, 50, 21)]), 0.2)
    found = relieve(outlines, 4.0)
    assert (found.corners, found.spared) == (2, 2)
    assert len(as_cut(outlines, found, 0.2).interiors) == 1


@settings(deadline=None, max_examples=40, suppress_health_check=list(HealthCheck))
@given(plates(), st.floats(0.15, 0.9), st.sampled_from([0.0, 0.8, 1.0, 1.9, 3.0]))
def test_no_relief_takes_a_web_below_the_least(small: Rings, radius: float, least: float) -> None:
    """On plates of whole mm: rings come no nearer than the least, or than they were."""
    nominal = Rings(xy=small.xy * MM, start=small.start, role=small.role * 0, joint=small.joint)
    assume(len(np.unique(nominal.xy, axis=0)) == len(nominal))
    outlines = drawn(nominal, 0.2)
    found = relieve(outlines, radius, web=least)
    part = shapely.Polygon(*[flattened(xy, b) for xy, b in found.rings[:1]]).difference(
        shapely.union_all([shapely.Polygon(flattened(xy, b)) for xy, b in found.rings[1:]])
    )
    part = part.buffer(-0.1, quad_segs=32)
    assert part.geom_type == "Polygon"  # in one piece
    assert len(part.interiors) == nominal.count - 1
    if nominal.count > 1:
        was = thinnest(plain(nominal))
        assert thinnest(part) >= min(was, least) - 2e-3
