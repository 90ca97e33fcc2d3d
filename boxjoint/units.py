"""Read and write lengths and speeds without guessing; exact until the one rounding to a nanometre.

A length that a person typed is read as an exact rational number of millimetres (25.4 is 127/5) by
the grammar below, and rounded once, by :func:`to_nm`. What the grammar does not know is refused,
with the text quoted and what was expected. In the grammar blanks may stand between its parts::

    length  = [sign] (amount [unit] | feet inches)      a bare amount takes the unit asked for
    feet    = digits ("'" | ft | foot | feet) ["-"]
    inches  = amount ('"' | in | inch | inches)         below 12
    amount  = decimal | digits "/" digits | digits (" " | "-") digits "/" digits
    decimal = digits [("." | ",") digits] | ("." | ",") digits
    unit    = mm | cm | m | um | in | inch | inches | '"' | ft | foot | feet | "'" | thou | mil | mils

Capitals do not matter; ``½`` is ``1/2``; typographic marks are marks; ``mil`` is a thou (0.001 in),
never a millimetre. A point is always a decimal point: ``1.250 mm`` is one and a quarter. A comma
may be a decimal comma: ``6,35 mm`` is 6.35 mm. But a comma before exactly three digits could as
well be a thousands mark and is refused (``1,250``), unless only a zero or nothing stands before it
(``0,175``), which no thousands mark follows. Refused for the same reason: two marks in one number
(``1.250,5``), and a blank, an apostrophe or an underscore between digits (``1 250``). Powers of ten
(``1e3``) are refused in text; a Python float is taken at the shortest decimal that stands for it.

All rounding for show is to nearest, ties to even, in exact integer arithmetic. Only this module
imports pint, late, and only for quantities that a library user hands over.
"""

from __future__ import annotations

import functools
import math
import numbers
import operator
import re
import unicodedata
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

from boxjoint.errors import UnitError, nearest_name

__all__ = [
    "MM_PER_INCH",
    "NM_PER_64TH",
    "NM_PER_INCH",
    "NM_PER_MM",
    "Speed",
    "both",
    "format_fraction",
    "format_inch",
    "format_mm",
    "format_speed",
    "format_thou",
    "length_from_quantity",
    "mm_and_thou",
    "read_length",
    "read_length_nm",
    "read_speed",
    "speed_from_quantity",
    "to_nm",
]

System = Literal["mm", "in"]

NM_PER_MM = 1_000_000
NM_PER_INCH = 25_400_000
NM_PER_64TH = 396_875  # a whole number: that is why nominal geometry is in nanometres
MM_PER_INCH = Fraction(127, 5)

_INCH_NAMES = ('"', "in", "in.", "inch", "inches")
_FOOT_NAMES = ("'", "ft", "ft.", "foot", "feet")
_LENGTHS: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "um": Fraction(1, 1000),
    **dict.fromkeys(_INCH_NAMES, MM_PER_INCH),
    **dict.fromkeys(_FOOT_NAMES, 12 * MM_PER_INCH),
    **dict.fromkeys(("thou", "mil", "mils"), MM_PER_INCH / 1000),
}
_SPEEDS: dict[str, Fraction] = {
    "mm/s": Fraction(1),
    "mm/min": Fraction(1, 60),
    "m/min": Fraction(1000, 60),
    "in/s": MM_PER_INCH,
    "in/min": MM_PER_INCH / 60,
    "ipm": MM_PER_INCH / 60,
}
_LENGTH_WANTED = "expected a length such as 6.35 mm, 1/8 in, 3 1/8 in, 1' 3 1/2\" or 7 thou, in mm, cm, m, um, in, ft or thou"
_SPEED_WANTED = (
    "expected a speed with its unit, such as 20 mm/s, 1200 mm/min, 1.2 m/min, 50 in/min or 2 in/s"
)

# Longer texts and larger numbers are nobody's length; refusing them first keeps reading quick.
_MOST_CHARACTERS = 64
_MOST_DIGITS = 400  # any finite float fits
_MOST_BITS = 1400  # the same bound for whole numbers, 10**400 < 2**1400

_SAME_MARK = str.maketrans("″”′’−⁄∕µμ", "\"\"''-//uu")
_AMOUNT = r"[0-9]+(?:\s+|-)[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+"
_LENGTH = re.compile(rf"(?P<sign>[+-]?)(?P<amount>{_AMOUNT})\s*(?P<rest>.*)", re.S)
_FEET_INCHES = re.compile(
    r"(?P<sign>[+-]?)(?P<feet>[0-9]+)\s*(?:'|ft\.?|foot|feet)(?:\s*|-)"
    rf"(?P<amount>{_AMOUNT})\s*(?P<unit>\"|in\.?|inch|inches)"
)
_POWER = re.compile(r"[0-9.,]e[+-]?[0-9]")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf(?:inity)?)(?![a-z])")
_COMMA_OF_THREE = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]{3})(?![0-9])")
_GROUPED = re.compile(
    r"[.,][0-9]*[.,]"  # two marks in one number
    r"|[0-9]\s+[0-9]+(?![0-9/])"  # two numbers that are no mixed number
    r"|[0-9][_'][0-9]{3}(?![0-9/]|\s*\")"  # 1'250, but not 1'250" (whose inches are refused)
)


# Reading lengths


def read_length(
    value: object, *, unit: System, what: str = "length", signed: bool = False
) -> Fraction:
    """Read a length exactly.

    Parameters
    ----------
    value
        Text in the grammar of this module, or a plain number: ``int``, ``float``, ``Decimal``,
        ``Fraction``.
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
        Whatever cannot be read without guessing, a negative value unless ``signed``, and a value
        that is neither text nor a finite number.

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
        mm = _read_length_text(value, _LENGTHS[unit], what, signed)
    else:
        mm = _plain_number(value, what, _LENGTH_WANTED) * _LENGTHS[unit]
    if mm < 0 and not signed:
        raise UnitError(f"{what} is negative", value=_quote(value), limit="it must not be")
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
    return round(Fraction(mm) * NM_PER_MM)


def _read_length_text(raw: str, default: Fraction, what: str, signed: bool) -> Fraction:
    """mm, from text; ``default`` is the size of the unit of a bare number, mm."""
    text = _tidy(raw, what, _LENGTH_WANTED)
    if match := _FEET_INCHES.fullmatch(text):
        inches = _amount(match["amount"], raw, what)
        if inches >= 12:
            raise UnitError(
                f"{what} has 12 inches or more after its feet",
                value=_quote(raw),
                limit="inches after feet stay below 12",
            )
        mm = (12 * int(match["feet"]) + inches) * MM_PER_INCH
    elif match := _LENGTH.fullmatch(text):
        rest = match["rest"]
        if rest and rest not in _LENGTHS:
            raise _wrong_unit(rest, raw, what)
        mm = _amount(match["amount"], raw, what) * (_LENGTHS[rest] if rest else default)
    else:
        raise UnitError(f"{what} cannot be read", value=_quote(raw), limit=_LENGTH_WANTED)
    if match["sign"] and not signed:
        raise UnitError(f"{what} takes no sign", value=_quote(raw), limit=_LENGTH_WANTED)
    return -mm if match["sign"] == "-" else mm


def _wrong_unit(rest: str, raw: str, what: str) -> UnitError:
    if rest.replace(" ", "") in _SPEEDS:
        why, do = "is a speed, not a length", ""
    elif re.match(r"[0-9.,/'_-]|\"", rest):
        why, do = "cannot be read as one length", ""
        if re.fullmatch(r"'\s*[0-9].*[0-9]", rest):
            do = "put the inch mark after the inches, as in 5' 2\""
    else:
        why, do = f"has no unit of length ({_quote(rest)})", nearest_name(rest, _LENGTHS)
    return UnitError(f"{what} {why}", value=_quote(raw), limit=_LENGTH_WANTED, do=do)


def _tidy(raw: str, what: str, wanted: str) -> str:
    """One spelling for each mark, fraction and blank; refuse what no number of ours may hold."""
    if len(raw) > _MOST_CHARACTERS:
        raise UnitError(
            f"{what} is a text of {len(raw)} characters",
            value=_quote(raw),
            limit=f"at most {_MOST_CHARACTERS}; {wanted}",
        )
    text = "".join(map(_spell_out, raw)).translate(_SAME_MARK).replace("''", '"')
    text = text.strip().lower()
    if not text:
        raise UnitError(f"{what} is empty", value=_quote(raw), limit=wanted)
    if _NOT_FINITE.match(text):
        raise UnitError(f"{what} is not a finite number", value=_quote(raw), limit=wanted)
    if _POWER.search(text):
        raise UnitError(
            f"{what} is written with a power of ten",
            value=_quote(raw),
            limit="write all its digits",
        )
    if (match := _COMMA_OF_THREE.search(text)) and int(match[1]) != 0:
        raise UnitError(
            f"{what} is ambiguous",
            value=_quote(raw),
            limit="a comma before three digits can be a decimal comma or a thousands mark",
            do=f"write {match[1]}.{match[2]} or {match[1]}{match[2]}",
        )
    if _GROUPED.search(text):
        raise UnitError(
            f"{what} is ambiguous",
            value=_quote(raw),
            limit="one decimal point or comma, no thousands marks, no blank within a number",
        )
    return text


def _spell_out(char: str) -> str:
    """``½`` as `` 1/2 ``, set off so that no neighbouring digit joins it; else the character."""
    kind, *codes = unicodedata.decomposition(char).split() or [""]
    if kind != "<fraction>":
        return char
    return " " + "".join(chr(int(code, 16)) for code in codes) + " "


def _amount(text: str, raw: str, what: str) -> Fraction:
    """Exact value of an amount that has passed the grammar."""
    if "/" not in text:
        return Fraction(text.replace(",", "."))
    *whole, top, bottom = map(int, re.split(r"[\s/-]+", text))
    if bottom == 0:
        raise UnitError(f"{what} is divided by zero", value=_quote(raw))
    if whole and top >= bottom:
        raise UnitError(
            f"{what} has an improper fraction after a whole number",
            value=_quote(raw),
            limit="the fraction in a mixed number stays below 1",
        )
    return sum(whole) + Fraction(top, bottom)


def _plain_number(value: object, what: str, wanted: str) -> Fraction:
    """Exact value of a finite Python number; a float is its shortest decimal, so 0.1 is 1/10."""
    number: Fraction | None = None
    if isinstance(value, bool):
        pass
    elif isinstance(value, float):
        if math.isfinite(value):
            number = Fraction(float.__repr__(value))  # subclasses may print themselves otherwise
    elif isinstance(value, Decimal):
        if value.is_finite():
            digits = len(value.as_tuple().digits)
            if max(digits, abs(value.adjusted())) <= _MOST_DIGITS:
                number = Fraction(value)
    elif isinstance(value, numbers.Rational):
        number = Fraction(int(value.numerator), int(value.denominator))
        if max(number.numerator.bit_length(), number.denominator.bit_length()) > _MOST_BITS:
            number = None
    else:
        kind = type(value).__name__
        raise UnitError(f"{what} is neither a number nor text but {kind}", limit=wanted)
    if number is None:
        why = "is true or false" if isinstance(value, bool) else "is not a usable finite number"
        raise UnitError(f"{what} {why}", value=_quote(value), limit=wanted)
    return number


def _quote(value: object) -> str:
    """The value for a message: escaped, and short even where it is not."""
    if isinstance(value, numbers.Rational) and not isinstance(value, bool):
        if max(int(value.numerator).bit_length(), int(value.denominator).bit_length()) > _MOST_BITS:
            return "a number of hundreds of digits"
        return str(value)
    text = repr(value[:_MOST_CHARACTERS]) if isinstance(value, str) else str(value)
    return text if len(text) <= _MOST_CHARACTERS + 2 else text[:40] + "..."


# Speeds


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
        if self.mm_per_s <= 0:
            raise UnitError(
                "a speed must be larger than zero", value=self.text or f"{self.mm_per_s} mm/s"
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


def read_speed(text: object, *, what: str = "speed") -> Speed:
    """Read a speed, always with its unit: mm/s, mm/min, m/min, in/s, in/min (or ipm).

    The amount is written as in a length. Raises :class:`UnitError` for a bare number, which could
    be mm/s as well as mm/min, and for anything else that is not such a text or not above zero.

    >>> read_speed("50 in/min").mm_per_min
    Fraction(1270, 1)
    """
    if not isinstance(text, str):
        raise UnitError(f"{what} has no unit", value=_quote(text), limit=_SPEED_WANTED)
    tidy = _tidy(text, what, _SPEED_WANTED)
    match = _LENGTH.fullmatch(tidy)
    if match is None or match["sign"]:
        raise UnitError(f"{what} cannot be read", value=_quote(text), limit=_SPEED_WANTED)
    rest = re.sub(r"\s*/\s*", "/", match["rest"])
    if rest not in _SPEEDS:
        why = f"has no unit of speed ({_quote(rest)})" if rest else "has no unit"
        raise UnitError(f"{what} {why}", value=_quote(text), limit=_SPEED_WANTED)
    return Speed(mm_per_s=_amount(match["amount"], text, what) * _SPEEDS[rest], text=text.strip())


def format_speed(speed: Speed) -> str:
    """All three units side by side, to 0.01, or to three digits where that would show too few.

    >>> format_speed(read_speed("4 in/min"))
    '1.69 mm/s, 101.6 mm/min, 4 in/min'
    """
    shown = []
    for value, unit in (
        (speed.mm_per_s, "mm/s"),
        (speed.mm_per_min, "mm/min"),
        (speed.in_per_min, "in/min"),
    ):
        places = 2
        while value * 10**places < 100 and value * 10**places % 1 and places < _MOST_DIGITS:
            places += 1
        text = _decimal(value, places)
        shown.append(f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}")
    return ", ".join(shown)


# Quantities of a library user


@functools.cache
def _exact_registry() -> Any:
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


def _from_quantity(quantity: object, dimension: str, unit: str, what: str, wanted: str) -> Fraction:
    import pint

    if not isinstance(quantity, pint.Quantity):
        raise UnitError(f"{what} is not a pint Quantity but {type(quantity).__name__}")
    if not quantity.check(dimension):
        raise UnitError(f"{what} has another dimension", value=_quote(quantity), limit=wanted)
    amount = _plain_number(quantity.magnitude, what, wanted)
    # The user's registry converts in floats (3 in is 76.19999999999999 mm there), ours does not.
    exact = _exact_registry()
    try:
        one = exact.Quantity(Fraction(1), exact.UnitsContainer(dict(quantity.unit_items())))
        return amount * Fraction(one.to(unit).magnitude)
    except pint.UndefinedUnitError:
        raise UnitError(
            f"{what} has a unit of its own making",
            value=_quote(quantity),
            do=f"convert it to {unit} first",
        ) from None


def length_from_quantity(quantity: object, *, what: str = "length") -> Fraction:
    """Take a scalar pint Quantity of dimension [length]; mm, exact, its sign kept.

    Raises :class:`UnitError` for another type or dimension, an array, a magnitude that is not
    finite, and a unit that only the user's own registry knows.
    """
    return _from_quantity(quantity, "[length]", "mm", what, _LENGTH_WANTED)


def speed_from_quantity(quantity: object, *, what: str = "speed") -> Speed:
    """Take a scalar pint Quantity of dimension [length]/[time]; fails as the one for lengths."""
    mm_per_s = _from_quantity(quantity, "[length]/[time]", "mm/s", what, _SPEED_WANTED)
    return Speed(mm_per_s=mm_per_s, text=str(quantity))


# Writing


def _nearest(top: int, bottom: int) -> int:
    """``top / bottom`` (bottom > 0) to the nearest whole number, ties to even."""
    whole, left = divmod(top, bottom)
    return whole + (2 * left > bottom or (2 * left == bottom and whole % 2 == 1))


def _decimal(value: Fraction, places: int) -> str:
    """``value`` with that many decimals; what rounds to zero has no sign."""
    scaled = _nearest(value.numerator * 10**places, value.denominator)
    digits = str(abs(scaled)).rjust(places + 1, "0")
    sign = "-" if scaled < 0 else ""
    return f"{sign}{digits[:-places]}.{digits[-places:]}" if places else sign + digits


def format_mm(nm: int, *, places: int = 2) -> str:
    """Millimetres, from nm: ``format_mm(232_000_000)`` is ``'232.00 mm'``."""
    return _decimal(Fraction(operator.index(nm), NM_PER_MM), places) + " mm"


def format_inch(nm: int, *, places: int = 3) -> str:
    """Decimal inches, from nm: ``format_inch(232_000_000)`` is ``'9.134 in'``."""
    return _decimal(Fraction(operator.index(nm), NM_PER_INCH), places) + " in"


def format_thou(nm: int, *, places: int = 1) -> str:
    """Thousandths of an inch, from nm: ``format_thou(180_000)`` is ``'7.1 thou'``."""
    return _decimal(Fraction(operator.index(nm) * 1000, NM_PER_INCH), places) + " thou"


def format_fraction(nm: int) -> str:
    """The nearest 1/64 in, reduced, with the error of that rounding unless it is exact.

    The error is the fraction shown minus the true length, in mm: with ``+`` a piece made to the
    fraction comes out too long. An error that would show as 0.00 is said to be under 0.01 mm.

    >>> format_fraction(232_000_000)
    '9 9/64 in (+0.17 mm)'
    >>> format_fraction(79_375_000)
    '3 1/8 in'
    """
    nm = operator.index(nm)
    count = _nearest(nm, NM_PER_64TH)
    whole, left = divmod(abs(count), 64)
    parts = [str(whole)] if whole or not left else []
    if left:
        parts.append(str(Fraction(left, 64)))
    shown = f"{'-' if count < 0 else ''}{' '.join(parts)} in"
    if (error := count * NM_PER_64TH - nm) == 0:
        return shown
    text = _decimal(Fraction(error, NM_PER_MM), 2)
    if text == "0.00":
        return f"{shown} (under 0.01 mm off)"
    return f"{shown} ({text if error < 0 else '+' + text} mm)"


def both(nm: int, first: System = "mm") -> str:
    """Both systems, the job's own first: ``'232.00 mm (9.134 in)'`` or ``'9.134 in (232.00 mm)'``."""
    mm, inch = format_mm(nm), format_inch(nm)
    return f"{mm} ({inch})" if first == "mm" else f"{inch} ({mm})"


def mm_and_thou(mm: float, *, first: System = "mm", places: int = 2) -> str:
    """A small measured size (a kerf, a clearance) in mm and thou: ``'0.18 mm (7.1 thou)'``.

    ``mm`` is in mm and may be negative; ``places`` are those of the mm. Both are rounded from the
    value itself, not one from the other. Raises :class:`UnitError` where it is not finite.
    """
    exact = _plain_number(mm, "size", "expected a finite number of mm")
    metric = _decimal(exact, places) + " mm"
    thou = _decimal(exact * 1000 / MM_PER_INCH, 1) + " thou"
    return f"{metric} ({thou})" if first == "mm" else f"{thou} ({metric})"
