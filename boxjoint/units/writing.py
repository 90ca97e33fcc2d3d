"""Write lengths for people: mm, decimal inches, nearest 1/64 and thou, both systems side by side.

``nm`` is any whole number of nanometres, numpy's too; a float raises ``TypeError``, since a value
in mm passed by mistake would be wrong by a million. Rounding is to nearest, ties to even, in exact integer arithmetic; what rounds to zero has no sign.
"""

from __future__ import annotations

import operator
from fractions import Fraction
from typing import SupportsIndex

from boxjoint.units.grammar import plain_number
from boxjoint.units.lengths import MM_PER_INCH, NM_PER_64TH, NM_PER_INCH, NM_PER_MM, System

__all__ = [
    "both",
    "decimal",
    "format_fraction",
    "format_inch",
    "format_mm",
    "format_thou",
    "mm_and_thou",
]


def decimal(value: Fraction, places: int) -> str:
    """``value`` with exactly that many decimals (0 or more)."""
    scaled = round(value * 10**places)  # a Fraction rounds exactly, ties to even
    digits = str(abs(scaled)).rjust(places + 1, "0")
    sign = "-" if scaled < 0 else ""
    return f"{sign}{digits[:-places]}.{digits[-places:]}" if places else sign + digits


def format_mm(nm: SupportsIndex, *, places: int = 2) -> str:
    """Millimetres, from nm: ``format_mm(232_000_000)`` is ``'232.00 mm'``."""
    return decimal(Fraction(operator.index(nm), NM_PER_MM), places) + " mm"


def format_inch(nm: SupportsIndex, *, places: int = 3) -> str:
    """Decimal inches, from nm: ``format_inch(232_000_000)`` is ``'9.134 in'``."""
    return decimal(Fraction(operator.index(nm), NM_PER_INCH), places) + " in"


def format_thou(nm: SupportsIndex, *, places: int = 1) -> str:
    """Thousandths of an inch, from nm: ``format_thou(180_000)`` is ``'7.1 thou'``."""
    return decimal(Fraction(operator.index(nm) * 1000, NM_PER_INCH), places) + " thou"


def format_fraction(nm: SupportsIndex) -> str:
    """The nearest 1/64 in, reduced, with the error of that rounding unless it is exact.

    The error is the fraction shown minus the true length, in mm: with ``+`` a piece made to the
    fraction comes out too long. An error that would show as 0.00 is said to be under 0.01 mm.

    >>> format_fraction(232_000_000)
    '9 9/64 in (+0.17 mm)'
    >>> format_fraction(79_375_000)
    '3 1/8 in'
    """
    true = operator.index(nm)
    count = round(Fraction(true, NM_PER_64TH))
    whole, left = divmod(abs(count), 64)
    parts = [str(whole)] if whole or not left else []
    if left:
        parts.append(str(Fraction(left, 64)))
    shown = f"{'-' if count < 0 else ''}{' '.join(parts)} in"
    if (error := count * NM_PER_64TH - true) == 0:
        return shown
    text = decimal(Fraction(error, NM_PER_MM), 2)
    if text == "0.00":
        return f"{shown} (under 0.01 mm off)"
    return f"{shown} ({text if error < 0 else '+' + text} mm)"


def both(nm: SupportsIndex, first: System = "mm") -> str:
    """Both systems, the job's own first: ``'232.00 mm (9.134 in)'``, ``'9.134 in (232.00 mm)'``."""
    mm, inch = format_mm(nm), format_inch(nm)
    return f"{mm} ({inch})" if first == "mm" else f"{inch} ({mm})"


def mm_and_thou(mm: float, *, first: System = "mm", places: int = 2) -> str:
    """A small measured size (a kerf, a clearance) in mm and thou: ``'0.18 mm (7.1 thou)'``.

    ``mm`` may be negative; ``places`` are those of the mm. Both are rounded from the value itself,
    not one from the other. Raises :class:`~boxjoint.errors.UnitError` where it is not finite.
    """
    exact = plain_number(mm, "size", "expected a finite number of mm")
    metric = decimal(exact, places) + " mm"
    thou = decimal(exact * 1000 / MM_PER_INCH, 1) + " thou"
    return f"{metric} ({thou})" if first == "mm" else f"{thou} ({metric})"
