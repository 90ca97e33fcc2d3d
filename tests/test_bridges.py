"""Bridges: every part that can fall has them, and with their gaps the pieces are the outline exactly."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

from boxjoint.errors import InputError, JobError
from boxjoint.geometry.drawing import Layer
from boxjoint.geometry.rings import Role
from boxjoint.job.read import parse_job
from boxjoint.order.drawing import copy_curves
from boxjoint.order.files import order_files
from boxjoint.order.lay import lay
from boxjoint.order.plan import Planned, plan_order
from boxjoint.order.read import lines_of
from boxjoint.order.records import Copy, Order
from boxjoint.sheet.bridges import (
    BridgeAsk,
    BridgeSide,
    bridges_needed,
    place_bridges,
    with_gaps,
)
from boxjoint.sheet.cuts import Cut, CutKind
from boxjoint.sheet.lead_in import LeadInAsk, lead_in_start

MM = 1_000_000
TRAY = """
title = "Specimen drawer"
unit = "mm"
[inside]
length = 120
width = 60
height = 25
[stock]
material = "birch plywood"
thickness = 3
[cut]
kerf = { x = 0.16, y = 0.22 }
"""
RELIEVED = TRAY + "scale = { x = 1.002, y = 0.998 }\n[joint]\ncorner_relief = 0.4\n"
NOTCHED = (
    RELIEVED
    + """
[[cutouts]]
panel = "front"
kind = "finger notch"
size = [20, 10]
"""
)


def planned(text: str, nest: str, *, size: tuple[int, int] = (300 * MM, 200 * MM)) -> Planned:
    job = parse_job(f"{text}\n[nest]\n{nest}\n" if "[[" not in text else _before(text, nest))
    order = Order(title="Science room", unit="mm", lines=lines_of([(job, 1)]))
    return plan_order(lay(order, sizes=[size], level=0))


def _before(text: str, nest: str) -> str:
    head, tail = text.split("[[", 1)
    return f"{head}\n[nest]\n{nest}\n[[{tail}"


def pieces_of(done: Planned, copy: Copy) -> list[Cut]:
    return [c for c in done.cuts[0].cuts if c.kind is CutKind.OUTER and c.part == copy.number - 1]


def outline_of(copy: Copy) -> Cut:
    curve = copy_curves(copy)[-1]
    path = np.rint(curve.xy * MM).astype(np.int64)
    return Cut(path=path, kind=CutKind.OUTER, part=0, bulge=curve.bulge)


@pytest.mark.parametrize("text", [TRAY, RELIEVED, NOTCHED])
@pytest.mark.parametrize("nest", ["support = 40", "support = 70\nbridges = 3\nbridge_width = 0.8"])
def test_pieces_and_gaps_are_the_outline(text: str, nest: str) -> None:
    done = planned(text, nest)
    job = done.laid.order.lines[0].job
    support = job.nest.support
    width = (job.nest.bridge_width or MM // 2) / MM
    assert support is not None
    (sheet,) = done.laid.sheets
    held = {copy.number: (count, found) for copy, count, found in done.cuts[0].held}
    assert held
    for copy in sheet.copies:
        whole = outline_of(copy)
        flat = Polygon(whole.flat() / MM)
        x0, y0, x1, y1 = flat.bounds
        pieces = pieces_of(done, copy)
        if min(x1 - x0, y1 - y0) >= support / MM:
            assert copy.number not in held
            assert [c.closed for c in pieces] == [True]
            continue
        count, found = held[copy.number]
        assert len(found) == count == len(pieces)
        assert not any(c.closed for c in pieces)
        # lengths add up, arcs by their arc
        gaps = sum(b.high - b.low for b in found) / MM
        length = sum(float(c.lengths_mm().sum()) for c in pieces)
        assert length + gaps == pytest.approx(float(whole.lengths_mm().sum()), abs=1e-6)
        # the union of pieces and gaps is the outline, and they do not overlap (shapely)
        lines = [LineString(c.flat() / MM) for c in pieces]
        bits = [LineString(np.array(b.ends) / MM) for b in found]
        union = shapely.union_all([*lines, *bits])
        assert union.hausdorff_distance(flat.exterior) < 2e-6
        assert union.length == pytest.approx(flat.exterior.length, abs=1e-5)
        # the beam, a rectangle kerf_x by kerf_y, leaves each bridge as wide as asked (shapely)
        beam = copy.piece.drawn.beam
        for b in found:
            (ax, ay), (bx, by) = (np.array(end) / MM for end in b.ends)
            assert (ay == by, ax == bx) == (b.axis == 0, b.axis == 1)
            kerf, scale = (
                (beam.kerf.x, beam.scale.x) if b.axis == 0 else (beam.kerf.y, beam.scale.y)
            )
            assert math.hypot(bx - ax, by - ay) * scale - kerf == pytest.approx(width, abs=2e-6)
            # not near a corner: of the outline's vertices, none but those on its own straight line
            near = Point(np.array(b.at) / MM).buffer((b.high - b.low) / MM / 2 + 1.499)
            assert not shapely.intersects(near, shapely.points(whole.path / MM)).any()


@pytest.mark.parametrize("text", [TRAY, RELIEVED])
def test_bridges_lie_on_no_tab(text: str) -> None:
    done = planned(text, "support = 200")
    for copy, count, found in done.cuts[0].held:
        assert len(found) == count
        rings, shift = copy.piece.drawn.rings, np.array(copy.shift)
        for b in found:
            gap = LineString(np.array(b.ends) / MM)
            on = {
                Role(int(rings.role[i]))
                for i in range(rings.start[0], rings.start[1])
                if LineString((np.array([rings.xy[i], rings.ends[i]]) + shift) / MM)
                .buffer(1e-5)
                .contains(gap)
            }
            assert on <= {Role.SHOULDER, Role.FLOOR} if b.hidden else on == {Role.RIM}
            assert on


def test_sheet_as_cut_stays_in_one_piece_and_falls_apart_without() -> None:
    """The stock less everything that the beam takes: with bridges one piece, without them one more a panel."""
    for nest, parts in (("support = 300", 1), ("level = 0", 6)):
        done = planned(TRAY, nest)
        sheet = done.laid.sheets[0]
        beam = sheet.copies[0].piece.drawn.beam
        dx, dy = beam.kerf.x / 2, beam.kerf.y / 2
        taken = []
        for cut in done.cuts[0].cuts:
            if cut.kind is CutKind.OUTER:
                p = cut.flat() / MM
                ring = np.vstack([p, p[:1]]) if cut.closed else p
                taken += [
                    box(min(a[0], b[0]) - dx, min(a[1], b[1]) - dy, max(a[0], b[0]) + dx, max(a[1], b[1]) + dy)
                    for a, b in pairwise(ring)
                ]  # fmt: skip
        left = box(0, 0, 300, 200).difference(shapely.union_all(taken))
        assert len(shapely.get_parts(left)) == parts


def test_without_support_nothing_changes() -> None:
    done = planned(TRAY, "level = 0")
    assert done.cuts[0].held == ()
    assert all(c.closed for c in done.cuts[0].cuts if c.kind is not CutKind.MARK)
    assert not any("bridge" in w for w in (*done.laid.warnings, *done.laid.notes))


def test_bridges_without_support_are_said_to_be_none() -> None:
    done = planned(TRAY, "bridges = 2")
    assert done.cuts[0].held == ()
    assert any("support, the distance between slats" in n for n in done.laid.notes)


def test_what_is_written_says_how_many_and_where() -> None:
    done = planned(TRAY, "support = 40")
    content = order_files(done, date="2031-05-02")
    data = json.loads(content["order.json"])
    held = data["sheets"][0]["bridges"]
    total = sum(len(h["at"]) for h in held)
    assert total == sum(h["needed"] for h in held) > 0
    text = content["order.md"].decode()
    assert f"{total} bridges on {len(held)} panels" in text
    assert "0.50 mm" in text
    assert "assumed, common practice" in text
    assert f"cut through {total} bridges and trim them flush" in text
    drawn = done.cuts[0].drawn()
    assert sum(not c.closed for c in drawn if c.layer is Layer.CUT_OUTER) == total


def test_no_room_is_said() -> None:
    """A cube of 6 mm inside: no side has room for a bridge clear of corners, tabs and each other."""
    small = TRAY.replace("120", "20").replace("60", "20").replace("25", "9")
    done = planned(small, "support = 40\nbridges = 12")
    assert any("can fall or tip; room for" in w for w in done.laid.warnings)


def test_router_panels_stay_closed() -> None:
    text = TRAY.replace("kerf = { x = 0.16, y = 0.22 }", "tool = 2")
    done = planned(text, "support = 40", size=(400 * MM, 300 * MM))
    assert all(c.closed for c in done.cuts[0].cuts if c.kind is not CutKind.MARK)
    assert any("a router's control" in w for w in done.laid.warnings)


@pytest.mark.parametrize(
    ("size", "count"),
    [((50, 40), 0), ((39, 200), 3), ((39.9, 20), 2), ((30, 30), 1), ((450, 20), 4), ((451, 20), 5)],
)
def test_how_many(size: tuple[float, float], count: int) -> None:
    """Common practice, no source: 1 or 2 on small parts, more above 150 mm."""
    ask = BridgeAsk(support=40 * MM)
    assert bridges_needed((round(size[0] * MM), round(size[1] * MM)), ask) == count
    if count:
        assert bridges_needed((39 * MM, 39 * MM), BridgeAsk(support=40 * MM, count=7)) == 7


@given(
    st.integers(5, 400), st.integers(5, 400), st.integers(1, 12), st.integers(0, 3), st.booleans()
)
@settings(max_examples=60, deadline=None)
def test_any_rectangle(w: int, h: int, count: int, turn: int, clockwise: bool) -> None:
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], dtype=np.int64) * MM
    path = np.roll(corners[::-1] if clockwise else corners, turn, axis=0)
    sides = [
        BridgeSide(low=(0, 0), high=(w * MM, 0), hidden=True),
        BridgeSide(low=(0, h * MM), high=(w * MM, h * MM), hidden=False),
        BridgeSide(low=(w * MM, h * MM), high=(w * MM, 0), hidden=False),
    ]
    found = place_bridges(path, None, sides, count=count, gap=(700_000, 700_000))
    assert len(found) <= count
    assert not any(b.axis == 1 and b.line == 0 for b in found)  # the left side bears none
    if not found:
        assert w < 4
        return
    pieces = with_gaps(path, None, found)
    assert len(pieces) == len(found)
    length = sum(int(np.abs(np.diff(p, axis=0)).sum()) for p, _ in pieces)
    assert length + 700_000 * len(found) == 2 * (w + h) * MM  # exact, whole nanometres


@pytest.mark.parametrize("text", [TRAY, RELIEVED, NOTCHED])
@pytest.mark.parametrize("keep", ["", "keep_outs = [[0, 0, 20, 20], [150, 0, 20, 200]]\n"])
def test_lead_ins_lie_in_the_waste(text: str, keep: str) -> None:
    plain = planned(text, keep)
    done = planned(text, keep + "lead_in = 1.5")
    assert done.cuts[0].leads is not None
    got, missing = done.cuts[0].leads
    assert got + missing == len(done.laid.sheets[0].copies)
    assert got > 0
    assert done.counted.cut_mm == pytest.approx(plain.counted.cut_mm + 1.5 * got, abs=1e-5)
    assert done.counted.pierces == plain.counted.pierces
    spacing, margin = done.laid.ask.spacing / MM, done.laid.ask.margin / MM
    cuts = [c for c in done.cuts[0].cuts if c.kind is not CutKind.MARK]
    begun = [c for c in cuts if c.ring is not None]
    assert len(begun) == got
    for cut in begun:
        # one polyline: from the waste to the entry, round, and back to it
        assert (cut.path[1] == cut.path[-1]).all()
        assert cut.ring is not None
        lead = LineString(cut.path[:2] / MM)
        assert lead.length == pytest.approx(1.5, abs=2e-6)
        own = Polygon(cut.ring / MM)
        assert own.intersection(lead).length == pytest.approx(0, abs=2e-6)
        assert own.distance(Point(cut.path[0] / MM)) >= 0.75 - 1e-9
        for other in cuts:
            if other is not cut:
                ring = other.flat() if other.ring is None else other.ring
                assert Polygon(ring / MM).exterior.distance(lead) >= spacing - 1e-6
        for k in done.laid.ask.keep_outs:
            x, y, w, h = (v / MM for v in (k.x, k.y, k.width, k.height))
            assert box(x, y, x + w, y + h).distance(lead) >= spacing - 1e-6
        assert box(margin, margin, 300 - margin, 200 - margin).covers(lead)
    assert any(f"{got} outlines have a lead-in" in n for n in done.laid.notes)
    drawn = [c for c in done.cuts[0].drawn() if c.layer is Layer.CUT_OUTER and not c.closed]
    assert len(drawn) == got


def test_no_room_for_a_lead_in_is_said() -> None:
    done = planned(TRAY, "lead_in = 12")
    assert done.cuts[0].leads is not None
    assert done.cuts[0].leads[1] > 0
    assert any("there is no room for one" in n for n in done.laid.notes)


def test_lead_in_around_a_square() -> None:
    ring = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], dtype=np.int64) * MM
    cut = Cut(path=ring, kind=CutKind.OUTER, part=0)
    ask = LeadInAsk(length=2 * MM, clear=MM, area=(-5 * MM, -5 * MM, 20 * MM, 20 * MM))
    start = lead_in_start(cut, 2, ask, [])
    assert start is not None
    assert min(start) > 11 * MM
    wall = Cut(path=ring + np.array([12, 5]) * MM, kind=CutKind.OUTER, part=1)
    found = lead_in_start(cut, 2, ask, [wall])
    assert found is not None
    assert found[0] <= 11 * MM  # clear of the neighbour by 1 mm
    assert lead_in_start(cut, 2, replace(ask, area=(0, 0, 10 * MM, 10 * MM)), []) is None
    all_round = ((-5 * MM, -5 * MM, 20 * MM, 20 * MM),)
    assert lead_in_start(cut, 2, replace(ask, keep_outs=all_round), []) is None
    with pytest.raises(InputError, match="lead-in"):
        replace(ask, length=0)


def test_bad_input() -> None:
    for nest, words in (
        ("support = 0", "support"),
        ("support = 40\nbridges = 0", "no such count"),
        ("support = 40\nbridges = true", "no such count"),
        ("support = 40\nbridge_width = 50", "width of a bridge"),
        ("lead_in = 0", "lead-in"),
    ):
        with pytest.raises(JobError, match=words):
            parse_job(f"{TRAY}[nest]\n{nest}\n")
    with pytest.raises(InputError, match="positive"):
        BridgeAsk(support=0)
    with pytest.raises(InputError, match="no such count"):
        BridgeAsk(support=1, count=0)
    with pytest.raises(InputError, match="stays closed"):
        with_gaps(np.array([[0, 0], [1, 0], [1, 1]], dtype=np.int64), None, ())
