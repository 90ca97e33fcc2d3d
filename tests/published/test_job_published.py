"""Whole jobs against published sizes, a worked example, and readers that are not ours."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import cairosvg
import numpy as np
import oracle
import pyogrio.raw
import pytest
import shapely
import trimesh
from matplotlib import image

from boxjoint.check.built import Built
from boxjoint.export.palette import PENS
from boxjoint.export.report import report
from boxjoint.fit.compensate import Allowance, Beam, compensate, virtual_cut
from boxjoint.geometry.drawing import Layer
from boxjoint.geometry.rings import Rings, cut_rectangles, rectangle
from boxjoint.job.read import read_job
from boxjoint.job.records import (
    Cut,
    Inside,
    Job,
    JointAsk,
    PerAxis,
    Stock,
    Thickness,
    Top,
)
from boxjoint.make import build, files

ROOT = Path(__file__).parents[2]
PUBLISHED = ROOT / "fixtures" / "published"
FIXTURES = sorted((ROOT / "fixtures" / "jobs").glob("*.toml"))
MM = 1_000_000


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def job(inside_mm: tuple[float, float, float], **more: object) -> Job:
    length, width, height = (round(s * 1e6) for s in inside_mm)
    given = {
        "title": "Notebook box",
        "unit": "mm",
        "inside": Inside(length=length, width=width, height=height),
        "stock": Stock(
            material="birch plywood",
            thickness=Thickness(readings=(3_020_000, 3_050_000, 2_980_000), measured=True),
        ),
        "cut": Cut(kerf=PerAxis(x=0.16, y=0.20)),
        "joint": JointAsk(clearance=-30_000),
        "top": Top(kind="closed"),
    }
    return Job(**(given | more))  # type: ignore[arg-type]


def read_dxf(content: bytes, path: Path) -> dict[str, list[np.ndarray]]:
    """Points of every line by layer, as GDAL reads them, mm."""
    path.write_bytes(content)
    meta, _, shapes, fields = pyogrio.raw.read(path)
    layers = fields[list(meta["fields"]).index("Layer")].tolist()
    found: dict[str, list[np.ndarray]] = {}
    for layer, wkb in zip(layers, shapes, strict=True):
        shape = shapely.from_wkb(wkb)
        if shape.geom_type == "LineString":
            found.setdefault(layer, []).append(shapely.get_coordinates(shape))
    return found


def cut_rings(found: dict[str, list[np.ndarray]]) -> list[np.ndarray]:
    """Outline first, then holes; every ring that is cut must be closed."""
    rings = [*found.get("CUT_OUTER", []), *found.get("CUT_INNER", [])]
    for ring in rings:
        assert (ring[0] == ring[-1]).all()
    return [ring[:-1] for ring in rings]


def stretches(part: Any, line: Any) -> list[tuple[float, float]]:
    """Where a level or upright line runs in the part: (from, to) along it."""
    found = []
    for piece in shapely.get_parts(part.intersection(line)):
        if piece.length:
            a, b = shapely.get_coordinates(piece)[[0, -1]]
            k = int(a[0] == b[0])
            found.append((min(a[k], b[k]), max(a[k], b[k])))
    return sorted(found)


def span(built: Built, panel: str, axis: int) -> Iterator[float]:
    """Places across a panel where it stands back to its shoulders at both ends of an axis, mm.

    These are the middles of the segments that the mates at both ends own.
    """
    solution = built.solution
    index = solution.arrangement.index(panel)
    frame = solution.panel(panel).frame
    k = frame.axes.index(axis)
    for joint in solution.joints:
        if index not in (joint.a, joint.b) or joint.axis != frame.axes[1 - k]:
            continue
        mate = joint.mate(index)
        if solution.arrangement.slabs[mate].normal != axis:
            continue
        tabs = solution.tabs[joint.index]
        for lo, hi, owner in zip(
            tabs.lo.tolist(), tabs.hi.tolist(), tabs.owner.tolist(), strict=True
        ):
            if owner == mate:
                middle = (lo + hi) // 2
                yield frame.senses[1 - k] * (middle - frame.origin[1 - k]) / 1e6


# ISO 216: iso216_269_paper_sizes.csv -----------------------------------------------------------------

PAPER = [
    r
    for r in rows("iso216_269_paper_sizes.csv")
    if r["name"] in ("A2", "A3", "A4", "A5", "A6", "A7", "B4", "B5", "B6")
]


@pytest.mark.parametrize("row", PAPER, ids=lambda r: r["name"])
def test_paper_sizes_come_out_as_insides_to_the_last_digit(
    row: dict[str, str], tmp_path: Path
) -> None:
    """The inside is the paper with its greatest tolerance: nominal exact, as cut and in the files."""
    length = float(row["height_mm"]) + float(row["tol_h_pm_mm"])
    width = float(row["width_mm"]) + float(row["tol_w_pm_mm"])
    built = build(job((length, width, 30)))
    built.require()
    assert built.exact.passed
    assert built.solution.arrangement.insides[0].box.size == (
        round(length * 1e6),
        round(width * 1e6),
        30 * MM,
    )
    told = report(built)["inside"]
    assert (told["length"]["nominal"], told["width"]["nominal"]) == (length, width)
    for name, wanted in (("length", length), ("width", width), ("height", 30)):
        assert told[name]["as_cut"]["least"] == pytest.approx(wanted, abs=2.1e-6)
        assert told[name]["as_cut"]["greatest"] == pytest.approx(wanted, abs=2.1e-6)
    # read each drawing by GDAL, cut it by a beam in shapely, and lay a rule between the shoulders
    content = files(built)
    kerf = built.beam.kerf
    for panel, axis, wanted in (("front", 0, length), ("bottom", 1, width), ("left", 2, 30)):
        drawn = cut_rings(read_dxf(content[f"panels/{panel}.dxf"], tmp_path / f"{panel}.dxf"))
        part = oracle.kept_by_beam(drawn, kerf_x=kerf.x, kerf_y=kerf.y)
        k = built.solution.panel(panel).frame.axes.index(axis)
        places = list(span(built, panel, axis))
        assert places
        for at in places:
            line = [(-9, at), (2000, at)] if k == 0 else [(at, -9), (at, 2000)]
            found = stretches(part, shapely.LineString(line))
            assert len(found) == 1
            assert found[0][1] - found[0][0] == pytest.approx(wanted, abs=3e-6)


def test_no_paper_box_is_refused() -> None:
    """Every size of the table, from a metre to a few centimetres, is a box that is proved."""
    for row in rows("iso216_269_paper_sizes.csv"):
        built = build(job((float(row["height_mm"]), float(row["width_mm"]), 40)))
        assert built.passed, row["name"]


# kerf_compensation_worked_example.csv ----------------------------------------------------------------


def frame_with(width: int, height: int, border: int = 5 * MM) -> Rings:
    """A plate with one opening, nm."""
    w, h = width + 2 * border, height + 2 * border
    return cut_rectangles(
        (
            np.array([0, 0, 1, 1]),
            np.array([0, w, 0, h]),
            np.zeros(4, dtype=np.int64),
            np.array([h, h, w, w]),
            np.zeros(4, dtype=np.int64),
        ),
        np.array([[border, border, border + width, border + height]], dtype=np.int64),
        np.zeros(1, dtype=np.int64),
        np.zeros(1, dtype=np.int64),
    )


def extent(rings: Rings, k: int) -> list[float]:
    size: list[float] = (np.ptp(rings.ring(k), axis=0) / 1e6).tolist()
    return size


@pytest.mark.parametrize("row", rows("kerf_compensation_worked_example.csv"))
def test_the_worked_example_of_kerf(row: dict[str, str]) -> None:
    value = {name: float(text) for name, text in row.items()}
    beam = Beam(kerf=PerAxis(x=value["kerf_mm"], y=value["kerf_mm"]))
    w, h = (round(value[k] * 1e6) for k in ("drawn_w", "drawn_h"))
    part, plate = rectangle(0, 0, w, h), frame_with(w, h)
    # drawn as they are, a part comes out smaller and an opening larger, by the full kerf
    assert extent(virtual_cut(part, beam), 0) == [value["part_w"], value["part_h"]]
    assert extent(virtual_cut(plate, beam), 1) == [value["opening_w"], value["opening_h"]]
    # to get the size that was drawn, draw this instead
    none = Allowance(clearance=[])
    drawn_part, drawn_plate = (
        compensate(part, beam, none).rings,
        compensate(plate, beam, none).rings,
    )
    assert extent(drawn_part, 0) == [value["draw_for_part_w"], value["draw_for_part_h"]]
    assert extent(drawn_plate, 1) == [value["draw_for_opening_w"], value["draw_for_opening_h"]]
    assert extent(virtual_cut(drawn_part, beam), 0) == [value["drawn_w"], value["drawn_h"]]
    assert extent(virtual_cut(drawn_plate, beam), 1) == [value["drawn_w"], value["drawn_h"]]


# ISO 286-1: the sign of clearance --------------------------------------------------------------------

# Fundamental deviations of shafts at 18 to 24 mm, um, from memory (ISO 286-1 tables): g -7 and f -20
# (upper deviation es), p +22 and s +35 (lower deviation ei). The hole H begins at 0.
SHAFTS = {"g6": ("es", -7), "f7": ("es", -20), "p6": ("ei", 22), "s6": ("ei", 35)}


@pytest.mark.parametrize("shaft", sorted(SHAFTS))
def test_clearance_is_hole_less_shaft_and_interference_is_negative(shaft: str) -> None:
    """ISO 286-1: the size of the hole less that of the shaft; g and f are loose in H7, p and s press."""
    row = next(r for r in rows("iso286_it_table.csv") if r["over_mm"] == "18")
    grade = {g: int(row[f"IT{g}_um"]) for g in (6, 7)}
    side, deviation = SHAFTS[shaft]
    half = grade[int(shaft[1])] / 2
    middle = deviation - half if side == "es" else deviation + half
    wanted = (grade[7] / 2 - middle) / 1000
    assert (wanted > 0) == (shaft[0] in "gf")
    # nine segments of 20 mm on the joint between bottom and front
    ask = JointAsk(clearance=round(wanted * 1e6), segments={"length": 9})
    built = build(job((180, 100, 40), joint=ask))
    built.require()
    front, bottom = (built.solution.panel(n) for n in ("front", "bottom"))
    front_part, bottom_part = (
        shapely.Polygon(built.part(n).as_cut.ring(0) / 1e6) for n in ("front", "bottom")
    )
    t = front.slab.thickness / 1e6
    along_front = shapely.LineString([(-9, t / 2), (300, t / 2)])
    top = bottom.size[1] / 1e6 - t / 2  # seen from below, the front is at the upper edge
    along_bottom = shapely.LineString([(-9, top), (300, top)])
    tabs, teeth = stretches(front_part, along_front), stretches(bottom_part, along_bottom)
    assert len(tabs) == 4
    slots = [(a[1], b[0]) for a, b in pairwise(teeth)]
    assert len(slots) == 4
    for tab, slot in zip(tabs, slots, strict=True):
        assert (slot[1] - slot[0]) - (tab[1] - tab[0]) == pytest.approx(wanted, abs=4e-6)
        # a hole of the basic size and the tolerance are shared by both, about the nominal 20 mm
        assert tab[1] - tab[0] == pytest.approx(20 - wanted / 2, abs=2e-6)
    measured = report(built)["joints"][0]["clearance"]
    assert (measured["least"] > 0) == (shaft[0] in "gf")


# readers that are not ours ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def all_built() -> dict[str, tuple[Built, dict[str, bytes]]]:
    found = {}
    for path in FIXTURES:
        built = build(read_job(path))
        found[path.stem] = (built, files(built))
    return found


def cutout_shape(told: dict[str, Any], kerf: float) -> Any:
    """A cut-out as the report has it drawn: its corners, where round, by half the kerf less round."""
    radius = max(told["corner_radius"] - kerf / 2, 0)
    (x0, y0), (x1, y1) = told["drawn_from"], told["drawn_to"]
    if told["open"]:  # a notch goes on beyond the rim, where there is no panel
        out = radius + 1
        x0 -= out * (told["open"] == "left")
        x1 += out * (told["open"] == "right")
        y0 -= out * (told["open"] == "bottom")
        y1 += out * (told["open"] == "top")
    if radius == 0:
        return shapely.box(x0, y0, x1, y1)
    # the middles of the corners fall together in a circle, and in pairs in a slot
    ends = [(x, y) for x in (x0 + radius, x1 - radius) for y in (y0 + radius, y1 - radius)]
    return shapely.MultiPoint(ends).convex_hull.buffer(radius, quad_segs=64)


def as_files(panels: dict[str, Any]) -> dict[str, Any]:
    """What has a drawing of its own: the pieces of a panel that a seam divides, instead of it."""
    found = {}
    for name, data in panels.items():
        found |= data.get("pieces") or {name: data}
    return found


@pytest.mark.parametrize("release", ["R2000", "R12"])
@pytest.mark.parametrize("name", [p.stem for p in FIXTURES])
def test_gdal_reads_every_drawing_as_the_report_has_it(
    all_built: dict[str, tuple[Built, dict[str, bytes]]],
    name: str,
    release: str,
    tmp_path: Path,
) -> None:
    built, content = all_built[name]
    if release == "R12":
        content = files(built, dxf="R12")
    told = as_files(report(built)["panels"])
    kerf = built.plan.beam.kerf
    for panel, data in told.items():
        found = read_dxf(content[f"panels/{panel}.dxf"], tmp_path / "panel.dxf")
        rings = cut_rings(found)
        closed = [c for c in data["cutouts"] if c["open"] is None]
        assert len(data["drawn_rings"]) == 1 + data["holes"]
        assert len(rings) == 1 + data["holes"] + len(closed)
        wanted = shapely.Polygon(data["drawn_rings"][0], data["drawn_rings"][1:])
        read = shapely.Polygon(rings[0], rings[1:])
        if data["cutouts"]:
            shapes = [cutout_shape(c, (kerf.x + kerf.y) / 2) for c in data["cutouts"]]
            wanted = shapely.difference(wanted, shapely.union_all(shapes))
            # the reader makes chords of 4 degrees of arcs: 0.1 % of a circle; where kerf or scale
            # differ along x and y, corners are drawn a little off a circle
            radii = sum(c["corner_radius"] for c in data["cutouts"])
            doubt = sum(1e-3 * np.pi * c["corner_radius"] ** 2 for c in data["cutouts"])
            doubt += abs(kerf.x - kerf.y) / 2 * 2 * np.pi * radii + 1e-6 * wanted.length
            added, gone = read.difference(wanted).area, wanted.difference(read).area
            assert added < doubt
            assert gone < doubt + (0.02 * wanted.area if data["relieved_corners"] else 0)
            # where each hole lies, sharply: chords of 4 degrees miss the top of an arc by no more
            # than r(1 - cos 2 degrees)
            if data["holes"] == 0:
                # in one sequence, whatever the last decimals of chords
                found_at, told_at = (
                    np.array(sorted(boxes, key=lambda box: [round(v, 1) for v in box]))
                    for boxes in (
                        [shapely.Polygon(r).bounds for r in rings[1:]],
                        [(*c["drawn_from"], *c["drawn_to"]) for c in closed],
                    )
                )
                most = max((c["corner_radius"] for c in closed), default=0)
                assert found_at.shape == told_at.shape
                assert np.allclose(found_at, told_at, atol=most * 6.1e-4 + 2e-6, rtol=0)
        elif data["relieved_corners"]:
            # the report's rings leave out arcs, which take material away
            assert 0.98 * wanted.area < read.area < wanted.area
        else:
            assert read.area == pytest.approx(wanted.area, abs=1e-6 * wanted.length)
            assert len(rings[0]) == len(data["drawn_rings"][0])
        # the lower left corner of the nominal panel lies at 0, 0
        outline = shapely.Polygon(rings[0])
        assert outline.bounds == pytest.approx(wanted.bounds, abs=1e-6)
        # the check square is 100 mm, and lies clear of what is cut
        squares = [  # the other closed line of five points is the dot of a letter
            r
            for r in found["REFERENCE"]
            if len(r) == 5 and (r[0] == r[-1]).all() and np.ptp(r, axis=0).min() > 50
        ]
        assert len(squares) == 1
        assert np.ptp(squares[0], axis=0)[:2].tolist() == pytest.approx([100, 100])
        assert squares[0][:, 0].min() > outline.bounds[2]
    together = cut_rings(read_dxf(content["panels.dxf"], tmp_path / "panels.dxf"))
    assert len(together) == sum(
        1 + d["holes"] + sum(c["open"] is None for c in d["cutouts"]) for d in told.values()
    )


@pytest.mark.parametrize("name", ["slide-tray", "cube-20", "pencil-tray-inch"])
def test_trimesh_sees_millimetres_and_the_areas(
    all_built: dict[str, tuple[Built, dict[str, bytes]]], name: str
) -> None:
    built, content = all_built[name]
    for panel, data in report(built)["panels"].items():
        read = trimesh.load_path(io.BytesIO(content[f"panels/{panel}.dxf"]), file_type="dxf")
        assert read.units == "millimeters"
        # the outline beside the square; marks and letters are no closed areas
        areas = [p.area for p in read.polygons_closed if p is not None]
        wanted = shapely.Polygon(data["drawn_rings"][0]).area
        assert min(abs(a - wanted) for a in areas) < 1e-4 * wanted
        assert min(abs(a - 10_000) for a in areas) < 1e-3


def pixels(svg: bytes, layer: Layer, dots_a_mm: int) -> tuple[float, float]:
    """Width and height of what is drawn in a layer's colour, mm, by a renderer that knows the unit."""
    png = cairosvg.svg2png(svg, dpi=25.4 * dots_a_mm, background_color="white")
    picture = image.imread(io.BytesIO(png))[..., :3]
    rgb = np.array([int(PENS[layer].rgb[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    near = np.abs(picture - rgb).max(axis=2) < 0.25
    columns, lines = np.flatnonzero(near.any(axis=0)), np.flatnonzero(near.any(axis=1))
    return (
        (columns[-1] - columns[0] + 1) / dots_a_mm,
        (lines[-1] - lines[0] + 1) / dots_a_mm,
    )


@pytest.mark.parametrize(("name", "panel"), [("cube-20", "front"), ("pencil-tray-inch", "left")])
def test_an_svg_is_as_large_as_the_panel(
    all_built: dict[str, tuple[Built, dict[str, bytes]]], name: str, panel: str
) -> None:
    built, content = all_built[name]
    svg = content[f"panels/{panel}.svg"]
    root = ElementTree.fromstring(svg)
    # CSS: a width in mm and a viewBox of as many units leave nothing for a program to assume
    width, height = root.get("width", ""), root.get("height", "")
    assert width.endswith("mm")
    assert height.endswith("mm")
    assert root.get("viewBox", "").split()[2:] == [width[:-2], height[:-2]]
    dots = 20
    wide, high = pixels(svg, Layer.CUT_OUTER, dots)
    drawn = report(built)["panels"][panel]["drawn_size"]
    pen = PENS[Layer.CUT_OUTER].width_mm  # half of it on either side, and two pixels of doubt
    assert wide == pytest.approx(drawn[0] + pen, abs=2 / dots)
    assert high == pytest.approx(drawn[1] + pen, abs=2 / dots)
