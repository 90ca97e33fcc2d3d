"""Write lengths for people: mm, decimal inches, nearest 1/64 and thou, both systems side by side.

``nm`` is any whole number of nanometres, numpy's too; a float raises ``TypeError``, since a value
in mm passed by mistake would be wrong by a million. Rounding is to nearest, ties to even, in exact integer arithmetic; what rounds to zero has no sign.
"""

from __future__ import annotations

import operator
from collections.abc import Sequence
from fractions import Fraction
from typing import SupportsIndex

from boxjoint.units.grammar import plain_number
from boxjoint.units.lengths import MM_PER_INCH, NM_PER_64TH, NM_PER_INCH, NM_PER_MM, System

__all__ = [
    "both",
    "both_sizes",
    "decimal",
    "format_fraction",
    "format_inch",
    "format_mm",
    "format_thou",
    "mm_and_thou",
    "own_first",
    "small_size",
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
    """Both systems, the job's own first, with more decimals where these make a length exact.

    Two decimals of a mm, three where that is exact; three of an inch, up to six where that is exact
    (every 1/64 in is), and four in an inch job where it is not.

    >>> both(232_000_000), both(77_787_500, "in")
    ('232.00 mm (9.134 in)', '3.0625 in (77.79 mm)')
    """
    mm, inch = f"{_mm(nm)} mm", f"{_inch(nm, first)} in"
    return f"{mm} ({inch})" if first == "mm" else f"{inch} ({mm})"


def both_sizes(nm: Sequence[SupportsIndex], first: System = "mm") -> str:
    """Several lengths at once: ``'8.125 x 3.500 in (206.38 x 88.90 mm)'``, rounded as by :func:`both`."""
    mm = " x ".join(_mm(v) for v in nm) + " mm"
    inch = " x ".join(_inch(v, first) for v in nm) + " in"
    return f"{mm} ({inch})" if first == "mm" else f"{inch} ({mm})"


def own_first(nm: SupportsIndex, first: System = "mm", *, places: int = 2) -> str:
    """What a mm job shows in mm alone; an inch job in inches, with mm beside.

    ``places`` are the decimals of the mm; an inch has one more, and where that is not exact, more.

    >>> own_first(200_025_000, places=3), own_first(200_025_000, "in", places=3)
    ('200.025 mm', '7.8750 in (200.025 mm)')
    """
    mm = format_mm(nm, places=places)
    if first == "mm":
        return mm
    exact = Fraction(operator.index(nm), NM_PER_INCH)
    shown = _exact_places(exact, places + 1, 6, places + 2)
    return f"{decimal(exact, shown)} in ({mm})"


def small_size(mm: float, first: System = "mm", *, sign: bool = False) -> str:
    """A measured or asked size in mm: thou beside it below 1 mm, inches from there on.

    ``sign`` puts a plus before what is positive, as a clearance has it.

    >>> small_size(0.1778, "in"), small_size(3.175, "in"), small_size(0.05, sign=True)
    ('7.0 thou (0.178 mm)', '0.125 in (3.175 mm)', '+0.050 mm (+2.0 thou)')
    """
    if abs(mm) >= 1:
        nm = round(mm * NM_PER_MM)
        exact = Fraction(nm, NM_PER_MM)
        metric = decimal(exact, _exact_places(exact, 2, 4, 3)) + " mm"
        inch = f"{_inch(nm, first)} in"
        text = f"{metric} ({inch})" if first == "mm" else f"{inch} ({metric})"
    else:
        text = mm_and_thou(mm, first=first, places=3)
    if sign and mm > 0:
        text = "+" + text.replace("(", "(+")
    return text


def _mm(nm: SupportsIndex) -> str:
    exact = Fraction(operator.index(nm), NM_PER_MM)
    return decimal(exact, _exact_places(exact, 2, 3, 2))


def _inch(nm: SupportsIndex, first: System) -> str:
    exact = Fraction(operator.index(nm), NM_PER_INCH)
    return decimal(exact, _exact_places(exact, 3, 6, 3 if first == "mm" else 4))


def _exact_places(value: Fraction, least: int, most: int, otherwise: int) -> int:
    """The fewest decimals from ``least`` to ``most`` that hold a value exactly, or ``otherwise``."""
    for places in range(least, most + 1):
        if (value * 10**places).denominator == 1:
            return places
    return otherwise


def mm_and_thou(mm: float, *, first: System = "mm", places: int = 2) -> str:
    """A small measured size (a kerf, a clearance) in mm and thou: ``'0.18 mm (7.1 thou)'``.

    ``mm`` may be negative; ``places`` are those of the mm. Both are rounded from the value itself,
    not one from the other. Raises :class:`~boxjoint.errors.UnitError` where it is not finite.
    """
    exact = plain_number(mm, "size", "expected a finite number of mm")
    metric = decimal(exact, places) + " mm"
    thou = decimal(exact * 1000 / MM_PER_INCH, 1) + " thou"
    return f"{metric} ({thou})" if first == "mm" else f"{thou} ({metric})"
