"""Gauge pieces: cut by an independent beam and measured there, against what their rows promise.

The beam is made with shapely, a general geometry library: stock less every drawn line swept by a
rectangle of the kerf. Sizes are then read off the polygons that are left, never off the drawing.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from boxjoint.errors import ArrangementError, BoxjointError, CannotBeCut, InputError
from boxjoint.export.layout import SQUARE_MM, lay_out
from boxjoint.fit.compensate import Allowance, Beam, compensate
from boxjoint.fit.plan import Plan
from boxjoint.gauge.comb import slot_positions
from boxjoint.gauge.comb_pieces import fit_comb, sheet_comb
from boxjoint.gauge.coupon import coupon, stretches
from boxjoint.gauge.estimate import fit_kerf, taper_of
from boxjoint.gauge.kerf_gauge import kerf_gauge, slices_that_stand
from boxjoint.gauge.model import design_row
from boxjoint.gauge.offcut import place_on_offcut
from boxjoint.gauge.pieces import (
    GaugeKind,
    GaugePart,
    GaugePiece,
    GaugeStock,
    ReadingRow,
    bridged,
    curve_length,
    rectangle_xy,
)
from boxjoint.gauge.readings import Caliper, Form, Reading
from boxjoint.gauge.strips import scale_matters, strips
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.drawing import Curve, Layer
from boxjoint.geometry.rings import Role
from boxjoint.job.read import read_job
from boxjoint.job.records import PerAxis
from boxjoint.make import build
from boxjoint.solve.arrangement import Arrangement, Slab
from boxjoint.solve.solution import Solution, solve
from boxjoint.solve.tabs import TabAsk

PLY = GaugeStock(material="birch plywood", thickness_mm=3.02)
ACRYLIC = GaugeStock(material="cast acrylic", thickness_mm=2.9)

Truth = tuple[float, float, float, float]  # kerf x, kerf y, scale x, scale y
SHOP: Truth = (0.143, 0.217, 1.0011, 0.9992)

truths = st.tuples(
    st.floats(0.05, 0.4), st.floats(0.05, 0.4), st.floats(0.998, 1.002), st.floats(0.998, 1.002)
)


def cut_lines(part: GaugePart) -> list[np.ndarray]:
    """Every straight line that is cut, (2, 2) mm each."""
    lines = []
    for curve in part.curves:
        if curve.layer in (Layer.CUT_INNER, Layer.CUT_OUTER):
            xy = np.vstack([curve.xy, curve.xy[:1]]) if curve.closed else curve.xy
            assert curve.bulge is None
            lines += [xy[i : i + 2] for i in range(len(xy) - 1)]
    return lines


def cut(part: GaugePart, truth: Truth, knife: float = 0.0) -> list[Any]:
    """The pieces that a beam leaves of a part, the offcut around it dropped.

    ``knife`` cuts through every bridge: gaps between ends of lines up to so long.
    """
    kx, ky, sx, sy = truth
    swept = [
        shapely.box(
            min(p[:, 0]) * sx - kx / 2,
            min(p[:, 1]) * sy - ky / 2,
            max(p[:, 0]) * sx + kx / 2,
            max(p[:, 1]) * sy + ky / 2,
        )
        for p in cut_lines(part)
    ]
    if knife:
        ends = [
            (p, i)
            for c in part.curves
            if c.layer is not Layer.MARK and not c.closed
            for p in (c.xy[0], c.xy[-1])
            for i in [id(c)]
        ]
        for k, (a, i) in enumerate(ends):
            for b, j in ends[k + 1 :]:
                near = float(np.abs(a - b).sum())
                if (i != j or len(ends) == 2) and 0 < near < knife and (a == b).any():
                    # a blade of no width, pared flush with neither side: the stub stays
                    low, high = np.minimum(a, b) * (sx, sy), np.maximum(a, b) * (sx, sy)
                    swept.append(shapely.box(*(low - 1e-3), *(high + 1e-3)))
    w, h = part.size
    stock = shapely.box(-20, -20, w * sx + 20, h * sy + 20)
    left = shapely.difference(stock, shapely.union_all(swept))
    pieces = list(shapely.get_parts(left))
    return [p for p in pieces if p.bounds[0] > -19.9]


def outline_of(part: GaugePart, truth: Truth) -> Any:
    """The one piece that is left of a part without inner cuts."""
    (piece,) = cut(part, truth)
    return piece


def promised(row: ReadingRow, truth: Truth) -> float:
    """What the estimator's model makes of a row, without nuisances."""
    kx, ky, sx, sy = truth
    beta = np.array([kx, ky, sx - 1, sy - 1, 0, 0, 0, 0, 0])
    start = 0.0 if row.form is Form.DIFFERENCE else row.drawn_mm
    placeholder = () if row.form is Form.DIFFERENCE else (row.drawn_mm,)
    return start + float(design_row(row.reading(placeholder or (0.0,))) @ beta)


def extent(shape: Any, axis: str) -> float:
    x0, y0, x1, y1 = shape.bounds
    return float(x1 - x0 if axis == "x" else y1 - y0)


def between(shape: Any, row: ReadingRow, truth: Truth, jaw: float = 1.2) -> list[float]:
    """What jaws ``2 * jaw`` wide read where the row says: one value for each of five lines."""
    assert row.touch is not None
    scale = np.array(truth[2:])
    a, b = (np.array(p) * scale for p in row.touch)
    k = 0 if row.axis == "x" else 1
    out = []
    for off in np.linspace(-jaw, jaw, 5):
        shift = np.array([off, 0.0] if k else [0.0, off])
        p, q = a + shift, b + shift
        way = (q - p) / np.hypot(*(q - p))
        if row.form.inside_jaws:
            ray = shapely.LineString([p - way * 2, q + way * 2])
            gaps = shapely.get_parts(shapely.difference(ray, shape))
            middle = shapely.Point((p + q) / 2)
            (gap,) = [g for g in gaps if g.distance(middle) < 1e-6]
            out.append(float(shapely.length(gap)))
        else:
            ray = shapely.LineString([p - way * 5, q + way * 5])
            met = shapely.intersection(ray, shape)
            x0, y0, x1, y1 = met.bounds
            out.append(float((x1 - x0) if k == 0 else (y1 - y0)))
    return out


def slices_of(pieces: list[Any], axis: str, hole: tuple[float, ...], truth: Truth) -> list[Any]:
    box = shapely.box(*(v * s for v, s in zip(hole, (*truth[2:], *truth[2:]), strict=True)))
    inside = [p for p in pieces if box.buffer(1e-6).contains(p)]
    return sorted(inside, key=lambda p: p.bounds[0 if axis == "x" else 1])


def measured(piece: GaugePiece, truth: Truth, knife: float = 0.0) -> dict[int, list[float]]:
    """Read every row of a kerf gauge off the pieces that the beam left."""
    part = piece.parts[0]
    pieces = cut(part, truth, knife)
    frame = max(pieces, key=lambda p: p.bounds[2] - p.bounds[0])
    found: dict[int, list[float]] = {}
    for row in piece.rows:
        if row.touch is not None:
            found[row.row] = between(frame, row, truth)
            continue
        own = row.contour[-1]
        slices = slices_of(pieces, own, part.holes[0 if own == "x" else 1], truth)
        if row.form is Form.STACK:
            assert len(slices) == row.slices
            found[row.row] = [math.fsum(extent(s, row.axis) for s in slices)]
        else:
            # a jaw along the half of each slice that has no stub
            clear = []
            for s in slices:
                x0, y0, x1, y1 = s.bounds
                half = (
                    shapely.box(x0 + 0.5 * (x1 - x0), y0 - 1, x1, y1 + 1)
                    if own == "x"
                    else shapely.box(x0 - 1, y0 + 0.5 * (y1 - y0), x1 + 1, y1)
                )
                clear.append(extent(shapely.intersection(s, half), row.axis))
            found[row.row] = clear
    return found


# ---- the kerf gauge ------------------------------------------------------------------------


@given(truth=truths)
@settings(max_examples=15, deadline=None)
def test_kerf_gauge_reads_as_its_rows_promise(truth: Truth) -> None:
    piece = kerf_gauge(PLY, bridge_mm=0.0)
    found = measured(piece, truth)
    assert sorted(found) == [r.row for r in piece.rows]
    for row in piece.rows:
        np.testing.assert_allclose(found[row.row], promised(row, truth), atol=1e-9)


@given(truth=truths, thickness=st.sampled_from([1.5, 3.02, 6.0, 8.0]))
@settings(max_examples=15, deadline=None)
def test_no_jaw_meets_the_stub_of_a_bridge(truth: Truth, thickness: float) -> None:
    piece = kerf_gauge(replace(PLY, thickness_mm=thickness))
    found = measured(piece, truth, knife=1.5)
    for row in piece.rows:
        np.testing.assert_allclose(found[row.row], promised(row, truth), atol=1e-9)


def test_stubs_would_be_met_elsewhere() -> None:
    # the test above can fail: on the bridge's own line the window reads narrower
    piece = kerf_gauge(PLY)
    row = next(r for r in piece.rows if r.what == "window X, width")
    assert row.touch is not None
    on_stub = replace(row, touch=tuple((p[0] - 0.65 * 9 + 2.0, p[1]) for p in row.touch))  # type: ignore[arg-type]
    frame = max(cut(piece.parts[0], SHOP, 1.5), key=lambda p: p.area)
    assert min(between(frame, on_stub, SHOP)) < promised(row, SHOP) - 0.01


def test_bridges_hold_every_slice_until_they_are_cut() -> None:
    piece = kerf_gauge(PLY)
    assert len(cut(piece.parts[0], SHOP)) == 1
    assert len(cut(piece.parts[0], SHOP, knife=1.5)) == piece.pieces == 17
    assert len(cut(kerf_gauge(PLY, bridge_mm=0.0).parts[0], SHOP)) == 17
    # a bridge as cut is the one asked for when the guessed kerf is right
    held = cut(piece.parts[0], (0.18, 0.18, 1.0, 1.0))[0]
    at = shapely.LineString([(5.0, 5.0), (77.0, 5.0)])
    widths = [p.length for p in shapely.get_parts(shapely.intersection(held, at))]
    np.testing.assert_allclose(widths, [0.5] * 8, atol=1e-9)


def test_sizes_of_the_full_gauge() -> None:
    # common practice, no source: a frame of at most 100 x 60 mm; 780 mm of cut without bridges
    piece = kerf_gauge(PLY, bridge_mm=0.0)
    assert piece.parts[0].size == (100.0, 60.0)
    assert piece.cut_length_mm == pytest.approx(2 * 160 + 2 * (72 + 12 + 12 + 50) + 7 * 24)
    assert piece.area_mm2 == 6000.0
    assert piece.values == 12
    assert kerf_gauge(PLY, quick=True).values == 6
    assert piece.seconds(10.0) == pytest.approx(78.0)
    assert not piece.kerf_applied
    texts = [t.text for t in piece.drawing.labels if t.layer is Layer.MARK]
    assert texts.count("N = 8") == 2
    assert piece.code in texts
    assert [t for t in texts if t.isdigit()] == [str(i) for i in range(1, 9)] * 2


def test_rows_are_those_of_the_studied_gauge() -> None:
    from gauge_shop import full_gauge, three_a_side

    for piece, wanted in (
        (kerf_gauge(PLY), full_gauge()),
        (kerf_gauge(PLY, quick=True), three_a_side(1)),
    ):
        rows = [r for r in piece.rows if not r.optional]
        mine = sorted((r.form, r.axis, r.drawn_mm, r.slices or 0, r.times) for r in rows)
        theirs = sorted(
            (r.form, r.axis, r.drawn_mm, r.slices or 0, len(r.values_mm)) for r in wanted
        )
        assert mine == theirs
        # a stack shares its contour with its window and its slices
        for r in wanted:
            if r.contour:
                assert any(
                    (m.form, m.axis, m.drawn_mm, m.contour)
                    == (r.form, r.axis, r.drawn_mm, r.contour)
                    for m in rows
                )


def test_readings_off_the_cut_pieces_give_the_kerf_back() -> None:
    piece = kerf_gauge(PLY)
    found = measured(piece, SHOP, knife=1.5)
    gap = 0.008  # the assumed gap between pressed slices, so that nothing biases the answer
    readings = []
    for row in piece.rows:
        if row.optional:
            continue
        value = found[row.row][0] + ((row.slices or 1) - 1) * gap
        readings.append(row.reading([value] * row.times))
    fit = fit_kerf(tuple(readings))
    assert fit.kerf_x.value == pytest.approx(SHOP[0], abs=0.003)
    assert fit.kerf_y.value == pytest.approx(SHOP[1], abs=0.003)
    assert fit.kerf_x.U < 0.02


def test_turned_stack_makes_a_taper() -> None:
    # stack turned alternately: each of N - 1 interfaces closes half a taper (trapezia, by hand)
    piece = kerf_gauge(PLY)
    readings: list[Reading] = []
    for row in piece.rows:
        if row.form is Form.STACK:
            straight = promised(replace(row, turned=False), SHOP)
            value = straight - ((row.slices or 0) - 1) * 0.06 / 2 if row.turned else straight
            readings.append(row.reading([value]))
    tapers = taper_of(tuple(readings), Caliper())
    assert {t.axis for t in tapers} == {"x", "y"}
    for t in tapers:
        assert t.taper_mm == pytest.approx(0.06, abs=1e-12)


@pytest.mark.parametrize("thickness", [0.8, 1.5, 3.0, 4.2, 6.0, 8.0])
def test_slices_stand_flat(thickness: float) -> None:
    piece = kerf_gauge(replace(PLY, thickness_mm=thickness))
    for row in piece.rows:
        if row.form is Form.STACK:
            assert row.slices is not None
            assert 4 <= row.slices <= 8
            assert row.drawn_mm / row.slices >= 1.5 * thickness - 1e-9


def test_thick_stock_is_refused_with_the_frame_that_would_do() -> None:
    thick = replace(PLY, thickness_mm=10.0)
    with pytest.raises(InputError, match="too thick for 4 slices along Y") as caught:
        kerf_gauge(thick)
    assert "70 mm or more along Y" in str(caught.value)
    assert kerf_gauge(thick, frame_mm=(100.0, 70.0)).rows
    with pytest.raises(InputError, match="too narrow to stand flat"):
        kerf_gauge(replace(PLY, thickness_mm=6.0), slices=8)
    assert slices_that_stand(50.0, 6.0) == 5


@pytest.mark.parametrize(
    "changes",
    [
        {"frame_mm": (50.0, 60.0)},
        {"frame_mm": (100.0, math.nan)},
        {"slices": 3},
        {"slices": 16},
        {"bridge_mm": -0.1},
        {"bridge_mm": math.inf},
        {"bridge_mm": 1.9, "slices": 10},
    ],
)
def test_impossible_kerf_gauges_are_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        kerf_gauge(replace(PLY, thickness_mm=2.0), **changes)


# ---- all pieces ----------------------------------------------------------------------------


JOBS = [
    "slide-tray",
    "specimen-drawer",
    "notebook-box-a5",
    "outer-ends",
    "cube-20",
    "tabs-by-count",
]


@cache
def a_solution(name: str = "slide-tray") -> tuple[Solution, Plan]:
    built = build(read_job(f"fixtures/jobs/{name}.toml"))
    return built.solution, built.plan


def all_pieces() -> list[GaugePiece]:
    solution, plan = a_solution()
    return [
        kerf_gauge(PLY),
        kerf_gauge(PLY, bridge_mm=0.0),
        kerf_gauge(replace(PLY, thickness_mm=6.0)),
        kerf_gauge(replace(PLY, thickness_mm=1.0), frame_mm=(60.0, 45.0)),
        kerf_gauge(replace(PLY, thickness_mm=12.0), frame_mm=(160.0, 120.0)),
        strips(PLY),
        strips(PLY, length_mm=100.0, width_mm=6.0),
        strips(PLY, length_mm=1000.0, width_mm=40.0),
        fit_comb(PLY, tab_width_mm=8.0),
        fit_comb(PLY, tab_width_mm=3.0, slots=3),
        fit_comb(PLY, tab_width_mm=3.0, slots=3, axis="y"),
        fit_comb(PLY, tab_width_mm=40.0, mate_thickness_mm=18.0, slots=5),
        sheet_comb(replace(PLY, thickness_mm=1.0), segment_mm=3.0, slots=3),
        fit_comb(PLY, tab_width_mm=4.0, slots=15, step_mm=0.02),
        fit_comb(PLY, tab_width_mm=8.0, axis="y"),
        sheet_comb(PLY, segment_mm=8.0),
        coupon(solution, plan, title="Slide tray", material="birch plywood"),
        *(coupon(*a_solution(n), title=n, material="birch plywood") for n in JOBS[1:]),
    ]


@pytest.mark.parametrize("piece", all_pieces(), ids=lambda p: p.code)
def test_every_piece_is_fit_to_cut(piece: GaugePiece) -> None:
    for part in piece.parts:
        lines = [shapely.LineString(p) for p in cut_lines(part)]
        # no two lines on top of each other: their union is as long as all of them
        total = math.fsum(shapely.length(lines).tolist())
        assert shapely.length(shapely.union_all(lines)) == pytest.approx(total, abs=1e-6)
        assert part.cut_length_mm == pytest.approx(total, abs=1e-6)
        x0, y0, x1, y1 = shapely.union_all(lines).bounds
        assert (x0, y0) == pytest.approx((0.0, 0.0), abs=1e-9)
        assert (x1, y1) == pytest.approx(part.size, abs=1e-9)
        for curve in part.curves:
            if curve.layer is Layer.CUT_OUTER and curve.closed:
                assert shapely.Polygon(curve.xy).is_valid
    drawing = piece.drawing
    width, height = drawing.size
    for curve in drawing.curves:
        assert curve.xy.min() >= -1e-9
        assert (curve.xy <= np.array([width, height]) + 1e-9).all()
    text = "\n".join(drawing.notes)
    assert piece.code in text
    assert ("kerf applied: yes" if piece.kerf_applied else "kerf applied: NO") in text
    assert "birch plywood" in text
    assert "DO NOT TURN" in text


@pytest.mark.parametrize("piece", all_pieces(), ids=lambda p: p.code)
def test_letters_stay_off_the_cuts(piece: GaugePiece) -> None:
    # as the letters are really drawn, by the room that draws them
    from boxjoint.geometry.strokes import label_strokes

    for part in piece.parts:
        lines = shapely.MultiLineString([p.tolist() for p in cut_lines(part)])
        boxes = []
        for label in part.labels:
            strokes = label_strokes(label)
            assert strokes
            letters = shapely.MultiLineString([s.tolist() for s in strokes])
            assert letters.distance(lines) > 0.3, (part.name, label.text)
            boxes.append(shapely.box(*letters.bounds))
            assert shapely.box(0, 0, *part.size).contains(boxes[-1])
        for i, a in enumerate(boxes):
            for b in boxes[i + 1 :]:
                assert a.distance(b) > 0.1
        arrows = [shapely.LineString(c.xy) for c in part.curves if c.layer is Layer.MARK]
        for mark in arrows:
            assert all(mark.distance(b) > 0.2 for b in boxes)


def test_notes_stay_in_the_check_square_and_no_known_kerf_is_called_guessed() -> None:
    for piece in all_pieces():
        drawing = piece.drawing
        laid = lay_out(drawing)
        left, right = drawing.size[0] + 10.0, drawing.size[0] + 10.0 + SQUARE_MM
        assert laid.high[0] <= round(right * 1e6), piece.title  # no column beside the square
        heights = sorted((line.y for line in laid.lines), reverse=True)
        assert all(left < line.x < right and 0 < line.y < SQUARE_MM for line in laid.lines)
        assert min(a - b for a, b in pairwise(heights)) > 2.5 * 1.3  # capitals do not touch
        assert "guessed" not in "\n".join(piece.notes)


def test_codes_tell_stocks_apart() -> None:
    other_kerf = PerAxis(x=0.21, y=0.18)
    stocks = [
        PLY,
        replace(PLY, material="acrylic"),
        replace(PLY, thickness_mm=PLY.thickness_mm + 0.1),
        replace(PLY, kerf=other_kerf),
    ]
    for draw in (kerf_gauge, strips, lambda s: fit_comb(s, tab_width_mm=9, centre_mm=-0.3)):
        codes = [draw(s).code for s in stocks]
        assert len(set(codes)) == len(stocks)
        same = replace(PLY, material=f" {PLY.material.upper()} ")
        assert draw(same).code == codes[0]


def test_codes_tell_pieces_apart() -> None:
    pieces = all_pieces()
    codes = [p.code for p in pieces]
    assert len(set(codes)) == len(codes)
    assert codes == [p.code for p in all_pieces()]  # and do not change from run to run
    assert kerf_gauge(PLY, quick=True).code == kerf_gauge(PLY).code  # the same piece
    for piece in pieces:
        rows = [r.code(piece.code) for r in piece.rows] + [s.code(piece.code) for s in piece.slots]
        assert len(set(rows)) == len(rows)


def test_bridged_ring_keeps_its_points() -> None:
    ring = rectangle_xy(0, 0, 10, 4)
    (whole,) = bridged(ring, [], 0.5, Layer.CUT_OUTER)
    assert whole.closed
    pieces = bridged(ring, [(5.0, 0.0), (5.0, 4.0)], 0.6, Layer.CUT_OUTER)
    assert sorted(round(curve_length(c), 9) for c in pieces) == [13.4, 13.4]
    with pytest.raises(InputError, match="does not fit its side"):
        bridged(ring, [(0.1, 0.0)], 0.6, Layer.CUT_OUTER)
    with pytest.raises(InputError, match="does not fit its side"):
        bridged(ring, [(5.0, 1.0)], 0.6, Layer.CUT_OUTER)
    with pytest.raises(InputError, match="into each other"):
        bridged(ring, [(5.0, 0.0), (5.4, 0.0)], 0.6, Layer.CUT_OUTER)


def test_length_of_arcs() -> None:
    # a full circle as two half circles: 2 pi r
    circle = Curve(
        layer=Layer.CUT_OUTER, xy=np.array([(0.0, 0.0), (6.0, 0.0)]), bulge=np.array([1.0, 1.0])
    )
    assert curve_length(circle) == pytest.approx(6 * math.pi, rel=1e-12)


@pytest.mark.parametrize("speed", [0.0, -1.0, math.nan, math.inf])
def test_time_needs_a_speed(speed: float) -> None:
    with pytest.raises(InputError, match="speed"):
        kerf_gauge(PLY).seconds(speed)


@pytest.mark.parametrize("bad", [0.0, -3.0, math.nan, 60.0])
def test_impossible_stock_is_refused(bad: float) -> None:
    with pytest.raises(InputError, match="thickness"):
        GaugeStock(material="birch plywood", thickness_mm=bad)
    with pytest.raises(InputError, match="kerf"):
        GaugeStock(material="birch plywood", thickness_mm=3.0, kerf=PerAxis(x=0.2, y=bad))


# ---- strips --------------------------------------------------------------------------------


@given(truth=truths)
@settings(max_examples=10, deadline=None)
def test_strips_read_as_their_rows_promise(truth: Truth) -> None:
    piece = strips(PLY)
    cut_parts = {p.name: outline_of(p, truth) for p in piece.parts}
    x, y = extent(cut_parts["strip x"], "x"), extent(cut_parts["strip y"], "y")
    got = [x, y, x - y]
    for row, value in zip(piece.rows, got, strict=True):
        assert value == pytest.approx(promised(row, truth), abs=1e-9)


def test_strips_stay_on_the_bed() -> None:
    assert strips(PLY, length_mm=300.0, bed_mm=(400.0, 300.0)).rows[0].drawn_mm == 300.0
    with pytest.raises(InputError, match="100 to 280 mm"):
        strips(PLY, bed_mm=(400.0, 280.0))


def test_when_scale_matters() -> None:
    # 0.1 % over 300 mm shifts the end flanks by 0.15 mm (closed form L e / 2)
    question = scale_matters([80.0, 300.0], u_difference=1e-3)
    assert question.shift_mm == pytest.approx(0.15)
    assert question.matters
    assert "0.15 mm" in question.text
    assert not scale_matters([28.0]).matters  # 1.4e-3 x 28 / 2 = 0.0196
    assert scale_matters([29.0]).matters
    assert not scale_matters([100.0], u_difference=0.37e-3).matters
    for bad in ([], [0.0], [math.nan]):
        with pytest.raises(InputError):
            scale_matters(bad)


# ---- combs ---------------------------------------------------------------------------------


def widths_of(
    plate: Any, tiles: list[Any], axis: str, count: int
) -> tuple[list[float], list[float]]:
    """Slots and tabs as cut, along a line through the middle of slots and tabs."""
    k = 0 if axis == "x" else 1
    top = plate.bounds[3 - k]

    def across(shape: Any, level: float) -> list[float]:
        low, high = shape.bounds[k] - 1, shape.bounds[k + 2] + 1
        a, b = ((low, level), (high, level)) if k == 0 else ((level, low), (level, high))
        met = shapely.get_parts(shapely.intersection(shape, shapely.LineString([a, b])))
        spans = sorted((g.bounds[k], g.bounds[k + 2]) for g in met)
        return [v for span in spans for v in span]

    ends = across(plate, top - 0.5)
    slots = [b - a for a, b in zip(ends[1:-1:2], ends[2:-1:2], strict=True)]
    assert len(slots) == count
    tabs = []
    for tile in tiles:
        low, high = across(tile, tile.bounds[3 - k] - 0.5)
        tabs.append(high - low)
    return slots, tabs


@given(truth=truths, axis=st.sampled_from("xy"), slots=st.sampled_from([3, 9, 15]))
@settings(max_examples=10, deadline=None)
def test_fit_comb_as_cut(truth: Truth, axis: Any, slots: int) -> None:
    piece = fit_comb(
        PLY, tab_width_mm=8.0, mate_thickness_mm=6.1, slots=slots, axis=axis, centre_mm=-0.4,
        bridge_mm=0.0,
    )  # fmt: skip
    k = 0 if axis == "x" else 1
    plate = outline_of(piece.parts[0], truth)
    tiles = [outline_of(p, truth) for p in piece.parts[1:]]
    got_slots, got_tabs = widths_of(plate, tiles, axis, slots)
    xs = slot_positions(-0.4, 0.05, slots)
    clearances = np.array(got_slots) - np.array(got_tabs)
    np.testing.assert_allclose(clearances, np.array(xs) * truth[2 + k] + 2 * truth[k], atol=1e-9)
    np.testing.assert_allclose([s.x_mm for s in piece.slots], xs, atol=1e-12)
    # the tab's length: tip and shoulder both lose half a kerf, so it is the mate's thickness
    across = 1 - k
    body = 15.0 * truth[2 + across] - truth[across]
    size = [extent(t, "xy"[across]) - body for t in tiles]
    np.testing.assert_allclose(size, 6.1 * truth[2 + across], atol=1e-9)


def drawn_flanks(clearance: float, kerf: float) -> list[float]:
    """Drawn widths of the segments of one joint, by the job's own compensation."""
    t = 3_020_000
    front = Slab(name="front", normal=1, box=Cuboid((0, 0, 0), (200 * t // 10, t, 40_000_000)))
    left = Slab(name="left", normal=0, box=Cuboid((0, 0, 0), (t, 20 * t, 40_000_000)))
    solution = solve(Arrangement(slabs=(front, left)), TabAsk(counts={2: 5}))  # tabs of 8 mm
    beam = Beam(kerf=PerAxis(x=kerf, y=kerf))
    out = []
    for panel in solution.panels:
        drawn = compensate(panel.rings, beam, Allowance(clearance=(clearance,))).rings
        at = np.sort(drawn.xy[drawn.role == Role.FLANK, 1]) / 1e6
        out.append(at)
    front_at, left_at = out
    # front owns the ends: its segments 0, 2, 4; its slots lie between flanks 0-1 and 2-3
    return [front_at[1] - front_at[0], left_at[1] - left_at[0]]


@given(clearance=st.floats(-0.15, 0.3), kerf=st.floats(0.05, 0.4))
@settings(max_examples=25, deadline=None)
def test_comb_is_drawn_as_the_job_would_be(clearance: float, kerf: float) -> None:
    x = clearance - 2 * kerf
    piece = fit_comb(PLY, tab_width_mm=8.0, centre_mm=x, slots=3)
    slot, tab = drawn_flanks(clearance, kerf)
    middle = piece.slots[1]
    assert middle.slot_mm == pytest.approx(slot, abs=3e-6)  # the job rounds to nanometres
    assert middle.tab_mm == pytest.approx(tab, abs=3e-6)


@given(truth=truths, axis=st.sampled_from("xy"))
@settings(max_examples=10, deadline=None)
def test_sheet_comb_as_cut(truth: Truth, axis: Any) -> None:
    piece = sheet_comb(PLY, segment_mm=8.0, axis=axis, bridge_mm=0.0)
    k = 0 if axis == "x" else 1
    plate = outline_of(piece.parts[0], truth)
    slots, _ = widths_of(plate, [], axis, 9)
    wanted = [s.slot_mm * truth[2 + k] + truth[k] for s in piece.slots]
    np.testing.assert_allclose(slots, wanted, atol=1e-9)
    # in the comb's own words, at scale 1: slot less sheet is x + k
    one = (truth[0], truth[1], 1.0, 1.0)
    slots, _ = widths_of(outline_of(piece.parts[0], one), [], axis, 9)
    np.testing.assert_allclose(
        np.array(slots) - PLY.thickness_mm, [s.x_mm + truth[k] for s in piece.slots], atol=1e-9
    )


def test_sheet_comb_is_drawn_as_a_mortise_would_be() -> None:
    t, s, kerf = 3_020_000, 0.07, 0.19
    wall = Slab(name="wall", normal=1, box=Cuboid((0, 0, 0), (60_000_000, t, 60_000_000)))
    shelf = Slab(
        name="shelf",
        normal=2,
        box=Cuboid((0, 0, 30_000_000), (60_000_000, 40_000_000, 30_000_000 + t)),
        guest=True,
    )
    solution = solve(Arrangement(slabs=(wall, shelf)), TabAsk())
    drawn = compensate(
        solution.panel("wall").rings,
        Beam(kerf=PerAxis(x=kerf, y=kerf)),
        Allowance(clearance=(0.0,), sheet_clearance=s),
    ).rings
    cheeks = np.unique(drawn.xy[drawn.role == Role.CHEEK, 1]) / 1e6
    piece = sheet_comb(PLY, segment_mm=8.0, centre_mm=s - kerf, slots=3)
    assert piece.slots[1].slot_mm == pytest.approx(cheeks[1] - cheeks[0], abs=3e-6)


def test_bridges_hold_the_tiles() -> None:
    piece = fit_comb(PLY, tab_width_mm=8.0)
    for tile in piece.parts[1:]:
        (curve,) = [c for c in tile.curves if c.layer is Layer.CUT_OUTER]
        assert not curve.closed
        gap = np.abs(curve.xy[0] - curve.xy[-1]).sum()
        assert gap == pytest.approx(0.5 + 0.18)
        assert curve.xy[0, 1] == curve.xy[-1, 1] == 0.0  # at the end away from the tab
        assert cut(tile, SHOP) == []  # still one with the offcut
    assert piece.pieces == 10
    marks = [t.text for t in piece.drawing.labels]
    assert all(marks.count(str(j)) == 2 for j in range(1, 10))  # on the plate and on the tile


def test_brittle_stock_gets_no_interference_by_default() -> None:
    comb = fit_comb(ACRYLIC, tab_width_mm=8.0)
    assert comb.slots[0].x_mm + 2 * 0.18 >= -1e-12
    assert not comb.warnings
    tight = fit_comb(ACRYLIC, tab_width_mm=8.0, centre_mm=-0.36)
    assert "slots 1 to 4" in tight.warnings[0]
    assert any(line.startswith("CAUTION") for line in tight.notes)
    assert sheet_comb(ACRYLIC, segment_mm=8.0).slots[0].x_mm + 0.18 >= -1e-12


@pytest.mark.parametrize(
    "changes",
    [
        {"slots": 2},
        {"slots": 16},
        {"step_mm": 0.0},
        {"step_mm": math.nan},
        {"tab_width_mm": 1.0},
        {"tab_width_mm": 2.0, "centre_mm": -3.0},
        {"centre_mm": math.nan},
        {"mate_thickness_mm": -3.0},
        {"bridge_mm": 5.0},
    ],
)
def test_impossible_combs_are_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        fit_comb(PLY, **({"tab_width_mm": 8.0} | changes))


# ---- coupons -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", JOBS)
def test_coupon_has_the_divisions_of_the_job(name: str) -> None:
    solution, plan = a_solution(name)
    index, panels = stretches(solution)
    joint = solution.joints[index]
    # the shortest run of three or more segments of any finger joint, counted here again
    runs = [
        r.run.length
        for j, t in zip(solution.joints, solution.tabs, strict=True)
        if j.kind == "finger"
        for r in t.runs
        if r.count >= 3
    ]
    box = panels[0].slab.box
    assert box.hi[joint.axis] - box.lo[joint.axis] == min(runs)
    piece = coupon(solution, plan, title=name, material="birch plywood")
    assert piece.kind is GaugeKind.COUPON
    for part, panel in zip(piece.parts, panels, strict=True):
        whole = solution.panel(panel.name)
        assert part.name == panel.name
        drawn = compensate(whole.rings, plan.beam, plan.allowance(guest=whole.slab.guest)).rings
        k = 0 if whole.frame.axes[0] == joint.axis else 1
        mine = (drawn.role == Role.FLANK) & (drawn.joint == index)
        job_at = np.unique(drawn.xy[mine, k])
        # the run's flanks on the job's panel, and the flanks among the coupon's corners
        outline = next(c for c in part.curves if c.layer is Layer.CUT_OUTER)
        got = np.unique(np.rint(outline.xy[:, k] * 1e6).astype(np.int64))[1:-1]
        if plan.corner_relief.value == 0:
            inner = np.diff(got)
            steps = np.diff(job_at)
            assert len(inner) >= 1
            # a stretch of the job's row of flanks, equal to the nanometre
            rows = [
                i
                for i in range(len(steps) - len(inner) + 1)
                if (np.abs(steps[i : i + len(inner)] - inner) <= 1).all()
            ]
            assert rows, (name, panel.name)


@given(truth=truths, clearance=st.floats(-0.1, 0.2))
@settings(max_examples=10, deadline=None)
def test_coupon_as_cut_has_the_clearance_of_the_job(truth: Truth, clearance: float) -> None:
    solution, plan = a_solution()
    plan = replace(
        plan,
        clearances=tuple(clearance for _ in plan.clearances),
        kerf_x=replace(plan.kerf_x, value=truth[0]),
        kerf_y=replace(plan.kerf_y, value=truth[1]),
        scale_x=replace(plan.scale_x, value=truth[2]),
        scale_y=replace(plan.scale_y, value=truth[3]),
    )
    piece = coupon(solution, plan, title="Slide tray", material="birch plywood")
    shapes = {p.name: outline_of(p, truth) for p in piece.parts}
    sizes: dict[tuple[str, Form], float] = {}
    for row in piece.rows:
        values = between(shapes[row.part], row, truth, jaw=0.5)
        # the rows promise what is there, and the fit is the one asked for
        np.testing.assert_allclose(values, promised(row, truth), atol=1e-5)
        sizes[row.part, row.form] = values[0]
    first, second = (p.name for p in piece.parts)
    for a, b in ((first, second), (second, first)):
        got = sizes[a, Form.HOLE] - sizes[b, Form.PLUG]
        assert got == pytest.approx(clearance, abs=1e-5)


def test_coupon_may_be_shortened_and_turned() -> None:
    solution, plan = a_solution("acrylic-cover")
    full = coupon(solution, plan, title="Cover", material="acrylic")
    short = coupon(solution, plan, title="Cover", material="acrylic", most_segments=5)
    assert short.area_mm2 < full.area_mm2
    name = short.parts[0].name
    turned = coupon(
        solution, plan, title="Cover", material="acrylic", most_segments=5, quarters={name: 1}
    )
    assert turned.parts[0].size == pytest.approx(short.parts[0].size[::-1], abs=0.1)
    assert turned.rows[0].axis != short.rows[0].axis
    # brittle stock: reliefs at inside corners, as in the job
    assert any(c.bulge is not None for p in short.parts for c in p.curves)
    for bad in (1, 4):
        with pytest.raises(InputError, match="odd, 3 or more"):
            coupon(solution, plan, title="Cover", material="acrylic", most_segments=bad)


def test_coupon_of_two_thicknesses_says_so() -> None:
    solution, plan = a_solution("cube-20")
    piece = coupon(solution, plan, title="Cube", material="birch plywood")
    assert not piece.warnings
    t, u = 3_000_000, 6_000_000
    front = Slab(name="front", normal=1, box=Cuboid((0, 0, 0), (60_000_000, t, 40_000_000)))
    left = Slab(name="left", normal=0, box=Cuboid((0, 0, 0), (u, 60_000_000, 40_000_000)))
    solution = solve(Arrangement(slabs=(front, left)), TabAsk())
    plan = replace(plan, clearances=(0.0,))
    piece = coupon(solution, plan, title="Two", material="birch plywood")
    assert "3.00 mm" in piece.warnings[0]
    assert "6.00 mm" in piece.warnings[0]


def test_nothing_to_try_where_nothing_interlocks() -> None:
    t = 3_000_000
    front = Slab(name="front", normal=1, box=Cuboid((0, 0, 0), (60_000_000, t, 8_000_000)))
    left = Slab(name="left", normal=0, box=Cuboid((0, 0, 0), (t, 60_000_000, 8_000_000)))
    solution = solve(Arrangement(slabs=(front, left)), TabAsk())
    with pytest.raises(ArrangementError, match="interlocks"):
        stretches(solution)


# ---- offcuts -------------------------------------------------------------------------------


def small_pieces() -> list[GaugePiece]:
    return [
        kerf_gauge(PLY),
        fit_comb(PLY, tab_width_mm=8.0),
        sheet_comb(PLY, segment_mm=8.0),
        strips(PLY, length_mm=120.0),
    ]


@given(
    width=st.floats(150, 500),
    height=st.floats(130, 500),
    spacing=st.floats(0.5, 8),
    margin=st.floats(0, 12),
)
@settings(max_examples=25, deadline=None)
def test_offcut_keeps_parts_apart(
    width: float, height: float, spacing: float, margin: float
) -> None:
    pieces = small_pieces()
    try:
        laid = place_on_offcut(pieces, width, height, spacing_mm=spacing, margin_mm=margin)
    except CannotBeCut as error:
        # only a crowded offcut may be refused: at half its area it must always do
        area = sum((p.size[0] + spacing) * (p.size[1] + spacing) for q in pieces for p in q.parts)
        assert area > 0.5 * (width - 2 * margin) * (height - 2 * margin) or "larger" in str(error)
        return
    boxes = [shapely.box(x, y, x + p.size[0], y + p.size[1]) for p, (x, y) in laid.placed]
    assert len(boxes) == sum(len(p.parts) for p in pieces)
    room = shapely.box(margin, margin, width - margin, height - margin).buffer(1e-6)
    for i, a in enumerate(boxes):
        assert room.contains(a)
        for b in boxes[i + 1 :]:
            assert a.distance(b) >= spacing - 1e-6
    areas = [b.area for b in boxes]
    assert (np.diff(areas) > -1e-9).all()  # cut smallest first
    assert laid.cut_length_mm == pytest.approx(sum(p.cut_length_mm for p in pieces))
    assert laid.seconds(5.0) == pytest.approx(laid.cut_length_mm / 5.0)


def test_offcut_refuses_with_the_sizes() -> None:
    with pytest.raises(CannotBeCut, match=r"strip y .* larger than the offcut: 15.0 x 300.0 mm"):
        place_on_offcut([kerf_gauge(PLY), strips(PLY)], 200.0, 120.0)
    with pytest.raises(CannotBeCut, match="do not fit the offcut unturned") as caught:
        place_on_offcut([kerf_gauge(PLY), fit_comb(PLY, tab_width_mm=8.0)], 165.0, 80.0)
    assert "100 x 60 mm" in str(caught.value)
    assert "cm2" in str(caught.value)
    with pytest.raises(InputError, match="different stock"):
        place_on_offcut([kerf_gauge(PLY), kerf_gauge(ACRYLIC)], 300.0, 300.0)
    with pytest.raises(InputError, match="no gauge piece"):
        place_on_offcut([], 300.0, 300.0)
    with pytest.raises(InputError):
        place_on_offcut([kerf_gauge(PLY)], math.nan, 300.0)


def test_offcut_says_what_has_its_kerf() -> None:
    solution, plan = a_solution()
    piece = coupon(solution, plan, title="Slide tray", material="birch plywood")
    laid = place_on_offcut([kerf_gauge(piece.stock), piece], 200.0, 200.0)
    text = "\n".join(laid.drawing.notes)
    assert "NO, on purpose, to K-" in text
    assert f"yes to {piece.code}" in text
    reference = [c for c in laid.drawing.curves if c.layer is Layer.REFERENCE]
    assert reference[0].xy.max(axis=0).tolist() == [200.0, 200.0]
    assert laid.drawing.size == (200.0, 200.0)
    assert laid.used_mm[0] <= 200.0


def test_drawings_are_written_in_both_formats() -> None:
    from boxjoint.export.dxf import drawing_to_dxf
    from boxjoint.export.svg import drawing_to_svg

    for piece in all_pieces():
        assert piece.code in drawing_to_dxf(piece.drawing)
        assert piece.code in drawing_to_svg(piece.drawing)


def test_errors_leave_with_code_two() -> None:
    with pytest.raises(BoxjointError) as caught:
        kerf_gauge(replace(PLY, thickness_mm=12.0))
    assert caught.value.exit_code == 2
