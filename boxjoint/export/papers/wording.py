"""Figures as the papers say them: in both units, with what they are and how sure."""

from __future__ import annotations

from fractions import Fraction

from boxjoint.job.figures import Figure
from boxjoint.units import System
from boxjoint.units.writing import decimal

__all__ = ["both_units", "duration", "in_unit", "marks", "numbers", "size_words", "standing"]

_INCH = Fraction(127, 5)


def _value(mm: float, unit: System, places: int) -> str:
    exact = Fraction(mm)
    return decimal(exact if unit == "mm" else exact / _INCH, places + (unit == "in"))


def in_unit(mm: float, unit: System, *, places: int = 2) -> str:
    """A length with its unit: ``'232.00 mm'``, ``'9.134 in'`` (one place more in inches)."""
    return f"{_value(mm, unit, places)} {unit}"


def both_units(figure: Figure, first: System, *, places: int = 2) -> tuple[str, str]:
    """A length in the first unit, with its uncertainty where it is measured, and in the other."""
    second: System = "in" if first == "mm" else "mm"
    u = figure.uncertainty
    out = []
    for unit in (first, second):
        sure = "" if u is None else f" ± {_value(u, unit, places)}"
        out.append(f"{_value(figure.value, unit, places)}{sure} {unit}")
    return out[0], out[1]


def size_words(size: tuple[Figure, ...], first: System, *, places: int = 2) -> tuple[str, str]:
    """Several lengths side by side: ``('238.12 × 38.10 mm', '9.375 × 1.500 in')``."""
    second: System = "in" if first == "mm" else "mm"
    out = []
    for unit in (first, second):
        out.append(" × ".join(_value(f.value, unit, places) for f in size) + f" {unit}")
    return out[0], out[1]


def standing(figure: Figure) -> str:
    """What a figure is: ``'asked'``, ``'measured, 3 readings'``, ``'ASSUMED'``, ``'computed'``."""
    return figure.standing.split(", +-")[0]


def marks(figure: Figure, first: System, *, places: int = 2) -> str:
    """All of a figure on one line: ``'3.02 ± 0.02 mm (0.119 ± 0.001 in), measured, 3 readings'``."""
    a, b = both_units(figure, first, places=places)
    return f"{a} ({b}), {standing(figure)}"


def duration(seconds: float) -> str:
    """``'48 s'``, ``'12 min 05 s'``, ``'1 h 04 min'``."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def numbers(values: tuple[int, ...]) -> str:
    """``'1 to 3, 7'`` from numbers."""
    runs: list[list[int]] = []
    for v in sorted(set(values)):
        if runs and v == runs[-1][1] + 1:
            runs[-1][1] = v
        else:
            runs.append([v, v])
    return ", ".join(
        str(a) if a == b else f"{a}, {b}" if b == a + 1 else f"{a} to {b}" for a, b in runs
    )
