"""The letters of the shop papers: how wide words are, where lines break, what cannot be printed.

The font is DejaVu Sans, regular and bold, which lies in ``geometry/font/`` with its licence: Latin, Greek and
Cyrillic letters, signs and arrows. Widths are the font's own, so what is laid out here is as wide on
paper. reportlab reads the font and is imported late.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any

from boxjoint.errors import MissingExtra
from boxjoint.geometry.strokes import one_line, to_ascii

__all__ = [
    "FONT_NAMES",
    "MISSING",
    "font",
    "printed",
    "shrunk",
    "unprintable",
    "width_mm",
    "wrapped",
]

#: File and name of each weight: regular, bold.
FONT_NAMES = {False: "DejaVuSans", True: "DejaVuSans-Bold"}
#: Stands for a character that the font has not.
MISSING = "□"


@cache
def font(bold: bool) -> Any:
    """Return reportlab's own record of the font.

    Raises
    ------
    MissingExtra
        reportlab is not installed.
    """
    try:
        from reportlab.pdfbase.ttfonts import TTFont
    except ImportError as e:
        raise MissingExtra(
            "the shop papers need reportlab", do="install it: pip install reportlab"
        ) from e
    name = FONT_NAMES[bold]
    data = files("boxjoint.geometry").joinpath(f"font/{name}.ttf").read_bytes()
    return TTFont(name, BytesIO(data))


@cache
def _widths(bold: bool) -> dict[int, float]:
    """Width of each character for a font size of 1."""
    return {c: w / 1000 for c, w in font(bold).face.charWidths.items()}


def unprintable(text: str) -> str:
    """Return the characters of a text that the papers replace by something else, each once."""
    has = _widths(False)
    seen = unicodedata.normalize("NFC", one_line(text))
    return "".join(dict.fromkeys(c for c in seen if ord(c) not in has))


def printed(text: str) -> str:
    """Return the text on one line with only characters that the font has.

    What it has not becomes its nearest ASCII, else :data:`MISSING`.
    """
    text = unicodedata.normalize("NFC", one_line(text))
    has = _widths(False)
    return "".join(c if ord(c) in has else to_ascii(c, otherwise=lambda _: MISSING) for c in text)


def width_mm(text: str, size: float, *, bold: bool = False) -> float:
    """Return how long a printed text is, mm, at a font size in mm."""
    widths = _widths(bold)
    return sum(widths[ord(c)] for c in text) * size


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """Return a text broken into lines that fit the room, mm; at least one, which may be empty.

    Lines break at blanks; a word longer than the room breaks anywhere.
    """
    lines: list[str] = []
    line, used = "", 0.0
    blank = width_mm(" ", size, bold=bold)
    for word in printed(text).split(" "):
        wide = width_mm(word, size, bold=bold)
        if line and used + blank + wide <= room:
            line, used = f"{line} {word}", used + blank + wide
            continue
        if line:
            lines.append(line)
        while wide > room and len(word) > 1:
            part = _head(word, size, room, bold)
            lines.append(part)
            word = word[len(part) :]
            wide = width_mm(word, size, bold=bold)
        line, used = word, wide
    return [*lines, line]


def _head(word: str, size: float, room: float, bold: bool) -> str:
    """As much of a word as fits, at least one character."""
    widths, used = _widths(bold), 0.0
    for i, c in enumerate(word):
        used += widths[ord(c)] * size
        if used > room and i:
            return word[:i]
    return word


def shrunk(
    text: str, size: float, room: float, *, least: float, bold: bool = False
) -> tuple[str, float]:
    """Return a text for one line and the font size at which it fits.

    At the least size what does not fit ends in an ellipsis.
    """
    text = printed(text)
    wide = width_mm(text, size, bold=bold)
    if wide <= room:
        return text, size
    if wide * least <= room * size:
        return text, size * room / wide * 0.9999
    left = room - width_mm("…", least, bold=bold)
    head = _head(text, least, left, bold) if left > 0 else ""
    return f"{head.rstrip()}…", least
