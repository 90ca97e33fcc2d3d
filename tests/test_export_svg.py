"""SVG: well-formed, in mm, y up, and of the size that two renderers report."""

from __future__ import annotations

import io
import math
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from typing import Any

import cairosvg
import numpy as np
import pytest
from matplotlib import image

from boxjoint.errors import InputError
from boxjoint.export.layout import BORDER_MM, lay_out
from boxjoint.export.palette import PENS
from boxjoint.export.svg import drawing_to_svg
from boxjoint.geometry.drawing import Curve, Drawing, Label, Layer

SVG = "{http://www.w3.org/2000/svg}"

RECTANGLE = np.array([(0, 0), (40, 0), (40, 25.4), (0, 25.4)])


def drawn(**changes: Any) -> Drawing:
    """A drawing of one rectangle of 40 x 25.4 mm, with what the test changes."""
    known: dict[str, Any] = {
        "title": "Notebook box, left",
        "size": (40.0, 25.4),
        "curves": (Curve(layer=Layer.CUT_OUTER, xy=RECTANGLE),),
        "notes": ("kerf applied: 0.18 mm", "scale 1, assumed"),
    }
    return Drawing(**(known | changes))


def parsed(drawing: Drawing) -> ET.Element:
    return ET.fromstring(drawing_to_svg(drawing).encode("utf-8"))


def group(root: ET.Element, layer: str) -> ET.Element:
    (found,) = [g for g in root.findall(f"{SVG}g") if g.get("id") == layer]
    return found


def page_of(root: ET.Element) -> tuple[float, float]:
    """Width and height of the page, mm; the view box must be the same in mm."""
    width, height = (re.fullmatch(r"([\d.]+)mm", root.get(n, "")) for n in ("width", "height"))
    assert width is not None
    assert height is not None
    assert root.get("viewBox") == f"0 0 {width[1]} {height[1]}"
    return float(width[1]), float(height[1])


def flattened(data: str) -> np.ndarray:
    """Points of a path of one ring, arcs in 400 chords by the SVG 1.1 rules (appendix F.6.5)."""
    words = data.split()
    points: list[complex] = []
    while words:
        command = words.pop(0)
        if command in "ML":
            points.append(complex(float(words.pop(0)), float(words.pop(0))))
        elif command == "A":
            rx, ry, turn, large, sweep, x, y = (float(words.pop(0)) for _ in range(7))
            assert rx == ry
            assert turn == 0
            start, end = points[-1], complex(x, y)
            half = (start - end) / 2
            radius = max(rx, abs(half))
            away = math.sqrt(max(radius**2 / abs(half) ** 2 - 1, 0)) * half
            centre = (start + end) / 2 + away * (1j if large != sweep else -1j) * -1
            first, last = (start - centre), (end - centre)
            angle = math.atan2((last / first).imag, (last / first).real)
            if sweep and angle < 0:
                angle += math.tau
            if not sweep and angle > 0:
                angle -= math.tau
            assert (abs(angle) > math.pi) == bool(large)
            steps = np.exp(1j * angle * np.arange(1, 401) / 400)
            points += list(centre + first * steps)
        else:
            assert (command, words) == ("Z", [])
    return np.array([(p.real, p.imag) for p in points])


def signed_area(ring: np.ndarray) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def test_page_is_in_mm_with_a_border() -> None:
    # from the panel's left edge to the square's right edge: 40 + 10 + 100; the square is the highest
    assert page_of(parsed(drawn())) == (150 + 2 * BORDER_MM, 100 + 2 * BORDER_MM)


def test_one_group_a_layer_in_sequence_even_when_empty() -> None:
    root = parsed(drawn())
    groups = root.findall(f"{SVG}g")
    assert [g.get("id") for g in groups] == ["MARK", "CUT_INNER", "CUT_OUTER", "REFERENCE"]
    for g in groups:
        pen = PENS[Layer(g.get("id", ""))]
        assert g.get("fill") == "none"
        assert g.get("stroke") == pen.rgb
        assert 0.1 <= float(g.get("stroke-width", "0")) <= 0.2
        dashed = [p.get("stroke-dasharray") is not None for p in g.findall(f"{SVG}path")]
        # of the reference only the check square is dashed, letters never are
        assert any(dashed) == (g.get("id") == "REFERENCE")


def test_y_points_up_and_coordinates_are_exact() -> None:
    # a step only at the lower right corner, and coordinates down to the nanometre
    ring = np.array([(0.000001, 0), (30, 0), (30, 7.123457), (40, 7.123457), (40, 25.4), (0, 25.4)])
    root = parsed(drawn(curves=(Curve(layer=Layer.CUT_OUTER, xy=ring),)))
    _, height = page_of(root)
    (path,) = group(root, "CUT_OUTER")
    data = path.get("d", "")
    assert data.endswith(" Z")
    page = flattened(data)
    back = np.column_stack([page[:, 0] - BORDER_MM, height - BORDER_MM - page[:, 1]])
    assert np.rint(back * 1e6).astype(int).tolist() == np.rint(ring * 1e6).astype(int).tolist()
    assert signed_area(back) > 0


def test_what_lies_left_of_or_below_the_origin_is_on_the_page_too() -> None:
    ring = RECTANGLE - (3.5, 8.25)
    root = parsed(drawn(curves=(Curve(layer=Layer.CUT_OUTER, xy=ring),)))
    width, height = page_of(root)
    page = flattened(group(root, "CUT_OUTER")[0].get("d", ""))
    assert page.min(axis=0) == pytest.approx((BORDER_MM, height - BORDER_MM - 25.4))
    assert page[:, 1].max() == pytest.approx(height - BORDER_MM)
    assert width == pytest.approx(153.5 + 2 * BORDER_MM)
    desc = root.findtext(f"{SVG}desc") or ""
    assert "origin 8.5 mm from the left and 13.25 mm from below" in desc


@pytest.mark.parametrize("turn", [10, 90, 179.9, 180, 180.1, 270, 355, -10, -90, -180, -300])
def test_arcs_have_the_area_that_their_angle_asks(turn: float) -> None:
    # a circular segment: r^2 (a - sin a) / 2 on a chord of 2 r sin(a/2) (plane geometry)
    angle = math.radians(abs(turn))
    radius = 20 / (2 * math.sin(angle / 2))
    bulge = math.copysign(math.tan(angle / 4), turn)
    # from (0, 0) to (20, 0), then straight back
    arc = Curve(layer=Layer.CUT_INNER, xy=np.array([(0, 0), (20, 0.0)]), bulge=np.array([bulge, 0]))
    page = flattened(group(parsed(drawn(curves=(arc,))), "CUT_INNER")[0].get("d", ""))
    segment = radius**2 * (angle - math.sin(angle)) / 2
    # y points down on the page, so counter-clockwise counts negative; chords miss 1/400^2
    assert signed_area(page) == pytest.approx(-math.copysign(segment, turn), rel=1e-5)
    # seen with y up, a counter-clockwise arc from left to right hangs below its chord
    middle = page[:, 1].max() if turn > 0 else page[:, 1].min()
    sagitta = radius * (1 - math.cos(angle / 2))
    chord_y = page[0, 1]
    assert middle - chord_y == pytest.approx(math.copysign(sagitta, turn), abs=3e-5)


def test_labels_are_open_strokes_and_text_is_on_reference_only() -> None:
    label = Label(layer=Layer.MARK, at=(20, 12), text="left", height=5)
    root = parsed(drawn(labels=(label,)))
    (path,) = group(root, "MARK")
    data = path.get("d", "")
    assert data.count("M") >= 4
    assert "Z" not in data
    texts = list(root.iter(f"{SVG}text"))
    assert texts
    assert texts == list(group(root, "REFERENCE").iter(f"{SVG}text"))


def test_title_notes_and_unit_are_in_the_file_twice() -> None:
    root = parsed(drawn())
    assert root.findtext(f"{SVG}title") == "Notebook box, left"
    desc = root.findtext(f"{SVG}desc") or ""
    shown = [t.text for t in root.iter(f"{SVG}text")]
    for note in drawn().notes:
        assert note in desc.splitlines()
        assert note in shown
    assert "lengths in mm" in desc
    assert "All lengths in this file are in mm." in shown


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("a <b> & 'c' \"d\" ]]> -->", "a <b> & 'c' \"d\" ]]> -->"),
        ("</title><script>x</script>", "</title><script>x</script>"),
        ("nul \x00 bell \x07 escape \x1b", "nul bell escape"),
        ("lone \ud800 surrogate \ufffe no character \uffff", "lone surrogate no character"),
        ("two\nlines\r\nand\u2028more", "two lines and more"),
        ("Größe ±0.05 寸法 \U0001f4e6", "Größe ±0.05 寸法 \U0001f4e6"),
        ("&#0; &bogus;", "&#0; &bogus;"),
    ],
)
def test_text_is_escaped_and_cleaned(text: str, read: str) -> None:
    root = parsed(drawn(title=text, notes=(text,)))
    assert root.findtext(f"{SVG}title") == read
    assert {child.tag for child in root} == {f"{SVG}{t}" for t in ("title", "desc", "g")}


def test_same_drawing_same_bytes() -> None:
    assert drawing_to_svg(drawn()) == drawing_to_svg(drawn())


def test_what_cannot_be_written_is_refused() -> None:
    bad = Curve(layer=Layer.CUT_OUTER, xy=RECTANGLE * float("nan"))
    with pytest.raises(InputError, match="not finite"):
        drawing_to_svg(drawn(curves=(bad,)))


# renderers; at 254 dots an inch a dot is 0.1 mm


def dark_extent(png: bytes) -> tuple[int, int, int, int]:
    """Columns and rows of the first and last dots that are not white: x0, x1, y0, y1."""
    picture = image.imread(io.BytesIO(png))
    seen = picture[..., :3].min(axis=2) < 0.9
    columns, rows = np.flatnonzero(seen.any(axis=0)), np.flatnonzero(seen.any(axis=1))
    return int(columns[0]), int(columns[-1]), int(rows[0]), int(rows[-1])


def test_cairosvg_draws_the_physical_size() -> None:
    svg = drawing_to_svg(drawn()).encode("utf-8")
    # 10 dots a mm; cairosvg reckons lengths at dpi dots an inch
    png = cairosvg.svg2png(svg, dpi=254, background_color="white")
    assert image.imread(io.BytesIO(png)).shape[:2] == (1100, 1600)
    x0, x1, y0, y1 = dark_extent(png)
    # from the panel's left edge at 5 mm to the square's right edge at 155 mm
    assert (x0, x1) == (pytest.approx(50, abs=1), pytest.approx(1549, abs=1))
    assert (y0, y1) == (pytest.approx(50, abs=1), pytest.approx(1049, abs=1))


@pytest.mark.skipif(shutil.which("rsvg-convert") is None, reason="rsvg-convert is not installed")
def test_rsvg_draws_the_physical_size() -> None:
    svg = drawing_to_svg(drawn()).encode("utf-8")
    command = ["rsvg-convert", "-d", "254", "-p", "254", "--background-color", "white"]
    done = subprocess.run(command, input=svg, capture_output=True, check=True)
    assert image.imread(io.BytesIO(done.stdout)).shape[:2] == (1100, 1600)
    x0, x1, y0, y1 = dark_extent(done.stdout)
    assert (x0, x1) == (pytest.approx(50, abs=1), pytest.approx(1549, abs=1))
    assert (y0, y1) == (pytest.approx(50, abs=1), pytest.approx(1049, abs=1))


def test_a_note_is_not_parted_by_the_end_of_a_column() -> None:
    square = Curve(layer=Layer.CUT_OUTER, xy=np.array([(0.0, 0.0), (9.0, 0.0), (9.0, 9.0)]))
    for before in range(25):
        notes = (*(f"line {i}" for i in range(before)), "three rows " * 10)
        laid = lay_out(Drawing(title="t", size=(9.0, 9.0), curves=(square,), notes=notes))
        long = [line for line in laid.lines if "three" in line.text or "rows" in line.text]
        assert len(long) == 3
        # its rows are indented by two blanks at most, and stand in one column
        assert max(x.x for x in long) - min(x.x for x in long) <= 2
        assert long[0].y > long[1].y > long[2].y
