"""Sheet files and papers, read by general libraries: GDAL, shapely, poppler."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely
from click.testing import CliRunner

from boxjoint.cli.main import boxjoint
from boxjoint.order.lay import lay
from boxjoint.order.read import read_order

ROOT = Path(__file__).parents[2]
ORDER = ROOT / "fixtures" / "orders" / "first-term.toml"


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("order")
    done = CliRunner().invoke(
        boxjoint, ["sheets", str(ORDER), "--out", str(folder), "--date", "2026-03-01"],
        catch_exceptions=False,
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    return folder


def rings_of(path: Path) -> dict[str, list[shapely.Polygon]]:
    """Closed polylines by layer, as GDAL's DXF reader has them, in the sequence of the file."""
    _, _, geometry, fields = pyogrio.raw.read(path, columns=["Layer"])
    found: dict[str, list[shapely.Polygon]] = {}
    for layer, wkb in zip(fields[0], geometry, strict=True):
        shape = shapely.from_wkb(wkb)
        if layer.startswith("CUT"):
            assert shape.geom_type == "LineString"
            assert shape.is_closed
            found.setdefault(layer, []).append(shapely.Polygon(shape))
    return found


def test_gdal_reads_every_sheet_with_the_parts_and_areas_of_the_order(out: Path) -> None:
    laid = lay(read_order(ORDER))
    for sheet in laid.sheets:
        rings = rings_of(out / f"{sheet.name}.dxf")
        outlines = [c for c in sheet.copies if c.placement.host is None]
        assert len(rings["CUT_OUTER"]) == len(outlines)
        ours = sorted(shapely.Polygon(c.piece.drawn.rings.ring(0) / 1e6).area for c in outlines)
        assert sorted(p.area for p in rings["CUT_OUTER"]) == pytest.approx(ours, rel=1e-9)
        wide, high = sheet.nested.stock.width / 1e6, sheet.nested.stock.height / 1e6
        margin = laid.ask.margin / 1e6
        room = shapely.box(margin, margin, wide - margin, high - margin).buffer(1e-6)
        assert all(room.contains(p) for p in rings["CUT_OUTER"])


def test_no_two_outlines_come_nearer_than_the_spacing_and_holes_lie_inside(out: Path) -> None:
    for path in sorted(out.glob("sheet-*.dxf")):
        rings = rings_of(path)
        parts = rings["CUT_OUTER"]
        tree = shapely.STRtree(parts)
        for i, part in enumerate(parts):
            near = tree.query(part, predicate="dwithin", distance=2.0 - 1e-6)
            assert set(near.tolist()) == {i}
        for hole in rings.get("CUT_INNER", []):
            assert sum(p.contains(hole) for p in parts) == 1


def test_nothing_is_drawn_twice(out: Path) -> None:
    """No side of any cut path lies on a side of another."""
    for path in sorted(out.glob("sheet-*.dxf")):
        lines = [
            shapely.LineString(pair)
            for polygons in rings_of(path).values()
            for p in polygons
            for pair in pairwise(np.asarray(p.exterior.coords))
        ]
        tree = shapely.STRtree(lines)
        a, b = tree.query(lines, predicate="intersects")
        shared = [
            shapely.intersection(lines[i], lines[j]).length
            for i, j in zip(a.tolist(), b.tolist(), strict=True)
            if i < j
        ]
        assert max(shared, default=0.0) < 1e-6


def test_a_simulator_that_drops_parts_finds_no_later_cut_on_a_loose_one(out: Path) -> None:
    """Layer after layer, as a controller takes them: nothing lies inside what has dropped."""
    for path in sorted(out.glob("sheet-*.dxf")):
        rings = rings_of(path)
        dropped: list[shapely.Polygon] = []
        for layer in ("CUT_INNER", "CUT_OUTER"):
            for ring in rings.get(layer, []):
                assert not any(d.contains(ring) for d in dropped)
                dropped.append(ring)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is not installed")
def test_the_papers_name_every_part_and_sheet(out: Path) -> None:
    done = subprocess.run(
        ["pdftotext", "-layout", str(out / "shop.pdf"), "-"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    words = " ".join(done.stdout.split())
    data = json.loads((out / "order.json").read_text())
    for sheet in data["sheets"]:
        assert f"{sheet['name']}.dxf" in words
    for line in data["lines"]:
        assert line["name"] in words
    assert "Stay with the machine" in words
    assert "2026-03-01" in words


def test_the_svg_of_a_sheet_has_its_physical_size(out: Path) -> None:
    text = (out / "sheet-01.svg").read_text()
    found = re.search(
        r'width="([\d.]+)mm" height="([\d.]+)mm" viewBox="0 0 ([\d.]+) ([\d.]+)"', text
    )
    assert found is not None
    w, h, vw, vh = map(float, found.groups())
    assert (w, h) == (vw, vh)
    assert w > 600 and h > 400
