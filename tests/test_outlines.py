"""Text and drawings as outlines: areas and pixels against fontTools, shapely and cairo, and refusals.

The rasters are made by cairosvg, which reads SVG with code of its own.
"""

from __future__ import annotations

import io
import math
import random
from importlib.resources import files

import cairosvg
import numpy as np
import pytest
import shapely
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib import image

from boxjoint.errors import InputError
from boxjoint.geometry.outlines import Outlines, filled, flat_curve
from boxjoint.geometry.svg_import import svg_outlines
from boxjoint.geometry.typeface import stroke_outlines, text_outlines

FONT = files("boxjoint.geometry").joinpath("font/DejaVuSans.ttf").read_bytes()
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


def area(shape: Outlines) -> float:
    """What is filled by the even-odd rule."""
    whole: shapely.Geometry = shapely.Polygon()
    for ring in shape.areas:
        whole = whole.symmetric_difference(shapely.Polygon(ring))
    return float(whole.area)


# fonts


@pytest.mark.parametrize("letter", "HioB8&gé%ΩЖ")
def test_area_of_a_letter_is_that_of_the_font(letter: str) -> None:
    # fontTools' AreaPen integrates the curves exactly; of these letters no contours overlap
    font = TTFont(io.BytesIO(FONT))
    glyphs = font.getGlyphSet()
    pen = AreaPen(glyphs)
    glyphs[font.getBestCmap()[ord(letter)]].draw(pen)
    scale = 20.0 / font["glyf"]["H"].yMax
    found = text_outlines(letter, 20.0)
    assert area(found) == pytest.approx(abs(pen.value) * scale**2, rel=2e-3)


def test_letters_stand_side_by_side_by_their_widths() -> None:
    # the advance width in the font's own table of horizontal metrics (hmtx)
    font = TTFont(io.BytesIO(FONT))
    scale = 10.0 / font["glyf"]["H"].yMax
    one, two = (text_outlines(t, 10.0).extent[2] for t in ("H", "HH"))
    assert two - one == pytest.approx(font["hmtx"]["H"][0] * scale, abs=1e-6)


def test_lines_stand_under_each_other_and_are_aligned() -> None:
    for make in (text_outlines, stroke_outlines):
        edges = {}
        for align in ("left", "middle", "right"):
            shape = make("HHHH\nH", 5.0, align=align)  # type: ignore[operator]
            lower = np.concatenate([r for r in (*shape.areas, *shape.lines) if r[:, 1].max() < 5.5])
            x0, y0, x1, y1 = shape.extent
            assert y0 == pytest.approx(0, abs=1e-6) and y1 == pytest.approx(13, abs=0.01)
            edges[align] = (lower[:, 0].min() - x0, x1 - lower[:, 0].max())
        assert edges["left"][0] == pytest.approx(0) and edges["right"][1] == pytest.approx(0)
        assert edges["middle"][0] == pytest.approx(edges["middle"][1])


def test_a_letter_the_font_has_not_is_named() -> None:
    with pytest.raises(InputError, match=r"no such letters: 漢 \(U\+6F22\)"):
        text_outlines("a漢", 5.0)


@given(st.integers(0, len(FONT)), st.binary(max_size=40), st.integers(0, len(FONT)))
@settings(max_examples=60, deadline=None)
def test_damaged_fonts_are_refused_or_read(at: int, junk: bytes, end: int) -> None:
    broken = (FONT[:at] + junk + FONT[at + len(junk) :])[:end]
    try:
        text_outlines("Ag8", 5.0, broken)
    except InputError as error:
        assert "font" in str(error)


def test_what_is_no_font_of_outlines_is_refused() -> None:
    for content, said in (
        (b"hello", "no font"),
        (b"ttcf" + bytes(40), "several fonts"),
        (b"", "no font"),
    ):
        with pytest.raises(InputError, match=said):
            text_outlines("a", 5.0, content)


# curves and areas


@given(
    st.lists(
        st.builds(lambda x, y: complex(x, y) / 100, *[st.integers(-9999, 9999)] * 2),
        min_size=3,
        max_size=4,
    ),
    st.sampled_from([1.0, 0.1, 0.01]),
)
@settings(max_examples=100, deadline=None)
def test_a_flattened_curve_stays_within_its_tolerance(
    points: list[complex], tolerance: float
) -> None:
    # 2000 points of the curve by the definition of a Bezier curve (Bernstein polynomials)
    d, t = len(points) - 1, np.linspace(0, 1, 2001)
    dense = sum(math.comb(d, i) * t**i * (1 - t) ** (d - i) * p for i, p in enumerate(points))
    flat = np.array([points[0], *flat_curve(points, tolerance)])
    a, b = flat[:-1, None], flat[1:, None]
    along = np.where(a == b, 1.0, b - a)
    share = np.clip(((dense[None, :] - a) / along).real, 0, 1)
    away = np.abs(dense[None, :] - (a + share * (b - a))).min(axis=0)
    assert away.max() <= tolerance * 1.0001


rectangles = st.tuples(*[st.integers(0, 30)] * 2, *[st.integers(1, 20)] * 2, st.booleans())


@given(st.lists(rectangles, min_size=1, max_size=6), st.booleans())
@settings(max_examples=80, deadline=None)
def test_filled_areas_are_those_of_shapely(
    boxes: list[tuple[int, int, int, int, bool]], even_odd: bool
) -> None:
    rings, shapes = [], []
    for x, y, w, h, back in boxes:
        ring = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], dtype=float)
        rings.append(ring[::-1] if back and even_odd else ring)  # turned alike they wind alike
        shapes.append(shapely.box(x, y, x + w, y + h))
    wanted = shapes[0]
    for one in shapes[1:]:
        wanted = wanted.symmetric_difference(one) if even_odd else wanted.union(one)
    found = Outlines(areas=filled(rings, even_odd=even_odd))
    assert area(found) == pytest.approx(wanted.area)
    for ring in found.areas:
        assert shapely.Polygon(ring).is_valid


def test_contours_that_wind_against_each_other_leave_a_hole() -> None:
    outer = np.array([(0, 0), (9, 0), (9, 9), (0, 9.0)])
    inner = np.array([(3, 3), (6, 3), (6, 6), (3, 6.0)])
    assert area(Outlines(areas=filled([outer, inner]))) == pytest.approx(81)  # the nonzero rule
    assert area(Outlines(areas=filled([outer, inner[::-1]]))) == pytest.approx(72)
    assert filled([]) == () and filled([np.array([(0, 0), (5, 0), (9, 0.0)])]) == ()


def test_turned_and_mirrored_outlines_keep_their_sense() -> None:
    shape = text_outlines("8", 9.0)
    for changed in (shape.mirrored(), *(shape.turned(k) for k in range(4)), shape.moved(3, 4)):
        for before, after in zip(shape.areas, changed.areas, strict=True):
            assert shapely.Polygon(before).exterior.is_ccw == shapely.Polygon(after).exterior.is_ccw
        assert area(changed) == pytest.approx(area(shape))
    # (1, 0) goes to (0, 1)
    turned = Outlines(lines=(np.array([(0, 0), (5, 0.0)]),)).turned(1)
    assert turned.lines[0].tolist() == [[0, 0], [0, 5]]


# drawings, pixel by pixel


def pixels(svg: str, width: int = 300) -> np.ndarray:
    png = cairosvg.svg2png(svg.encode("utf-8"), output_width=width, background_color="white")
    grey: np.ndarray = image.imread(io.BytesIO(png))[..., :3].mean(axis=2)
    return grey


def drawn_again(shape: Outlines) -> str:
    """The same as one even-odd path in a picture of 100 by 100."""
    data = " ".join(
        "M" + " L".join(f"{x:.5f} {100 - y:.5f}" for x, y in ring) + " Z" for ring in shape.areas
    )
    return f'{HEAD} viewBox="0 0 100 100"><path fill-rule="evenodd" d="{data}"/></svg>'


#: In two corners of every picture, so that its extent is known.
CORNERS = '<path fill="red" d="M0 0h2v2h-2z M98 98h2v2h-2z"/>'
DRAWINGS = {
    "transforms": '<g transform="translate(50 50) rotate(30) skewX(10) scale(1.5 .8)">'
    '<rect x="-20" y="-12" width="40" height="24" rx="5"/><g transform="rotate(90 10 5)">'
    '<ellipse cx="12" cy="4" rx="6" ry="20"/></g></g>',
    "arcs": '<path d="M25 50 A30 20 20 1 1 75 50 A20 30 0 0 0 25 50 Z"/>'
    '<path d="m20 90 a5 5 0 0 1 10 0 a5 5 0 0 1 -10 0"/>',
    "nonzero": '<path d="M10 10 H90 V90 H10 Z M30 30 V70 H70 V30 Z M40 40 H60 V60 H40 Z"/>',
    "evenodd": '<path fill-rule="evenodd" d="M50 5 L80 95 L5 35 H95 L20 95 Z"/>',
    "star": '<path d="M50 5 L80 95 L5 35 H95 L20 95 Z"/>',
    "overlap": '<circle cx="40" cy="50" r="30"/><circle cx="65" cy="50" r="25" fill="#123"/>',
    "use": '<defs><path id="p" d="M0 0 q10 -20 20 0 t20 0 v10 H0 z"/></defs>'
    '<use xlink:href="#p" x="10" y="40"/><use href="#p" transform="translate(50 80) scale(.9 -.9)"/>',
    "styles": "<style>.no{fill:none} #yes { fill : #000 } circle{display:none}</style>"
    '<rect class="no" width="90" height="90"/><rect id="yes" class="no" x="20" y="30" width="40" height="20"/>'
    '<circle cx="50" cy="50" r="40"/><polygon points="5,95 95,95 50,70" style="fill:navy"/>',
    "curves": '<path d="M10 80 C 40 10, 65 10, 90 60 S 80 95, 60 85 Q 30 95 10 80 Z"/>',
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_drawings_cover_the_pixels_that_cairo_draws(name: str) -> None:
    body = DRAWINGS[name] + CORNERS
    svg = f'{HEAD} width="100mm" height="100mm" viewBox="0 0 100 100">{body}</svg>'
    shape = svg_outlines(svg.encode("utf-8"), name=name)
    assert shape.extent == pytest.approx((0, 0, 100, 100), abs=1e-6)
    wanted = pixels(svg)
    assert 1000 < (wanted < 0.5).sum() < 80_000
    off = np.abs(pixels(drawn_again(shape)) - wanted) > 0.4
    assert off.sum() < 60  # single pixels of an outline of a thousand and more


def test_a_letter_as_a_path_is_the_letter() -> None:
    font = TTFont(io.BytesIO(FONT))
    glyphs = font.getGlyphSet()
    pen = SVGPathPen(glyphs)
    glyphs["ampersand"].draw(pen)
    svg = f'{HEAD} viewBox="0 0 2048 2048"><path transform="scale(1 -1)" d="{pen.getCommands()}"/></svg>'
    letter = text_outlines("&", 20.0)
    x0, y0, x1, y1 = letter.extent
    read = svg_outlines(svg.encode(), name="letter", width_mm=x1 - x0)
    assert read.extent[3] == pytest.approx(y1 - y0, rel=1e-3)
    assert area(read) == pytest.approx(area(letter), rel=2e-3)


@pytest.mark.parametrize(
    ("size", "mm"),
    [
        # CSS Values and Units 3, 5.2: 1 in is 2.54 cm, 6 pc, 72 pt
        ('width="100mm" viewBox="0 0 50 50"', 2.0),
        ('width="2in" viewBox="0 0 50.8 10"', 1.0),
        ('height="72pt" viewBox="0 0 5 254"', 0.1),
        ('width="6pc" viewBox="0 0 25.4 9"', 1.0),
        ('width="10cm"', 25.4 / 96),
    ],
)
def test_a_document_s_own_size_counts(size: str, mm: float) -> None:
    svg = f'{HEAD} {size}><rect width="4" height="3"/></svg>'
    assert svg_outlines(svg.encode(), name="s").extent == pytest.approx((0, 0, 4 * mm, 3 * mm))


def test_strokes_without_fill_are_lines() -> None:
    svg = (
        f'{HEAD} width="10mm" viewBox="0 0 10 10"><g fill="none" stroke="#000">'
        '<path d="M0 0 L10 10"/><rect width="4" height="3"/></g><line x1="1" x2="9" stroke="red"/>'
        '<path d="M0 9 H9"/></svg>'
    )
    shape = svg_outlines(svg.encode(), name="s")
    assert shape.areas == () and [len(line) for line in shape.lines] == [2, 5, 2]
    assert np.array_equal(shape.lines[1][0], shape.lines[1][-1])


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>'
    f"{HEAD}><title>&b;</title></svg>"
)


@pytest.mark.parametrize(
    ("svg", "said"),
    [
        ("not a drawing", "not well-formed XML"),
        ("<html/>", "no SVG file"),
        (BOMB, "declares entities"),
        (f"{HEAD}><text>hello</text></svg>", "live text"),
        (f'{HEAD}><image href="x.png"/></svg>', "a picture"),
        (f'{HEAD}><rect width="3" height="3" clip-path="url(#a)"/></svg>', "clip-path"),
        (f"{HEAD}></svg>", "shows no shapes"),
        (f'{HEAD}><rect width="3" height="3" fill="none"/></svg>', "shows no shapes"),
        (f'{HEAD} width="50"><rect width="3" height="3"/></svg>', "how large it is"),
        (f'{HEAD} width="9mm"><path d="M0 0 Q 3"/></svg>', "path that cannot be read"),
        (f'{HEAD} width="9mm"><path d="M0 0 L 1e999 3 Z"/></svg>', "without end|no shapes|cannot be read"),
        (f'{HEAD} width="9mm"><rect width="50%" height="3"/></svg>', "width that cannot be read"),
        (f'{HEAD} width="9mm"><g transform="spin(3)"><rect width="1" height="3"/></g></svg>', "transformation"),
        (f'{HEAD} width="9mm"><use href="#no"/></svg>', "uses what is not in it"),
        (f'{HEAD} width="9mm"><g id="a"><use href="#a"/></g></svg>', "uses what is not in it"),
        (f'{HEAD} width="9mm"><polygon points="1 2 3"/></svg>', "odd number"),
    ],
)  # fmt: skip
def test_what_cannot_be_marked_is_refused(svg: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        svg_outlines(svg.encode(), name="leaf.svg")
    assert "leaf.svg" in str(caught.value)


def test_too_many_points_are_refused() -> None:
    data = "M0 0" + " L1 1 L2 0" * 110_000
    svg = f'{HEAD} width="9mm"><path fill="none" stroke="red" d="{data}"/></svg>'
    with pytest.raises(InputError, match="too many points"):
        svg_outlines(svg.encode(), name="leaf.svg")


SLIPS = [
    *(
        "0",
        "-1",
        "1e9",
        "1e308",
        "nan",
        "inf",
        "1e-300",
        "100%",
        "",
        "A",
        "C",
        "Z",
        "zz",
        "rotate(",
    ),
    *(
        "scale(0)",
        "scale(1e200)",
        "matrix(0 0 0 0 0 0)",
        "none",
        "url(#x)",
        "<g>",
        "</g>",
        "<text/>",
    ),
    *('"', "5mm", "1e5em", "-5", "é", "\x00"),
]


def test_mutilated_drawings_are_refused_or_read() -> None:
    # found so: a viewBox of nothing, a negative width, coordinates of 1e308
    bodies = list(DRAWINGS.values())
    refused = 0
    for seed in range(300):
        r = random.Random(seed)
        body = r.choice(bodies)
        for _ in range(r.choice([1, 1, 2, 4])):
            at = r.randrange(len(body))
            body = body[:at] + r.choice(SLIPS) + body[min(len(body), at + r.choice([0, 1, 3, 8])) :]
        size = r.choice(["100mm", "1e300mm", "0mm", "-3mm", "5in", "50"])
        box = r.choice(["0 0 100 100", "0 0 0 0", "0 0 -5 5", "1 2", "0 0 1e300 1"])
        svg = f'{HEAD} width="{size}" viewBox="{box}">{body}</svg>'
        asked = r.choice([{}, {"width_mm": 30.0}, {"height_mm": 1e-3}])
        try:
            assert all(
                math.isfinite(v) for v in svg_outlines(svg.encode(), name="x", **asked).extent
            )
        except InputError:
            refused += 1
    assert 100 < refused < 300


@pytest.mark.parametrize("encoding", ["x-unknown", "utf-7", "utf-16", "base64", ""])
def test_odd_encodings_are_refused(encoding: str) -> None:
    svg = f'<?xml version="1.0" encoding="{encoding}"?>{HEAD} width="9mm"><rect width="1" height="1"/></svg>'
    with pytest.raises(InputError, match="not well-formed XML"):
        svg_outlines(svg.encode(), name="leaf.svg")


SQUARE = '<rect {} width="40" height="40"/>'


def square(attributes: str, around: str = "{}", size: str = 'width="100mm"') -> float:
    svg = f'{HEAD} {size} viewBox="0 0 100 100">{around.format(SQUARE.format(attributes))}</svg>'
    return area(svg_outlines(svg.encode(), name="s"))


@pytest.mark.parametrize(
    "attributes",
    ['opacity="0"', 'fill-opacity="0"', 'style="opacity:0.0"', 'fill="rgba(0,0,0,0)"', 'fill="transparent"', 'visibility="hidden"'],
)  # fmt: skip
def test_what_is_not_seen_is_not_marked(attributes: str) -> None:
    # cairo draws nothing of these either
    with pytest.raises(InputError, match="shows no shapes"):
        square(attributes)
    with pytest.raises(InputError, match="shows no shapes"):
        square('fill="none" stroke="red" stroke-width="0"')
    assert square('fill="rgba(0,0,0,0.4)"') == pytest.approx(1600)


@pytest.mark.parametrize(
    "sheet",
    ["rect.b{fill:none}", "g .b{fill:none}", "*{fill:none}", ".b{fill:none !important}", "@media print{.b{fill:none}}"],
)  # fmt: skip
def test_style_sheets_that_are_not_understood_are_refused(sheet: str) -> None:
    with pytest.raises(InputError, match="style sheet that is not understood"):
        square('class="b"', f"<style>{sheet.replace('{', '{{').replace('}', '}}')}</style>{{}}")


def test_a_rule_for_an_id_counts_for_more_than_one_for_a_class() -> None:
    # CSS Selectors 3, 9: specificity
    for first, second in (("#a{fill:none}", ".b{fill:red}"), (".b{fill:none}", "rect{fill:red}")):
        sheet = f"<style>{first}{second}</style>".replace("{", "{{").replace("}", "}}")
        with pytest.raises(InputError, match="shows no shapes"):
            square('id="a" class="b"', sheet + "{}")


@pytest.mark.parametrize(
    "attributes", ['style="transform:scale(2)"', 'transform="scale(2abc)"', 'marker-end="url(#m)"']
)
def test_what_changes_the_shape_and_is_not_understood_is_refused(attributes: str) -> None:
    with pytest.raises(InputError, match=r"not understood|cannot be read"):
        square(attributes)


def test_width_and_height_that_disagree_show_the_whole_in_proportion() -> None:
    # SVG 2, 8.2: the default of preserveAspectRatio is meet
    assert square("", size='width="100mm" height="50mm"') == pytest.approx(400)
    with pytest.raises(InputError, match="squeezed"):
        square("", size='width="100mm" height="50mm" preserveAspectRatio="none"')


def test_elements_of_another_namespace_show_nothing() -> None:
    with pytest.raises(InputError, match="shows no shapes"):
        square("", '<x:g xmlns:x="urn:x"><x:rect width="5" height="5"/></x:g><!--{}-->')


def test_uses_of_uses_do_not_hold_up_the_program() -> None:
    levels = "".join(
        f'<g id="g{k}">' + f'<use href="#g{k - 1}"/>' * 10 + "</g>" for k in range(1, 11)
    )
    svg = f'{HEAD} width="9mm"><g id="g0"><rect width="1" height="1"/></g>{levels}</svg>'
    with pytest.raises(InputError, match="too many elements"):
        svg_outlines(svg.encode(), name="s")


@pytest.mark.parametrize(
    "matrix", ["1 0 0 1 0 0", "1 .95 .95 1 0 0", "1 0 5.67 1 0 0", "-2 .3 .1 .5 3 4"]
)
@pytest.mark.parametrize(
    "shape", ['<circle r="40"/>', '<path d="M-40 0 A40 40 0 1 1 40 0 A40 40 0 1 1 -40 0 Z"/>']
)
def test_flattening_keeps_its_tolerance_under_transformations(shape: str, matrix: str) -> None:
    svg = f'{HEAD} width="100mm" viewBox="0 0 100 100"><g transform="matrix({matrix})">{shape}</g></svg>'
    (ring,) = svg_outlines(svg.encode(), name="s").areas
    # the circle itself, densely: x = M u, y turned up, about its middle
    a, b, c, d, *_ = (float(v) for v in matrix.split())
    t = np.linspace(0, 2 * np.pi, 20_001)
    dense = np.stack(
        [40 * (a * np.cos(t) + c * np.sin(t)), -40 * (b * np.cos(t) + d * np.sin(t))], 1
    )
    middle = np.array(shapely.Polygon(ring).centroid.coords[0])
    away = shapely.distance(shapely.LinearRing(ring - middle), shapely.points(dense))
    assert away.max() < 0.0105  # 0.01, and a little for the middle of a polygon
