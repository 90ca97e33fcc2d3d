"""What the files claim, against published definitions: units, arcs, colours; and one true-size print."""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
import os
import shutil
import subprocess
from pathlib import Path

import cairosvg
import numpy as np
import pyogrio.raw
import pytest
from ezdxf.colors import aci2rgb
from matplotlib import image

from boxjoint.export.dxf import drawing_to_dxf
from boxjoint.export.palette import PENS
from boxjoint.export.svg import drawing_to_svg
from boxjoint.geometry.drawing import Curve, Drawing, Layer

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"


def specimen_drawer(bulge: float | None = None) -> Drawing:
    """A rectangle of 80 x 50 mm, or one side of 80 mm bulged out and closed by its chord."""
    if bulge is None:
        xy = np.array([(0, 0), (80, 0), (80, 50), (0, 50)], dtype=float)
        curve = Curve(layer=Layer.CUT_OUTER, xy=xy)
    else:
        xy = np.array([(0, 0), (80, 0)], dtype=float)
        curve = Curve(layer=Layer.CUT_OUTER, xy=xy, bulge=np.array([bulge, 0.0]))
    return Drawing(title="Specimen drawer", size=(80.0, 50.0), curves=(curve,))


# DXF header variable $INSUNITS: dxf_insunits.csv


def test_insunits_is_the_code_of_millimetres() -> None:
    with (PUBLISHED / "dxf_insunits.csv").open(newline="", encoding="utf-8") as file:
        rows = {row["code"]: row for row in csv.DictReader(file)}
    lines = drawing_to_dxf(specimen_drawer()).split("\n")
    code = lines[lines.index("$INSUNITS") + 2]
    assert lines[lines.index("$INSUNITS") + 1].strip() == "70"
    assert rows[code]["unit"] == "Millimeters"
    assert float(rows[code]["metres_per_unit_exact_or_def"]) == 0.001


def test_r12_has_no_insunits_and_says_mm_in_words() -> None:
    # $INSUNITS came with R2000 (same source); in its absence the text has to carry the unit
    lines = drawing_to_dxf(specimen_drawer(), version="R12").split("\n")
    assert "$INSUNITS" not in lines
    assert lines[:2] == ["999", "lengths in mm"]
    assert "All lengths in this file are in mm." in lines


# DXF reference, LWPOLYLINE group 42: bulge is the tangent of a quarter of the included angle; 1 is a
# half circle; positive runs counter-clockwise from start to end


@pytest.mark.parametrize("degrees", [30, 90, 180, 270, -90, -180])
def test_bulge_is_read_by_gdal_as_the_angle_meant(degrees: float, tmp_path: Path) -> None:
    path = tmp_path / "arc.dxf"
    bulge = math.tan(math.radians(degrees) / 4)
    path.write_bytes(drawing_to_dxf(specimen_drawer(bulge)).encode("ascii"))
    meta, _, shapes, fields = pyogrio.raw.read(path)
    layers = fields[list(meta["fields"]).index("Layer")].tolist()
    wkb = shapes[layers.index("CUT_OUTER")]
    # OGC 06-103r4, WKB of a LineString: byte order, type (2, another number with Z), count, points
    kind, count = np.frombuffer(wkb, "<u4", 2, 1).tolist()
    across = 2 if kind == 2 else 3
    y = np.frombuffer(wkb, "<f8", count * across, 9).reshape(-1, across)[:, 1]
    radius = 40 / math.sin(math.radians(abs(degrees)) / 2)
    sagitta = radius * (1 - math.cos(math.radians(abs(degrees)) / 2))
    # counter-clockwise from left to right hangs below the chord; chords of 4 degrees lie up to
    # r (1 - cos 2 deg) inside the arc
    deepest = y.min() if degrees > 0 else y.max()
    wanted = -sagitta if degrees > 0 else sagitta
    assert deepest == pytest.approx(wanted, abs=radius * (1 - math.cos(math.radians(2))))


# W3C CSS Values and Units, absolute lengths: 1 in = 25.4 mm = 96 px


def test_at_96_dots_an_inch_a_millimetre_is_96_over_25_4_dots() -> None:
    png = cairosvg.svg2png(drawing_to_svg(specimen_drawer()).encode("utf-8"), dpi=96)
    height, width = image.imread(io.BytesIO(png)).shape[:2]
    # 80 + 10 + 100 mm with 5 mm of border all round, and the square's 100 mm with the same
    assert width == pytest.approx(200 * 96 / 25.4, abs=1)
    assert height == pytest.approx(110 * 96 / 25.4, abs=1)


# the palette


def linear(rgb: str) -> np.ndarray:
    """Linear sRGB, 0 to 1 (IEC 61966-2-1, from memory)."""
    value = np.array([int(rgb[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(colour: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65 (CIE 15 and IEC 61966-2-1, from memory)."""
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    ratio = to_xyz @ colour / (to_xyz @ np.ones(3))
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("layer", Layer)
def test_contrast_on_white_and_on_black(layer: Layer) -> None:
    # WCAG 2.1, success criterion 1.4.11: 3:1 for graphics; relative luminance as defined there
    luminance = float(linear(PENS[layer].rgb) @ [0.2126, 0.7152, 0.0722])
    assert 1.05 / (luminance + 0.05) >= 3
    assert (luminance + 0.05) / 0.05 >= 3


@pytest.mark.parametrize("sight", ["usual", "protanopia", "deuteranopia", "tritanopia"])
def test_colours_stay_apart_for_colour_blind_people(sight: str) -> None:
    # machado_2009_full_severity.json; a difference of 2.3 is just noticeable (Mahy and others 1994,
    # from memory), ten times that is asked for here
    matrices = json.loads((PUBLISHED / "machado_2009_full_severity.json").read_text("utf-8"))
    matrix = np.array(matrices.get(sight, np.eye(3).tolist()))
    seen = [lab(np.clip(matrix @ linear(pen.rgb), 0, 1)) for pen in PENS.values()]
    apart = [float(np.linalg.norm(a - b)) for a, b in itertools.combinations(seen, 2)]
    assert min(apart) > 23


@pytest.mark.parametrize("layer", Layer)
def test_dxf_index_is_the_same_colour(layer: Layer) -> None:
    # ezdxf's table of the DXF colour indices
    assert "#{:02X}{:02X}{:02X}".format(*aci2rgb(PENS[layer].aci)) == PENS[layer].rgb


def test_no_pen_is_a_full_primary_or_secondary_and_all_differ() -> None:
    for pen in PENS.values():
        assert {pen.rgb[i : i + 2] for i in (1, 3, 5)} - {"00", "FF"}
        assert 0 < pen.width_mm <= 0.2
    assert len({pen.aci for pen in PENS.values()}) == len(Layer)
    # in black and white: cut lines differ in width, and only what is never cut is dashed
    assert PENS[Layer.CUT_OUTER].width_mm > PENS[Layer.CUT_INNER].width_mm
    assert [layer for layer in Layer if PENS[layer].dashed] == [Layer.REFERENCE]


# a print at 1:1 by a program that reads the unit


@pytest.mark.skipif(
    shutil.which("librecad") is None or shutil.which("pdftoppm") is None,
    reason="librecad or pdftoppm is not installed",
)
def test_print_at_true_size(tmp_path: Path) -> None:
    path = tmp_path / "drawer.dxf"
    path.write_bytes(drawing_to_dxf(specimen_drawer()).encode("ascii"))
    subprocess.run(
        ["librecad", "dxf2pdf", "-m", "-s", "1", str(path)],
        env=os.environ | {"QT_QPA_PLATFORM": "offscreen", "HOME": str(tmp_path)},
        check=True,
        timeout=60,
        capture_output=True,
        cwd=tmp_path,
    )
    # 254 dots an inch are 10 dots a mm
    command = ["pdftoppm", "-r", "254", "-png", "-singlefile", "drawer.pdf", "drawer"]
    subprocess.run(command, check=True, timeout=60, capture_output=True, cwd=tmp_path)
    dark = image.imread(tmp_path / "drawer.png")[..., :3].min(axis=2) < 0.9
    columns, rows = np.flatnonzero(dark.any(axis=0)), np.flatnonzero(dark.any(axis=1))
    # from the rectangle's left side to the square's right side, and the square's height
    assert columns[-1] - columns[0] == pytest.approx(1900, abs=5)
    assert rows[-1] - rows[0] == pytest.approx(1000, abs=5)
