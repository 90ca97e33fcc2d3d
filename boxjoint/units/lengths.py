"""Lengths: text or number to an exact rational number of millimetres, and to whole nanometres."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

from boxjoint.errors import UnitError, nearest_name
from boxjoint.units.grammar import AMOUNT, amount, plain_number, quote, tidy

__all__ = [
    "LENGTH_WANTED",
    "MM_PER_INCH",
    "NM_PER_64TH",
    "NM_PER_INCH",
    "NM_PER_MM",
    "System",
    "read_length",
    "read_length_nm",
    "to_nm",
]

#: What a bare number means, and the system shown first.
System = Literal["mm", "in"]

NM_PER_MM = 1_000_000
NM_PER_INCH = 25_400_000
NM_PER_64TH = 396_875  # a whole number: that is why nominal geometry is in nanometres
MM_PER_INCH = Fraction(127, 5)

LENGTH_WANTED = (
    "expected a length such as 6.35 mm, 1/8 in, 3 1/8 in, 1' 3 1/2\" or 7 thou, "
    "in mm, cm, m, um, in, ft or thou"
)

# mm in one unit
_UNITS: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "um": Fraction(1, 1000),
    **dict.fromkeys(('"', "in", "in.", "inch", "inches"), MM_PER_INCH),
    **dict.fromkeys(("'", "ft", "ft.", "foot", "feet"), 12 * MM_PER_INCH),
    **dict.fromkeys(("thou", "mil", "mils"), MM_PER_INCH / 1000),
}
_FOOT = r"(?:'|ft\.?|foot|feet)"
_INCH = r"(?:\"|in\.?|inch|inches)"
_ONE_UNIT = re.compile(rf"(?P<sign>[+-]?)(?P<amount>{AMOUNT})\s*(?P<rest>.*)", re.S)
_FEET_INCHES = re.compile(
    rf"(?P<sign>[+-]?)(?P<feet>[0-9]+)\s*{_FOOT}(?:\s*|-)(?P<amount>{AMOUNT})\s*{_INCH}"
)
_MARK_MISSING = re.compile(rf"{_FOOT}\s*[0-9][0-9./\s]*")
_UNIT_AND_MORE = re.compile(r"([a-z]+\.?|['\"])[^a-z/]")


def read_length(
    value: object, *, unit: System, what: str = "length", signed: bool = False
) -> Fraction:
    """Read a length exactly.

    Parameters
    ----------
    value
        Text in the grammar of :mod:`boxjoint.units`, or a plain number: ``int``, ``float``,
        ``Decimal``, ``Fraction``.
    unit
        What a bare number means, ``"mm"`` or ``"in"``.
    what
        What is read, for the message: ``"kerf"``, ``"thickness"``.
    signed
        True takes a sign, as a clearance needs it.

    Returns
    -------
    Fraction
        mm, exact. Zero is a length here; limits of size are the caller's.

    Raises
    ------
    UnitError
        Whatever cannot be read without guessing; a sign or a negative value unless ``signed``; a
        value that is neither text nor a finite number.

    Examples
    --------
    >>> read_length("3 1/8 in", unit="mm")
    Fraction(635, 8)
    >>> read_length("6,35", unit="mm") == read_length(0.25, unit="in")
    True
    """
    if unit not in ("mm", "in"):
        raise UnitError("no such unit for bare numbers", value=repr(unit), limit='"mm" or "in"')
    if isinstance(value, str):
        return _read_text(value, _UNITS[unit], what, signed)
    mm = plain_number(value, what, LENGTH_WANTED) * _UNITS[unit]
    if mm < 0 and not signed:
        raise UnitError(f"{what} is negative", value=quote(value), limit=LENGTH_WANTED)
    return mm


def read_length_nm(
    value: object, *, unit: System, what: str = "length", signed: bool = False
) -> int:
    """Read a length and round it once: :func:`to_nm` of :func:`read_length`, nm."""
    return to_nm(read_length(value, unit=unit, what=what, signed=signed))


def to_nm(mm: Fraction | int) -> int:
    """Round an exact length in mm to whole nanometres, ties to even.

    >>> to_nm(read_length("1/64 in", unit="mm"))
    396875
    """
    return round(mm * NM_PER_MM)


def _read_text(raw: str, default: Fraction, what: str, signed: bool) -> Fraction:
    """mm, from text; ``default`` is the size of the unit of a bare number, mm."""
    text = tidy(raw, what, LENGTH_WANTED)
    if match := _FEET_INCHES.fullmatch(text):
        inches = amount(match["amount"], raw, what)
        if inches >= 12:
            raise UnitError(
                f"{what} has 12 inches or more after its feet",
                value=quote(raw),
                limit="inches after feet stay below 12",
            )
        mm = (12 * int(match["feet"]) + inches) * MM_PER_INCH
    elif match := _ONE_UNIT.fullmatch(text):
        rest = match["rest"]
        if rest and rest not in _UNITS:
            raise _wrong_rest(rest, raw, what)
        mm = amount(match["amount"], raw, what) * (_UNITS[rest] if rest else default)
    else:
        raise UnitError(f"{what} cannot be read", value=quote(raw), limit=LENGTH_WANTED)
    if match["sign"] and not signed:
        why = "is negative" if match["sign"] == "-" else "takes no sign"
        raise UnitError(f"{what} {why}", value=quote(raw), limit=LENGTH_WANTED)
    return -mm if match["sign"] == "-" else mm


def _wrong_rest(rest: str, raw: str, what: str) -> UnitError:
    """Say what is wrong with ``rest``, which follows a good amount but is no unit of length."""
    do = ""
    if _MARK_MISSING.fullmatch(rest):
        why, do = "has inches without their unit", "write it as in 5' 2\" or 5 ft 2 in"
    elif (match := _UNIT_AND_MORE.match(rest)) and match[1] in _UNITS:
        why = "goes on after its unit"
    elif re.match(r"[a-z]", rest):
        why = f"has no unit of length ({quote(rest)})"
        do = "" if "/" in rest else nearest_name(rest, _UNITS)  # mm/s is no slip for mm
    else:
        why = "cannot be read as one length"
    return UnitError(f"{what} {why}", value=quote(raw), limit=LENGTH_WANTED, do=do)
