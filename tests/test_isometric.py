"""The picture of a box, against rays cast at the cells that its segments and corners own.

The rays know nothing of outlines, faces or polygons: every panel is cut into cuboids from the
owners of segments and corners, and a ray from the viewer finds the cuboid it meets first.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely

from boxjoint.errors import InputError
from boxjoint.export.bodies import bodies_apart
from boxjoint.export.isometric import EDGE_GRAIN, FACE_GRAIN, exploded_offsets, isometric_svg
from boxjoint.export.visible import SIDES, look
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import cut_rectangles
from boxjoint.job.read import read_job
from boxjoint.job.records import Inside, Job, PanelAsk, Stock, Thickness, Top
from boxjoint.solve.arrangement import Arrangement, Slab
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.solution import Solution, solve
from boxjoint.solve.tabs import TabAsk

SVG = "{http://www.w3.org/2000/svg}"
MM = 1_000_000
JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
FRONT = ("front", "right", "top")


def box(
    inside: tuple[float, float, float],
    thickness: dict[str, float] | float = 3.0,
    *,
    closed: bool = True,
    counts: dict[int, int] | None = None,
    rank: tuple[str, ...] = (),
) -> Solution:
    return solve(
        _arrangement(inside, thickness, closed=closed, rank=rank), TabAsk(counts=counts or None)
    )


def _arrangement(
    inside: tuple[float, float, float],
    thickness: dict[str, float] | float,
    *,
    closed: bool,
    rank: tuple[str, ...] = (),
) -> Arrangement:
    def sheet(t: float) -> Thickness:
        return Thickness(readings=(round(t * MM),), measured=False)

    per_panel = thickness if isinstance(thickness, dict) else {}
    job = Job(
        title="specimen drawer",
        unit="mm",
        inside=Inside(
            length=round(inside[0] * MM), width=round(inside[1] * MM), height=round(inside[2] * MM)
        ),
        stock=Stock(
            material="birch plywood",
            thickness=sheet(3.0 if isinstance(thickness, dict) else thickness),
        ),
        panels={name: PanelAsk(thickness=sheet(t)) for name, t in per_panel.items()},
        top=Top(kind="closed" if closed else "open"),
    )
    arrangement = box_arrangement(job)
    if rank:
        slabs = sorted(arrangement.slabs, key=lambda s: rank.index(s.name))
        return Arrangement(slabs=tuple(slabs), insides=arrangement.insides)
    return arrangement


def tray_with_dividers() -> Solution:
    slabs = list(_arrangement((90, 60, 30), 3.0, closed=False).slabs)
    for k, x in enumerate((28, 59)):
        lo, hi = (x * MM, -3 * MM, -3 * MM), ((x + 3) * MM, 63 * MM, 24 * MM)
        slabs.append(Slab(name=f"across {k + 1}", normal=0, box=Cuboid(lo, hi), guest=True))
    lo, hi = (-3 * MM, 30 * MM, -3 * MM), (93 * MM, 33 * MM, 24 * MM)
    slabs.append(Slab(name="along", normal=1, box=Cuboid(lo, hi), outward=-1, guest=True))
    return solve(Arrangement(slabs=tuple(slabs)))


def crossing_walls() -> Solution:
    def slab(name: str, n: int, lo: tuple[int, ...], hi: tuple[int, ...], outward: int = 1) -> Slab:
        a, b = [v * MM for v in lo], [v * MM for v in hi]
        cuboid = Cuboid((a[0], a[1], a[2]), (b[0], b[1], b[2]))
        return Slab(name=name, normal=n, box=cuboid, outward=1 if outward > 0 else -1)

    return solve(
        Arrangement(
            slabs=(
                slab("left", 0, (0, -20, 0), (6, 140, 120), -1),
                slab("right", 0, (150, -20, 0), (156, 140, 120)),
                slab("front", 1, (-20, 0, 0), (176, 6, 100), -1),
                slab("back", 1, (-20, 114, 0), (176, 120, 100)),
                slab("low shelf", 2, (0, 0, 30), (156, 120, 36)),
                slab("high shelf", 2, (0, 0, 70), (156, 120, 76)),
            )
        )
    )


# ---------------------------------------------------------------- rays


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Cuboids, world mm, and the panel and the slab's normal of each."""

    lo: np.ndarray
    hi: np.ndarray
    panel: np.ndarray
    normal: np.ndarray


def cells_of(solution: Solution, apart: dict[str, tuple[int, int, int]] | None = None) -> Cells:
    """Every panel in cuboids, from the owners of segments and corners."""
    slabs = solution.arrangement.slabs
    lines = [{v for s in slabs for v in s.box.span(k)} for k in range(3)]
    for joint, tabs in zip(solution.joints, solution.tabs, strict=True):
        lines[joint.axis] |= set(tabs.lo.tolist()) | set(tabs.hi.tolist())
    at = [np.array(sorted(v)) for v in lines]
    owner = np.full([len(a) - 1 for a in at], -1)

    def block(cuboid: Cuboid) -> tuple[slice, ...]:
        return tuple(slice(*np.searchsorted(at[k], cuboid.span(k)).tolist()) for k in range(3))

    for i, slab in enumerate(slabs):
        owner[block(slab.box)] = i
    for joint, tabs in zip(solution.joints, solution.tabs, strict=True):
        for lo, hi, who in zip(tabs.lo, tabs.hi, tabs.owner, strict=True):
            a, b = list(joint.bar.lo), list(joint.bar.hi)
            a[joint.axis], b[joint.axis] = int(lo), int(hi)
            owner[block(Cuboid((a[0], a[1], a[2]), (b[0], b[1], b[2])))] = who
    for corner, who in zip(solution.corners, solution.owners, strict=True):
        if who >= 0:
            owner[block(corner.box)] = who
    for corner, who in zip(solution.corners, solution.owners, strict=True):
        if who < 0:  # the segments of one bar run through it undisturbed
            joint, tabs = solution.joints[corner.through], solution.tabs[corner.through]
            for lo, hi, keeper in zip(tabs.lo, tabs.hi, tabs.owner, strict=True):
                a, b = list(corner.box.lo), list(corner.box.hi)
                a[joint.axis] = max(int(lo), a[joint.axis])
                b[joint.axis] = min(int(hi), b[joint.axis])
                if a[joint.axis] < b[joint.axis]:
                    owner[block(Cuboid((a[0], a[1], a[2]), (b[0], b[1], b[2])))] = keeper
    index = np.argwhere(owner >= 0)
    who = owner[tuple(index.T)]
    lo = np.stack([at[k][index[:, k]] for k in range(3)], axis=1)
    hi = np.stack([at[k][index[:, k] + 1] for k in range(3)], axis=1)
    moves = np.array([(apart or {}).get(s.name, (0, 0, 0)) for s in slabs])[who]
    return Cells(
        lo=(lo + moves) / MM,
        hi=(hi + moves) / MM,
        panel=who,
        normal=np.array([s.normal for s in slabs])[who],
    )


def camera(view: tuple[str, str, str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit vectors towards the viewer, to the right of the page and down the page.

    An orthographic camera on a space diagonal with z upright (ISO 5456-3, isometric; from memory).
    """
    toward = np.zeros(3)
    for side in view:
        axis, sense = SIDES[side]
        toward[axis] = sense
    toward /= math.sqrt(3)
    right = np.cross([0.0, 0.0, 1.0], toward)
    right /= np.linalg.norm(right)
    return toward, right, -np.cross(toward, right)


def cast(
    cells: Cells, points: np.ndarray, toward: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """First cuboid on the line of sight through each world point.

    Returns (n,) cell or -1, (n,) axis of the face that is met, (n,) how far towards the viewer.
    """
    found, axes, far = [], [], []
    for start in range(0, len(points), 400):
        p = points[start : start + 400, None, :]
        front = np.where(toward > 0, cells.hi, cells.lo)
        back = np.where(toward > 0, cells.lo, cells.hi)
        enter = (front[None] - p) / toward
        leave = ((back[None] - p) / toward).max(axis=2)
        axis, enter = enter.argmin(axis=2), enter.min(axis=2)
        depth = np.where(enter > leave + 1e-9, enter, -np.inf)
        best = depth.argmax(axis=1)
        row = np.arange(len(best))
        found.append(np.where(np.isfinite(depth[row, best]), best, -1))
        axes.append(axis[row, best])
        far.append(depth[row, best])
    return np.concatenate(found), np.concatenate(axes), np.concatenate(far)


# ---------------------------------------------------------------- reading the picture back


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    width: float
    height: float
    panels: list[str]
    fills: list[str]
    shapes: np.ndarray


def shape_of(data: str) -> shapely.Geometry:
    rings = [
        shapely.Polygon(np.array(re.findall(r"-?[\d.]+", ring), dtype=float).reshape(-1, 2))
        for ring in data.split("Z")
        if ring
    ]
    shape = rings[0]
    for ring in rings[1:]:  # even-odd, so that holes come off
        shape = shapely.symmetric_difference(shape, ring)
    return shape


def read(svg: str) -> Drawn:
    root = ET.fromstring(svg)
    panels, fills, shapes = [], [], []
    for group in root.iter(f"{SVG}g"):
        title = group.find(f"{SVG}title")
        if title is None:
            continue
        for path in group.findall(f"{SVG}path"):
            panels.append(title.text or "")
            fills.append(path.attrib["fill"])
            shapes.append(shape_of(path.attrib["d"]))
    _, _, w, h = map(float, root.attrib["viewBox"].split())
    assert root.attrib["width"] == f"{root.attrib['viewBox'].split()[2]}mm"
    assert root.attrib["height"] == f"{root.attrib['viewBox'].split()[3]}mm"
    return Drawn(width=w, height=h, panels=panels, fills=fills, shapes=np.array(shapes))


def expected_fill(stock: bool, axis: int, toward: np.ndarray, right: np.ndarray) -> str:
    tones = FACE_GRAIN if stock else EDGE_GRAIN
    if axis == 2:
        return tones["up" if toward[2] > 0 else "down"]
    return tones["right" if toward[axis] * right[axis] > 0 else "left"]


def placed(
    cells: Cells, view: tuple[str, str, str], page: Drawn
) -> tuple[float, np.ndarray, np.ndarray]:
    """Scale and offset of the page, from the cuboids alone: the drawing fills it up to a margin."""
    _, right, down = camera(view)
    picks = np.array(list(np.ndindex(2, 2, 2)), dtype=bool)[:, None, :]
    corners = np.where(picks, cells.hi, cells.lo).reshape(-1, 3)
    flat = np.stack([corners @ right, corners @ down], axis=1)
    lo, hi = flat.min(axis=0), flat.max(axis=0)
    room = np.array([page.width, page.height]) - 8
    scale = float((room / (hi - lo)).min())
    offset = np.array([page.width / 2, page.height / 2]) - scale * (lo + hi) / 2
    return scale, offset, np.array([lo, hi])


def random_box(seed: int) -> Solution:
    rng = np.random.default_rng(seed)
    names = ("bottom", "top", "front", "back", "left", "right")
    thickness = {n: float(rng.integers(20, 90)) / 10 for n in names}
    inside = tuple(float(v) for v in rng.integers(25, 90, 3))
    counts = {k: int(rng.choice([3, 5, 7])) for k in range(3)}
    return box(
        (inside[0], inside[1], inside[2]),
        thickness,
        closed=bool(rng.integers(2)),
        counts=counts,
        rank=tuple(rng.permutation(names).tolist()),
    )


def far_apart(solution: Solution, seed: int) -> dict[str, tuple[int, int, int]]:
    """Offsets that take every panel clear of the others along its own normal, some not moved."""
    rng = np.random.default_rng(seed)
    moves = exploded_offsets(solution)
    return {n: v for n, v in moves.items() if rng.integers(3)}


VIEWS = [(a, b, c) for a in ("front", "back") for b in ("left", "right") for c in ("top", "bottom")]
CASES = {
    **{f"box {k}": (random_box(k), {}, VIEWS[k % 8]) for k in range(8)},
    **{
        f"parts of box {k}": (s := random_box(k), far_apart(s, k), VIEWS[(3 * k) % 8])
        for k in range(8, 12)
    },
    "dividers": (tray_with_dividers(), {}, FRONT),
    "dividers from below": (tray_with_dividers(), {}, ("back", "left", "bottom")),
    "dividers apart": ((d := tray_with_dividers()), exploded_offsets(d), FRONT),
    "crossing walls": (crossing_walls(), {}, FRONT),
    "crossing walls apart": (
        (w := crossing_walls()),
        exploded_offsets(w),
        ("back", "right", "top"),
    ),
}


@pytest.fixture(params=CASES, scope="module")
def case(request: pytest.FixtureRequest):
    return CASES[request.param]


def test_every_place_of_the_picture_shows_what_a_ray_meets_first(case) -> None:
    solution, apart, view = case
    page = read(isometric_svg(solution.panels, apart=apart, view=view, labels=False))
    cells = cells_of(solution, apart)
    toward, right, down = camera(view)
    scale, offset, _ = placed(cells, view, page)
    spots = np.random.default_rng(20240229).uniform((0, 0), (page.width, page.height), (1500, 2))
    # numbers in the file are rounded to 0.001 mm
    near_line = shapely.union_all(shapely.boundary(page.shapes))
    shapely.prepare(near_line)
    spots = spots[shapely.distance(shapely.points(spots), near_line) > 0.003]
    flat = (spots - offset) / scale
    hit, axis, _ = cast(cells, flat[:, :1] * right + flat[:, 1:] * down, toward)
    names = [p.name for p in solution.panels]
    inside = np.array([shapely.contains_xy(shape, spots) for shape in page.shapes])
    assert (inside.sum(axis=0) == (hit >= 0)).all(), "each place is drawn once, or is empty paper"
    assert (hit >= 0).sum() > 200
    for k in np.flatnonzero(hit >= 0).tolist():
        drawn = int(np.flatnonzero(inside[:, k])[0])
        stock = bool(cells.normal[hit[k]] == axis[k])
        assert page.panels[drawn] == names[cells.panel[hit[k]]]
        assert page.fills[drawn] == expected_fill(stock, int(axis[k]), toward, right)


def test_seen_areas_agree_with_a_raster_of_rays(case) -> None:
    solution, apart, view = case
    scene = look(solution.panels, apart=apart, view=view)
    seen = scene.regions()
    cells = cells_of(solution, apart)
    toward, right, down = camera(view)
    corners = np.concatenate([cells.lo, cells.hi])
    # a box around what may be seen, and a lattice over it
    reach = np.abs(corners).max() * 2
    flat = np.stack([corners @ right, corners @ down], axis=1)
    lo, hi = flat.min(axis=0) - reach / 20, flat.max(axis=0) + reach / 20
    step = float((hi - lo).max() / 70)
    x, y = np.meshgrid(np.arange(lo[0], hi[0], step), np.arange(lo[1], hi[1], step))
    hit, axis, _ = cast(cells, x.reshape(-1, 1) * right + y.reshape(-1, 1) * down, toward)
    # the picture's own measure: true lengths shrink by sqrt(2/3), faces by 1/sqrt(3)
    area = shapely.area(seen) / MM**2 / math.sqrt(3)
    length = shapely.length(seen) / MM
    for k in range(3):
        for stock in (True, False):
            rays = (hit >= 0) & (axis == k) & ((cells.normal[hit] == axis) == stock)
            faces = (scene.axis == k) & (scene.stock == stock)
            # the error of counting is that of the cells of the lattice that a boundary crosses; they
            # fall on either side of it, so it grows with the root of their number
            crossed = length[faces].sum() / step
            allowed = (4 * math.sqrt(crossed) + 4) * step**2
            assert abs(rays.sum() * step**2 - area[faces].sum()) <= allowed, (k, stock)


def test_each_region_lies_in_the_plane_that_the_ray_meets(case) -> None:
    solution, apart, view = case
    scene = look(solution.panels, apart=apart, view=view)
    seen = scene.regions()
    cells = cells_of(solution, apart)
    toward, _, _ = camera(view)
    shown = np.flatnonzero(~shapely.is_empty(seen))
    inner = shapely.point_on_surface(seen[shown])
    # a little aside, so that no ray runs along an edge between two cuboids
    aside = shapely.get_coordinates(inner) + np.array([137.3, 71.9])
    kept = shapely.contains_xy(seen[shown], aside)
    assert kept.mean() > 0.99
    shown, pq = shown[kept], aside[kept] / MM
    points = np.append(pq, np.zeros((len(pq), 1)), axis=1) * scene.signs  # w = 0
    hit, axis, far = cast(cells, points, toward)
    assert (hit >= 0).all()
    assert (cells.panel[hit] == scene.panel[shown]).all()
    assert (axis == scene.axis[shown]).all()
    at = (points + far[:, None] * toward)[np.arange(len(axis)), axis]
    plane = scene.lo[shown, axis] * np.array(scene.signs)[axis] / MM
    np.testing.assert_allclose(at, plane, atol=1e-6)


def test_regions_are_whole_nanometres_and_share_no_area(case) -> None:
    solution, apart, view = case
    seen = look(solution.panels, apart=apart, view=view).regions()
    xy = shapely.get_coordinates(seen)
    assert (xy == np.rint(xy)).all()
    assert shapely.is_valid(seen).all()
    total, whole = shapely.area(seen).sum(), shapely.union_all(seen).area
    assert total == pytest.approx(whole, rel=1e-12)


def test_lines_of_travel_are_hidden_exactly_where_a_ray_is_stopped_before_them() -> None:
    solution = tray_with_dividers()
    scene = look(solution.panels, view=FRONT)
    cells = cells_of(solution)
    toward, _, _ = camera(FRONT)
    signs = np.array(scene.signs)
    checked = {True: 0, False: 0}
    for start, axis, way in (
        ((15, 15, 80), 2, -90),
        ((-40, 15, 10), 0, 160),
        ((45, -50, 20), 1, 150),
        ((45, 45, 60), 2, -59),
        ((-40, 45, 27), 0, 160),
    ):
        end = list(start)
        end[axis] += way
        a = tuple(int(v) * MM for v in np.array(start) * signs)
        b = tuple(int(v) * MM for v in np.array(end) * signs)
        seen = scene.line((a[0], a[1], a[2]), (b[0], b[1], b[2]))
        for t in np.linspace(0.0013, 0.9971, 173):
            point = np.array(start) + t * (np.array(end) - start)
            _, _, far = cast(cells, point[None, :], toward)
            hidden = bool(far[0] > 1e-9)
            turned = point * signs * MM
            spot = shapely.Point(turned[0] - turned[2], turned[1] - turned[2])
            drawn = bool(shapely.distance(seen, spot) < 1.0) if not seen.is_empty else False
            if not seen.is_empty and shapely.distance(seen.boundary, spot) < 1e4:
                continue  # within 0.01 mm of where it comes out
            assert drawn != hidden
            checked[hidden] += 1
    assert min(checked.values()) > 100


def test_a_closed_box_fills_the_hexagon_of_its_three_sides() -> None:
    # plane geometry: axes of unit length 120 degrees apart span sin(120 degrees) a pair
    solution = box((60, 40, 30), {"bottom": 6, "left": 4, "front": 5, "top": 3, "back": 2})
    page = read(isometric_svg(solution.panels, labels=False, width_mm=120))
    a, b, c = 60 + 4 + 3, 40 + 5 + 2, 30 + 6 + 3
    scale = 112 / ((a + b) * math.cos(math.radians(30)))
    whole = scale**2 * math.sin(math.radians(120)) * (a * b + b * c + c * a)
    assert shapely.area(page.shapes).sum() == pytest.approx(whole, rel=1e-4)
    assert page.height == pytest.approx(8 + scale * ((a + b) / 2 + c), abs=0.002)
    # every tab of the edge in front is there: 3 panels' regions meet along it
    assert shapely.union_all(shapely.set_precision(page.shapes, 0.001)).geom_type == "Polygon"


def test_every_tip_on_an_outer_side_is_drawn_on_its_own() -> None:
    counts = {0: 11, 1: 9, 2: 7}
    solution = box((120, 100, 80), 3, counts=counts)
    page = read(isometric_svg(solution.panels, labels=False))
    # default rank: bottom, top, front, back, left, right. On the front's outer side: its own tabs,
    # tips of bottom and top (ends theirs), tips of left and right between front's own ends.
    front_edges = [
        name
        for name, fill in zip(page.panels, page.fills, strict=True)
        if fill == EDGE_GRAIN["left"]
    ]
    assert front_edges.count("bottom") == (counts[0] + 1) // 2
    assert front_edges.count("top") == (counts[0] + 1) // 2
    assert front_edges.count("left") == front_edges.count("right") == (counts[2] - 1) // 2
    assert front_edges.count("front") == front_edges.count("back") == 0


def test_openings_that_meet_in_a_point_are_both_drawn() -> None:
    panel = box((60, 40, 30), closed=False).panel("front")
    w, h = panel.size
    edges = np.array([[0, 0, 0, h, 0], [0, w, 0, h, 0], [1, 0, 0, w, 0], [1, h, 0, w, 0]]).T
    for removed in ([(10, 10, 20, 20), (20, 20, 30, 30)], [(0, 10, 20, 20), (20, 20, 30, 30)]):
        table = np.array(removed, dtype=np.int64) * MM
        none = np.zeros(len(table), dtype=np.int64)
        rings = cut_rectangles(
            (edges[0], edges[1], edges[2], edges[3], edges[4]), table, none, none
        )
        scene = look([replace(panel, rings=rings)], view=FRONT)
        face = scene.regions()[0]
        assert face.is_valid
        assert face.area == rings.area == w * h - sum((c - a) * (d - b) for a, b, c, d in table)
        assert len(scene.outline(0)) >= 4


@pytest.mark.parametrize("view", VIEWS)
def test_a_single_plain_board_has_three_sides(view) -> None:
    slab = Slab(name="board", normal=2, box=Cuboid((0, 0, 0), (50 * MM, 30 * MM, 4 * MM)))
    page = read(isometric_svg(solve(Arrangement(slabs=(slab,))).panels, view=view, labels=False))
    way = "up" if view[2] == "top" else "down"
    assert sorted(page.fills) == sorted([FACE_GRAIN[way], EDGE_GRAIN["left"], EDGE_GRAIN["right"]])


def test_same_input_same_bytes_and_xml_that_says_its_size() -> None:
    solution = box((60, 40, 30), closed=False)
    moves = exploded_offsets(solution)
    travel = {n: (-x, -y, -z) for n, (x, y, z) in moves.items()}
    first, second = (
        isometric_svg(solution.panels, apart=moves, arrows=travel, width_mm=99.5, title="a < b & c")
        for _ in range(2)
    )
    assert first == second
    root = ET.fromstring(first)
    assert root.attrib["width"] == "99.5mm"
    assert root.find(f"{SVG}title").text == "a < b & c"
    assert "nan" not in first and "inf" not in first


def test_names_stand_in_the_picture_once_and_inside_the_page() -> None:
    for solution, moves in (
        (box((60, 40, 30)), {}),
        (s := tray_with_dividers(), exploded_offsets(s)),
    ):
        svg = isometric_svg(solution.panels, apart=moves)
        root = ET.fromstring(svg)
        texts = [t.text for t in root.iter(f"{SVG}text")]
        assert sorted(texts) == sorted(p.name for p in solution.panels)
        _, _, w, h = map(float, root.attrib["viewBox"].split())
        assert w == 160
        for text in root.iter(f"{SVG}text"):
            *_, x, y = map(float, re.findall(r"-?[\d.]+", text.attrib["transform"]))
            size = float(text.attrib["font-size"])
            # 0.5 em a letter: usual sans letters, common practice, no source
            reach = 0.5 * size * len(text.text or "")
            left = {"start": 0.0, "middle": reach / 2, "end": reach}[text.attrib["text-anchor"]]
            assert left <= x <= w - (reach - left)
            assert size / 2 <= y <= h - size / 2
    assert "<text" not in isometric_svg(solution.panels, labels=False)


def test_parts_drawn_apart_touch_nothing() -> None:
    for solution in (box((60, 40, 30)), tray_with_dividers(), crossing_walls(), random_box(3)):
        moves = exploded_offsets(solution)
        slabs = solution.arrangement.slabs
        assert list(moves) == [s.name for s in slabs]
        moved = []
        for slab in slabs:
            d = moves[slab.name]
            if slab.guest:
                assert d[0] == d[1] == 0 < d[2]
            else:
                assert d[slab.normal] * slab.outward > 0
                assert sum(map(abs, d)) == abs(d[slab.normal])
            lo = [slab.box.lo[k] + d[k] for k in range(3)]
            hi = [slab.box.hi[k] + d[k] for k in range(3)]
            moved.append(Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2])))
        for i, a in enumerate(moved):
            for j, b in enumerate(moved[:i]):
                if slabs[i].guest == slabs[j].guest:
                    assert a.common(b) is None, (slabs[i].name, slabs[j].name)


def test_tones_can_be_told_apart_in_black_and_white() -> None:
    # WCAG 2.1, relative luminance and contrast ratio
    def luminance(rgb: str) -> float:
        parts = [int(rgb[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(a: str, b: str) -> float:
        low, high = sorted((luminance(a), luminance(b)))
        return (high + 0.05) / (low + 0.05)

    ways = ("up", "left", "right", "down")
    for way in ways:
        # 3:1 is asked of graphics that must be told apart; the ink line between them adds to it
        assert contrast(FACE_GRAIN[way], EDGE_GRAIN[way]) > 2.5
        assert contrast(FACE_GRAIN[way], "#2B2118") > 4.5  # names on faces are text
    for tones in (FACE_GRAIN, EDGE_GRAIN):
        shades = [luminance(tones[way]) for way in ways]
        assert shades == sorted(shades, reverse=True)
        assert all(contrast(tones[a], tones[b]) > 1.15 for a, b in pairwise(ways))


def test_a_renderer_paints_the_faces_where_rays_meet_them() -> None:
    cairosvg = pytest.importorskip("cairosvg")
    image = pytest.importorskip("PIL.Image")
    import io

    solution = box((60, 40, 30), {"bottom": 6, "left": 4, "front": 5}, closed=False)
    svg = isometric_svg(solution.panels, labels=False, width_mm=100)
    page = read(svg)
    png = cairosvg.svg2png(bytestring=svg.encode(), dpi=254, background_color="#FFFFFF")
    pixels = np.asarray(image.open(io.BytesIO(png)).convert("RGB"))
    assert abs(pixels.shape[1] - 1000) <= 1  # 100 mm at 254 dots an inch
    cells = cells_of(solution)
    toward, right, down = camera(FRONT)
    scale, offset, _ = placed(cells, FRONT, page)
    spots = np.random.default_rng(20240229).uniform((0, 0), (page.width, page.height), (1500, 2))
    lines = shapely.union_all(shapely.boundary(page.shapes))
    spots = spots[shapely.distance(shapely.points(spots), lines) > 0.6]  # clear of every line
    flat = (spots - offset) / scale
    hit, axis, _ = cast(cells, flat[:, :1] * right + flat[:, 1:] * down, toward)
    for (x, y), cell, k in zip(spots.tolist(), hit.tolist(), axis.tolist(), strict=True):
        found = "#{:02X}{:02X}{:02X}".format(*pixels[int(y * 10), int(x * 10)])
        wanted = expected_fill(bool(cells.normal[cell] == k), k, toward, right)
        assert found == (wanted if cell >= 0 else "#FFFFFF")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"apart": {"bottum": (0, 0, 1)}}, "Did you mean 'bottom'"),
        ({"arrows": {"lid": (0, 0, 1)}}, "lid"),
        ({"arrows": {"top": (0, 1, 1)}}, "along one axis"),
        ({"arrows": {"top": (0, 0, 0)}}, "along one axis"),
        ({"view": ("front", "back", "top")}, "one along each axis"),
        ({"view": ("front", "right")}, "one along each axis"),
        ({"view": ("front", "right", "above")}, "unknown side"),
        ({"width_mm": 0.0}, "20 to 2000 mm"),
        ({"width_mm": math.nan}, "20 to 2000 mm"),
        ({"apart": {"top": (0, 0, 2**60)}}, "1000 km"),
        ({"apart": {"top": (0, 0, 2**80)}}, "1000 km"),
        ({"arrows": {"top": (0, 0, -(2**80))}}, "1000 km"),
    ],
)
def test_what_cannot_be_drawn_is_refused(change, words) -> None:
    solution = box((60, 40, 30))
    with pytest.raises(InputError, match=re.escape(words)):
        isometric_svg(solution.panels, **change)


def test_no_panels_or_two_of_one_name_are_refused() -> None:
    with pytest.raises(InputError, match="at least one panel"):
        isometric_svg([])
    panel = box((60, 40, 30)).panels[0]
    with pytest.raises(InputError, match="same name"):
        isometric_svg([panel, panel])


@pytest.mark.parametrize(
    "name", ["lift-off-notebook-box-a5", "stack-of-three-trays", "notebook-box-lid-notch"]
)
def test_what_lifts_off_is_drawn_clear(name):
    made = job_arrangement(read_job(JOBS / f"{name}.toml"))
    apart = bodies_apart(made)
    lifted = [b for b in made.bodies if b.out == (2, 1)]
    assert lifted
    boxes = {s.name: s.box for s in made.slabs}
    at = {
        n: (b.lo[2] + apart.get(n, (0, 0, 0))[2], b.hi[2] + apart.get(n, (0, 0, 0))[2])
        for n, b in boxes.items()
    }
    for k, body in enumerate(lifted):
        above = {n for b in lifted[k:] for n in b.slabs}
        top = max(hi for n, (_, hi) in at.items() if n not in above)
        assert min(at[n][0] for n in body.slabs) > top
