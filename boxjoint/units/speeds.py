"""Speeds: read with their unit, kept exactly, shown in mm/s, mm/min and in/min together."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from boxjoint.errors import UnitError
from boxjoint.units.grammar import AMOUNT, amount, quote, tidy
from boxjoint.units.lengths import MM_PER_INCH
from boxjoint.units.writing import decimal

__all__ = ["SPEED_WANTED", "Speed", "format_speed", "read_speed"]

SPEED_WANTED = (
    "expected a speed with its unit, such as 20 mm/s, 1200 mm/min, 1.2 m/min, 50 in/min or 2 in/s"
)

# mm/s in one unit; a bare number could be any of them
_UNITS: dict[str, Fraction] = {
    "mm/s": Fraction(1),
    "mm/min": Fraction(1, 60),
    "m/min": Fraction(1000, 60),
    "in/s": MM_PER_INCH,
    "in/min": MM_PER_INCH / 60,
    "ipm": MM_PER_INCH / 60,
}
_SPEED = re.compile(rf"(?P<amount>{AMOUNT})\s*(?P<unit>.*)", re.S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Speed:
    """A speed, exact.

    Parameters
    ----------
    mm_per_s
        mm/s, larger than zero.
    text
        As it was typed. Two speeds are equal when they are equally fast, however typed.
    """

    mm_per_s: Fraction
    text: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if not isinstance(self.mm_per_s, Fraction):
            raise UnitError("a speed is an exact Fraction of mm/s", value=quote(self.mm_per_s))
        if self.mm_per_s <= 0:
            raise UnitError(
                "a speed must be larger than zero",
                value=quote(self.text) if self.text else f"{quote(self.mm_per_s)} mm/s",
            )

    @property
    def mm_per_min(self) -> Fraction:
        """mm/min, exact."""
        return self.mm_per_s * 60

    @property
    def in_per_min(self) -> Fraction:
        """in/min, exact."""
        return self.mm_per_min / MM_PER_INCH

    def __str__(self) -> str:
        return format_speed(self)


def read_speed(value: object, *, what: str = "speed") -> Speed:
    """Read a speed, always with its unit: mm/s, mm/min, m/min, in/s, in/min (also ipm).

    Parameters
    ----------
    value
        Text: an amount as in a length, without a sign, and one of the units.
    what
        What is read, for the message.

    Raises
    ------
    UnitError
        A bare number, which could be mm/s as well as mm/min; anything else that is not such a
        text; zero.

    Examples
    --------
    >>> read_speed("50 in/min").mm_per_min
    Fraction(1270, 1)
    """
    if not isinstance(value, str):
        raise UnitError(f"{what} has no unit", value=quote(value), limit=SPEED_WANTED)
    match = _SPEED.fullmatch(tidy(value, what, SPEED_WANTED))
    if match is None:
        raise UnitError(f"{what} cannot be read", value=quote(value), limit=SPEED_WANTED)
    unit = re.sub(r"\s*/\s*", "/", match["unit"])
    if unit not in _UNITS:
        why = f"has no unit of speed ({quote(unit)})" if unit else "has no unit"
        raise UnitError(f"{what} {why}", value=quote(value), limit=SPEED_WANTED)
    return Speed(mm_per_s=amount(match["amount"], value, what) * _UNITS[unit], text=value.strip())


def format_speed(speed: Speed) -> str:
    """All three units side by side, to 0.01, and to three digits where that would show fewer.

    >>> format_speed(read_speed("4 in/min"))
    '1.69 mm/s, 101.6 mm/min, 4 in/min'
    """
    values = (speed.mm_per_s, speed.mm_per_min, speed.in_per_min)
    units = ("mm/s", "mm/min", "in/min")
    return ", ".join(
        f"{_few_digits(value)} {unit}" for value, unit in zip(values, units, strict=True)
    )


def _few_digits(value: Fraction) -> str:
    places = 2
    while value * 10**places < 100:  # ends: a speed is above zero
        places += 1
    return decimal(value, places).rstrip("0").rstrip(".")
