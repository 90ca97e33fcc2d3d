"""All hypothesis strategies of the tests, by room; a new feature joins them here."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

# units


@st.composite
def lengths_in_64ths(draw: st.DrawFn, largest: int = 200 * 64) -> tuple[str, int]:
    """A whole number of 64ths of an inch as a person may write it: (text, count of 64ths).

    Whole, fraction, mixed, and feet-inches; reduced or not; every spelling of the units.
    """
    count = draw(st.integers(0, largest))
    inches = draw(
        st.sampled_from([" in", "in", " inch", " inches", '"', ' "', "″", "”", "''", " IN"])
    )
    feet, text = 0, ""
    if count >= 12 * 64 and draw(st.booleans()):
        feet, count = divmod(count, 12 * 64)
        text = str(feet) + draw(
            st.sampled_from(["' ", "'", "′", " ft ", "ft ", "'-", " feet ", " foot "])
        )
    whole, left = divmod(count, 64)
    if left == 0:
        text += str(whole)
    else:
        part = Fraction(left, 64)
        top, bottom = draw(st.sampled_from([(part.numerator, part.denominator), (left, 64)]))
        if whole:
            text += str(whole) + draw(st.sampled_from([" ", "-", "  "]))
        text += f"{top}/{bottom}"
    return text + inches, feet * 12 * 64 + count


@st.composite
def decimals(draw: st.DrawFn, mark: str = ".") -> tuple[str, Fraction]:
    """A decimal number and its exact value, of a form that has one meaning with ``mark``."""
    digits = draw(st.integers(0, 8).filter(lambda n: mark == "." or n != 3))
    scaled = draw(st.integers(0, 10 ** (digits + 4)))
    whole, rest = divmod(scaled, 10**digits)
    text = f"{whole}{mark}{rest:0{digits}d}" if digits else str(whole)
    return text, Fraction(scaled, 10**digits)


def lengths_nm(largest: int = 10**13) -> st.SearchStrategy[int]:
    """Whole nanometres of either sign, ties of every writer among them."""
    ties = st.sampled_from([5_000, 12_700, 198_437, 198_438, 1_270])
    tied = st.builds(lambda tie, k: tie * (2 * k + 1), ties, st.integers(-1000, 1000))
    return st.one_of(st.integers(-largest, largest), st.integers(-10_000, 10_000), tied)


def texts_like_lengths() -> st.SearchStrategy[str]:
    """Text made of the pieces of the grammar in any sequence, mostly nonsense."""
    pieces = [
        *"0123456789",
        *".,/-+'\"_ e½¾⁄″′²",
        "mm",
        "in",
        "ft",
        "thou",
        "nan",
        "inf",
        "000",
        "\u00a0",
        "x",
    ]
    return st.lists(st.sampled_from(pieces), max_size=12).map("".join)
