"""Numbers as people type them: tidied, checked for every second meaning, and taken exactly.

Knows no units. ``what`` is the thing being read and ``wanted`` what was expected, both for the
message; every refusal is a :class:`~boxjoint.errors.UnitError` that quotes the value.
"""

from __future__ import annotations

import math
import numbers
import re
import unicodedata
from decimal import Decimal
from fractions import Fraction

from boxjoint.errors import UnitError

__all__ = ["AMOUNT", "amount", "plain_number", "quote", "tidy"]

#: One amount: mixed number, fraction or decimal, tried in this sequence.
AMOUNT = r"[0-9]+(?:\s+|-)[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+"

# Longer texts and larger numbers are nobody's length; refusing them first keeps reading quick.
_MOST_CHARACTERS = 64
_MOST_DIGITS = 400  # any finite float fits
_MOST_BITS = 1400  # the same bound for whole numbers: 10**400 < 2**1400

_SAME_MARK = str.maketrans("″”′’−⁄∕µμ", "\"\"''-//uu")
_POWER = re.compile(r"[0-9.,]e[+-]?[0-9]")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf(?:inity)?)(?![a-z])")
_COMMA_OF_THREE = re.compile(r"(?<![0-9])([0-9]+),([0-9]{3})(?![0-9])")
_GROUPED = re.compile(
    r"[.,][0-9]*[.,]"  # two marks in one number
    r"|[0-9]\s+[0-9]+(?![0-9/])"  # two numbers that are no mixed number
    r"|[0-9][_'][0-9]{3}(?![0-9/]|\s*\")"  # 1'250, but not 1'250", whose inches are refused later
)


def tidy(raw: str, what: str, wanted: str) -> str:
    """One spelling for each mark, fraction and capital; refuses numbers with two meanings.

    Also refuses texts that are empty or over 64 characters, numbers that are not finite, and
    powers of ten.
    """
    if len(raw) > _MOST_CHARACTERS:
        raise UnitError(
            f"{what} is a text of {len(raw)} characters",
            value=quote(raw),
            limit=f"at most {_MOST_CHARACTERS}; {wanted}",
        )
    text = _spell_out(raw).translate(_SAME_MARK).replace("''", '"').strip().lower()
    if not text:
        raise UnitError(f"{what} is empty", value=quote(raw), limit=wanted)
    if _NOT_FINITE.match(text):
        raise UnitError(f"{what} is not a finite number", value=quote(raw), limit=wanted)
    if _POWER.search(text):
        raise UnitError(
            f"{what} is written with a power of ten",
            value=quote(raw),
            limit=wanted,
            do="write all its digits",
        )
    if _GROUPED.search(text):
        raise UnitError(
            f"{what} is ambiguous",
            value=quote(raw),
            limit="a number has one decimal point or comma, no thousands marks and no blanks",
        )
    if (match := _COMMA_OF_THREE.search(text)) and int(match[1]) != 0:
        raise UnitError(
            f"{what} is ambiguous",
            value=quote(raw),
            limit="a comma before three digits may be a decimal comma or a thousands mark",
            do=f"write {match[1]}.{match[2]} or {match[1]}{match[2]}",
        )
    return text


def _spell_out(text: str) -> str:
    """``3½`` as ``3 1/2``, set off so that no neighbouring digit can join the fraction."""
    if text.isascii():
        return text
    spelled = ""
    for char in text:
        kind, *codes = unicodedata.decomposition(char).split() or [""]
        if kind == "<fraction>":
            fraction = "".join(chr(int(code, 16)) for code in codes)
            char = f"{' ' if spelled[-1:].isdigit() else ''}{fraction} "
        spelled += char
    return spelled


def amount(text: str, raw: str, what: str) -> Fraction:
    """Exact value of a tidy ``text`` that matches :data:`AMOUNT`; ``raw`` is quoted on refusal."""
    if "/" not in text:
        return Fraction(text.replace(",", "."))
    *whole, top, bottom = map(int, re.split(r"[\s/-]+", text))
    if bottom == 0:
        raise UnitError(f"{what} is divided by zero", value=quote(raw))
    if whole and top >= bottom:
        raise UnitError(
            f"{what} has an improper fraction after a whole number",
            value=quote(raw),
            limit="the fraction in a mixed number stays below 1",
        )
    return sum(whole) + Fraction(top, bottom)


def plain_number(value: object, what: str, wanted: str) -> Fraction:
    """Exact value of a finite Python number; a float is its shortest decimal, so 0.1 is 1/10.

    Refuses ``bool``, what is not finite, and what needs more than 400 digits.
    """
    if isinstance(value, bool):
        raise UnitError(f"{what} is true or false, not a number", value=str(value), limit=wanted)
    number: Fraction | None = None
    if isinstance(value, float):
        if math.isfinite(value):
            number = Fraction(float.__repr__(value))  # a subclass may print itself otherwise
    elif isinstance(value, Decimal):
        if value.is_finite():
            digits = max(len(value.as_tuple().digits), abs(value.adjusted()))
            number = Fraction(value) if digits <= _MOST_DIGITS else None
    elif isinstance(value, numbers.Rational):
        if not _is_huge(value):
            number = Fraction(int(value.numerator), int(value.denominator))
    else:
        raise UnitError(f"{what} is of type {type(value).__name__}, not a number", limit=wanted)
    if number is None:
        raise UnitError(
            f"{what} is not a finite number of at most {_MOST_DIGITS} digits",
            value=quote(value),
            limit=wanted,
        )
    return number


def quote(value: object) -> str:
    """The value for a message: text in quotes and escaped, and short whatever it was."""
    if isinstance(value, str):
        return repr(value) if len(value) <= _MOST_CHARACTERS else repr(value[:40]) + "..."
    if isinstance(value, numbers.Rational) and _is_huge(value):
        return f"more than {_MOST_DIGITS} digits"  # Python refuses to print the largest
    text = str(value)
    return text if len(text) <= _MOST_CHARACTERS else text[:40] + "..."


def _is_huge(value: numbers.Rational) -> bool:
    parts = (int(value.numerator), int(value.denominator))
    return max(part.bit_length() for part in parts) > _MOST_BITS
