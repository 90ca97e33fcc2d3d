"""DXF: read back by ezdxf's audit, by GDAL and by trimesh, which share no code with the writer."""

from __future__ import annotations

import io
import logging
import math
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio.raw
import pytest
import trimesh
from ezdxf import recover
from hypothesis import given, settings
from hypothesis import strategies as st

from boxjoint.errors import InputError
from boxjoint.export import dxf
from boxjoint.export.dxf import DxfVersion, drawing_to_dxf
from boxjoint.export.palette import PENS
from boxjoint.geometry.drawing import Curve, Drawing, Label, Layer
from boxjoint.geometry.strokes import label_strokes, to_ascii

VERSIONS: tuple[DxfVersion, ...] = ("R2000", "R12")

STEPPED = np.array(
    [(0, 0), (40, 0), (40, 6), (80, 6), (80, 0), (120, 0), (120, 60), (0, 60)], dtype=float
)


def slide_tray() -> Drawing:
    """One outline with a slot, a round-ended hole of 10 x 30 mm, a circle of 8 mm, and a label."""
    slot = np.array([(20.000001, 20), (20.000001, 40), (23.1, 40), (23.1, 20)])
    long_hole = np.array([(40, 20), (60, 20), (60, 30), (40, 30)], dtype=float)
    circle = np.array([(86, 40), (94, 40)], dtype=float)
    return Drawing(
        title="Slide tray, front",
        size=(120, 60),
        curves=(
            Curve(layer=Layer.CUT_OUTER, xy=STEPPED),
            Curve(layer=Layer.CUT_INNER, xy=slot),
            Curve(layer=Layer.CUT_INNER, xy=long_hole, bulge=np.array([0, 1.0, 0, 1.0])),
            Curve(layer=Layer.CUT_INNER, xy=circle, bulge=np.array([1.0, 1.0])),
        ),
        labels=(Label(layer=Layer.MARK, at=(60, 50), text="front", height=5),),
        notes=("kerf applied: 0.18 mm, full width, measured", "thickness 3.02 mm, measured"),
    )


def bare(**changes: Any) -> Drawing:
    """A drawing of one rectangle, with what the test changes."""
    rectangle = Curve(layer=Layer.CUT_OUTER, xy=np.array([(0, 0), (9, 0), (9, 5), (0, 5.0)]))
    known: dict[str, Any] = {"title": "t", "size": (9.0, 5.0), "curves": (rectangle,)}
    return Drawing(**(known | changes))


def tags(text: str) -> list[tuple[int, str]]:
    """All group codes and values, read as the DXF reference says: pairs of lines."""
    lines = text.split("\n")
    assert lines.pop() == ""
    assert len(lines) % 2 == 0
    return [(int(code), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]


def header(text: str, name: str) -> tuple[str, ...]:
    """The values of a header variable."""
    all_tags = tags(text)
    start = all_tags.index((9, name)) + 1
    values = []
    for code, value in all_tags[start:]:
        if code in (0, 9):
            break
        values.append(value)
    return tuple(values)


def on_disk(drawing: Drawing, version: DxfVersion, folder: Path) -> Path:
    path = folder / f"{version}.dxf"
    path.write_bytes(drawing_to_dxf(drawing, version=version).encode("ascii"))
    return path


def gdal_rings(path: Path) -> list[tuple[str, np.ndarray]]:
    """(layer, (n, 2) points) of each line that GDAL finds, read from its WKB."""
    meta, _, shapes, fields = pyogrio.raw.read(path)
    layers = fields[list(meta["fields"]).index("Layer")]
    found = []
    for layer, wkb in zip(layers, shapes, strict=True):
        assert wkb[0] == 1  # little-endian
        kind, count = np.frombuffer(wkb, "<u4", 2, 1)
        # OGC 06-103r4: 2 is LineString, 1002 with Z; the older form sets the highest bit for Z
        if (kind & 0x7FFFFFFF) % 1000 == 2:
            width = 2 if kind == 2 else 3
            points = np.frombuffer(wkb, "<f8", int(count) * width, 9)
            found.append((layer, points.reshape(-1, width)[:, :2]))
    return found


def area(ring: np.ndarray) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


@pytest.mark.parametrize("version", VERSIONS)
def test_gdal_finds_closed_rings_with_their_layers_areas_and_extent(
    version: DxfVersion, tmp_path: Path
) -> None:
    rings = gdal_rings(on_disk(slide_tray(), version, tmp_path))
    cut = [(layer, ring) for layer, ring in rings if layer.startswith("CUT")]
    assert [layer for layer, _ in cut] == ["CUT_INNER"] * 3 + ["CUT_OUTER"]
    for _, ring in cut:
        assert (ring[0] == ring[-1]).all()
    areas = [area(ring[:-1]) for _, ring in cut]
    # GDAL draws arcs as chords of 4 degrees: 1 - sin(4 deg)/(4 deg) = 8e-4 of a circle is missing
    assert areas[0] == pytest.approx(3.099999 * 20, abs=1e-9)
    assert areas[1] == pytest.approx(20 * 10 + math.pi * 25, rel=1e-3)
    assert areas[2] == pytest.approx(math.pi * 16, rel=1e-3)
    assert areas[3] == pytest.approx(120 * 60 - 40 * 6, abs=1e-9)
    outline = cut[3][1]
    assert outline.min(axis=0).tolist() == [0, 0]
    assert outline.max(axis=0).tolist() == [120, 60]
    # the arcs bulge outwards, to the right of the first half and to the left of the second
    assert cut[1][1].min(axis=0) == pytest.approx((35, 20), abs=5e-3)
    assert cut[1][1].max(axis=0) == pytest.approx((65, 30), abs=5e-3)


@pytest.mark.parametrize("version", VERSIONS)
def test_gdal_finds_the_check_square_beside_what_is_cut(
    version: DxfVersion, tmp_path: Path
) -> None:
    rings = gdal_rings(on_disk(slide_tray(), version, tmp_path))
    (square,) = [ring for layer, ring in rings if layer == "REFERENCE"]
    assert square.min(axis=0).tolist() == [130, 0]
    assert square.max(axis=0).tolist() == [230, 100]
    assert area(square[:-1]) == 10_000


@pytest.mark.parametrize(("version", "unit"), [("R2000", "millimeters"), ("R12", "inches")])
def test_trimesh_sees_the_unit_and_the_same_size(
    version: DxfVersion, unit: str, tmp_path: Path
) -> None:
    # R12 has no unit header and trimesh guesses: that is why its text must say mm
    with on_disk(slide_tray(), version, tmp_path).open() as file:
        path = trimesh.load_path(file, file_type="dxf")
    assert path.units == unit
    assert path.bounds.tolist() == [[0, 0], [230, 100]]
    # its arcs are true arcs: the closed rings but the label's are four cut ones and the square
    closed = sum(polygon is not None and polygon.area > 45 for polygon in path.polygons_closed)
    assert closed == 5


@pytest.mark.parametrize("version", VERSIONS)
def test_ezdxf_audits_without_errors_and_reads_every_point(
    version: DxfVersion, tmp_path: Path
) -> None:
    drawing = slide_tray()
    document = ezdxf.readfile(on_disk(drawing, version, tmp_path))
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    kind = "LWPOLYLINE" if version == "R2000" else "POLYLINE"
    read = []
    for line in document.modelspace().query(f'{kind}[layer=="CUT_INNER" | layer=="CUT_OUTER"]'):
        closed = line.closed if version == "R2000" else line.is_closed
        assert closed
        if version == "R2000":
            points = [(x, y, b) for x, y, b in line.get_points("xyb")]
        else:
            points = [(*v.dxf.location.vec2, v.dxf.bulge) for v in line.vertices]
        read.append(np.array(points))
    wanted = [*drawing.curves[1:], drawing.curves[0]]
    for curve, points in zip(wanted, read, strict=True):
        bulge = np.zeros(len(curve.xy)) if curve.bulge is None else curve.bulge
        assert points.tolist() == np.column_stack([curve.xy, bulge]).tolist()


def test_r2000_header_says_millimetres_and_the_extent() -> None:
    text = drawing_to_dxf(slide_tray())
    assert header(text, "$ACADVER") == ("AC1015",)
    assert header(text, "$INSUNITS") == ("4",)
    assert header(text, "$MEASUREMENT") == ("1",)
    assert [float(v) for v in header(text, "$EXTMIN")] == [0, 0, 0]
    assert [float(v) for v in header(text, "$EXTMAX")] == [230, 100, 0]
    assert [float(v) for v in header(text, "$LIMMIN")] == [-5, -5]
    assert [float(v) for v in header(text, "$LIMMAX")] == [235, 105]
    # no number that stood in for another is left
    assert "9100" not in text


def test_extent_holds_arcs_beyond_their_ends() -> None:
    # a half circle of radius 5 on each side of a line from (10, 20) to (20, 20): a full circle
    circle = Curve(
        layer=Layer.CUT_INNER, xy=np.array([(10, 20), (20, 20.0)]), bulge=np.array([1.0, 1.0])
    )
    # three quarters of a circle around (-3, 0), clockwise from its left over its top and right
    start, end = (-5.0, 0.0), (-3.0, -2.0)
    arc = Curve(
        layer=Layer.MARK,
        xy=np.array([start, end]),
        bulge=np.array([-math.tan(math.radians(270) / 4), 0.0]),
        closed=False,
    )
    text = drawing_to_dxf(bare(curves=(circle, arc)))
    low, high = ([float(v) for v in header(text, n)] for n in ("$EXTMIN", "$EXTMAX"))
    assert low[:2] == pytest.approx([-5, -2], abs=2e-6)
    assert high[:2] == [119, 100]
    alone = drawing_to_dxf(bare(curves=(arc,), size=(-200.0, 0.0)))
    assert float(header(alone, "$EXTMAX")[0]) == pytest.approx(-1, abs=2e-6)


def test_arcs_beyond_a_half_circle_are_written_as_two(tmp_path: Path) -> None:
    # three quarters of a circle of radius 10 around (50, 30): GDAL would draw the other quarter
    corners = np.array([(60, 30), (50, 20)], dtype=float)
    for turn in (270, -270):
        ends = corners if turn > 0 else corners[::-1]
        bulge = np.array([math.tan(math.radians(turn) / 4), 0])
        arc = Curve(layer=Layer.CUT_INNER, xy=ends, bulge=bulge)
        for version in VERSIONS:
            rings = dict(gdal_rings(on_disk(bare(curves=(arc,)), version, tmp_path)))
            ring = rings["CUT_INNER"]
            # three quarters of the disc and the triangle between its ends and the centre
            wanted = 0.75 * math.pi * 100 + 50
            assert area(ring[:-1]) == pytest.approx(wanted, rel=1e-3)
            assert ring.min(axis=0) == pytest.approx((40, 20), abs=1e-2)
            assert ring.max(axis=0) == pytest.approx((60, 40), abs=1e-2)


def test_a_bulge_after_the_last_point_of_an_open_curve_means_nothing() -> None:
    xy = np.array([(0, 0), (9, 0), (9, 5)], dtype=float)
    with_last, without = (
        drawing_to_dxf(
            bare(
                curves=(
                    Curve(layer=Layer.MARK, xy=xy, bulge=np.array([0.5, 0, last]), closed=False),
                )
            )
        )
        for last in (3.0, 0.0)
    )
    assert with_last == without


@pytest.mark.parametrize("version", VERSIONS)
def test_same_drawing_same_bytes_from_one_empty_document_to_the_next(version: DxfVersion) -> None:
    first = drawing_to_dxf(slide_tray(), version=version)
    dxf._empty.cache_clear()  # a new ezdxf document: new times, new identifiers
    assert drawing_to_dxf(slide_tray(), version=version) == first
    # what is drawn in between changes nothing
    drawing_to_dxf(bare(), version=version)
    assert drawing_to_dxf(slide_tray(), version=version) == first


@pytest.mark.parametrize("version", VERSIONS)
def test_handles_are_unique_and_below_the_seed(version: DxfVersion) -> None:
    text = drawing_to_dxf(slide_tray(), version=version)
    (seed,) = header(text, "$HANDSEED")
    after_header = tags(text)[tags(text).index((0, "ENDSEC")) :]
    handles = [int(value, 16) for code, value in after_header if code == 5 and value]
    assert len(handles) == len(set(handles)) > 40
    assert max(handles) == int(seed, 16) - 1


@pytest.mark.parametrize("version", VERSIONS)
def test_nothing_is_logged(version: DxfVersion, caplog: pytest.LogCaptureFixture) -> None:
    dxf._empty.cache_clear()
    with caplog.at_level(logging.DEBUG):
        drawing_to_dxf(slide_tray(), version=version)
    assert [r.message for r in caplog.records if r.levelno >= logging.INFO] == []


@pytest.mark.parametrize("version", VERSIONS)
def test_layers_come_in_sequence_each_with_its_own_look(
    version: DxfVersion, tmp_path: Path
) -> None:
    document = ezdxf.readfile(on_disk(slide_tray(), version, tmp_path))
    names = [layer.dxf.name for layer in document.layers if layer.dxf.name in set(Layer)]
    assert names == ["MARK", "CUT_INNER", "CUT_OUTER", "REFERENCE"]
    for name in names:
        layer, pen = document.layers.get(name), PENS[Layer(name)]
        assert layer.color == pen.aci
        assert (layer.dxf.linetype == "REFERENCE") == pen.dashed == (name == "REFERENCE")
    drawn = [entity.dxf.layer for entity in document.modelspace()]
    assert drawn == sorted(drawn, key=names.index)
    # live text on the layer that is never cut and never marked, and nowhere else
    assert {e.dxf.layer for e in document.modelspace() if e.dxftype() == "TEXT"} == {"REFERENCE"}


@pytest.mark.parametrize("version", VERSIONS)
def test_title_and_notes_are_text_and_comments_and_say_mm(
    version: DxfVersion, tmp_path: Path
) -> None:
    drawing = slide_tray()
    document = ezdxf.readfile(on_disk(drawing, version, tmp_path))
    shown = " ".join(e.plain_text() for e in document.modelspace().query("TEXT"))
    for text in (drawing.title, *drawing.notes, "All lengths in this file are in mm."):
        assert text in shown
    comments = [v for c, v in tags(drawing_to_dxf(drawing, version=version)) if c == 999]
    assert comments == ["lengths in mm", drawing.title, *drawing.notes]


NASTY = [
    "front\n  0\nEOF\n  0\nSECTION",
    "carriage\r\n return \x00 null \x1b escape \x7f delete \x85 next \u2028 line",
    "Größe ±0.05 mm, 30° ×2 – naïve ½",
    "寸法 ≤ 3 mm",
    r"C:\trays\U+0041\P%%d%%c and 100%%%",
    "^J ^M caret ^",
    "lone \ud800 surrogate, \u202e right to left, \ufffe no character",
    "slides \U0001f4e6",
    "-910001.5 910003.5 910011.5 $HANDSEED",
    "<b>&amp; \"quoted\" 'too'</b> ]]> -->",
]


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("text", NASTY)
def test_no_text_breaks_the_file(text: str, version: DxfVersion, tmp_path: Path) -> None:
    plain = drawing_to_dxf(bare(), version=version)
    drawing = bare(
        title=text, notes=(text,), labels=(Label(layer=Layer.MARK, at=(0, 0), text=text),)
    )
    path = on_disk(drawing, version, tmp_path)
    written = path.read_text("ascii")
    for structural in ((0, "EOF"), (0, "SECTION"), (0, "LWPOLYLINE"), (2, "ENTITIES")):
        extra = len(drawing_strokes(text)) if structural == (0, "LWPOLYLINE") else 0
        extra = extra if version == "R2000" else 0
        assert tags(written).count(structural) == tags(plain).count(structural) + extra
    document = ezdxf.readfile(path)
    assert document.audit().errors == []
    assert gdal_rings(path)


def drawing_strokes(text: str) -> list[np.ndarray]:
    return label_strokes(Label(layer=Layer.MARK, at=(0, 0), text=text))


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("30° ±0.05", "30° ±0.05"),
        ("3 × 5, Größe", "3 x 5, Groesse"),
        (r"a\b ^J c", r"a\b ^J c"),
        (r"C:\U+0041", r"C:\ U+0041"),
        ("5%%d", "5% %d"),
    ],
)
@pytest.mark.parametrize("version", VERSIONS)
def test_gdal_and_ezdxf_read_the_same_text(
    text: str, read: str, version: DxfVersion, tmp_path: Path
) -> None:
    path = on_disk(bare(title=text), version, tmp_path)
    shown = [e.plain_text() for e in ezdxf.readfile(path).modelspace().query("TEXT")]
    assert shown[0] == read
    meta, _, _, fields = pyogrio.raw.read(path)
    texts = fields[list(meta["fields"]).index("Text")]
    assert next(t for t in texts if t) == read


def test_characters_without_replacement_are_coded(tmp_path: Path) -> None:
    path = on_disk(bare(title="寸法 \U0001f4e6"), "R2000", tmp_path)
    document, _ = recover.readfile(path)  # this way of reading turns codes into characters
    assert document.modelspace().query("TEXT")[0].plain_text() == "寸法 ?"
    r12 = on_disk(bare(title="寸法"), "R12", tmp_path)
    assert ezdxf.readfile(r12).modelspace().query("TEXT")[0].plain_text() == "??"


def test_comments_keep_every_character() -> None:
    text = r"Größe ±0.05, 寸法, a\b, -910001.5"
    for version in VERSIONS:
        comments = [
            v for c, v in tags(drawing_to_dxf(bare(title=text), version=version)) if c == 999
        ]
        assert ezdxf.decode_dxf_unicode(comments[1]) == text


def test_long_notes_stay_short_lines_beside_what_is_cut() -> None:
    notes = (*(f"note {i}: " + "word " * 60 for i in range(6)), "x" * 1000)
    text = drawing_to_dxf(bare(notes=notes), version="R12")
    # DXF reference: 255 characters a string in R12
    assert max(len(value) for _, value in tags(text)) <= 255
    document = ezdxf.read(io.StringIO(text))
    placed = [e.dxf.insert for e in document.modelspace().query("TEXT")]
    # beside the panel (9 mm wide), never below it, and beyond the square only to its right
    assert min(p.x for p in placed) > 19
    assert min(p.y for p in placed) > 0
    assert max(p.y for p in placed) < 100
    assert float(header(text, "$EXTMAX")[0]) > max(p.x for p in placed)
    places = [(p.x, p.y) for p in placed]
    assert len(places) == len(set(places))


@given(
    st.lists(
        st.tuples(st.integers(-(10**13), 10**13), st.integers(-(10**6), 10**6)),
        min_size=2,
        max_size=8,
    )
)
@settings(max_examples=40, deadline=None)
def test_every_nanometre_arrives(points_nm: list[tuple[int, int]]) -> None:
    nm = np.array(points_nm, dtype=np.int64)
    curve = Curve(layer=Layer.CUT_OUTER, xy=nm / 1e6)
    if abs(nm).max() >= 9_999_000 * 10**6:
        with pytest.raises(InputError, match="10 km"):
            drawing_to_dxf(bare(curves=(curve,)))
        return
    text = drawing_to_dxf(bare(curves=(curve,)))
    entities = tags(text)[tags(text).index((2, "ENTITIES")) :]
    points = [(c, v) for c, v in entities if c in (10, 20)][: 2 * len(nm)]
    for _, value in points:
        assert "e" not in value.lower()
        assert value != "-0"
        assert len(value.partition(".")[2]) <= 6
    assert [round(float(v) * 1e6) for _, v in points] == nm.ravel().tolist()


NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("curve", "word"),
    [
        (Curve(layer=Layer.MARK, xy=np.array([(0, 0), (NAN, 1)])), "not finite"),
        (Curve(layer=Layer.MARK, xy=np.array([(0, 0), (1, INF)])), "not finite"),
        (Curve(layer=Layer.MARK, xy=np.array([(0, 0), (1, 1e10)])), "10 km"),
        (Curve(layer=Layer.MARK, xy=np.array([(0.0, 0.0)])), "two points"),
        (Curve(layer=Layer.MARK, xy=np.zeros((4, 3))), "two points"),
        (
            Curve(layer=Layer.MARK, xy=np.array([(0, 0), (1.0, 1)]), bulge=np.array([1.0])),
            "bulge",
        ),
        (
            Curve(layer=Layer.MARK, xy=np.array([(0, 0), (1.0, 1)]), bulge=np.array([NAN, 0])),
            "bulge",
        ),
    ],
)
def test_what_cannot_be_written_is_refused(curve: Curve, word: str) -> None:
    with pytest.raises(InputError, match=word) as caught:
        drawing_to_dxf(bare(title="Slide tray", curves=(curve,)))
    assert "Slide tray" in str(caught.value)
    assert "MARK" in str(caught.value)


def test_unknown_version_and_bad_sizes_are_refused() -> None:
    with pytest.raises(InputError, match="R2000 or R12"):
        drawing_to_dxf(bare(), version="R13")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="not finite"):
        drawing_to_dxf(bare(size=(NAN, 5.0)))
    with pytest.raises(InputError, match="height above zero"):
        drawing_to_dxf(bare(labels=(Label(layer=Layer.MARK, at=(0, 0), text="x", height=0),)))


# stroke letters


@pytest.mark.parametrize("text", ["H", "BOTTOM", "0123456789", "EH"])
def test_capitals_have_the_height_asked_and_are_centred(text: str) -> None:
    points = np.concatenate(
        label_strokes(Label(layer=Layer.MARK, at=(30, -7), text=text, height=4))
    )
    low, high = points.min(axis=0), points.max(axis=0)
    assert high[1] - low[1] == pytest.approx(4, abs=1e-12)
    assert (low + high) / 2 == pytest.approx((30, -7), abs=1e-12)


def test_letters_stand_upright_and_run_to_the_right() -> None:
    strokes = label_strokes(Label(layer=Layer.MARK, at=(0, 0), text="L", height=10))
    points = np.concatenate(strokes)
    # an L: its foot is as wide as the letter at the bottom, its stem at the left
    foot = points[points[:, 1] == points[:, 1].min()]
    assert np.ptp(foot[:, 0]) == np.ptp(points[:, 0])
    assert (points[points[:, 1] == points[:, 1].max()][:, 0] == points[:, 0].min()).all()
    pair = label_strokes(Label(layer=Layer.MARK, at=(0, 0), text="LI", height=10))
    assert pair[0][:, 0].max() < pair[-1][:, 0].min()


def test_descenders_do_not_lift_a_label() -> None:
    plain, deep = (
        np.concatenate(label_strokes(Label(layer=Layer.MARK, at=(0, 0), text=t, height=4)))
        for t in ("HH", "HgH")
    )
    assert deep[:, 1].max() == plain[:, 1].max() == 2
    assert deep[:, 1].min() < -2


@pytest.mark.parametrize("text", ["", "   ", "\n", "\u200b"])
def test_nothing_to_see_is_no_stroke(text: str) -> None:
    assert drawing_strokes(text) == []


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("Schöner Größenmaß", "Schoener Groessenmass"),
        ("cafe\u0301 naïve Łódź", "cafe naive Lodz"),
        ("3 × 5 ± 0.1 – 30°", "3 x 5 +- 0.1 - 30deg"),
        ("½ ² µ", "1/2 2 ?"),
        ("寸", "?"),
        ("straight ASCII ~|^", "straight ASCII ~|^"),
    ],
)
def test_characters_without_a_letter_are_replaced_as_said(text: str, plain: str) -> None:
    assert to_ascii(text) == plain


def test_every_ascii_letter_can_be_drawn() -> None:
    for code in range(33, 127):
        strokes = drawing_strokes(chr(code))
        assert strokes
        for stroke in strokes:
            assert stroke.shape[1] == 2
            assert len(stroke) > 1


def test_label_strokes_are_open_lines_on_their_own_layer(tmp_path: Path) -> None:
    drawing = bare(labels=(Label(layer=Layer.MARK, at=(4, 2), text="LEFT", height=2),))
    rings = gdal_rings(on_disk(drawing, "R2000", tmp_path))
    marks = [ring for layer, ring in rings if layer == "MARK"]
    assert len(marks) == len(drawing_strokes("LEFT"))
    assert all((ring[0] != ring[-1]).any() for ring in marks)
