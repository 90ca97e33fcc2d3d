"""Text as strokes: letters made of open polylines, for labels that a machine marks.

The letters are the single-stroke sans letters that A. V. Hershey digitised at the US National Bureau
of Standards (NBS Special Publication 424, 1976), in the public domain, from the library
``Hershey-Fonts``. They hold ASCII. Any other character is replaced, in this sequence: by a fixed
table (ä becomes ae, × becomes x, ± becomes +-, ° becomes deg); else by its compatible decomposition
without accents (é becomes e, ½ becomes 1/2); else by ``?``.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.geometry.drawing import Label

__all__ = ["label_strokes", "one_line", "to_ascii"]

# Hershey's normal size: capitals and digits stand on y = 9 and reach up to y = -12 (y points down)
_BASE_LINE = 9
_CAP_HEIGHT = 21

_PAIRS = [
    "ä",
    "ae",
    "ö",
    "oe",
    "ü",
    "ue",
    "Ä",
    "Ae",
    "Ö",
    "Oe",
    "Ü",
    "Ue",
    "ß",
    "ss",
    "æ",
    "ae",
    "Æ",
    "Ae",
    "œ",
    "oe",
    "Œ",
    "Oe",
    "ø",
    "o",
    "Ø",
    "O",
    "ł",
    "l",
    "Ł",
    "L",
    "đ",
    "d",
    "Đ",
    "D",
    "ð",
    "d",
    "Ð",
    "D",
    "þ",
    "th",
    "Þ",
    "Th",
    "ı",
    "i",
    "×",
    "x",
    "÷",
    "/",
    "±",
    "+-",
    "°",
    "deg",
    "⌀",
    "dia",
    "·",
    ".",
    "•",
    "-",
    "≤",
    "<=",
    "≥",
    ">=",
    "≈",
    "~",
    "→",
    "->",
    "⁄",
    "/",
    "«",
    "<<",
    "»",
    ">>",
    "‐",
    "-",
    "‑",
    "-",
    "‒",
    "-",
    "–",
    "-",
    "—",
    "-",
    "−",
    "-",
    "‘",
    "'",
    "’",
    "'",
    "‚",
    "'",
    "′",
    "'",
    "“",
    '"',
    "”",
    '"',
    "„",
    '"',
    "″",
    '"',
]
_FOLDED = str.maketrans(dict(zip(_PAIRS[::2], _PAIRS[1::2], strict=True)))


def one_line(text: str) -> str:
    """Return ``text`` on one line: what is not printable becomes a space, runs of spaces one.

    Line ends, control characters, lone surrogates and marks of direction are gone afterwards, so
    that no text can end a line of a file early or make XML ill-formed.
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def to_ascii(text: str, *, otherwise: Callable[[str], str] = lambda _: "?") -> str:
    """Return ``text`` in ASCII, replaced as the module says.

    ``otherwise`` gives what stands for a character that has no replacement.
    """
    if text.isascii():
        return text
    done = []
    for c in unicodedata.normalize("NFC", text):
        plain = unicodedata.normalize("NFKD", c.translate(_FOLDED)).translate(_FOLDED)
        done.append("".join(p for p in plain if p.isascii()) or otherwise(c))
    return "".join(done)


@cache
def _letters() -> dict[str, tuple[list[NDArray[np.float64]], float]]:
    """Strokes and advance width of each letter, capitals 1 high, base line 0, y up."""
    import json
    from importlib.resources import files

    text = files("boxjoint.geometry").joinpath("letters.json").read_text(encoding="ascii")
    letters = {}
    for character, (advance, strokes) in json.loads(text).items():
        letters[character] = (
            [np.array(s, dtype=np.float64).reshape(-1, 2) / _CAP_HEIGHT for s in strokes],
            advance / _CAP_HEIGHT,
        )
    return letters


def label_strokes(label: Label) -> list[NDArray[np.float64]]:
    """Return a label's letters as open polylines.

    Parameters
    ----------
    label
        Its ``height`` is that of capitals and digits. Its ``at`` is the centre: across, of what is
        drawn; up and down, of the capitals, so that letters that reach below do not lift a label.

    Returns
    -------
    list of (n, 2) float64
        mm, n >= 2. Empty for a text without anything to see.

    Raises
    ------
    InputError
        The height is not above zero, or the height or the place is not finite.
    """
    if not (label.height > 0 and math.isfinite(label.height + sum(label.at))):
        raise InputError(
            "a label needs a finite place and a height above zero",
            value=f"{label.text!r} at {label.at}, height {label.height} mm",
        )
    letters = _letters()
    strokes: list[NDArray[np.float64]] = []
    pen = 0.0
    for character in to_ascii(one_line(label.text)):
        shapes, advance = letters[character]
        strokes += [shape + np.array((pen, -0.5)) for shape in shapes]
        pen += advance
    if not strokes:
        return []
    across = np.concatenate(strokes)[:, 0]
    middle = (across.min() + across.max()) / 2
    return [(s - np.array((middle, 0.0))) * label.height + np.array(label.at) for s in strokes]
