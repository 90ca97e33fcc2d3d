"""Drawings from SVG files as shapes to mark.

What an SVG fills becomes an area, whatever its colour; what it only strokes becomes a line, whatever
its width. The grammar of paths is read by fontTools; the document by the XML parser of the standard
library, with nothing fetched and no entities expanded. Understood are paths and basic shapes, groups,
``use``, transformations, ``viewBox``, units, and ``fill``, ``stroke``, ``fill-rule``, ``display`` and
``visibility`` as attributes, in ``style``, and by simple selectors (``.name``, ``#name``, ``tag``) in a
``<style>`` element. What would change the shape and is not understood is refused, never skipped.

Source: W3C, Scalable Vector Graphics (SVG) 2, chapters 8 to 10.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from boxjoint.errors import InputError
from boxjoint.geometry.outlines import TOLERANCE_MM, Floats, Outlines, filled

__all__ = ["MOST_POINTS", "svg_outlines"]

#: More points than this are a traced photograph, or a slip.
MOST_POINTS = 200_000
_MOST_NODES, _MOST_DEPTH = 100_000, 100
_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
#: Coordinates as far off as this are a slip, whatever the unit.
_FURTHEST = 1e9

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*(px|pt|pc|mm|cm|in|)\s*")
#: Millimetres of one of each unit; a px is 1/96 in (CSS Values 3, 5.2).
_MM = {
    "": 25.4 / 96,
    "px": 25.4 / 96,
    "pt": 25.4 / 72,
    "pc": 25.4 / 6,
    "mm": 1.0,
    "cm": 10.0,
    "in": 25.4,
}
_SKIPPED = {
    *("defs", "symbol", "title", "desc", "metadata", "style", "script", "namedview"),
    *("lineargradient", "radialgradient", "pattern", "marker", "clippath", "mask", "filter"),
}
_REFUSED = {
    "text": "live text: turn it into paths",
    "tspan": "live text: turn it into paths",
    "image": "a picture: trace it into paths",
    "foreignobject": "foreign content: leave it out",
    "switch": "a switch: leave it out",
}
#: What changes what is seen, and is refused.
_CHANGING = (
    *("clip-path", "mask", "filter", "transform-origin"),
    *("marker", "marker-start", "marker-mid", "marker-end"),
)
_INHERITED = (
    *("fill", "stroke", "fill-rule", "visibility"),
    *("fill-opacity", "stroke-opacity", "stroke-width"),
)

Matrix = tuple[float, float, float, float, float, float]
_IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


@dataclass(slots=True, eq=False)
class _Node:
    tag: str
    attributes: dict[str, str]
    line: int
    children: list[_Node] = field(default_factory=list)
    text: str = ""


@dataclass(slots=True, kw_only=True, eq=False)
class _Document:
    """What holds for the whole document; ``visited`` counts elements, uses of them included."""

    name: str
    rules: list[tuple[str, dict[str, str]]]
    ids: Mapping[str, _Node]
    visited: int = 0

    def visit(self, at: str) -> None:
        """Count one more element; a few uses of uses are thousands of them."""
        self.visited += 1
        if self.visited > _MOST_NODES:
            raise InputError("the drawing has too many elements", where=at, do="simplify it")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shape:
    """One shape in the document's own units: its node, path data or points, and how it is shown."""

    node: _Node
    matrix: Matrix
    style: Mapping[str, str]


def svg_outlines(
    content: bytes, *, name: str, width_mm: float | None = None, height_mm: float | None = None
) -> Outlines:
    """Read a drawing, y up, the lower left corner of what it shows at (0, 0).

    Parameters
    ----------
    content
        The file.
    name
        How it is called in messages.
    width_mm, height_mm
        Size of what it shows; at most one. Without either the document's own size in mm, cm or in
        counts.

    Raises
    ------
    InputError
        What is wrong, and in which line.
    """
    root, rules = _parsed(content, name)
    document = _Document(name=name, rules=rules, ids=_ids(root))
    shapes = list(_shapes(root, _IDENTITY, {}, document, 0))
    if not shapes:
        raise InputError("the drawing shows no shapes", where=name)
    # a first look for the size, then once more as fine as that asks for
    rough = _flat(shapes, 1e-3 * _reach(shapes, name), name)
    x0, y0, x1, y1 = rough.extent
    scale = _scale(root, (x1 - x0, y1 - y0), width_mm, height_mm, name)
    if not 1 / _FURTHEST < scale < _FURTHEST:
        raise InputError(
            "the drawing's own units are too large or too small",
            where=name,
            value=f"one of them would be {scale:.3g} mm",
            do="check its viewBox, width and height",
        )
    fine = _flat(shapes, TOLERANCE_MM / scale, name)
    x0, y0, x1, y1 = fine.extent
    if width_mm is not None or height_mm is not None:
        scale = _scale(root, (x1 - x0, y1 - y0), width_mm, height_mm, name)
    return fine.moved(-x0, -y0).scaled(scale)


def _scale(
    root: _Node,
    size: tuple[float, float],
    width_mm: float | None,
    height_mm: float | None,
    name: str,
) -> float:
    """Millimetres for one unit of the document, above 0."""
    for asked, found, what in ((width_mm, size[0], "width"), (height_mm, size[1], "height")):
        if asked is not None:
            if found <= 0:
                raise InputError(
                    f"the drawing has no {what}", where=name, do="ask for the other one"
                )
            return asked / found
    if max(size) <= 0:
        raise InputError("the drawing is a single point", where=name)
    numbers = _numbers(root.attributes.get("viewBox", "")) or []
    found_mm = []
    for k, key in enumerate(("width", "height")):
        match = _LENGTH.fullmatch(root.attributes.get(key, ""))
        if match is None or match[2] in ("", "px"):
            continue  # a size on a screen says nothing of one on wood
        mm = float(match[1]) * _MM[match[2]]
        if not 0 < mm < _FURTHEST:
            continue
        if not numbers:
            return _MM[""]
        if len(numbers) == 4 and numbers[2 + k] > 0:
            found_mm.append(mm / numbers[2 + k])
    if found_mm:
        uneven = max(found_mm) > 1.001 * min(found_mm)
        if uneven and root.attributes.get("preserveAspectRatio", "").startswith("none"):
            raise InputError(
                "the drawing is squeezed: its width and height do not go with its viewBox",
                where=name,
                do="write width = ... or height = ... for the mark",
            )
        return min(found_mm)  # it shows the whole viewBox, in proportion
    raise InputError(
        "the drawing does not say how large it is",
        where=name,
        limit="a width or height in mm, cm or in",
        do="write width = ... or height = ... for the mark",
    )


# The document


def _parsed(content: bytes, name: str) -> tuple[_Node, list[tuple[str, dict[str, str]]]]:
    """The tree of a document with the line of each element, and the rules of its style sheets."""
    from xml.parsers import expat

    parser = expat.ParserCreate(namespace_separator=" ")
    root: list[_Node] = []
    stack: list[_Node] = []
    count = 0

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal count
        count += 1
        if count > _MOST_NODES or len(stack) > _MOST_DEPTH:
            raise InputError("the drawing has too many elements", where=name)
        space, _, word = tag.rpartition(" ")
        plain = {
            k.rpartition(" ")[2]: v
            for k, v in attributes.items()
            if " " not in k or k.startswith(_XLINK)
        }
        # what is not SVG's own shows nothing
        word = word.lower() if space in ("", _SVG) else "metadata"
        node = _Node(word, plain, parser.CurrentLineNumber)
        if stack:
            stack[-1].children.append(node)
        else:
            root.append(node)
        stack.append(node)

    def end(_tag: str) -> None:
        stack.pop()

    def text(data: str) -> None:
        if stack:
            stack[-1].text += data

    def entity(*_: object) -> None:
        raise InputError(
            "the drawing declares entities",
            where=f"{name}, line {parser.CurrentLineNumber}",
            do="save it as plain SVG",
        )

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text
    parser.EntityDeclHandler = entity
    try:
        parser.Parse(content, True)
    except expat.ExpatError as error:
        raise InputError(
            "the drawing is not well-formed XML",
            where=f"{name}, line {error.lineno}",
            value=expat.ErrorString(error.code),
            do="save it again as plain SVG",
        ) from None
    except (LookupError, ValueError) as error:  # the encoding that it names
        raise InputError(
            "the drawing is not well-formed XML",
            where=name,
            value=str(error)[:80],
            do="save it as UTF-8",
        ) from None
    if root[0].tag != "svg":
        raise InputError(
            "this is no SVG file", where=name, value=f"its first element is <{root[0].tag}>"
        )
    rules: list[tuple[str, dict[str, str]]] = []
    for node in _all(root[0]):
        if node.tag == "style":
            rules += _rules(node.text, f"{name}, line {node.line}")
    return root[0], rules


def _all(node: _Node) -> Iterator[_Node]:
    yield node
    for child in node.children:
        yield from _all(child)


def _ids(root: _Node) -> dict[str, _Node]:
    return {n.attributes["id"]: n for n in _all(root) if "id" in n.attributes}


def _rules(sheet: str, at: str) -> list[tuple[str, dict[str, str]]]:
    """Simple selectors of a style sheet with what they declare, in their sequence; others are refused."""
    plain = re.sub(r"/\*.*?\*/|<!--|-->", "", sheet, flags=re.DOTALL)
    found = []
    for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", plain):
        for selector in selectors.split(","):
            word = selector.strip()
            if not re.fullmatch(r"[.#]?[A-Za-z_][\w-]*", word) or "!" in body:
                raise InputError(
                    "the drawing has a style sheet that is not understood",
                    where=at,
                    value=f"{word} {{{body.strip()[:40]}}}",
                    limit="selectors such as .name, #name or rect",
                    do="save it with its styles at the shapes (plain SVG)",
                )
            found.append((word, _declared(body)))
    if re.sub(r"[^{}]+\{[^{}]*\}", "", plain).strip():
        raise InputError(
            "the drawing has a style sheet that is not understood",
            where=at,
            do="save it with its styles at the shapes (plain SVG)",
        )
    return found


def _declared(text: str) -> dict[str, str]:
    pairs = (part.split(":", 1) for part in text.split(";") if ":" in part)
    return {k.strip().lower(): v.strip().lower() for k, v in pairs}


def _style(
    node: _Node, above: Mapping[str, str], rules: list[tuple[str, dict[str, str]]]
) -> dict[str, str]:
    """What holds for an element: inherited, its attributes, style sheets, its own style."""
    own = {k: above[k] for k in _INHERITED if k in above}
    for key in (*_INHERITED, "display", "opacity", *_CHANGING):
        if key in node.attributes:
            own[key] = node.attributes[key].strip().lower()
    classes = node.attributes.get("class", "").split()
    # a rule for an id counts for more than one for a class, and that for more than one for a tag
    for selector, declared in sorted(rules, key=lambda rule: ".#".find(rule[0][:1])):
        kind, word = selector[:1], selector[1:]
        if (
            (kind == "." and word in classes)
            or (kind == "#" and word == node.attributes.get("id"))
            or selector.lower() == node.tag
        ):
            own |= declared
    own |= _declared(node.attributes.get("style", ""))
    if "transform" in own:  # as an attribute it is read elsewhere
        own["transform-origin"] = own.pop("transform")
    for key in _INHERITED:
        if own.get(key) == "inherit":
            own[key] = above.get(key, "")
    return own


def _shapes(
    node: _Node,
    matrix: Matrix,
    above: Mapping[str, str],
    document: _Document,
    depth: int,
) -> Iterator[_Shape]:
    """The shapes that an element shows, in the units of the outermost one."""
    at = f"{document.name}, line {node.line}"
    document.visit(at)
    style = _style(node, above, document.rules)
    if style.get("display") == "none" or _is_zero(style.get("opacity", "")):
        return
    if node.tag in _REFUSED:
        raise InputError(f"the drawing has {_REFUSED[node.tag]}", where=at)
    if node.tag in _SKIPPED and depth:
        return
    for key in _CHANGING:
        if style.get(key, "none") != "none":
            raise InputError(
                f"the drawing uses {key}, which is not understood", where=at, do="take it out"
            )
    matrix = _times(matrix, _transform(node.attributes.get("transform", ""), at))
    if node.tag == "svg" and depth:
        matrix = _times(matrix, (1, 0, 0, 1, _number(node, "x", at), _number(node, "y", at)))
        if "viewBox" in node.attributes:
            raise InputError("the drawing has a drawing within it", where=at, do="take it apart")
    if node.tag in ("svg", "g", "a", "symbol"):
        for child in node.children:
            yield from _shapes(child, matrix, style, document, depth + 1)
    elif node.tag == "use":
        target = document.ids.get(node.attributes.get("href", "").removeprefix("#"))
        if target is None or depth > _MOST_DEPTH // 4:
            raise InputError("the drawing uses what is not in it", where=at)
        matrix = _times(matrix, (1, 0, 0, 1, _number(node, "x", at), _number(node, "y", at)))
        if target.tag == "symbol" and "viewBox" in target.attributes:
            raise InputError(
                "the drawing uses a symbol with a viewBox", where=at, do="take it apart"
            )
        if target.tag == "symbol":
            inner = _style(target, style, document.rules)
            for child in target.children:
                yield from _shapes(child, matrix, inner, document, depth + 1)
        else:
            yield from _shapes(target, matrix, style, document, depth + 1)
    elif node.tag in _DRAWN and style.get("visibility") not in ("hidden", "collapse"):
        yield _Shape(node=node, matrix=matrix, style=style)


# Transformations


def _times(a: Matrix, b: Matrix) -> Matrix:
    return (
        a[0] * b[0] + a[2] * b[1],
        a[1] * b[0] + a[3] * b[1],
        a[0] * b[2] + a[2] * b[3],
        a[1] * b[2] + a[3] * b[3],
        a[0] * b[4] + a[2] * b[5] + a[4],
        a[1] * b[4] + a[3] * b[5] + a[5],
    )


def _transform(text: str, at: str) -> Matrix:
    """The matrix of a list of transformations (SVG 2, 8.5)."""
    matrix = _IDENTITY
    rest = re.sub(r"([A-Za-z]+)\s*\(([^)]*)\)", "", text)
    if rest.strip(" ,\t\r\n"):
        raise InputError(
            "the drawing has a transformation that cannot be read", where=at, value=text
        )
    for word, body in re.findall(r"([A-Za-z]+)\s*\(([^)]*)\)", text):
        v = _numbers(body) or []
        made: Matrix | None = None
        if word == "matrix" and len(v) == 6:
            made = (v[0], v[1], v[2], v[3], v[4], v[5])
        elif word == "translate" and len(v) in (1, 2):
            made = (1, 0, 0, 1, v[0], v[1] if len(v) == 2 else 0.0)
        elif word == "scale" and len(v) in (1, 2):
            made = (v[0], 0, 0, v[-1], 0, 0)
        elif word == "rotate" and len(v) in (1, 3):
            c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
            x, y = v[1:] if len(v) == 3 else (0.0, 0.0)
            made = (c, s, -s, c, x - c * x + s * y, y - s * x - c * y)
        elif word in ("skewX", "skewY") and len(v) == 1:
            t = math.tan(math.radians(v[0]))
            made = (1, 0, t, 1, 0, 0) if word == "skewX" else (1, t, 0, 1, 0, 0)
        if made is None:
            raise InputError(
                "the drawing has a transformation that cannot be read",
                where=at,
                value=f"{word}({body})",
            )
        matrix = _times(matrix, made)
    return matrix


# Shapes


def _number(node: _Node, key: str, at: str, otherwise: float = 0.0) -> float:
    """A length in the document's units."""
    value = node.attributes.get(key)
    if value is None or value.strip() == "auto":
        return otherwise
    match = _LENGTH.fullmatch(value)
    if match is None:
        raise InputError(
            f"the drawing has a {key} that cannot be read",
            where=at,
            value=value,
            limit="a number, or one with px, pt, pc, mm, cm or in",
        )
    number = float(match[1]) * (_MM[match[2]] / _MM[""] if match[2] else 1.0)
    if not abs(number) < _FURTHEST:
        raise InputError(f"the drawing has a {key} without end", where=at, value=value)
    return number


def _numbers(text: str) -> list[float] | None:
    """Numbers between commas and blanks; ``None`` where anything else stands among them."""
    if re.sub(_NUMBER, "", text).strip(" ,\t\r\n"):
        return None
    return [float(n) for n in re.findall(_NUMBER, text)]


def _points(node: _Node, at: str) -> list[complex]:
    v = _numbers(node.attributes.get("points", ""))
    if v is None:
        raise InputError("the drawing has points that cannot be read", where=at)
    if len(v) % 2:
        raise InputError("the drawing has an odd number of coordinates", where=at)
    return [complex(x, y) for x, y in zip(v[::2], v[1::2], strict=True)]


def _ellipse(cx: float, cy: float, rx: float, ry: float, tolerance: float) -> list[complex]:
    """Points of an ellipse; the chord's sagitta stays within the tolerance."""
    r = max(rx, ry)
    if r <= 0 or min(rx, ry) <= 0:
        return []
    step = 2 * math.acos(max(1 - tolerance / r, -1.0)) if tolerance < r else math.pi / 2
    n = max(8, math.ceil(2 * math.pi / step))
    angles = 2 * np.pi * np.arange(n) / n
    found: list[complex] = (cx + rx * np.cos(angles) + 1j * (cy + ry * np.sin(angles))).tolist()
    return found


def _contours(shape: _Shape, tolerance: float, at: str) -> list[tuple[list[complex], bool]]:
    """Polylines of one shape before its transformation, and whether each is closed."""
    node = shape.node

    def number(key: str, otherwise: float = 0.0) -> float:
        return _number(node, key, at, otherwise)

    if node.tag == "path":
        return _path(node.attributes.get("d", ""), tolerance, at)
    if node.tag == "circle":
        r = number("r")
        return [(_ellipse(number("cx"), number("cy"), r, r, tolerance), True)]
    if node.tag == "ellipse":
        rx, ry = number("rx"), number("ry")
        return [(_ellipse(number("cx"), number("cy"), rx, ry, tolerance), True)]
    if node.tag == "line":
        ends = [complex(number("x1"), number("y1")), complex(number("x2"), number("y2"))]
        return [(ends, False)]
    if node.tag in ("polyline", "polygon"):
        return [(_points(node, at), node.tag == "polygon")]
    x, y, w, h = (number(k) for k in ("x", "y", "width", "height"))
    if w <= 0 or h <= 0:
        return []
    rx = number("rx", -1.0)
    ry = number("ry", -1.0)
    rx, ry = (ry if rx < 0 else rx), (rx if ry < 0 else ry)
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    if not rx or not ry:
        return [
            ([complex(x, y), complex(x + w, y), complex(x + w, y + h), complex(x, y + h)], True)
        ]
    # the four quarters of an ellipse, drawn apart
    whole = np.array(_ellipse(0, 0, rx, ry, tolerance))
    n = -(-len(whole) // 4)
    quarter = np.exp(0.5j * np.pi * np.arange(n + 1) / n)
    out: list[complex] = []
    for k, (cx, cy) in enumerate(
        ((x + w - rx, y + h - ry), (x + rx, y + h - ry), (x + rx, y + ry), (x + w - rx, y + ry))
    ):
        turned = quarter * 1j**k
        out += (cx + rx * turned.real + 1j * (cy + ry * turned.imag)).tolist()
    return [(out, True)]


_DRAWN = {"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"}


def _path(data: str, tolerance: float, at: str) -> list[tuple[list[complex], bool]]:
    """Contours of path data."""
    from fontTools.svgLib.path.parser import parse_path

    from boxjoint.geometry.pen import FlatArc, FlatPen

    pen = FlatPen(None, tolerance)
    if not data.strip() or data.strip().lower() == "none":
        return []
    try:
        parse_path(data, pen, arc_class=FlatArc)
    except InputError:
        raise
    except Exception as e:  # the parser raises what its grammar trips over
        raise InputError(
            "the drawing has a path that cannot be read",
            where=at,
            value=f"{data[:40]}{'...' if len(data) > 40 else ''}",
            limit=f"{type(e).__name__}: {e}"[:80],
        ) from None
    return list(zip(pen.rings, pen.closed, strict=True))


def _reach(shapes: list[_Shape], name: str) -> float:
    """About how large the drawing is, in the document's units."""
    low, high = complex(math.inf, math.inf), complex(-math.inf, -math.inf)
    for shape in shapes:
        for points, _ in _contours(shape, 1e12, f"{name}, line {shape.node.line}"):
            for p in _moved(shape.matrix, points) if points else []:
                low = complex(min(low.real, p[0]), min(low.imag, p[1]))
                high = complex(max(high.real, p[0]), max(high.imag, p[1]))
    reach = max(high.real - low.real, high.imag - low.imag)
    if not math.isfinite(reach):
        raise InputError("the drawing shows no shapes, or one without end", where=name)
    return max(reach, 1e-6)


def _moved(matrix: Matrix, points: list[complex]) -> Floats:
    a, b, c, d, e, f = matrix
    z = np.array(points)
    if not (np.abs(z.real) < _FURTHEST).all() or not (np.abs(z.imag) < _FURTHEST).all():
        return np.full((len(points), 2), np.nan)
    return np.stack([a * z.real + c * z.imag + e, b * z.real + d * z.imag + f], axis=1)


def _is_zero(value: str) -> bool:
    """Whether an opacity or a width is written as nothing."""
    match = re.fullmatch(rf"({_NUMBER})\s*(?:%|[a-z]*)", value.strip())
    return match is not None and float(match[1]) <= 0


def _paints(style: Mapping[str, str], what: str, otherwise: str) -> bool:
    """Whether a fill or a stroke is seen, in whatever colour."""
    paint = style.get(what) or otherwise
    if paint in ("none", "transparent") or _is_zero(style.get(f"{what}-opacity", "")):
        return False
    alpha = re.fullmatch(r"(?:rgba|hsla)\([^)]*[,/]\s*([\d.]+%?)\s*\)", paint)
    return not (alpha and _is_zero(alpha[1]))


def _flat(shapes: list[_Shape], tolerance: float, name: str) -> Outlines:
    """All shapes together, y up, in the document's units."""
    rings: list[Floats] = []
    lines: list[Floats] = []
    points = 0
    for shape in shapes:
        at = f"{name}, line {shape.node.line}"
        a, b, c, d, *_ = shape.matrix
        if not all(abs(v) < _FURTHEST for v in shape.matrix):
            raise InputError("the drawing has a transformation without end", where=at)
        # the most that any direction is stretched: the greater singular value
        half = (a * a + b * b + c * c + d * d) / 2
        stretch = max(math.sqrt(half + math.sqrt(max(half**2 - (a * d - b * c) ** 2, 0.0))), 1e-12)
        own: list[tuple[Floats, bool]] = []
        for contour, closed in _contours(shape, tolerance / stretch, at):
            if len(contour) >= 2:
                xy = _moved(shape.matrix, contour) * (1.0, -1.0)
                if not (np.abs(xy) < _FURTHEST).all():
                    raise InputError("the drawing has a coordinate without end", where=at)
                own.append((xy, closed))
                points += len(xy)
        if points > MOST_POINTS:
            raise InputError(
                "the drawing has too many points",
                where=name,
                limit=f"at most {MOST_POINTS:,}",
                do="simplify it",
            )
        fills = _paints(shape.style, "fill", "black") and shape.node.tag != "line"
        strokes = _paints(shape.style, "stroke", "none")
        strokes = strokes and not _is_zero(shape.style.get("stroke-width", ""))
        areas: tuple[Floats, ...] = ()
        if fills:
            even_odd = shape.style.get("fill-rule", "nonzero") == "evenodd"
            areas = filled([xy for xy, _ in own], even_odd=even_odd)
            rings += areas
        if strokes and not areas:
            for xy, closed in own:
                lines.append(np.concatenate([xy, xy[:1]]) if closed else xy)
    if not rings and not lines:
        raise InputError(
            "the drawing shows no shapes", where=name, limit="something with a fill or a stroke"
        )
    # shapes that overlap are one area
    return Outlines(areas=filled(rings) if len(rings) > 1 else tuple(rings), lines=tuple(lines))
