"""Quantities that a library user hands over; the only importer of pint, inside the functions."""

from __future__ import annotations

import functools
from fractions import Fraction
from typing import Any

from boxjoint.errors import UnitError
from boxjoint.units.grammar import plain_number, quote
from boxjoint.units.lengths import LENGTH_WANTED
from boxjoint.units.speeds import SPEED_WANTED, Speed

__all__ = ["length_from_quantity", "speed_from_quantity"]


def length_from_quantity(quantity: object, *, what: str = "length") -> Fraction:
    """Take a scalar pint Quantity of dimension [length].

    Parameters
    ----------
    quantity
        From any registry; its magnitude is an ``int``, ``float``, ``Decimal`` or ``Fraction``.
    what
        What is read, for the message.

    Returns
    -------
    Fraction
        mm, exact, sign kept: limits are the caller's.

    Raises
    ------
    UnitError
        Another type or dimension, an array, a magnitude that is not finite, and a unit that only
        the user's own registry knows.
    """
    return _convert(quantity, "[length]", "mm", what, LENGTH_WANTED)


def speed_from_quantity(quantity: object, *, what: str = "speed") -> Speed:
    """Take a scalar pint Quantity of dimension [length]/[time]; fails as the one for lengths."""
    mm_per_s = _convert(quantity, "[length]/[time]", "mm/s", what, SPEED_WANTED)
    return Speed(mm_per_s=mm_per_s, text=str(quantity))


@functools.cache
def _exact_registry() -> Any:
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


def _convert(quantity: object, dimension: str, unit: str, what: str, wanted: str) -> Fraction:
    import pint

    if not isinstance(quantity, pint.Quantity):
        kind = type(quantity).__name__
        raise UnitError(f"{what} is of type {kind}, not a pint Quantity", limit=wanted)
    if not quantity.check(dimension):
        raise UnitError(f"{what} has the wrong dimension", value=quote(quantity), limit=wanted)
    number = plain_number(quantity.magnitude, what, wanted)
    # The user's registry converts in floats (3 in is 76.19999999999999 mm there), ours in rationals.
    exact = _exact_registry()
    try:
        one = exact.Quantity(Fraction(1))
        for name, power in quantity.unit_items():
            one = one * exact.Unit(name) ** power
        return number * Fraction(one.to(unit).magnitude)
    except pint.UndefinedUnitError as error:
        raise UnitError(
            f"{what} has a unit of its own making",
            value=quote(quantity),
            limit=wanted,
            do=f"convert it to {unit} first",
        ) from error
