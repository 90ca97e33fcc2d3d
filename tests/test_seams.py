"""Seams: long panels divided into pieces, judged by shapely and by counting every place by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from boxjoint.again import recut
from boxjoint.check.built import Built
from boxjoint.check.seams import pieces_problem
from boxjoint.errors import CannotBeCut, InputError
from boxjoint.export.report import report, report_text
from boxjoint.export.stages import stages
from boxjoint.fit.plan import Measured
from boxjoint.geometry.rings import Rings
from boxjoint.job.read import read_job
from boxjoint.job.records import (
    Cut,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    PerAxis,
    SeamAsk,
    Stock,
    Thickness,
)
from boxjoint.job.sheets import Nesting
from boxjoint.make import build, files
from boxjoint.order.lay import lay
from boxjoint.order.read import lines_of
from boxjoint.order.records import Order
from boxjoint.solve.seams import Line, choose_places, free_places

MM = 1_000_000
JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
CHEST = Path(__file__).parents[1] / "fixtures" / "jobs" / "chest-900-seam.toml"


@pytest.fixture(scope="module")
def chest() -> Built:
    return build(read_job(CHEST))


def shape(rings: Rings) -> object:
    """The part as shapely sees it, mm."""
    from shapely.geometry import Polygon

    return Polygon(rings.ring(0) / 1e6, [rings.ring(k) / 1e6 for k in range(1, rings.count)])


def moved(rings: Rings, by: tuple[int, int]) -> Rings:
    return replace(rings, xy=rings.xy + np.array(by))


def box(length: float, width: float, height: float, **more: object) -> Job:
    given: dict[str, object] = {
        "nest": Nesting(bed=(600 * MM, 400 * MM)),
        "seams": SeamAsk(allowed=True),
        "cut": Cut(kerf=PerAxis(x=0.2, y=0.2)),
    } | more
    return Job(
        title="chest",
        unit="mm",
        inside=Inside(
            length=round(length * MM), width=round(width * MM), height=round(height * MM)
        ),
        stock=Stock(
            material="birch plywood", thickness=Thickness(readings=(6 * MM,), measured=False)
        ),
        **given,  # type: ignore[arg-type]
    )


def test_pieces_of_the_chest_are_the_panels_for_shapely(chest: Built) -> None:
    # outside reference: shapely's own areas, unions and validity
    from shapely.ops import unary_union

    assert chest.passed
    assert [p.panel.name for p in chest.cut_parts] == [
        "bottom-1", "bottom-2", "front-1", "front-2", "back-1", "back-2", "left", "right"
    ]  # fmt: skip
    for part in chest.parts:
        if part.divided is None:
            continue
        whole = shape(part.panel.rings)
        pieces = [
            shape(moved(p.rings, o))
            for p, o in zip(part.divided.pieces, part.divided.offsets, strict=True)
        ]
        assert all(p.is_valid and p.geom_type == "Polygon" for p in pieces)  # type: ignore[attr-defined]
        assert sum(p.area for p in pieces) == pytest.approx(whole.area, abs=1e-6)  # type: ignore[attr-defined]
        assert unary_union(pieces).symmetric_difference(whole).area < 1e-6
        assert sum(p.panel.rings.area for p in part.pieces) == part.panel.rings.area
        # what lies on the sheet fits the bed: cut path, with 5 mm margin all round
        for piece in part.pieces:
            x0, y0, x1, y1 = piece.drawn.rings.extent
            assert x1 - x0 <= 590 * MM and y1 - y0 <= 390 * MM


def test_the_gap_along_a_seam_as_cut_is_what_was_asked_for_shapely(chest: Built) -> None:
    # outside reference: shapely measures the area between the two pieces as cut
    from shapely.ops import unary_union

    part = chest.part("front")
    seam = next(s for s in chest.seams if s.panel == "front")
    clearance = chest.plan.clearances[seam.joint]
    assert seam.least == seam.greatest == pytest.approx(clearance * 1e6, abs=4)
    assert seam.least_relief == seam.greatest_relief == pytest.approx(0.1e6, abs=2)
    assert part.divided is not None
    laid = [
        shape(moved(c.as_cut, o)) for c, o in zip(part.pieces, part.divided.offsets, strict=True)
    ]
    filled = unary_union(laid).area
    # between the flanks half the clearance, between tips and bottoms the relief
    line = part.divided.line
    height = part.panel.size[1] / 1e6
    depth = 2 * line.half / 1e6
    gap = height * 0.1 + (line.steps - 1) * (depth - 0.1) * clearance / 2
    assert shape(part.as_cut).area - filled == pytest.approx(gap, abs=0.02)  # type: ignore[attr-defined]


def test_the_seam_keeps_the_web_from_every_other_side(chest: Built) -> None:
    # outside reference: shapely's distance from the stepped line to all corners of the outline
    from shapely.geometry import LineString, Point

    for part in chest.parts:
        if part.divided is None:
            continue
        piece = part.divided.pieces[0]
        mine = piece.rings.joint == part.divided.joints[0]
        x = piece.rings.xy[: piece.rings.start[1]][mine[: piece.rings.start[1]]]
        end = piece.rings.ends[: piece.rings.start[1]][mine[: piece.rings.start[1]]]
        line = LineString(np.vstack([x, end[-1:]]) / 1e6 + np.array(part.divided.offsets[0]) / 1e6)
        corners = part.panel.rings.xy / 1e6
        assert min(line.distance(Point(p)) for p in corners.tolist()) >= 6.0 - 1e-9


def test_seams_of_mates_lie_apart(chest: Built) -> None:
    places = {
        s.panel: s.place if s.panel != "back" else 912 * MM - s.place for s in chest.seams
    }  # the back is seen from behind
    for wall in ("front", "back"):
        assert abs(places[wall] - places["bottom"]) >= 60 * MM


def test_free_places_are_those_where_shapely_finds_room() -> None:
    # outside reference: shapely, at 1,303 places; the web as squares round every stretch of the line
    from shapely import STRtree
    from shapely import box as rectangle
    from shapely.geometry import LineString

    panel = build(box(900, 300, 200, seams=SeamAsk())).part("front").panel
    turns = (60, 90, 120, 150)
    line = Line(turns=tuple(t * MM for t in turns), low=6 * MM, high=206 * MM, half=7 * MM)
    web = 3 - 1e-6
    free = free_places(panel.rings, line, 3 * MM)
    start, end = panel.rings.xy / 1e6, panel.rings.ends / 1e6
    # the edges that the line crosses: tips and shoulders below, the rim above
    crossed = (start[:, 1] == end[:, 1]) & ((start[:, 1] <= 6) | (start[:, 1] >= 206))
    sides = [LineString([a, b]) for a, b in zip(start[~crossed], end[~crossed], strict=True)]
    tree = STRtree(sides)
    for tenth in range(0, 9120, 7):
        c = tenth / 10
        at = [c + 7, c - 7, c + 7, c - 7, c + 7]
        stretches = [
            (x, a, x, b) for x, a, b in zip(at, (0, *turns), (*turns, 206), strict=True)
        ] + [(c - 7, y, c + 7, y) for y in turns]
        near = any(
            len(tree.query(rectangle(a - web, b - web, d + web, e + web), "intersects"))
            for a, b, d, e in stretches
        )
        allowed = any(a <= tenth * MM // 10 <= b for a, b in free)
        assert allowed == (not near and 0 < c + 7 < 912), c


def test_more_than_two_pieces() -> None:
    built = build(box(1500, 200, 100, nest=Nesting(bed=(600 * MM, 300 * MM))))
    assert built.passed
    assert [p.panel.name for p in built.part("front").pieces] == ["front-1", "front-2", "front-3"]
    assert {s.pieces for s in built.seams if s.panel == "front"} == {
        ("front-1", "front-2"), ("front-2", "front-3")
    }  # fmt: skip


def test_a_panel_is_divided_from_the_bottom_up_where_it_is_tall() -> None:
    built = build(box(150, 120, 800))
    lower, upper = built.part("front").pieces
    assert built.passed
    assert lower.panel.slab.box.lo[2] < upper.panel.slab.box.lo[2]


def test_nothing_is_divided_unasked() -> None:
    built = build(box(900, 300, 200, seams=SeamAsk()))
    assert not built.seams
    assert any("does not fit the bed of 600" in w and "allowed = true" in w for w in built.warnings)
    assert not build(box(300, 200, 100)).seams  # it fits


def test_the_bed_of_the_shop_counts() -> None:
    job = box(900, 300, 200, nest=Nesting())
    assert not build(job).seams
    assert build(job, measured=Measured(bed=(600 * MM, 400 * MM))).seams


def test_a_stated_place_is_kept_or_refused_with_the_nearest_ones() -> None:
    asks = {"front": PanelAsk(seam=450 * MM)}
    job = box(900, 300, 200, nest=Nesting(), seams=SeamAsk(), panels=asks)
    with pytest.raises(CannotBeCut, match=r"cannot lie here.*nearest free places are \d+") as error:
        build(job)
    first = float(str(error.value).split("free places are ")[1].split(" mm")[0])
    asks = {"front": PanelAsk(seam=round(first * MM))}
    near = [s.place for s in build(replace(job, panels=asks)).seams] if first else []
    assert near == [round(first * MM)]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"seams": SeamAsk(allowed=True, depth=300 * MM)}, "no place for a seam in bottom"),
        ({"joint": JointAsk(web=20 * MM)}, "no place for a seam"),
        ({"seams": SeamAsk(allowed=True, steps=101)}, "too narrow for a seam of 101 steps"),
        ({"nest": Nesting(bed=(250 * MM, 200 * MM))}, "too wide for the bed"),
    ],
)
def test_what_cannot_be_divided_is_refused_with_numbers(
    more: dict[str, object], words: str
) -> None:
    with pytest.raises(CannotBeCut, match=words) as error:
        build(box(900, 300, 200, **more))
    assert "mm" in str(error.value)


def test_files_report_and_recut_know_the_pieces(chest: Built) -> None:
    names = set(files(chest))
    assert {"panels/front-1.dxf", "panels/front-2.svg"} <= names
    assert "panels/front.dxf" not in names
    assert set(files(chest, only="front-2")) == {"panels/front-2.dxf", "panels/front-2.svg"}
    data = report(chest)
    assert list(data["panels"]["front"]["pieces"]) == ["front-1", "front-2"]
    assert "glue only" in report_text(chest)
    assert any("glue only" in w for w in chest.warnings)
    again, notes = recut(read_job(CHEST), "front-2")
    assert again.passed and any("front-2" in n for n in notes)
    with pytest.raises(InputError, match="front-3"):
        recut(read_job(CHEST), "front-3")
    thick = Thickness(readings=(6_400_000,), measured=False)
    with pytest.raises(InputError, match=r"other pieces are cut already.*15\.00 mm.*13 of them"):
        recut(read_job(CHEST), "front-2", thickness=thick)
    again, _ = recut(read_job(CHEST), "front", thickness=thick)
    assert again.passed


def test_pieces_lie_on_sheets_of_the_bed() -> None:
    job = read_job(CHEST)
    order = Order(title="chest", unit="mm", lines=lines_of([(job, 1)]))
    laid = lay(order, sizes=[(600 * MM, 400 * MM)], level=0)
    assert laid.passed
    assert sorted(c.name for s in laid.sheets for c in s.copies) == [
        "back-1", "back-2", "bottom-1", "bottom-2", "front-1", "front-2", "left", "right"
    ]  # fmt: skip


def test_a_piece_that_is_moved_is_found(chest: Built) -> None:
    divided = chest.part("front").divided
    assert divided is not None and pieces_problem(divided) == ""
    x, y = divided.offsets[1]
    wrong = replace(divided, offsets=(divided.offsets[0], (x + 1, y)))
    assert "exactly once" in pieces_problem(wrong)
    assert "exactly once" in pieces_problem(
        replace(divided, pieces=divided.pieces[:1], offsets=divided.offsets[:1])
    )


@given(
    free=st.lists(st.tuples(st.integers(0, 900), st.integers(0, 60)), min_size=1, max_size=8),
    longest=st.integers(100, 900),
)
@settings(max_examples=150, deadline=None)
def test_the_choice_is_the_best_of_all(free: list[tuple[int, int]], longest: int) -> None:
    """Against trying every whole number, by hand."""
    spans = sorted((a, min(a + w, 1000)) for a, w in free)
    spans = [s for i, s in enumerate(spans) if all(s[0] > t[1] for t in spans[:i])]
    line = Line(turns=(10, 20), low=0, high=30, half=5)
    allowed = [c for a, b in spans for c in range(a, b + 1)]
    found = choose_places(spans, (0, 1000), line, longest, 4)
    # breadth first: how many seams does it take
    reach = {c for c in allowed if c + 5 <= longest}
    seams = 1
    while reach and not any(1000 - c + 5 <= longest for c in reach) and seams < 20:
        reach = {c for c in allowed if any(14 <= c - b <= longest - 10 for b in reach)}
        seams += 1
    possible = any(1000 - c + 5 <= longest for c in reach)
    assert (found is not None) == possible
    if found is not None:
        assert len(found) == seams
        assert set(found) <= set(allowed)
        ends = [5, *found, 995]  # the outer pieces reach half a step less
        assert all(b - a + 10 <= longest for a, b in pairwise(ends))


def test_holes_go_with_their_piece() -> None:
    """A raised base is mortised into the walls: every mortise lies on one piece, none is lost."""
    from boxjoint.job.filling import Bottom

    built = build(box(900, 300, 200, bottom=Bottom(raised=20 * MM)))
    assert built.passed
    for part in built.parts:
        if part.divided is not None:
            holes = part.panel.rings.count - 1
            assert holes == sum(p.rings.count - 1 for p in part.divided.pieces)
    front = built.part("front")
    assert front.panel.rings.count > 5


def test_cut_outs_keep_seams_away_and_go_with_their_piece() -> None:
    text = CHEST.read_text(encoding="utf-8")
    for left in (380, 456, 700):
        text += f"""
[[cutouts]]
panel = "front"
kind = "round hole"
diameter = 40
from_left = {left}
from_bottom = 100
"""
    from boxjoint.job.read import parse_job

    built = build(parse_job(text))
    front = built.part("front")
    assert built.passed and len(front.holes) == 3
    assert sum(len(p.holes) for p in front.pieces) == 3
    place = next(s.place for s in built.seams if s.panel == "front")
    for piece in front.pieces:
        w, h = piece.panel.size
        for hole in piece.holes:  # in its own drawing, and a web from its ends
            assert hole.placed.hole.lo[0] >= 6 * MM and hole.placed.hole.hi[0] <= w - 6 * MM
            assert 0 < hole.placed.hole.lo[1] < hole.placed.hole.hi[1] < h
    for hole in front.holes:
        assert (
            abs(sum(h[0] for h in (hole.placed.hole.lo, hole.placed.hole.hi)) / 2 - place)
            >= (20 + 6 + 7.5) * MM
        )


@pytest.mark.solid
def test_the_solid_kernel_agrees(chest: Built) -> None:
    pytest.importorskip("cadquery")
    from boxjoint.make import solid

    # few wide segments: the kernel's time grows fast with their number
    few = replace(chest.job, joint=replace(chest.job.joint, tab_width=60 * MM))
    proved, step = solid(build(few))
    assert proved.solid is not None and proved.solid.passed
    assert b"front-2" in step


def test_gluing_the_seams_is_told_first():
    built = build(read_job(JOBS / "chest-900-seam.toml"))
    told = stages(built)
    divided = [p for p in built.parts if p.divided is not None]
    assert len(divided) == 3
    for number, (part, stage) in enumerate(zip(divided, told, strict=False), 1):
        names = [p.panel.name for p in part.pieces]
        assert stage.number == number and stage.steps == ()
        assert [*stage.there, *(n for (n,) in stage.moved)] == names
        assert stage.text.startswith(
            f"Glue the seam of {part.panel.name}: lay {' and '.join(names)} "
        )
        # pieces are pushed together: the second lies behind the first along the way it goes
        axis, sense = stage.direction
        first, second = (p.panel.slab.box for p in part.pieces)
        assert sense * (first.lo[axis] - second.lo[axis]) > 0
    rest = told[len(divided) :]
    assert [s.number for s in told] == list(range(1, len(told) + 1))
    # every step of the sequence is still told, once
    every = sorted(n for s in rest for n in s.steps)
    assert every == list(range(1, len(built.assembly.steps) + 1))


def test_pictures_show_pieces():
    built = build(read_job(JOBS / "chest-900-seam.toml"))
    drawn = files(built, picture=True)
    pieces = {p.panel.name for p in built.cut_parts if p.home != p.panel.name}
    assert pieces
    for name in ("box.svg", "steps.svg"):
        text = drawn[name].decode()
        shown = set(re.findall("<title>([^<]*)</title>", text))
        assert pieces <= shown and not shown & {p[:-2] for p in pieces}
