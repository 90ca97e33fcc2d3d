"""Read and write lengths and speeds without guessing; exact until the one rounding to a nanometre.

A length that a person typed is read as an exact rational number of millimetres (25.4 is 127/5) by
the grammar below, and rounded once, by :func:`to_nm`. What the grammar does not know is refused,
with the text quoted and what was expected. Blanks may stand between the parts::

    length  = [sign] (amount [unit] | feet ["-"] inches)   a bare amount takes the unit asked for
    feet    = digits ("'" | ft | ft. | foot | feet)
    inches  = amount ('"' | in | in. | inch | inches)      below 12
    amount  = decimal | digits "/" digits | digits (" " | "-") digits "/" digits
    decimal = digits [("." | ",") digits] | ("." | ",") digits
    unit    = mm | cm | m | um | any of the inches or feet above | thou | mil | mils

Capitals do not matter. ``½`` is ``1/2``, typographic marks are marks, two ``'`` are one ``"``. A
``mil`` is a thou (0.001 in), never a millimetre.

A point is always a decimal point: ``1.250 mm`` is one and a quarter. A comma may be a decimal
comma: ``6,35 mm`` is 6.35 mm. But a comma before exactly three digits may as well be a thousands
mark and is refused (``1,250``), unless nothing but zeros stands before it (``0,175``): no thousands
mark follows a zero. Refused as well: two marks in one number (``1.250,5``), and a blank, an
apostrophe or an underscore between digits (``1 250``). Powers of ten (``1e3``) are refused in text;
a Python float is taken at the shortest decimal that stands for it.

All rounding for show is to nearest, ties to even, in exact integer arithmetic.

Files, each importing only from those before it: ``grammar`` (numbers in text, no units),
``lengths``, ``writing``, ``speeds``, ``quantities`` (the only importer of pint, and late).
"""

from boxjoint.units.lengths import (
    MM_PER_INCH,
    NM_PER_64TH,
    NM_PER_INCH,
    NM_PER_MM,
    System,
    read_length,
    read_length_nm,
    to_nm,
)
from boxjoint.units.quantities import length_from_quantity, speed_from_quantity
from boxjoint.units.speeds import Speed, format_speed, read_speed
from boxjoint.units.writing import (
    both,
    both_sizes,
    format_fraction,
    format_inch,
    format_mm,
    format_thou,
    mm_and_thou,
    own_first,
    small_size,
)

__all__ = [
    "MM_PER_INCH",
    "NM_PER_64TH",
    "NM_PER_INCH",
    "NM_PER_MM",
    "Speed",
    "System",
    "both",
    "both_sizes",
    "format_fraction",
    "format_inch",
    "format_mm",
    "format_speed",
    "format_thou",
    "length_from_quantity",
    "mm_and_thou",
    "own_first",
    "read_length",
    "read_length_nm",
    "read_speed",
    "small_size",
    "speed_from_quantity",
    "to_nm",
]
