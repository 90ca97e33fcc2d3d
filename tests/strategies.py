"""All hypothesis strategies of the tests, by room; a new feature joins them here."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from boxjoint.job.records import (
    DIRECTIONS,
    FITS,
    PANELS,
    Cut,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    PerAxis,
    Stock,
    Thickness,
    Top,
)

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


# job


def names() -> st.SearchStrategy[str]:
    """One line of text, as a title or a material may be."""
    letters = st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp"))
    return st.text(letters, max_size=30)


def _nm(low_mm: float, high_mm: float) -> st.SearchStrategy[int]:
    """Nanometres in a window: any, whole hundredths of a mm, or sixty-fourths of an inch."""
    low, high = round(low_mm * 1e6), round(high_mm * 1e6)
    return st.one_of(
        st.integers(low, high),
        *(
            st.integers(-(-low // step), high // step).map(lambda n, step=step: n * step)
            for step in (10_000, 396_875)
            if -(-low // step) <= high // step
        ),
    )


@st.composite
def thicknesses(draw: st.DrawFn) -> Thickness:
    """One number, or readings that lie within 15 % of each other."""
    first = draw(_nm(0.35, 45))
    if draw(st.booleans()):
        return Thickness(readings=(first,), measured=False)
    others = st.integers(first - first // 15, first + first // 15)
    more = draw(st.lists(others, max_size=4))
    return Thickness(readings=(first, *more), measured=True)


def _per_axis(low: float, high: float) -> st.SearchStrategy[PerAxis]:
    value = st.floats(low, high)
    same = value.map(lambda x: PerAxis(x=x, y=x))
    return st.one_of(same, st.builds(PerAxis, x=value, y=value))


@st.composite
def joint_asks(draw: st.DrawFn) -> JointAsk:
    """Any joint table that the reader accepts."""
    counts = st.integers(1, 10_000).map(lambda n: 2 * n + 1)
    directions = st.sampled_from(DIRECTIONS)
    small = st.none() | _nm(0, 5)
    asked: dict[str, object] = draw(
        st.one_of(
            st.just({}),
            st.fixed_dictionaries({"clearance": _nm(-0.5, 1)}),
            st.fixed_dictionaries({"fit": st.sampled_from(FITS)}),
        )
    )
    widths: dict[str, object] = draw(
        st.one_of(
            st.fixed_dictionaries({"tab_width": _nm(0.1, 100)}),
            st.fixed_dictionaries(
                {"segments": st.dictionaries(directions, counts, max_size=3)},
            ),
        )
    )
    return JointAsk(
        **asked,  # type: ignore[arg-type]
        **widths,  # type: ignore[arg-type]
        sheet_clearance=draw(st.none() | _nm(-0.5, 1)),
        ends=draw(st.sampled_from(("inner", "outer"))),
        rank=tuple(draw(st.lists(st.sampled_from(PANELS), unique=True))),
        proud=draw(st.just(0) | _nm(-5, 10)),
        web=draw(st.none() | _nm(0, 50)),
        shoulder_relief=draw(small),
        floor_relief=draw(small),
        corner_relief=draw(small),
    )


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Any job that the reader accepts, in its widest windows."""
    panel = st.builds(PanelAsk, thickness=st.none() | thicknesses(), material=st.none() | names())
    scale = st.none() | _per_axis(0.9, 1.1)
    cut = st.one_of(
        st.builds(Cut, kerf=st.none() | _per_axis(0.01, 1.5), scale=scale),
        st.builds(Cut, tool=_nm(0.1, 25), scale=scale),
    )
    size = _nm(0.1, 5000)
    return Job(
        title=draw(names()),
        unit=draw(st.sampled_from(("mm", "in"))),
        inside=draw(st.builds(Inside, length=size, width=size, height=size)),
        stock=Stock(
            material=draw(names().filter(lambda text: bool(text.strip()))),
            thickness=draw(thicknesses()),
        ),
        panels=draw(st.dictionaries(st.sampled_from(PANELS), panel, max_size=6)),
        cut=draw(cut),
        joint=draw(joint_asks()),
        top=Top(kind=draw(st.sampled_from(("open", "closed")))),
    )


def toml_tables() -> st.SearchStrategy[dict[str, object]]:
    """Nested tables of every kind of TOML value, for readers of the text itself."""
    scalars = st.one_of(
        st.booleans(),
        st.integers(-(2**40), 2**40),
        st.floats(allow_nan=False, allow_infinity=False),
        st.dates(),
        st.datetimes(),
        st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=12),
    )
    keys = st.text(st.sampled_from("ab.-_ \"'#=[]{}é0"), min_size=1, max_size=4)
    values = st.recursive(
        scalars,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
        max_leaves=8,
    )
    return st.dictionaries(keys, values, max_size=5)
