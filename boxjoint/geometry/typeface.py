"""Text as shapes to mark: outlines of a font's letters, or single strokes.

Fonts are read by fontTools. Letters stand side by side by their advance widths; pairs are not kerned,
since what is marked on wood is large and widely read, and kerning tables differ in form.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from boxjoint.errors import InputError
from boxjoint.geometry.drawing import Label, Layer
from boxjoint.geometry.outlines import TOLERANCE_MM, Floats, Outlines, filled
from boxjoint.geometry.strokes import label_strokes

if TYPE_CHECKING:
    from fontTools.ttLib import TTFont

__all__ = ["LINE_DISTANCE", "stroke_outlines", "text_outlines"]

Align = Literal["left", "middle", "right"]

#: From base line to base line, in heights of a capital.
LINE_DISTANCE = 1.6
_FILES = {False: "DejaVuSans", True: "DejaVuSans-Bold"}


def text_outlines(
    text: str,
    height_mm: float,
    font: bytes | None = None,
    *,
    bold: bool = False,
    align: Align = "middle",
) -> Outlines:
    """Return the outlines of a text, its last base line at y = 0, its left at about x = 0.

    Parameters
    ----------
    text
        Lines with ``\\n`` between them.
    height_mm
        Of capitals: the font's own figure for it, else that of its H.
    font
        The content of a TrueType or OpenType file; ``None`` takes the DejaVu Sans that comes along,
        which has Latin, Greek and Cyrillic letters.
    bold
        Of the font that comes along, the bold one.
    align
        Of several lines.

    Raises
    ------
    InputError
        No font, or a damaged one; the font lacks a character.
    """
    try:
        rows = _rows(_bundled(bold) if font is None else _opened(font), text, height_mm)
    except InputError:
        raise
    except Exception as e:  # a damaged table makes fontTools raise whatever it meets
        raise InputError(
            "the font is damaged", value=f"{type(e).__name__}: {e}"[:80], do="take another font"
        ) from None
    return _stacked(rows, height_mm, align)


def _rows(font: TTFont, text: str, height_mm: float) -> list[Outlines]:
    """Each line of a text by itself."""
    lines = text.split("\n")
    glyphs: Any = font.getGlyphSet()
    names: dict[int, str] = font.getBestCmap() or {}
    missing = sorted({c for line in lines for c in line if ord(c) not in names})
    if missing:
        raise InputError(
            "the font has no such letters",
            value=" ".join(f"{c} (U+{ord(c):04X})" for c in missing[:10]),
            do="write them otherwise, or take another font",
        )
    scale = height_mm / _capital(font, glyphs, names)
    rows = []
    for line in lines:
        rings: list[Floats] = []
        x = 0.0
        for character in line:
            name = names[ord(character)]
            rings += [
                np.array([[p.real + x, p.imag] for p in ring]) * scale
                for ring in _contours(glyphs, name, TOLERANCE_MM / scale)
            ]
            x += float(glyphs[name].width)
        rows.append(Outlines(areas=filled(rings)))
    return rows


def stroke_outlines(text: str, height_mm: float, *, align: Align = "middle") -> Outlines:
    """Return a text in single strokes, its last base line at y = 0; as :func:`text_outlines`."""
    rows = []
    for line in text.split("\n"):
        label = Label(layer=Layer.MARK, at=(0.0, height_mm / 2), text=line, height=height_mm)
        rows.append(Outlines(lines=tuple(np.asarray(s) for s in label_strokes(label))))
    return _stacked(rows, height_mm, align)


def _stacked(rows: list[Outlines], height_mm: float, align: Align) -> Outlines:
    """Lines of text under each other."""
    spans = [r.extent if r.areas or r.lines else None for r in rows]
    widest = max((s[2] - s[0] for s in spans if s is not None), default=0.0)
    areas: list[Floats] = []
    lines: list[Floats] = []
    for n, (row, span) in enumerate(zip(rows, spans, strict=True)):
        if span is None:
            continue
        spare = widest - (span[2] - span[0])
        x = {"left": 0.0, "middle": spare / 2, "right": spare}[align] - span[0]
        placed = row.moved(x, (len(rows) - 1 - n) * LINE_DISTANCE * height_mm)
        areas += placed.areas
        lines += placed.lines
    return Outlines(areas=tuple(areas), lines=tuple(lines))


def _contours(glyphs: Any, name: str, tolerance: float) -> list[list[complex]]:
    """The flattened contours of one letter, composites taken apart, in the font's units."""
    from boxjoint.geometry.pen import FlatPen

    pen = FlatPen(glyphs, tolerance)
    glyphs[name].draw(pen)
    return pen.rings


def _capital(font: TTFont, glyphs: Any, names: dict[int, str]) -> float:
    """Height of capitals in the font's units."""
    table = font.get("OS/2")
    height = float(getattr(table, "sCapHeight", 0) or 0)
    if height > 0:
        return height
    rings = _contours(glyphs, names[ord("H")], 1.0) if ord("H") in names else []
    tops = [p.imag for ring in rings for p in ring]
    if not tops or max(tops) <= 0:
        raise InputError("the font does not say how high its capitals are, and has no H")
    return max(tops)


@cache
def _bundled(bold: bool) -> TTFont:
    return _opened(files("boxjoint.geometry").joinpath(f"font/{_FILES[bold]}.ttf").read_bytes())


def _opened(content: bytes) -> TTFont:
    from io import BytesIO

    from fontTools.ttLib import TTFont, TTLibError

    if content[:4] == b"ttcf":
        raise InputError(
            "the file holds several fonts", do="save one of them as a .ttf or .otf file"
        )
    try:
        font = TTFont(BytesIO(content), lazy=True)
        names = font.getBestCmap()
    except (TTLibError, AssertionError, ValueError, KeyError, OSError, EOFError, IndexError) as e:
        raise InputError("this is no font, or a damaged one", value=str(e)[:80]) from None
    except Exception as e:  # fontTools raises whatever a damaged table makes it raise
        raise InputError("this is no font, or a damaged one", value=type(e).__name__) from None
    if not names:
        raise InputError("the font does not say which letters it has")
    if not any(tag in font for tag in ("glyf", "CFF ", "CFF2")):
        raise InputError("the font has no outlines", do="take a font of outlines, not of pictures")
    return font
