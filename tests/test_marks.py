"""Marks on faces: asked, placed, kept clear, drawn, laid on sheets, taken along.

Judges from outside: shapely for what lies where, ezdxf for what the files hold, tomllib for what is
written. Which letters are in a font is not this file's matter (test_outlines).
"""

from __future__ import annotations

import io
import tomllib
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from boxjoint.check.marks import segments_to_boxes
from boxjoint.cli.main import boxjoint as commands
from boxjoint.errors import InputError, JobError
from boxjoint.export.isometric import isometric_view
from boxjoint.export.report import report_text
from boxjoint.geometry.drawing import Curve, Layer
from boxjoint.job.read import parse_job, read_job
from boxjoint.make import build, files
from boxjoint.order.lay import lay
from boxjoint.order.plan import plan_order
from boxjoint.order.read import lines_of
from boxjoint.order.records import Laid, Order

MM = 1_000_000
FIXTURE = Path(__file__).parents[1] / "fixtures" / "jobs" / "leaf-box-marked.toml"
PLAIN = """\
title = "Slide tray"
unit = "mm"
inside = { length = 150, width = 100, height = 60 }
stock = { material = "birch plywood", thickness = 3 }
cut = { kerf = 0.2 }
"""
# an F and its mirror image differ, and so do all its quarter turns
LETTER = """\
<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="20mm" viewBox="0 0 10 20">
<path d="M0 0 H10 V4 H4 V8 H8 V12 H4 V20 H0 Z"/></svg>
"""
F = shapely.Polygon(
    [(0, 0), (4, 0), (4, 8), (8, 8), (8, 12), (4, 12), (4, 16), (10, 16), (10, 20), (0, 20)]
)


def marked(marks: str, rest: str = "", plain: str = PLAIN) -> str:
    return f"{plain}{rest}\n[[marks]]\n{marks}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "f.svg").write_text(LETTER, encoding="utf-8")
    return tmp_path


def built_in(folder: Path, text: str):  # type: ignore[no-untyped-def]
    return build(parse_job(text, str(folder / "job.toml")))


def shape_of(curves: list[Curve]) -> shapely.Geometry:
    """What curves fill by the even-odd rule."""
    shape: shapely.Geometry = shapely.Polygon()
    for curve in curves:
        shape = shape.symmetric_difference(shapely.Polygon(curve.xy))
    return shape


def same(one: shapely.Geometry, other: shapely.Geometry) -> bool:
    return bool(one.symmetric_difference(other).area < 1e-3)


# places


@pytest.mark.parametrize("angle", [0, 90, 180, 270])
@pytest.mark.parametrize("face", ["outside", "inside"])
def test_a_drawing_lies_where_it_was_asked_as_one_looks_at_its_face(
    folder: Path, face: str, angle: int
) -> None:
    text = marked(
        f'panel = "front"\ndrawing = "f.svg"\nwork = "engrave"\nface = "{face}"\nangle = {angle}\n'
        "from_left = 30\nfrom_bottom = 18\n"
    )
    built = built_in(folder, text)
    part = built.part("front")
    (mark,) = part.marks
    # on paper: the F turned about itself, its lower left corner at (30, 18) of the face
    wanted = affinity.rotate(F, angle, origin=(0, 0))
    x0, y0, *_ = wanted.bounds
    wanted = affinity.translate(wanted, 30 - x0, 18 - y0)
    if face == "inside":  # the drawing of the panel shows it through the wood
        wide = part.panel.size[0] / MM
        wanted = affinity.affine_transform(wanted, [-1, 0, 0, 1, wide, 0])
    assert same(shape_of(list(mark.curves)), wanted)


@pytest.mark.parametrize(("name", "up"), [("bottom", 1), ("top", -1)])
def test_what_stands_inside_on_bottom_and_top_reads_with_the_front_towards_you(
    folder: Path, name: str, up: int
) -> None:
    # bottom: x to the right and y up; top, turned over to the back: x to the right and y down
    text = marked(
        f'panel = "{name}"\nface = "inside"\ndrawing = "f.svg"\nwork = "engrave"\nedges = "inside"\n'
        "from_left = 20\nfrom_bottom = 15\n",
        '[top]\nkind = "closed"\n',
    )
    part = built_in(folder, text).part(name)
    frame = part.panel.frame
    world = []
    for curve in part.marks[0].curves:
        xy = np.empty_like(curve.xy)
        for k in (0, 1):
            xy[:, frame.axes[k]] = frame.origin[k] / MM + frame.senses[k] * curve.xy[:, k]
        world.append(Curve(layer=curve.layer, xy=xy))
    wanted = affinity.translate(F, 20, 15)
    if up < 0:
        wanted = affinity.affine_transform(wanted, [1, 0, 0, -1, 0, 100])
    assert same(shape_of(world), wanted)


def test_distances_from_the_inside_keep_a_mark_where_it_was_when_the_sheet_is_thicker(
    folder: Path,
) -> None:
    text = marked('panel = "back"\ntext = "H"\nedges = "inside"\nfrom_left = 20\nfrom_top = 12\n')
    thin, thick = (built_in(folder, text.replace("= 3 }", f"= {t} }}")) for t in (3, 5))
    places = []
    for built in (thin, thick):
        part = built.part("back")
        frame = part.panel.frame
        x0, _, _, y1 = part.marks[0].extent
        places.append([frame.origin[k] / MM + frame.senses[k] * v for k, v in enumerate((x0, y1))])
    assert places[0] == pytest.approx(places[1], abs=1e-6)


def test_to_the_middle_and_centred(folder: Path) -> None:
    text = marked(
        'panel = "top"\ndrawing = "f.svg"\nto = "middle"\nfrom_right = 40\n',
        '[top]\nkind = "closed"\n',
    )
    part = built_in(folder, text).part("top")
    x0, y0, x1, y1 = part.marks[0].extent
    w, h = (s / MM for s in part.panel.size)
    assert ((x0 + x1) / 2, (y0 + y1) / 2) == pytest.approx((w - 40, h / 2), abs=1e-5)


@pytest.mark.parametrize(
    ("ask", "size"),
    [
        ("width = 25", (25, 50)),
        ("height = 8", (4, 8)),
        ("", (10, 20)),
        ("width = 25\nangle = 90", (50, 25)),
    ],
)
def test_drawings_are_as_large_as_asked_or_as_they_say(
    folder: Path, ask: str, size: tuple[float, float]
) -> None:
    text = marked(f'panel = "bottom"\ndrawing = "f.svg"\n{ask}\n')
    x0, y0, x1, y1 = built_in(folder, text).part("bottom").marks[0].extent
    assert (x1 - x0, y1 - y0) == pytest.approx(size, abs=1e-6)


def test_capitals_are_as_high_as_asked(folder: Path) -> None:
    for letters in ("strokes", "plain", "bold"):
        text = marked(f'panel = "bottom"\ntext = "HE"\nletters = "{letters}"\nheight = 7\n')
        _, y0, _, y1 = built_in(folder, text).part("bottom").marks[0].extent
        assert y1 - y0 == pytest.approx(7, abs=0.01), letters


def test_engraved_and_scored_are_marks_of_their_own(folder: Path) -> None:
    curves = {}
    for work in ("score", "engrave", "engrave and score"):
        text = marked(f'panel = "bottom"\ndrawing = "f.svg"\nwork = "{work}"\n')
        (mark,) = built_in(folder, text).part("bottom").marks
        curves[work] = {
            layer: shape_of([c for c in mark.curves if c.layer is layer]).area
            for layer in (Layer.ENGRAVE, Layer.MARK)
        }
        assert mark.engraved_mm2 == pytest.approx(curves[work][Layer.ENGRAVE], abs=1e-6)
    area = F.area
    assert curves["score"] == pytest.approx({Layer.ENGRAVE: 0, Layer.MARK: area})
    assert curves["engrave"] == pytest.approx({Layer.ENGRAVE: area, Layer.MARK: 0})
    assert curves["engrave and score"] == pytest.approx({Layer.ENGRAVE: area, Layer.MARK: area})


# clear of everything


@pytest.mark.parametrize(
    ("mark", "rest", "said"),
    [
        ('panel = "front"\ntext = "H"\nfrom_left = 0.5', "", "too near|runs over"),
        ('panel = "front"\ntext = "H"\nfrom_bottom = 2', "", "runs over an edge of front"),
        ('panel = "front"\ntext = "H"\nfrom_left = 200', "", "does not lie on the material"),
        ('panel = "front"\ntext = "Slides of leaves and stems, cut thin"\nheight = 20', "", "larger than front"),
        ('panel = "front"\ndrawing = "f.svg"\nheight = 70', "", "larger than front"),
        (
            'panel = "front"\ntext = "H"',
            '[[cutouts]]\npanel = "front"\nkind = "window"\nsize = [30, 20]\n',
            "does not lie on the material|too near to a cut-out|runs over a cut-out",
        ),
        (
            'panel = "front"\ntext = "HHHHHHHHH"\nheight = 10',
            '[[cutouts]]\npanel = "front"\nkind = "round hole"\ndiameter = 8\n',
            "runs over a cut-out of front",
        ),
        ('panel = "bottom"\nface = "inside"\ntext = "H"\nheight = 3\nfrom_left = 30\nfrom_bottom = 3.4\n', "[dividers.width]\ncompartments = [5, \"rest\"]\n", "runs over|lies under the joint|too near"),
        ('panel = "front"\ntext = "H"\n[[marks]]\npanel = "front"\ntext = "X"\n', "", "cross"),
        ('panel = "lid"\ntext = "H"', "", "no such panel"),
        ('panel = "front"\ntext = "漢字"\nletters = "plain"', "", "no such letters"),
        ('panel = "front"\ntext = "H"\nedges = "inside"\nfrom_left = 500', "", "does not lie"),
    ],
)  # fmt: skip
def test_marks_that_cannot_be_are_refused(folder: Path, mark: str, rest: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        built_in(folder, marked(mark, rest))
    assert "[[marks]] 1" in str(caught.value)


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        ('panel = "front"', "text is missing"),
        ('panel = "front"\ntext = "a"\ndrawing = "f.svg"', "exclude each other"),
        ('panel = "front"\ntext = "a"\nheight = 5\nwidth = 30', "exclude each other"),
        ('panel = "front"\ntext = "a"\nheight = 0.2', "height of capitals"),
        ('panel = "front"\ntext = "  "', "nothing to see"),
        ('panel = "front"\ntext = "a\\u0007"', "plain text"),
        ('panel = "front"\ntext = 5', "must be text"),
        ('panel = "front"\ntext = "a"\nangle = 45', "turned by quarters"),
        ('panel = "front"\ntext = "a"\nwork = "burn"', "work is none of the known"),
        ('panel = "front"\ntext = "a"\nletters = "strokes"\nwork = "engrave"', "single strokes"),
        ('panel = "front"\ndrawing = "f.svg"\nletters = "bold"', "a drawing has no letters"),
        ('panel = "front"\ndrawing = "../f.svg"', "does not lie with the job"),
        ('panel = "front"\ndrawing = "/etc/f.svg"', "does not lie with the job"),
        ('panel = "front"\ndrawing = "g.svg"', "cannot be read"),
        ('panel = "front"\ndrawing = "f.png"', "must be the name of a .svg file"),
        ('panel = "front"\ntext = "a"\nletters = "none.ttf"', "cannot be read"),
        ('panel = "front"\ntext = "a"\nface = "top"', "face is none of the known"),
        ('panel = "frnt"\ntext = "a"', "no such panel"),
        ('text = "a"', "panel is missing"),
        ('panel = "front"\ntext = "a"\nfrom_left = 3\nfrom_right = 4', "exclude each other"),
        ('panel = "front"\ntext = "a"\ncolour = "red"', "no such key"),
    ],
)
def test_tables_that_say_nothing_sensible_are_refused_with_their_place(
    folder: Path, mark: str, said: str
) -> None:
    with pytest.raises(JobError, match=said) as caught:
        parse_job(marked(mark), str(folder / "job.toml"))
    assert "[[marks]] 1" in str(caught.value)


def test_low_letters_are_questioned(folder: Path) -> None:
    # under about 2 to 2.8 mm engraved text is hard to read: reported practice, no source
    built = built_in(folder, marked('panel = "front"\ntext = "a"\nheight = 1.5\n'))
    assert any("height of capitals" in w for w in built.warnings)


coordinate = st.integers(-20_000, 20_000).map(lambda n: n / 1000)
reach = st.integers(0, 9000).map(lambda n: n / 1000)


@given(
    st.tuples(*[coordinate] * 4),
    st.tuples(coordinate, coordinate, reach, reach),
)
@settings(max_examples=200, deadline=None)
def test_distance_of_a_stroke_from_a_box_is_that_of_shapely(
    stroke: tuple[float, ...], box: tuple[float, ...]
) -> None:
    a, b = np.array([stroke[:2]]), np.array([stroke[2:]])
    lo, hi = np.array(box[:2]), np.array(box[:2]) + np.array(box[2:])
    found = float(segments_to_boxes(a, b, lo, hi)[0])
    line = shapely.LineString([stroke[:2], stroke[2:]])
    assert found == pytest.approx(line.distance(shapely.box(*lo, *hi)), abs=1e-6)


# drawings


def test_marks_of_the_outside_are_burnt_and_those_of_the_inside_only_shown() -> None:
    built = build(read_job(FIXTURE))
    written = files(built)
    layers = {}
    for name in ("bottom", "lid", "front"):
        doc = ezdxf.read(io.StringIO(written[f"panels/{name}.dxf"].decode("ascii")))
        assert not doc.audit().errors
        layers[name] = [e.dxf.layer for e in doc.modelspace().query("LWPOLYLINE")]
    assert "MARK" not in layers["bottom"] and "ENGRAVE" not in layers["bottom"]
    assert layers["lid"].count("ENGRAVE") >= 8 and "MARK" in layers["lid"]
    assert "ENGRAVE" in layers["front"] and "MARK" not in layers["front"]
    # areas that belong together are closed, and come before all else
    assert layers["lid"] == sorted(
        layers["lid"], key=["ENGRAVE", "MARK", "CUT_INNER", "CUT_OUTER", "REFERENCE"].index
    )
    assert b"marks of the inside are only shown" in written["panels/bottom.dxf"]


def test_the_scale_of_the_machine_is_taken_out_of_marks_too(folder: Path) -> None:
    text = marked('panel = "bottom"\ndrawing = "f.svg"\nfrom_left = 30\nfrom_bottom = 20\n')
    text = text.replace("kerf = 0.2", "kerf = 0.2, scale = { x = 1.01, y = 0.99 }")
    written = files(built_in(folder, text))
    doc = ezdxf.read(io.StringIO(written["panels/bottom.dxf"].decode("ascii")))
    (mark,) = doc.modelspace().query('LWPOLYLINE[layer=="MARK"]')
    xy = np.array([p[:2] for p in mark.get_points()])
    # what is drawn, times the machine's scale, is what comes out
    assert xy.min(axis=0) * (1.01, 0.99) == pytest.approx((30, 20), abs=1e-4)
    assert np.ptp(xy, axis=0) * (1.01, 0.99) == pytest.approx((10, 20), abs=1e-4)


# sheets


def laid_from(folder: Path, text: str, quantity: int = 1) -> Laid:
    job = parse_job(text, str(folder / "job.toml"))
    order = Order(title="Order", unit="mm", lines=lines_of([(job, quantity)]))
    found = lay(order)
    found.require()
    return found


SHEETS = "[sheets.ply]\nsize = [600, 400]\n"


def outline_of(copy) -> shapely.Polygon:  # type: ignore[no-untyped-def]
    shift = np.array(copy.shift)
    return shapely.Polygon((copy.piece.drawn.rings.corners_only()[0] + shift) / MM)


@pytest.mark.parametrize("face", ["outside", "inside"])
@pytest.mark.parametrize("asked", ["outside", "inside"])
def test_the_face_that_is_marked_lies_up_and_reads_right(
    folder: Path, face: str, asked: str
) -> None:
    text = marked(
        f'panel = "front"\ndrawing = "f.svg"\nwork = "engrave"\nface = "{face}"\nfrom_left = 30\n',
        f'{SHEETS}[nest]\nface = "{asked}"\n',
    )
    laid = laid_from(folder, text)
    (sheet,) = laid.sheets
    (copy,) = [c for c in sheet.copies if c.name == "front"]
    assert copy.piece.mirrored == (face == "inside")
    shape = shape_of([c for group in sheet.engraved for c in group])
    # whichever way the panel lies, what is burnt is an F that reads right, turned as the panel is
    placed = affinity.rotate(F, 90 * copy.piece.quarters, origin=(0, 0))
    a, b = placed.bounds, shape.bounds
    assert same(affinity.translate(placed, b[0] - a[0], b[1] - a[1]), shape)
    assert outline_of(copy).buffer(-0.9).contains(shape)
    # and it is as far from the edge that was named as was asked (kerf: half of it, drawn)
    centre = np.array(shape.centroid.coords[0])
    assert shapely.Point(centre).within(outline_of(copy))


def test_marks_and_labels_keep_apart(folder: Path) -> None:
    text = marked(
        'panel = "bottom"\nface = "inside"\ntext = "twenty\\nslides"\nheight = 12\n', SHEETS
    )
    (sheet,) = laid_from(folder, text).sheets
    strokes = [shapely.union_all([shapely.LineString(c.xy) for c in g]) for g in sheet.mark_groups]
    own, labels = strokes[0], strokes[1:]
    assert own.bounds[2] - own.bounds[0] > 30 or own.bounds[3] - own.bounds[1] > 30
    assert min(own.distance(other) for other in labels) > 0.5


def test_a_mark_of_the_face_that_lies_down_is_missed_loudly(folder: Path) -> None:
    text = marked(
        'panel = "front"\ntext = "a"\n[[marks]]\npanel = "front"\nface = "inside"\ntext = "b"\n',
        SHEETS,
    )
    laid = laid_from(folder, text)
    assert any("IS NOT ON THE SHEET" in w and "outside lies down" in w for w in laid.warnings)


def test_one_layer_of_a_laminated_panel_is_marked(folder: Path) -> None:
    text = marked(
        'panel = "bottom"\ndrawing = "f.svg"\nwork = "engrave"\n',
        f"{SHEETS}[panels.bottom]\nlayers = 2\n",
    )
    laid = laid_from(folder, text, quantity=2)
    copies = [c for s in laid.sheets for c in s.copies if c.name == "bottom"]
    assert len(copies) == 4
    assert sum(len(s.engraved) for s in laid.sheets) == 2


def test_walls_of_a_strip_lie_the_same_way(folder: Path) -> None:
    text = marked(
        'panel = "back"\ntext = "a"\n',
        "[sheets.ply]\nsize = [600, 400]\n[nest]\ncontinuous = true\n",
    )
    laid = laid_from(folder, text)
    ups = {
        c.name: c.placement.item.face_up
        for s in laid.sheets
        for c in s.copies
        if c.name in ("front", "right", "back", "left")
    }
    assert set(ups.values()) == {"outside"}


def test_what_is_engraved_takes_its_time(folder: Path) -> None:
    times = {}
    for work in ("score", "engrave"):
        text = marked(
            f'panel = "bottom"\ndrawing = "f.svg"\nheight = 40\nwork = "{work}"\n', SHEETS
        )
        planned = plan_order(laid_from(folder, text))
        times[work] = planned.total.parts["engrave"]
        assert planned.counted.engrave_s == pytest.approx(times[work])
    # 400 or 200 rows of 20 or 40 mm, by how it lies: about a quarter of a second each at 100 mm/s
    assert times["score"] == 0
    assert 60 < times["engrave"] < 240


def test_a_seam_keeps_clear_of_a_mark(folder: Path) -> None:
    long = PLAIN.replace("length = 150", "length = 800")
    rest = "[seams]\nallowed = true\nlongest = 500\n"
    text = marked('panel = "front"\ntext = "Pencils"\nheight = 20\n', rest, long)
    built = built_in(folder, text)
    part = built.part("front")
    assert len(part.pieces) == 2 and [len(p.marks) for p in part.pieces].count(1) == 1
    whole = part.marks[0]
    for piece in part.pieces:
        for mark in piece.marks:
            outline = shapely.Polygon(piece.as_cut.corners_only()[0] / MM)
            assert outline.contains(shapely.box(*mark.extent))
            assert mark.scored_mm == pytest.approx(whole.scored_mm)
    wide = 'panel = "front"\ntext = "' + "Pencils and pens " * 3 + '"\nheight = 18\n'
    with pytest.raises(
        InputError, match=r"no place for a seam|larger than|crosses|runs over"
    ) as caught:
        built_in(folder, marked(wide, rest.replace("500", "405"), long))
    assert caught.value.exit_code in (1, 2)


# taken along


def test_a_restocked_job_takes_its_drawings_along(tmp_path: Path) -> None:
    out = tmp_path / "again"
    run = CliRunner().invoke(
        commands, ["restock", str(FIXTURE), "--thickness", "3.4", "--out", str(out)]
    )
    assert run.exit_code == 0, run.output
    assert (out / "leaf.svg").read_bytes() == FIXTURE.with_name("leaf.svg").read_bytes()
    job = read_job(out / "job.toml")
    assert [m.drawing for m in job.marks] == ["leaf.svg", "", "", ""]
    assert build(job).passed
    assert len(tomllib.loads(job.text)["marks"]) == 4


def test_the_report_lists_marks() -> None:
    text = report_text(build(read_job(FIXTURE)))
    assert "| lid | leaf.svg | outside |" in text
    assert "cm2 engraved, then " in text


def test_pictures_show_marks_where_their_face_is_seen() -> None:
    built = build(read_job(FIXTURE))
    panels = [p.panel for p in built.parts]
    marks = {p.panel.name: p.marks for p in built.parts}
    front = isometric_view(panels, marks=marks)
    names = [front.scene.names[i] for i, _, _ in front.marks]
    # the left wall and the inside of the bottom, under the lid, are not seen from the front and right
    assert [
        n
        for (i, a, b), n in zip(front.marks, names, strict=True)
        if not (a.is_empty and b.is_empty)
    ] == [
        "front",
        "lid",
    ]
    (area,) = [a for (_, a, _), n in zip(front.marks, names, strict=True) if n == "lid"]
    # in (p, q) = (u - w, v - w) a face that looks up keeps its area, x and y changed only in sense
    lid = next(m for m in built.part("lid").marks)
    assert area.area / MM**2 == pytest.approx(lid.engraved_mm2, rel=1e-6)
    behind = isometric_view(panels, marks=marks, view=("back", "left", "top"))
    seen = {behind.scene.names[i] for i, a, b in behind.marks if not (a.is_empty and b.is_empty)}
    assert seen == {"left", "lid"}
