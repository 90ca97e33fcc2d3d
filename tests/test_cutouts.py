"""Cut-outs from the job to the files: places, equal drawers, refusals, and what other readers see."""

from __future__ import annotations

import io
import math
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf import path as dxf_path
from shapely import affinity

from boxjoint.check.built import Built, Part
from boxjoint.errors import BoxjointError, CannotBeCut, InputError, JobError
from boxjoint.export.dxf import drawing_to_dxf
from boxjoint.export.panels import all_panels_drawing, panel_drawing
from boxjoint.export.report import report, report_text
from boxjoint.geometry.drawing import Curve, Layer
from boxjoint.geometry.holes import Hole
from boxjoint.job.read import parse_job, read_job
from boxjoint.make import build
from boxjoint.order.drawing import copy_curves
from boxjoint.order.lay import lay
from boxjoint.order.read import lines_of
from boxjoint.order.records import Order
from boxjoint.solve.panels import Panel

ROOT = Path(__file__).parents[1]
JOBS = ROOT / "fixtures" / "jobs"
FIXTURES = ("magnet-lid-sample-box", "notebook-box-notch", "specimen-case-pulls")
MM = 1_000_000

BASE = """\
title = "Slide tray"
unit = "mm"

[inside]
length = 160
width = 100
height = 60

[stock]
material = "birch plywood"
thickness = 3

[cut]
kerf = 0.2
"""


def cutout(**keys: object) -> str:
    def toml(value: object) -> str:
        if isinstance(value, str):
            return f'"{value}"'
        return f"[{', '.join(map(toml, value))}]" if isinstance(value, list) else str(value)

    return "\n[[cutouts]]\n" + "".join(f"{k} = {toml(v)}\n" for k, v in keys.items())


def made(*tables: str, base: str = BASE) -> Built:
    return build(parse_job(base + "".join(tables)))


def hole_of(built: Built, panel: str, n: int = 0) -> tuple[float, float, float, float]:
    h = built.part(panel).holes[n].placed.hole
    x0, y0, x1, y1 = (v / MM for v in (*h.lo, *h.hi))
    return x0, y0, x1, y1


# places


def test_a_round_hole_is_placed_by_its_middle_and_a_window_by_its_edge() -> None:
    built = made(
        cutout(panel="front", kind="round hole", diameter=8, from_left=30, from_top=20),
        cutout(panel="back", kind="window", size=[40, 20], from_right=30, from_bottom=15),
        cutout(panel="left", kind="slot", size=[30, 6], to="middle", from_left=40),
    )
    # outside 166 by 106 by 63: the inside and two thicknesses, one below; by hand
    assert built.part("front").panel.size == (166 * MM, 63 * MM)
    assert hole_of(built, "front") == (26, 39, 34, 47)
    assert hole_of(built, "back") == (166 - 30 - 40, 15, 166 - 30, 35)
    assert hole_of(built, "left") == (25, 28.5, 55, 34.5)


def test_distances_from_the_inside_do_not_move_with_the_thickness() -> None:
    table = cutout(
        panel="front", kind="round hole", diameter=8, from_left=30, from_bottom=20, edges="inside"
    )
    for thick in (3, 6):
        built = made(table, base=BASE.replace("thickness = 3", f"thickness = {thick}"))
        x0, y0, _, _ = hole_of(built, "front")
        # in the world: the inside's lower front left corner is the origin
        assert (x0 - thick, y0 - thick) == (26, 16)


def test_a_raised_base_lifts_the_edge_of_the_inside() -> None:
    table = cutout(panel="left", kind="round hole", diameter=8, from_bottom=20, edges="inside")
    built = made(table, base=BASE + "\n[bottom]\nraised = 10\n")
    # walls reach 10 below the base, which is 3 thick
    assert hole_of(built, "left")[1] == 10 + 3 + 20 - 4


@pytest.mark.parametrize(
    ("panel", "right", "up"),
    [
        ("front", (1, 0, 0), (0, 0, 1)),
        ("back", (-1, 0, 0), (0, 0, 1)),
        ("left", (0, -1, 0), (0, 0, 1)),
        ("right", (0, 1, 0), (0, 0, 1)),
        ("top", (1, 0, 0), (0, 1, 0)),
        ("bottom", (1, 0, 0), (0, -1, 0)),
    ],
)
def test_left_and_bottom_are_those_of_the_panel_seen_from_outside(
    panel: str, right: tuple[int, ...], up: tuple[int, ...]
) -> None:
    """The frame of the design: x to the right, y to the back, z up; each panel from outside."""
    built = made(
        cutout(panel=panel, kind="round hole", diameter=4, from_left=20, from_bottom=25),
        base=BASE + '\n[top]\nkind = "closed"\n',
    )
    middle = world_middle(built.part(panel).panel, built.part(panel))
    lo, hi = np.array([-3, -3, -3]), np.array([163, 103, 63])
    for way, away in ((right, 20), (up, 25)):
        axis = int(np.flatnonzero(way)[0])
        start = lo[axis] + away if way[axis] > 0 else hi[axis] - away
        assert middle[axis] == pytest.approx(start)


def world_middle(panel: Panel, part: Part, n: int = 0) -> np.ndarray:
    h = part.holes[n].placed.hole
    xy = np.array([[(h.lo[k] + h.hi[k]) // 2 for k in (0, 1)]])
    a, b = panel.frame.to_world(xy)
    at = np.array(panel.slab.box.lo, dtype=float)
    at[panel.frame.axes[0]], at[panel.frame.axes[1]] = a[0], b[0]
    found: np.ndarray = at / MM
    return found


def test_the_magnets_of_the_lid_face_those_of_the_box() -> None:
    built = build(read_job(JOBS / "magnet-lid-sample-box.toml"))
    at = {
        n: world_middle(built.part(n).panel, built.part(n))
        for n in ("left", "lid-left", "lid-right")
    }
    assert at["left"][1:] == pytest.approx(at["lid-left"][1:], abs=2e-6)
    assert at["left"][1:] == pytest.approx(at["lid-right"][1:], abs=2e-6)
    figure = built.figures["magnet_clearance"]
    assert (figure.value, figure.standing) == (0.1, "ASSUMED")
    assert built.part("left").holes[0].placed.hole.diameter == 8_100_000


def test_every_drawer_gets_the_same_pull() -> None:
    built = build(read_job(JOBS / "specimen-case-pulls.toml"))
    fronts = [p for p in built.parts if p.panel.name.endswith("-front")]
    assert [p.panel.name for p in fronts] == [f"drawer-{n}-front" for n in (1, 2, 3)]
    holes = {p.holes[0].placed.hole for p in fronts}
    outlines = {panel_drawing(built, p).curves[-1].xy.tobytes() for p in fronts}
    assert len(holes) == len(outlines) == 1
    one = made(
        cutout(panel="drawer-2-front", kind="finger notch", size=[20, 9]),
        base=BASE + "\n[drawers]\ncount = 3\n",
    )
    assert [p.panel.name for p in one.parts if p.holes] == ["drawer-2-front"]


def test_a_hole_in_the_back_is_none_in_the_back_of_the_lid() -> None:
    built = made(
        cutout(panel="back", kind="screw hole", diameter=5),
        base=BASE + '\n[top]\nkind = "rim"\n',
    )
    assert [p.panel.name for p in built.parts if p.holes] == ["back"]


def test_vents_are_a_grid_placed_as_a_whole() -> None:
    built = made(
        cutout(panel="back", kind="vents", size=[30, 4], rows=3, columns=2, gap=6, from_left=20)
    )
    holes = [hole_of(built, "back", n) for n in range(6)]
    # 3 x 4 + 2 x 6 = 24 of 63, so the lowest starts at 19.5
    assert holes[0] == (20, 19.5, 50, 23.5)
    assert holes[5] == (56, 39.5, 86, 43.5)
    default = made(cutout(panel="back", kind="vents", size=[30, 4], rows=2))
    assert hole_of(default, "back", 1)[1] - hole_of(default, "back", 0)[3] == 4.5


# what is refused


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        # 4.9 - 2.5 to the left tip, by hand
        (
            {"panel": "front", "kind": "round hole", "diameter": 5, "from_left": 4.9, "from_top": 20},
            ["lies over the joint front-left", "[[cutouts]] 1 (round hole) on front"],
        ),
        (
            {"panel": "front", "kind": "round hole", "diameter": 5, "from_left": 8, "from_top": 20},
            ["too near: 2.50 mm", "from a flank", "least web 3.00 mm", "Move it by 0.50 mm"],
        ),
        (
            {"panel": "front", "kind": "round hole", "diameter": 5, "from_top": 5},
            ["too near: 2.50 mm", "from a rim", "x 83.00, y 63.00 mm of front"],
        ),
        (
            {"panel": "front", "kind": "window", "size": [60, 80]},
            ["lies over the joint bottom-front"],
        ),
        (
            {"panel": "front", "kind": "round hole", "diameter": 5, "from_left": 300},
            ["does not lie on front", "the panel is 166.00 by 63.00 mm"],
        ),
        (
            {"panel": "front", "kind": "round hole", "diameter": 5, "from_top": 1},
            ["reaches over a rim"],
        ),
        (
            {"panel": "front", "kind": "finger notch", "edge": "bottom"},
            ["lies over the joint bottom-front"],
        ),
        (
            {"panel": "front", "kind": "finger notch", "size": [158, 20]},
            ["too near: 2.04 mm", "x 163.00, y 56.33 mm", "[[cutouts]] 1 (finger notch)"],
        ),
        (
            {"panel": "front", "kind": "finger notch", "size": [20, 63]},
            ["as deep as front"],
        ),
        ({"panel": "lid", "kind": "magnet", "diameter": 6}, ["no such panel", "[[cutouts]] 1"]),
        ({"panel": "top", "kind": "magnet", "diameter": 6}, ["no such panel"]),
        (
            {"panel": "front", "kind": "window", "size": [0.15, 20]},
            ["kerf would close a hole of front", "kerf 0.200 mm"],
        ),
    ],
)  # fmt: skip
def test_a_cut_out_that_is_not_clear_is_refused(keys: dict[str, object], said: list[str]) -> None:
    with pytest.raises(BoxjointError) as caught:
        made(cutout(**keys))
    assert caught.value.exit_code == 2
    for words in said:
        assert words in str(caught.value)


def test_two_cut_outs_keep_a_web_between_them() -> None:
    one = cutout(panel="front", kind="round hole", diameter=10, from_left=50)
    with pytest.raises(
        InputError, match=r"too near: 2\.50 mm .* from \[\[cutouts\]\] 2 \(slot\)"
    ) as caught:
        made(one, cutout(panel="front", kind="slot", size=[20, 6], from_left=57.5))
    assert "cutouts]] 1 (round hole) on front" in caught.value.where
    built = made(one, cutout(panel="front", kind="slot", size=[20, 6], from_left=58))
    assert built.part("front").holes[0].web.width == 3 * MM
    with pytest.raises(InputError, match="reaches over"):
        made(one, cutout(panel="front", kind="slot", size=[20, 6], from_left=50))
    # the web is the job's to set
    thin = BASE + "\n[joint]\nweb = 2.4\n"
    made(one, cutout(panel="front", kind="slot", size=[20, 6], from_left=57.5), base=thin)


def test_brittle_stock_keeps_one_and_a_half_thicknesses_and_round_corners() -> None:
    base = BASE.replace("birch plywood", "acrylic") + '\n[joint]\nfit = "glue"\n'
    near = cutout(panel="front", kind="screw hole", diameter=4, from_top=6)  # 4 mm beside it
    made(near)
    with pytest.raises(InputError, match=r"least web 4\.50 mm"):
        made(near, base=base)
    window = cutout(panel="front", kind="window", size=[40, 20])
    assert made(window, base=base).part("front").holes[0].placed.hole.diameter == 2 * MM
    assert made(window).part("front").holes[0].placed.hole.diameter == 0


def test_a_window_between_two_mortises_is_over_the_joint() -> None:
    base = BASE + "\n[dividers.length]\ncompartments = 2\n"
    with pytest.raises(InputError, match="over the joint front-divider-x1"):
        made(cutout(panel="front", kind="window", size=[40, 4]), base=base)


def test_a_router_enters_and_leaves_the_corners_that_are_asked_for() -> None:
    base = BASE.replace("kerf = 0.2", "tool = 3")
    window = {"panel": "front", "kind": "window", "size": [40, 20]}
    assert made(cutout(**window), base=base).part("front").holes[0].placed.hole.diameter == 3 * MM
    with pytest.raises(CannotBeCut, match=r"larger corners .* radius 1\.000 mm, cutter's 1\.500"):
        made(cutout(**window, radius=1), base=base)
    with pytest.raises(CannotBeCut, match=r"does not enter .* 2\.500 mm wide, tool 3\.000"):
        made(cutout(panel="front", kind="round hole", diameter=2.5), base=base)


def test_a_hand_hole_near_an_edge_is_questioned() -> None:
    near = made(cutout(panel="front", kind="hand hole", from_top=15))
    assert any("15.00 mm" in w and "hand hole" in w for w in near.warnings)
    # 100 x 25 and 20 below the edge: common practice, no source
    usual = made(cutout(panel="front", kind="hand hole"))
    assert hole_of(usual, "front") == (33, 18, 133, 43)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"kind": "slot", "size": [3, 4]}, "panel is missing"),
        ({"panel": "front"}, "kind is missing"),
        ({"panel": "front", "kind": "slot"}, "size is missing"),
        ({"panel": "frnt", "kind": "hand hole"}, "Did you mean 'front'?"),
        ({"panel": "front", "kind": "windw", "size": [3, 4]}, "Did you mean 'window'?"),
        ({"panel": "front", "kind": "window", "size": [30]}, "two lengths"),
        ({"panel": "front", "kind": "window", "size": [30, 4], "diameter": 3}, "has no diameter"),
        ({"panel": "front", "kind": "hand hole", "from_left": 3, "from_right": 4}, "exclude"),
        ({"panel": "front", "kind": "hand hole", "from_left": -3}, "distance from the edge"),
        ({"panel": "front", "kind": "finger notch", "from_top": 3}, "starts at that edge"),
        ({"panel": "front", "kind": "window", "size": [30, 4], "radius": 3}, "radius is too large"),
        ({"panel": ["front", "front"], "kind": "hand hole"}, "stands twice"),
        ({"panel": "front", "kind": "hand hole", "depht": 3}, "no such key"),
        ({"panel": "front", "kind": "vents", "size": [30, 4], "rows": 0}, "whole number"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_named_with_its_table_and_line(
    table: dict[str, object], said: str
) -> None:
    text = BASE + cutout(panel="back", kind="hand hole") + cutout(**table)
    with pytest.raises(JobError) as caught:
        parse_job(text, "tray.toml")
    (problem,) = caught.value.data["problems"]
    assert said in str(caught.value)
    assert "[[cutouts]] 2" in str(caught.value)
    assert problem.line >= text[: text.rindex("[[cutouts]]")].count("\n") + 1


# what is written


def polygons(built: Built, name: str) -> tuple[shapely.Geometry, list[object]]:
    """The outline and the inner cuts of a panel's DXF, read by ezdxf, and its arcs."""
    text = drawing_to_dxf(panel_drawing(built, built.part(name)))
    document = ezdxf.read(io.StringIO(text))
    outer, inner, arcs = None, [], []
    for entity in document.modelspace().query("LWPOLYLINE"):
        if entity.dxf.layer not in ("CUT_OUTER", "CUT_INNER"):
            continue
        assert entity.closed
        chords = [(v.x, v.y) for v in dxf_path.make_path(entity).flattening(0.0005)]
        arcs += [e for e in entity.virtual_entities() if e.dxftype() == "ARC"]
        if entity.dxf.layer == "CUT_OUTER":
            outer = shapely.Polygon(chords)
        else:
            inner.append(shapely.Polygon(chords))
    assert outer is not None and outer.is_valid
    return outer.difference(shapely.union_all(inner)) if inner else outer, arcs


def test_a_hole_in_the_file_is_a_true_circle_less_the_kerf() -> None:
    built = made(cutout(panel="front", kind="round hole", diameter=8, from_left=30, from_top=20))
    _, arcs = polygons(built, "front")
    assert len(arcs) == 2
    for arc in arcs:
        assert arc.dxf.radius == pytest.approx((8 - 0.2) / 2, abs=1e-6)
        assert tuple(arc.ocs().to_wcs(arc.dxf.center))[:2] == pytest.approx((30, 43), abs=1e-6)


@pytest.mark.parametrize("name", FIXTURES)
def test_areas_and_lengths_are_those_of_the_files(name: str) -> None:
    """Read back by ezdxf, cut by GEOS: the beam grown along every line."""
    built = build(read_job(JOBS / f"{name}.toml"))
    built.require()
    data = report(built)
    for part in built.parts:
        if not part.holes:
            continue
        shape, _ = polygons(built, part.panel.name)
        panel = data["panels"][part.panel.name]
        length = sum(g.length for g in (shape.exterior, *shape.interiors))
        if not part.relieved.corners:
            assert length == pytest.approx(panel["cut_length"], rel=1e-4)
        kerf = (built.plan.kerf_x.value + built.plan.kerf_y.value) / 2
        left = shape.buffer(-kerf / 2, join_style="mitre", quad_segs=64)
        assert left.area == pytest.approx(panel["area_as_cut"], rel=2e-3)
        assert left.geom_type == "Polygon"
        assert len(panel["cutouts"]) == len(part.holes)
    assert "## Cut-outs" in report_text(built)


def test_holes_come_before_the_outline_and_none_is_drawn_twice() -> None:
    built = made(
        cutout(panel="front", kind="round hole", diameter=8, from_left=30),
        cutout(panel="front", kind="finger notch"),
    )
    curves = all_panels_drawing(built).curves
    layers = [c.layer for c in curves]
    assert layers == sorted(layers)
    assert layers.count(curves[0].layer) == 1  # the notch is in the outline
    assert built.part("front").area_nm2 == pytest.approx(
        built.part("front").panel.rings.area
        - 16 * math.pi * MM**2
        - (20 * 12 - 2 * (1 - math.pi / 4) * 100) * MM**2
    )


def test_a_controller_that_offsets_gets_the_nominal_hole() -> None:
    job = parse_job(BASE + cutout(panel="front", kind="round hole", diameter=8))
    built = build(job, kerf_by_controller=True)
    assert np.ptp(built.part("front").holes[0].drawn.xy[:, 0]) == pytest.approx(8)
    with pytest.raises(CannotBeCut):
        tight = cutout(panel="front", kind="round hole", diameter="0.15 mm")
        build(parse_job(BASE + tight), kerf_by_controller=True)


# on sheets


def outline(curves: tuple[Curve, ...]) -> shapely.Geometry:
    """Outline less inner cuts, arcs as chords by DXF's definition of the bulge."""
    shapes = {Layer.CUT_OUTER: [], Layer.CUT_INNER: []}  # type: dict[Layer, list[shapely.Geometry]]
    for curve in curves:
        points: list[complex] = []
        bulges = np.zeros(len(curve.xy)) if curve.bulge is None else curve.bulge
        for i, b in enumerate(bulges.tolist()):
            p, q = complex(*curve.xy[i]), complex(*curve.xy[(i + 1) % len(curve.xy)])
            points.append(p)
            if b:
                turn = 4 * math.atan(b)
                centre = (p + q) / 2 + (q - p) * 1j * (1 - b * b) / (4 * b)
                points += [centre + (p - centre) * np.exp(1j * turn * k / 60) for k in range(1, 60)]
        shapes[curve.layer].append(shapely.Polygon([(z.real, z.imag) for z in points]))
    (outer,) = shapes[Layer.CUT_OUTER]
    return outer.difference(shapely.union_all(shapes[Layer.CUT_INNER]))


@pytest.mark.parametrize("face", ["inside", "outside"])
def test_cut_outs_go_with_their_panels_onto_the_sheet(face: str) -> None:
    """Turned, mirrored and cut by GEOS, each copy is the panel as cut, holes and notch included."""
    job = parse_job(
        BASE.replace("kerf = 0.2", "kerf = { x = 0.16, y = 0.22 }")
        + cutout(panel="front", kind="round hole", diameter=9, from_left=30, from_top=20)
        + cutout(panel="front", kind="finger notch", from_right=25)
        + cutout(panel="left", kind="vents", size=[20, 4], rows=3, from_left=20)
        + f'\n[nest]\nface = "{face}"\n'
    )
    order = Order(title="First order", unit="mm", lines=lines_of([(job, 1)]))
    done = lay(order, sizes=[(120 * MM, 260 * MM)], level=1)
    assert not done.faults
    quarters = set()
    for sheet in done.sheets:
        for copy in sheet.copies:
            part = copy.piece.part
            if not part.holes:
                continue
            quarters.add(copy.piece.quarters)
            drawn = affinity.translate(outline(copy_curves(copy)), *(-s / MM for s in copy.shift))
            plain = affinity.scale(drawn, 1 / 0.08, 1 / 0.11, origin=(0, 0))
            cut = affinity.scale(
                plain.buffer(-1, join_style="mitre", quad_segs=32), 0.08, 0.11, origin=(0, 0)
            )
            home = affinity.rotate(cut, -90 * copy.piece.quarters, origin=(0, 0))
            if copy.piece.mirrored:
                home = affinity.scale(home, -1, 1, origin=(0, 0))
            want = shapely.Polygon(part.as_cut.ring(0) / MM)
            for hole in part.holes:
                want = want.difference(shape_of(hole.placed.hole))
            assert home.symmetric_difference(want).area < 0.05
            for stroke in sheet.marks:  # nothing is scored over a hole
                for hole in copy.piece.holes:
                    if hole.hole.open is None:
                        over = shapely.Polygon(hole.xy + np.array(copy.shift) / MM)
                        assert not shapely.LineString(stroke.xy).intersects(over)
    assert quarters - {0}


def shape_of(hole: Hole) -> shapely.Geometry:
    x0, y0, x1, y1 = (v / 2 / MM for v in hole.core)
    grown = shapely.box(x0, y0, x1, y1)
    if hole.diameter:
        grown = grown.buffer(hole.diameter / 2 / MM, quad_segs=256)
    return grown


# solids


@pytest.mark.solid
@pytest.mark.parametrize("name", FIXTURES[:1])
def test_holes_are_cut_out_of_the_solids_and_of_the_step_file(name: str) -> None:
    """Volumes by the solid kernel (OCCT), read back from STEP, against areas by GEOS."""
    from boxjoint.export.step import read_step
    from boxjoint.make import solid

    built, step = solid(build(read_job(JOBS / f"{name}.toml")))
    built.require()
    found = {s.name: s.volume for s in read_step(step)}
    for part in built.parts:
        shape = shapely.Polygon(
            part.as_cut.ring(0) / MM,
            [part.as_cut.ring(k) / MM for k in range(1, part.as_cut.count)],
        )
        for hole in part.holes:
            shape = shape.difference(shape_of(hole.as_cut))
        thick = part.panel.slab.thickness / MM
        assert found[part.panel.name] == pytest.approx(shape.area * thick, rel=1e-5)


@pytest.mark.solid
def test_a_hole_that_is_off_its_panel_or_in_another_is_a_fault_of_the_solids() -> None:
    from boxjoint.check.solid_holes import pierced_faults

    built = made(cutout(panel="front", kind="round hole", diameter=10))
    part = built.part("front")
    (hole,) = (h.as_cut for h in part.holes)
    rings = {"front": part.as_cut}
    assert pierced_faults(built.solution, rings, {"front": [hole]}) == ()
    beside = Hole(
        lo=(hole.lo[0] + 4 * MM, hole.lo[1]),
        hi=(hole.hi[0] + 4 * MM, hole.hi[1]),
        diameter=hole.diameter,
    )
    over = Hole(lo=(80 * MM, 58 * MM), hi=(90 * MM, 68 * MM), diameter=10 * MM)
    for wrong in ([hole, beside], [over]):
        (fault,) = pierced_faults(built.solution, rings, {"front": wrong})
        assert fault.size < 0


def test_one_looks_through_holes_and_notches_in_pictures() -> None:
    """Against plane geometry: the mouths of a hole lie (3, 3) mm apart, seen through 3 mm stock."""
    from boxjoint.export.isometric import isometric_view

    built = made(
        cutout(panel="front", kind="round hole", diameter=10, from_left=40),
        cutout(panel="front", kind="finger notch"),
    )
    front = built.part("front")
    t = front.panel.slab.thickness / MM
    by_kind = {h.placed.hole.open is None: h.placed.hole for h in front.holes}
    shift = (MM * 500, -MM * 300, MM * 70)
    for apart in ({}, {"front": shift}):
        alone = {"apart": apart}
        closed = isometric_view([front.panel], **alone).outlines[0]
        # the part that two circles share, a handbook's formula (from memory)
        r, d = 5.0, t * math.sqrt(2)
        lens = 2 * r**2 * math.acos(d / (2 * r)) - d / 2 * math.sqrt(4 * r**2 - d**2)
        view = isometric_view([front.panel], holes={"front": [by_kind[True]]}, **alone)
        lost = shapely.difference(closed, view.outlines[0]).area / MM**2
        assert lost == pytest.approx(lens, rel=0.01)
        walls = sum(p.area for _, p in view.walls) / MM**2
        assert walls == pytest.approx(math.pi * r**2 - lens, rel=0.02)

        # a notch 20 wide and 12 deep, round below: summed in lines along the rim
        def half(z: np.ndarray) -> np.ndarray:
            return np.where(z > -2, 10.0, np.sqrt(np.maximum(100 - (z + 2) ** 2, 0)))

        z = (np.arange(9000) + 0.5) * (12 - t) / 9000 - (12 - t)
        one, other = half(z), half(z - t)
        shared = np.minimum(one, t + other) - np.maximum(-one, t - other)
        below = np.maximum(shared, 0).mean() * (12 - t)
        above = t * (20 - t) + t**2 / 2
        view = isometric_view([front.panel], holes={"front": [by_kind[False]]}, **alone)
        lost = shapely.difference(closed, view.outlines[0]).area / MM**2
        assert lost == pytest.approx(below + above, rel=0.01)


def test_the_pictures_of_the_steps_have_the_holes() -> None:
    from boxjoint.export.steps import step_pictures

    plain = made()
    holed = made(cutout(panel="front", kind="finger notch"))
    few, more = (
        [len(p.picture.shapes) for p in step_pictures(b, width_mm=80, height_mm=80)]
        for b in (plain, holed)
    )
    assert len(few) == len(more)
    assert all(b > a for a, b in zip(few, more, strict=True))
