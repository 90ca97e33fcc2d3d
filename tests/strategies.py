"""All hypothesis strategies of the tests, by room; a new feature joins them here."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import Any, Literal

import numpy as np
from gauge_shop import Truth, plan
from hypothesis import assume
from hypothesis import strategies as st

from boxjoint.fit.compensate import Allowance, Beam
from boxjoint.gauge.comb import Slot, Verdict, slot_positions
from boxjoint.gauge.readings import Form, Reading
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.holes import Hole, Opening
from boxjoint.geometry.rings import Rings, Role, cut_rectangles, label
from boxjoint.job.cutouts import (
    CUTOUTS,
    EDGES,
    KEYS_OF,
    MOST_VENTS,
    REFERENCES,
    TO,
    Cutout,
    Place,
)
from boxjoint.job.filling import (
    FIXINGS,
    LIES,
    REST,
    Bottom,
    Compartments,
    Contents,
    Dividers,
    FitInto,
    Item,
)
from boxjoint.job.marks import ALIGNS, ANGLES, FACES, LETTERS, WORKS, Mark
from boxjoint.job.records import (
    CORNER_STYLES,
    DIRECTIONS,
    FITS,
    PANELS,
    Cut,
    Drawers,
    Ends,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    PerAxis,
    ShopAsk,
    Stack,
    Stock,
    Thickness,
    Top,
)
from boxjoint.job.seams import SeamAsk
from boxjoint.job.sheets import Nesting, SheetAsk
from boxjoint.job.standards import standard_items
from boxjoint.job.tops import FURTHER_PANELS, INSIDE_OF, PULLS, TILL_ON, TOPS, Till
from boxjoint.sheet.cuts import Cut as SheetCut
from boxjoint.sheet.cuts import CutKind, SequenceAsk
from boxjoint.sheet.records import Axis, Bed, KeepOut, NestAsk, SheetStock, Turn
from boxjoint.sheet.records import Item as NestItem
from boxjoint.shop import records as shop
from boxjoint.solve.arrangement import Arrangement, Slab
from boxjoint.solve.panels import Frame, Panel
from boxjoint.solve.tabs import TabAsk

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
        corner_style=draw(st.sampled_from(CORNER_STYLES)),
        corner_allowance=draw(st.none() | _nm(0, 1)),
    )


@st.composite
def drawer_asks(draw: st.DrawFn) -> Drawers:
    """Any table of drawers that the reader accepts."""
    heights = draw(st.just([]) | st.lists(_nm(1, 5000), min_size=1, max_size=6))
    return Drawers(
        count=len(heights) if heights else draw(st.integers(0, 100)),
        heights=tuple(heights),
        inside_of=draw(st.sampled_from(INSIDE_OF)),
        clearance=draw(st.none() | _nm(0.05, 20)),
        above=draw(st.none() | _nm(0.05, 1000)),
        behind=draw(st.none() | _nm(0, 1000)),
        stops=draw(st.booleans()),
        pull=draw(st.none() | st.sampled_from(PULLS)),
    )


def _sides(one: str, other: str) -> st.SearchStrategy[dict[str, int]]:
    """A distance from one of two edges, or from neither."""
    away = _nm(0, 5000)
    return st.one_of(
        st.just({}), st.fixed_dictionaries({one: away}), st.fixed_dictionaries({other: away})
    )


@st.composite
def mark_asks(draw: st.DrawFn) -> Mark:
    """Any table of a text that the reader accepts; those with files need the files."""
    panels = st.sampled_from((*PANELS, *FURTHER_PANELS, "drawer-2-front", "divider-x1"))
    work = draw(st.sampled_from(WORKS))
    letters = st.sampled_from(LETTERS if work == "score" else LETTERS[1:])
    nothing = st.none()
    height, width = draw(
        st.sampled_from([(nothing, nothing), (_nm(1, 1000), nothing), (nothing, _nm(1, 5000))])
    )
    lines = st.text(
        st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=20
    )
    return Mark(
        panels=tuple(draw(st.lists(panels, min_size=1, max_size=3, unique=True))),
        text=draw(
            st.lists(lines, min_size=1, max_size=3).map("\n".join).filter(lambda t: t.strip())
        ),
        letters=draw(st.none() | letters),
        height=draw(height),
        width=draw(width),
        align=draw(st.sampled_from(ALIGNS)),
        angle=draw(st.sampled_from(ANGLES)),
        work=work,
        face=draw(st.sampled_from(FACES)),
        place=Place(
            **draw(_sides("from_left", "from_right")),
            **draw(_sides("from_bottom", "from_top")),
            edges=draw(st.sampled_from(REFERENCES)),
            to=draw(st.none() | st.sampled_from(TO)),
        ),
    )


@st.composite
def cutout_asks(draw: st.DrawFn) -> Cutout:
    """Any table of a cut-out that the reader accepts."""
    kind = draw(st.sampled_from(CUTOUTS))
    takes, needs = KEYS_OF[kind]
    panels = st.sampled_from((*PANELS, *FURTHER_PANELS, "drawer-2-front", "divider-x1"))
    edge = draw(st.sampled_from(EDGES)) if "edge" in takes else "top"
    across, along = _sides("from_left", "from_right"), _sides("from_bottom", "from_top")
    size: tuple[int, int] | None = None
    if "size" in needs or ("size" in takes and draw(st.booleans())):
        size = (draw(_nm(0.1, 5000)), draw(_nm(0.1, 5000)))
    radius = None
    if "radius" in takes and size is not None and draw(st.booleans()):
        most = min(size) // 2 if kind == "window" else min(size[0] // 2, size[1])
        radius = draw(st.integers(0, min(most, 1_000_000_000)))
    count = st.integers(1, MOST_VENTS)
    round_ = "diameter" in takes
    return Cutout(
        panels=tuple(draw(st.lists(panels, min_size=1, max_size=3, unique=True))),
        kind=kind,
        place=Place(
            **(draw(across) if "edge" not in takes or edge in ("top", "bottom") else {}),
            **(draw(along) if "edge" not in takes or edge in ("left", "right") else {}),
            edges=draw(st.sampled_from(REFERENCES)),
            to=draw(st.none() | st.sampled_from(TO)),
        ),
        diameter=draw(_nm(0.1, 1000)) if round_ else None,
        clearance=draw(st.none() | _nm(-1, 20)) if round_ else None,
        size=size,
        radius=radius,
        rows=draw(count) if "rows" in takes else 1,
        columns=draw(count) if "columns" in takes else 1,
        gap=draw(st.none() | _nm(0.1, 1000)) if "gap" in takes else None,
        edge=edge,
    )


@st.composite
def item_asks(draw: st.DrawFn) -> Item:
    """Any table of an item that the reader accepts."""
    number = st.integers(1, 1_000_000)
    what: dict[str, object] = {"size": tuple(draw(_nm(0.01, 5000)) for _ in range(3))}
    if draw(st.booleans()):
        standard = draw(st.sampled_from(standard_items()))
        thick = _nm(0.01, 5000)
        what = {
            "of": standard.name,
            "thickness": draw(thick if standard.thickness is None else st.none() | thick),
        }
    return Item(
        **what,  # type: ignore[arg-type]
        count=draw(number),
        lie=draw(st.sampled_from(LIES)),
        turned=draw(st.booleans()),
        rows=draw(st.dictionaries(st.sampled_from(DIRECTIONS), number, max_size=3)),
    )


@st.composite
def compartment_asks(draw: st.DrawFn, items: list[str]) -> Compartments:
    """Compartments along one direction: a few equal ones, or a list with sizes, rest and items."""
    if draw(st.booleans()):
        return Compartments(count=draw(st.integers(1, 40)))
    one = _nm(0.1, 5000) | st.sampled_from(items) if items else _nm(0.1, 5000)
    sizes: list[int | str] = draw(st.lists(one, min_size=1, max_size=6))
    if draw(st.booleans()):
        sizes.insert(draw(st.integers(0, len(sizes))), REST)
    return Compartments(sizes=tuple(sizes))


@st.composite
def fillings(draw: st.DrawFn) -> dict[str, Any]:
    """What fills a box, by field of a job: dividers, items, contents, outer limit, raised base."""
    named = names().filter(lambda name: name.strip() not in ("", REST))
    items = draw(st.dictionaries(named, item_asks(), max_size=3))
    fixing = draw(st.sampled_from(FIXINGS))
    loose = st.none() | _nm(0, 20)
    rooms = st.dictionaries(st.sampled_from(DIRECTIONS), _nm(0, 500), max_size=3)
    limit = st.none() | _nm(1, 10_000)
    return {
        "items": items,
        "contents": Contents(
            clearance=draw(st.none() | _nm(0, 200)),
            lining=draw(st.just(0) | _nm(0, 100)),
            finger_room=draw(rooms),
        ),
        "dividers": Dividers(
            length=draw(compartment_asks(list(items))),
            width=draw(compartment_asks(list(items))),
            height=draw(st.none() | _nm(0.1, 5000)),
            fixing=fixing,
            clearance=draw(loose) if fixing == "loose" else None,
        ),
        "divider_stock": PanelAsk(
            thickness=draw(st.none() | thicknesses()), material=draw(st.none() | names())
        ),
        "fit_into": draw(st.builds(FitInto, length=limit, width=limit, height=limit)),
        "bottom": draw(
            st.just(Bottom())
            | st.builds(Bottom, raised=_nm(1, 1000), legs=st.just(0) | _nm(1, 1000))
        ),
    }


@st.composite
def filled_trays(draw: st.DrawFn) -> Job:
    """An open tray of up to 5 x 4 compartments in the manner of a job, with sizes of its own.

    Every compartment has a size; the inside is asked for, or left open to follow, or one compartment
    takes the rest of an asked one. Base flush or raised, dividers full or part height, tabbed or
    loose, walls, base and dividers of their own thickness.
    """
    t = {name: draw(_thickness(1_500_000, 6 * _MM)) for name in PANELS if name != "top"}
    stock = draw(_thickness(1_500_000, 4 * _MM))
    height = draw(st.integers(25 * _MM, 60 * _MM))
    along = []
    inside: list[int | None] = []
    for axis in (0, 1):
        sizes: list[int | str] = draw(
            st.lists(st.integers(18 * _MM, 70 * _MM), min_size=1, max_size=5 - axis)
        )
        whole = sum(s for s in sizes if isinstance(s, int)) + (len(sizes) - 1) * stock
        how = draw(st.sampled_from(["asked", "open", "rest", "equal"]))
        if how == "rest":
            sizes[draw(st.integers(0, len(sizes) - 1))] = REST
        equal = Compartments(count=len(sizes))
        along.append(equal if how == "equal" else Compartments(sizes=tuple(sizes)))
        inside.append(None if how == "open" else whole)
    part = draw(st.none() | st.integers(18 * _MM, height))
    return Job(
        title="Specimen tray",
        unit="mm",
        inside=Inside(length=inside[0], width=inside[1], height=height),
        stock=Stock(
            material="birch plywood", thickness=Thickness(readings=(stock,), measured=False)
        ),
        panels={
            name: PanelAsk(thickness=Thickness(readings=(nm,), measured=False))
            for name, nm in t.items()
        },
        dividers=Dividers(
            length=along[0],
            width=along[1],
            height=part,
            fixing=draw(st.sampled_from(FIXINGS)),
        ),
        bottom=Bottom(raised=draw(st.just(0) | st.integers(8 * _MM, 20 * _MM))),
    )


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Any job that the reader accepts, in its widest windows."""
    panel = st.builds(
        PanelAsk,
        thickness=st.none() | thicknesses(),
        material=st.none() | names(),
        layers=st.none() | st.integers(1, 20),
        grain=st.sampled_from(("", "x", "y")),
        turn=st.none() | st.sampled_from(("free", "half", "none")),
        seam=st.none() | _nm(5, 5000),
    )
    scale = st.none() | _per_axis(0.9, 1.1)
    edge_sd = st.none() | _nm(0, 0.2)
    cut = st.one_of(
        st.builds(Cut, kerf=st.none() | _per_axis(0.01, 1.5), scale=scale, edge_sd=edge_sd),
        st.builds(Cut, tool=_nm(0.1, 25), scale=scale, edge_sd=edge_sd),
    )
    size = _nm(0.1, 5000)
    filling = draw(fillings())
    inside = draw(st.builds(Inside, length=size, width=size, height=size))
    # a size may be left open where the items settle it
    if filling["items"] and draw(st.booleans()):
        inside = replace(inside, **{draw(st.sampled_from(DIRECTIONS)): None})
    return Job(
        title=draw(names()),
        unit=draw(st.sampled_from(("mm", "in"))),
        inside=inside,
        **filling,
        stock=Stock(
            material=draw(names().filter(lambda text: bool(text.strip()))),
            thickness=draw(thicknesses()),
            film=draw(st.none() | _nm(0, 1)),
        ),
        panels=draw(
            st.dictionaries(st.sampled_from((*PANELS, *FURTHER_PANELS)), panel, max_size=6)
        ),
        cut=draw(cut),
        joint=draw(joint_asks()),
        top=draw(
            st.builds(
                Top,
                kind=st.sampled_from(TOPS),
                clearance=st.none() | _nm(0.05, 5),
                depth=st.none() | _nm(1, 5000),
                lip=st.none() | _nm(1, 5000),
                gap=st.none() | _nm(0.05, 5),
                pin=st.none() | _nm(1, 20),
                notch=st.booleans(),
            )
        ),
        till=draw(
            st.just(Till())
            | st.builds(
                Till,
                on=st.sampled_from(TILL_ON),
                height=st.none() | _nm(1, 5000),
                clearance=st.none() | _nm(0.05, 20),
                columns=st.integers(1, 100),
                rows=st.integers(1, 100),
                notch=st.booleans(),
            )
        ),
        stack=draw(st.builds(Stack, count=st.integers(1, 100), clearance=st.none() | _nm(0.05, 5))),
        drawers=draw(drawer_asks()),
        cutouts=tuple(draw(st.lists(cutout_asks(), max_size=3))),
        marks=tuple(draw(st.lists(mark_asks(), max_size=3))),
        shop=draw(st.builds(ShopAsk, machine=st.just("") | names(), sheet=st.just("") | names())),
        sheets=draw(
            st.dictionaries(names().filter(lambda n: bool(n.strip())), sheet_asks(), max_size=3)
        ),
        seams=draw(seam_asks()),
        nest=draw(nestings()),
    )


def keep_outs() -> st.SearchStrategy[tuple[tuple[int, int, int, int], ...]]:
    """Rectangles where nothing may be cut."""
    place, reach = _nm(0, 5000), _nm(0.1, 5000)
    return st.lists(st.tuples(place, place, reach, reach), max_size=3).map(tuple)


def sheet_asks() -> st.SearchStrategy[SheetAsk]:
    """Sheets that there are."""
    return st.builds(
        SheetAsk,
        size=st.tuples(_nm(5, 5000), _nm(5, 5000)),
        count=st.none() | st.integers(1, 10_000),
        material=st.none() | names().filter(lambda text: bool(text.strip())),
        thickness=st.none() | thicknesses(),
        offcut=st.booleans(),
        grain=st.sampled_from(("", "x", "y")),
        keep_outs=keep_outs(),
    )


def seam_asks() -> st.SearchStrategy[SeamAsk]:
    """Whether panels may be divided, and how."""
    return st.builds(
        SeamAsk,
        allowed=st.booleans(),
        longest=st.none() | _nm(20, 5000),
        depth=st.none() | _nm(2, 500),
        steps=st.none() | st.integers(1, 10_000).map(lambda n: 2 * n + 1),
        relief=st.none() | _nm(0, 2),
    )


@st.composite
def nestings(draw: st.DrawFn) -> Nesting:
    """How panels shall lie on sheets."""
    continuous = draw(st.booleans())
    return Nesting(
        spacing=draw(st.none() | _nm(0.01, 100)),
        margin=draw(st.none() | _nm(0, 500)),
        bed=draw(st.none() | st.tuples(_nm(5, 5000), _nm(5, 5000))),
        keep_outs=draw(keep_outs()),
        turn=draw(st.sampled_from(("free", "half", "none"))),
        face=draw(st.sampled_from(("inside", "outside"))),
        windows=draw(st.booleans()),
        continuous=continuous,
        one_axis=not continuous and draw(st.booleans()),
        labels=draw(st.booleans()),
        level=draw(st.integers(0, 3)),
        support=draw(st.none() | _nm(1, 1000)),
        bridges=draw(st.none() | st.integers(1, 12)),
        bridge_width=draw(st.none() | _nm(0.1, 5)),
        lead_in=draw(st.none() | _nm(0.1, 20)),
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


# solve: boxes, and arrangements that are not boxes

_MM = 1_000_000


def _thickness(least_nm: int, most_nm: int) -> st.SearchStrategy[int]:
    """A thickness in nm, seldom a round one."""
    round_ones = st.sampled_from([3 * _MM, 6 * _MM, 3_175_000, 18 * _MM]).filter(
        lambda t: least_nm <= t <= most_nm
    )
    return st.one_of(st.integers(least_nm, most_nm), round_ones)


@st.composite
def boxes(
    draw: st.DrawFn, *, largest_mm: int = 1500, closed: bool | None = None, plain: bool = False
) -> tuple[Job, TabAsk]:
    """A box job with sizes 5 to ``largest_mm`` in random nanometres and what it asks of its tabs.

    Up to six thicknesses, open or closed, any ranks, counts, a width or the rule, inner or outer
    ends (``plain``: the rule and inner ends). Thickness keeps to 1/250 of the longest inside or
    more, so that a grid of cells stays small.
    """
    sizes = [draw(st.integers(5 * _MM, largest_mm * _MM)) for _ in range(3)]
    thin = max(800_000, max(sizes) // 250)
    usual = draw(_thickness(thin, max(thin, 25 * _MM)))
    own = draw(
        st.dictionaries(st.sampled_from(PANELS), _thickness(thin, max(thin, 25 * _MM)), max_size=6)
    )
    ask = JointAsk(rank=tuple(draw(st.permutations(PANELS))))
    if not plain:
        how = draw(st.sampled_from(["rule", "rule", "counts", "width"]))
        ends: Ends = draw(st.sampled_from(["inner", "inner", "outer"]))
        counts = st.integers(1, 20).map(lambda k: 2 * k + 1)
        ask = replace(
            ask,
            segments=draw(st.dictionaries(st.sampled_from(DIRECTIONS), counts))
            if how == "counts"
            else {},
            tab_width=draw(st.integers(max(sizes) // 100 + _MM, max(sizes)))
            if how == "width"
            else None,
            ends=ends,
        )
    job = Job(
        title="Specimen drawer",
        unit="mm",
        inside=Inside(length=sizes[0], width=sizes[1], height=sizes[2]),
        stock=Stock(
            material="birch plywood", thickness=Thickness(readings=(usual,), measured=False)
        ),
        panels={
            name: PanelAsk(thickness=Thickness(readings=(t,), measured=False))
            for name, t in own.items()
        },
        joint=ask,
        top=Top(kind="closed" if (draw(st.booleans()) if closed is None else closed) else "open"),
    )
    return job, tab_ask(job)


def tab_ask(job: Job) -> TabAsk:
    """What a job asks of its tabs, as the solver takes it."""
    return TabAsk(
        width=job.joint.tab_width,
        counts={DIRECTIONS.index(d): n for d, n in job.joint.segments.items()} or None,
        ends=job.joint.ends,
    )


def slab(
    name: str,
    normal: int,
    lo: tuple[int, int, int],
    hi: tuple[int, int, int],
    outward: Literal[1, -1] = 1,
    *,
    guest: bool = False,
) -> Slab:
    """A slab from ``lo`` to ``hi``, nm."""
    return Slab(name=name, normal=normal, box=Cuboid(lo, hi), outward=outward, guest=guest)


def box_slabs(
    inside: tuple[int, int, int],
    thickness: dict[str, int],
    *,
    prefix: str = "",
    at: tuple[int, int, int] = (0, 0, 0),
    beyond: int = 0,
    below: int = 0,
) -> list[Slab]:
    """Slabs of a box around a block of space at ``at``, in default rank.

    ``beyond`` lets all four walls stand out past each other; ``below`` lets them reach down past
    the bottom. A name without a thickness is left out.
    """
    t = {name: thickness.get(name, 0) for name in PANELS}
    x0, y0, z0 = at
    x1, y1, z1 = (at[k] + inside[k] for k in range(3))
    x, y = (x0 - t["left"], x1 + t["right"]), (y0 - t["front"], y1 + t["back"])
    z = (z0 - t["bottom"], z1 + t["top"])
    wide_x, wide_y = (x[0] - beyond, x[1] + beyond), (y[0] - beyond, y[1] + beyond)
    floor = z[0] - below
    spans: dict[str, tuple[int, int, tuple[int, int], tuple[int, int], tuple[int, int]]] = {
        "bottom": (2, -1, x, y, (z[0], z0)),
        "top": (2, 1, x, y, (z1, z[1])),
        "front": (1, -1, wide_x, (y[0], y0), (floor, z[1])),
        "back": (1, 1, wide_x, (y1, y[1]), (floor, z[1])),
        "left": (0, -1, (x[0], x0), wide_y, (floor, z[1])),
        "right": (0, 1, (x1, x[1]), wide_y, (floor, z[1])),
    }
    return [
        slab(
            prefix + name,
            normal,
            (sx[0], sy[0], sz[0]),
            (sx[1], sy[1], sz[1]),
            1 if outward > 0 else -1,
        )
        for name, (normal, outward, sx, sy, sz) in spans.items()
        if thickness.get(name)
    ]


def tray_slabs(
    columns: int, rows: int, cell: tuple[int, int, int], t: dict[str, int], *, raised: int = 0
) -> list[Slab]:
    """An open tray of ``columns`` x ``rows`` compartments, dividers tabbed into walls and base.

    ``t`` has the thickness of each wall, of ``bottom`` and of ``divider``; ``raised`` lifts the base
    above the walls' lower rim.
    """
    thick = t["divider"]
    inside = (
        columns * cell[0] + (columns - 1) * thick,
        rows * cell[1] + (rows - 1) * thick,
        cell[2],
    )
    walls = {name: t[name] for name in ("bottom", "front", "back", "left", "right")}
    slabs = box_slabs(inside, walls, below=raised)
    for k in range(1, columns):
        x = k * cell[0] + (k - 1) * thick
        slabs.append(
            slab(
                f"across {k}",
                0,
                (x, -t["front"], -t["bottom"]),
                (x + thick, inside[1] + t["back"], inside[2]),
                guest=True,
            )
        )
    for k in range(1, rows):
        y = k * cell[1] + (k - 1) * thick
        slabs.append(
            slab(
                f"along {k}",
                1,
                (-t["left"], y, -t["bottom"]),
                (inside[0] + t["right"], y + thick, inside[2]),
                guest=True,
            )
        )
    return slabs


def shelf_slabs(
    inside: tuple[int, int, int],
    t: dict[str, int],
    heights: list[int],
    shelf: int,
    *,
    overhang: int = 0,
) -> list[Slab]:
    """Four walls (and what else ``t`` names) with shelves that cross through all of them."""
    slabs = box_slabs(inside, t)
    for k, z in enumerate(heights):
        slabs.append(
            slab(
                f"shelf {k + 1}",
                2,
                (-t["left"] - overhang, -t["front"] - overhang, z),
                (inside[0] + t["right"] + overhang, inside[1] + t["back"] + overhang, z + shelf),
                guest=True,
            )
        )
    return slabs


@st.composite
def _walls(draw: st.DrawFn, names: tuple[str, ...], least_nm: int = 800_000) -> dict[str, int]:
    return {name: draw(_thickness(least_nm, 12 * _MM)) for name in names}


@st.composite
def trays(draw: st.DrawFn, most: int = 5) -> Arrangement:
    """A tray with up to ``most`` x ``most`` compartments, base flush or raised, ranks shuffled.

    Guests rank below walls and base, among themselves and among each other in any sequence.
    """
    t = draw(_walls(("bottom", "front", "back", "left", "right", "divider"), 1_500_000))
    cell = (
        draw(st.integers(15 * _MM, 90 * _MM)),
        draw(st.integers(15 * _MM, 90 * _MM)),
        draw(st.integers(15 * _MM, 60 * _MM)),
    )
    raised = draw(st.one_of(st.just(0), st.integers(4 * _MM, 30 * _MM)))
    slabs = tray_slabs(
        draw(st.integers(1, most)), draw(st.integers(1, most)), cell, t, raised=raised
    )
    hosts = draw(st.permutations([s for s in slabs if not s.guest]))
    guests = draw(st.permutations([s for s in slabs if s.guest]))
    return Arrangement(slabs=(*hosts, *guests))


@st.composite
def shelves(draw: st.DrawFn) -> Arrangement:
    """Two shelves crossing through four walls, flush with the outside or standing out."""
    names = ("front", "back", "left", "right")
    t = draw(_walls(names))
    if draw(st.booleans()):
        t |= draw(_walls(("bottom",)))
    shelf = draw(_thickness(800_000, 12 * _MM))
    inside = (
        draw(st.integers(30 * _MM, 300 * _MM)),
        draw(st.integers(30 * _MM, 300 * _MM)),
        draw(st.integers(90 * _MM, 300 * _MM)),
    )
    lower = draw(st.integers(10 * _MM, 30 * _MM))
    upper = draw(st.integers(lower + shelf, inside[2] - shelf - _MM))
    overhang = draw(st.one_of(st.just(0), st.integers(_MM, 20 * _MM)))
    slabs = shelf_slabs(inside, t, [lower, upper], shelf, overhang=overhang)
    return Arrangement(slabs=tuple(draw(st.permutations(slabs))))


@st.composite
def protruding(draw: st.DrawFn) -> Arrangement:
    """Walls that stand out past each other and cross, on a base flush, raised or missing."""
    t = draw(_walls(("front", "back", "left", "right")))
    if draw(st.booleans()):
        t |= draw(_walls(("bottom",)))
    if draw(st.booleans()):
        t |= draw(_walls(("top",)))
    inside = (
        draw(st.integers(20 * _MM, 200 * _MM)),
        draw(st.integers(20 * _MM, 200 * _MM)),
        draw(st.integers(20 * _MM, 200 * _MM)),
    )
    slabs = box_slabs(
        inside,
        t,
        beyond=draw(st.integers(_MM, 30 * _MM)),
        below=draw(st.one_of(st.just(0), st.integers(_MM, 20 * _MM))) if "bottom" in t else 0,
    )
    return Arrangement(slabs=tuple(draw(st.permutations(slabs))))


@st.composite
def boxes_within(draw: st.DrawFn) -> Arrangement:
    """A closed box and an open one inside it, standing free or against walls and bottom."""
    outer = draw(_walls(PANELS))
    inner = draw(_walls(tuple(p for p in PANELS if p != "top")))
    gaps = [draw(st.one_of(st.just(0), st.integers(1, 20 * _MM))) for _ in range(6)]
    space = (
        draw(st.integers(20 * _MM, 100 * _MM)),
        draw(st.integers(20 * _MM, 100 * _MM)),
        draw(st.integers(20 * _MM, 100 * _MM)),
    )
    at = (
        gaps[0] + inner["left"],
        gaps[1] + inner["front"],
        gaps[2] + inner["bottom"],
    )
    inside = (
        at[0] + space[0] + inner["right"] + gaps[3],
        at[1] + space[1] + inner["back"] + gaps[4],
        at[2] + space[2] + gaps[5],
    )
    slabs = [*box_slabs(inside, outer), *box_slabs(space, inner, prefix="inner ", at=at)]
    return Arrangement(slabs=tuple(draw(st.permutations(slabs))))


@st.composite
def random_slabs(draw: st.DrawFn) -> list[Slab]:
    """Slabs thrown together on bands, so that none ends part-way through another.

    Each axis has up to three bands (some touch); a slab takes one band along its normal and, along
    the other axes, reaches from the start of one band to the end of another, or beyond all.
    """
    bands = []
    for _ in range(3):
        at, row = 0, []
        for _ in range(draw(st.integers(1, 3))):
            at += draw(st.one_of(st.just(0), st.integers(6 * _MM, 60 * _MM)))
            t = draw(st.integers(_MM, 9 * _MM))
            row.append((at, at + t))
            at += t
        bands.append(row)
    slabs: list[Slab] = []
    for normal in range(3):
        for number, band in enumerate(bands[normal]):
            if slabs and draw(st.integers(0, 4)) == 0:
                continue
            lo, hi = [0, 0, 0], [0, 0, 0]
            lo[normal], hi[normal] = band
            for axis in range(3):
                if axis == normal:
                    continue
                row = bands[axis]
                first = draw(st.integers(0, len(row) - 1))
                last = draw(st.integers(first, len(row) - 1))
                lo[axis] = row[first][0]
                hi[axis] = row[last][1]
                beyond = draw(st.sampled_from(["lo", "hi", "both", "none"]))
                if beyond in ("lo", "both") or (beyond == "none" and first == last):
                    lo[axis] = row[0][0] - draw(st.integers(_MM, 40 * _MM))
                if beyond in ("hi", "both"):
                    hi[axis] = row[-1][1] + draw(st.integers(_MM, 40 * _MM))
            slabs.append(
                slab(
                    f"{'xyz'[normal]}{number}",
                    normal,
                    (lo[0], lo[1], lo[2]),
                    (hi[0], hi[1], hi[2]),
                    draw(st.sampled_from([1, -1])),
                    guest=draw(st.booleans()),
                )
            )
    return draw(st.permutations(slabs))


# check: parts that go together, or do not


def flat_part(
    name: str, normal: int, planes: list[list[int]], cells: set[tuple[int, int, int]]
) -> Panel:
    """A part one cell thick from cells between ``planes``, as a panel of the slab around them."""
    at = list(zip(*cells, strict=True))
    lo = (planes[0][min(at[0])], planes[1][min(at[1])], planes[2][min(at[2])])
    hi = (planes[0][max(at[0]) + 1], planes[1][max(at[1]) + 1], planes[2][max(at[2]) + 1])
    body = slab(name, normal, lo, hi)
    frame = Frame.of(body)
    u, v = frame.axes
    removed = []
    for i in range(min(at[u]), max(at[u]) + 1):
        for j in range(min(at[v]), max(at[v]) + 1):
            cell = [at[normal][0]] * 3
            cell[u], cell[v] = i, j
            if (cell[0], cell[1], cell[2]) not in cells:
                row = [0] * 4
                for axis, k in ((u, i), (v, j)):
                    span = np.array([planes[axis][k]]), np.array([planes[axis][k + 1]])
                    d, one, two = frame.to_drawing(axis, *span)
                    row[d], row[d + 2] = int(one[0]), int(two[0])
                removed.append(row)
    wide, high = hi[u] - lo[u], hi[v] - lo[v]
    edges = np.array(
        [
            (0, 0, 0, high, label(Role.RIM)),
            (0, wide, 0, high, label(Role.RIM)),
            (1, 0, 0, wide, label(Role.RIM)),
            (1, high, 0, wide, label(Role.RIM)),
        ],
        dtype=np.int64,
    )
    tags = np.full(len(removed), label(Role.RIM), dtype=np.int64)
    rings = cut_rectangles(
        (edges[:, 0], edges[:, 1], edges[:, 2], edges[:, 3], edges[:, 4]),
        np.array(removed, dtype=np.int64).reshape(-1, 4),
        tags,
        tags,
    )
    return Panel(slab=body, frame=frame, rings=rings)


def _one_piece(cells: set[tuple[int, int, int]]) -> set[tuple[int, int, int]]:
    """The largest piece of some cells that hang together by their faces."""
    best: set[tuple[int, int, int]] = set()
    fresh = set(cells)
    while fresh:
        edge = [min(fresh)]
        fresh.discard(edge[0])
        piece = set(edge)
        while edge:
            x, y, z = edge.pop()
            for near in (
                (x + 1, y, z),
                (x - 1, y, z),
                (x, y + 1, z),
                (x, y - 1, z),
                (x, y, z + 1),
                (x, y, z - 1),
            ):
                if near in fresh:
                    fresh.discard(near)
                    piece.add(near)
                    edge.append(near)
        if len(piece) > len(best):
            best = piece
    return best


@st.composite
def plate_puzzles(draw: st.DrawFn, most: int = 12, size: int = 5) -> list[Panel]:
    """Up to ``most`` flat parts of any shape that share a few cells out among them at random.

    Many of them hold each other, or come apart only two or three at a time: no arrangement of slabs
    is behind them.
    """
    planes = []
    for _ in range(3):
        steps = draw(st.lists(st.integers(1, 9 * _MM), min_size=size, max_size=size))
        planes.append([sum(steps[:k]) - 7 * _MM for k in range(size + 1)])
    taken: dict[tuple[int, int, int], int] = {}
    normals = draw(st.lists(st.integers(0, 2), min_size=1, max_size=most))
    for number, normal in enumerate(normals):
        spans = []
        for axis in range(3):
            if axis == normal:
                first = last = draw(st.integers(0, size - 1))
            elif draw(st.booleans()):
                first, last = 0, size - 1
            else:
                first = draw(st.integers(0, size - 1))
                last = draw(st.integers(first, size - 1))
            spans.append(range(first, last + 1))
        takes = iter(draw(st.binary(min_size=size * size, max_size=size * size)))
        for x in spans[0]:
            for y in spans[1]:
                for z in spans[2]:
                    if next(takes) % 2 or (x, y, z) not in taken:
                        taken[x, y, z] = number
    parts = []
    for number, normal in enumerate(normals):
        cells = _one_piece({c for c, owner in taken.items() if owner == number})
        if cells:
            parts.append(flat_part(f"part {number}", normal, planes, cells))
    return parts


# fit: beams and allowances


def beams() -> st.SearchStrategy[Beam]:
    """Full kerf that differs in x and y, and scales near 1."""
    kerf = st.floats(0.05, 0.6).map(lambda k: round(k, 4))
    scale = st.one_of(st.just(1.0), st.floats(0.995, 1.005).map(lambda s: round(s, 6)))
    return st.builds(
        lambda kx, ky, sx, sy: Beam(kerf=PerAxis(x=kx, y=ky), scale=PerAxis(x=sx, y=sy)),
        kerf,
        kerf,
        scale,
        scale,
    )


@st.composite
def allowances(draw: st.DrawFn, joints: int, *, guest: bool = False) -> Allowance:
    """Clearances by joint and the rest in whole micrometres; a guest's shoulders keep a relief."""
    micro = st.integers(-200, 300).map(lambda c: c / 1000)
    clearance = (
        [draw(micro)] * joints if draw(st.booleans()) else [draw(micro) for _ in range(joints)]
    )
    return Allowance(
        clearance=clearance,
        sheet_clearance=draw(st.integers(0, 300)) / 1000,
        proud=draw(st.one_of(st.just(0.0), st.integers(-300, 500).map(lambda p: p / 1000))),
        shoulder_relief=draw(st.integers(0, 200)) / 1000 if guest else 0.0,
        floor_relief=draw(st.integers(0, 300)) / 1000,
    )


# gauge


@st.composite
def gauge_truths(draw: st.DrawFn) -> Truth:
    """What a machine may do to a gauge: kerf, scale, backlash, zero errors, gap, taper."""
    kerf = st.floats(0.06, 0.39)
    scale = st.floats(0.998, 1.002)
    small = st.floats(-0.02, 0.02)
    return Truth(
        kerf={a: draw(kerf) for a in "xy"},
        scale={a: draw(scale) for a in "xy"},
        backlash={a: draw(small) for a in "xy"},
        zero_outside=draw(small),
        zero_inside=draw(small),
        gap=draw(st.floats(0.0, 0.02)),
        taper=draw(st.floats(0.0, 0.1)),
    )


@st.composite
def gauge_plans(draw: st.DrawFn) -> tuple[Reading, ...]:
    """Readings still to be taken, of every form, some sharing a contour, some repeated."""
    plans = []
    for i in range(draw(st.integers(1, 6))):
        form = draw(st.sampled_from(list(Form)))
        axis = "x" if form is Form.DIFFERENCE else draw(st.sampled_from("xy"))
        own = form in (Form.STRIP, Form.DIFFERENCE)
        plans.append(
            plan(
                form,
                axis,
                draw(st.integers(10, 300)) / 1.0,
                draw(st.integers(1, 3)),
                draw(st.sampled_from(["", "a", "b", f"own {i}"])),
                draw(st.integers(2, 12)) if form is Form.STACK else None,
                draw(st.sampled_from([0.03, 0.05, 0.2])) if own else None,
            )
        )
    return tuple(plans)


@st.composite
def comb_slots(draw: st.DrawFn) -> tuple[Slot, ...]:
    """A comb with any verdicts, up and down, some slots not tried."""
    step = draw(st.floats(0.01, 0.15))
    xs = slot_positions(draw(st.floats(-0.8, 0.2)), step, draw(st.integers(3, 15)))
    verdict = st.one_of(st.none(), st.sampled_from(list(Verdict)))
    return tuple(Slot(x_mm=x, verdict=draw(verdict)) for x in xs)


# shop: a whole book's records, in an order in which they can be appended


def shop_texts() -> st.SearchStrategy[str]:
    """What a person may write into a note: any script, quotes, commas, line ends, tabs."""
    return st.text(
        st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n\t"), max_size=12
    )


@st.composite
def shop_dates(draw: st.DrawFn) -> datetime:
    """A date of one year, to the second, in some zone."""
    seconds = draw(st.integers(0, 365 * 86400))
    zone = timedelta(minutes=draw(st.sampled_from([-330, 0, 60])))
    return (datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)) - zone


def shop_lengths() -> st.SearchStrategy[float]:
    """Any positive length in mm, with all its digits."""
    return st.floats(1e-3, 1e4)


@st.composite
def shop_readings(draw: st.DrawFn) -> shop.Reading:
    """A reading of any form; the book keeps also what an estimator may refuse."""
    form = draw(st.sampled_from(shop.FORMS))
    return shop.Reading(
        form=form,
        axis=draw(st.sampled_from(shop.AXES)),
        drawn_mm=draw(shop_lengths()),
        values_mm=tuple(draw(st.lists(shop_lengths(), min_size=1, max_size=3))),
        slices=draw(st.integers(2, 15)) if form == "stack" else 0,
        cut_ends=draw(st.integers(0, 2)),
        contour=draw(st.sampled_from(["", "a", "b"])),
        jaw=draw(st.sampled_from(shop.JAWS)),
        u_mm=draw(st.none() | st.floats(1e-3, 1)),
        turned=draw(st.booleans()),
    )


@st.composite
def shop_histories(draw: st.DrawFn) -> list[shop.Record]:
    """Records of every kind that point at each other as they must; ends with strikes."""
    text, dates, lengths = shop_texts(), shop_dates(), shop_lengths()
    machines = [
        shop.Machine(at=draw(dates), name=n, bed_x_mm=draw(st.none() | lengths), note=draw(text))
        for n in draw(
            st.lists(st.sampled_from(["bench", "small", "Größe 2"]), min_size=1, max_size=2)
        )
    ]
    sheets = [
        shop.Sheet(
            at=draw(dates),
            material=draw(st.sampled_from(["birch ply", "Acrylic", "card, grey"])),
            thickness_mm=tuple(draw(st.lists(lengths, min_size=1, max_size=4))),
            label_mm=draw(st.none() | lengths),
            batch=draw(text),
        )
        for _ in range(draw(st.integers(1, 2)))
    ]
    settings = [
        shop.Settings(
            at=draw(dates),
            name=draw(text),
            power_percent=draw(st.none() | st.floats(1, 100)),
            passes=draw(st.integers(1, 4)),
            lens=draw(text),
            **draw(st.sampled_from([{}, {"speed": 10, "speed_unit": "mm/s"}])),
        )
        for _ in range(draw(st.integers(1, 2)))
    ]
    out: list[shop.Record] = [*machines, *sheets, *settings]
    for _ in range(draw(st.integers(0, 5))):
        at = draw(dates)
        sheet = shop.content_id(draw(st.sampled_from(sheets)))
        machine = draw(st.sampled_from(machines)).name
        place = {
            "machine": machine,
            "sheet": sheet,
            "settings": shop.content_id(draw(st.sampled_from(settings))),
            "source": draw(text),
        }
        kind = draw(st.sampled_from(["gauge", "comb", "box", "service", "offcut", "rate", "log"]))
        if kind == "gauge":
            readings = tuple(draw(st.lists(shop_readings(), min_size=1, max_size=3)))
            hours = draw(st.none() | st.floats(0, 1e4))
            out.append(shop.GaugeSession(at=at, readings=readings, cut_hours=hours, **place))
        elif kind == "comb":
            verdicts = tuple(
                shop.Verdict(x_mm=x, verdict=draw(st.sampled_from(shop.VERDICTS)))
                for x in draw(st.lists(st.floats(-1, 1), min_size=1, max_size=4))
            )
            own = draw(st.booleans())
            out.append(shop.CombRound(at=at, axis="x", verdicts=verdicts, own_tab=own, **place))
        elif kind == "box":
            insides = tuple(
                shop.InsideReading(axis="y", asked_mm=v, measured_mm=draw(lengths))
                for v in draw(st.lists(lengths, max_size=3))
            )
            out.append(
                shop.BoxResult(
                    at=at,
                    kerf_x_mm=draw(st.floats(0.05, 0.4)),
                    kerf_y_mm=0.2,
                    fit="ok" if not insides else draw(st.sampled_from(shop.BOX_FITS)),
                    insides=insides,
                    order=draw(text),
                    **place,
                )
            )
        elif kind == "service":
            affects = draw(st.sampled_from(shop.AFFECTS))
            out.append(shop.Service(at=at, machine=machine, what="belt", affects=affects))
        elif kind == "offcut":
            offcut = shop.Offcut(
                at=at, sheet=sheet, x_mm=draw(lengths), y_mm=draw(lengths), count=2
            )
            out += [offcut, shop.OffcutUse(at=at, offcut=shop.content_id(offcut))]
        elif kind == "rate":
            out.append(shop.Rate(at=at, name="machine", value=draw(st.floats(0, 99)), per="h"))
        else:
            place.pop("sheet")
            cut = draw(st.none() | lengths)
            out.append(shop.JobLog(at=at, order="trays", cut_mm=cut, pierces=7, **place))
    for _ in range(draw(st.integers(0, 3))):
        # a strike may strike out an older strike
        target = shop.content_id(draw(st.sampled_from(out)))
        out.append(shop.Strike(at=draw(dates), target=target, reason="misread, invented"))
    return out


# check: flat parts with holes and notches


@st.composite
def plates(draw: st.DrawFn, most: int = 7) -> Rings:
    """A rectangle less up to ``most`` disjoint rectangles on a common lattice, in one piece.

    Rectangles at the edge are notches, the others holes; many stand in line, so that much happens at
    one place. Some sides are flanks of one of two joints, the others rims.
    """
    lattice = []
    for _ in range(2):
        widths = draw(st.lists(st.integers(1, 9), min_size=3, max_size=9))
        lattice.append([0, *accumulate(widths)])
    removed: list[tuple[int, int, int, int]] = []
    tags: list[tuple[int, int]] = []
    kinds = st.sampled_from(
        [label(Role.RIM), label(Role.FLANK, 0), label(Role.FLANK, 1), label(Role.CHEEK, 0)]
    )
    for _ in range(draw(st.integers(1, most))):
        i, j = (draw(st.integers(0, len(line) - 2)) for line in lattice)
        k, m = (
            draw(st.integers(a + 1, min(a + 2, len(line) - 1)))
            for a, line in zip((i, j), lattice, strict=True)
        )
        if all(k <= a or c <= i or m <= b or d <= j for a, b, c, d in removed):
            removed.append((i, j, k, m))
            tags.append((draw(kinds), draw(kinds)))
    xs, ys = (np.array(line, dtype=np.int64) for line in lattice)
    cells = np.array(removed, dtype=np.int64)
    x, y = int(xs[-1]), int(ys[-1])
    rim = np.full(4, label(Role.RIM), dtype=np.int64)
    rings = cut_rectangles(
        (
            np.array([0, 0, 1, 1]),
            np.array([0, x, 0, y]),
            np.zeros(4, dtype=np.int64),
            np.array([y, y, x, x]),
            rim,
        ),
        np.stack([xs[cells[:, 0]], ys[cells[:, 1]], xs[cells[:, 2]], ys[cells[:, 3]]], axis=1),
        np.array([t[0] for t in tags], dtype=np.int64),
        np.array([t[1] for t in tags], dtype=np.int64),
    )
    pieces = [k for k in range(rings.count) if rings.ring_area(k) > 0]
    assume(len(pieces) == 1)
    return rings


@st.composite
def labelled_rings(draw: st.DrawFn) -> Rings:
    """A plate with slots and holes on a grid of 3 mm or more, every side with a role and a joint.

    Roles change along straight lines too. At most four joints.
    """
    xs = [0, *accumulate(draw(st.lists(st.integers(3 * _MM, 9 * _MM), min_size=4, max_size=7)))]
    ys = [0, *accumulate(draw(st.lists(st.integers(3 * _MM, 9 * _MM), min_size=4, max_size=7)))]
    cells = [(i, j) for i in range(len(xs) - 1) for j in range(len(ys) - 1)]
    # a comb of slots from two edges and holes between them leaves one piece in any case
    lost = {
        (i, j)
        for i, j in cells
        if i % 2 == 1 and (j == 0 or (j % 2 == 0 and j < len(ys) - 2)) and draw(st.booleans())
    }
    labels = st.builds(
        label,
        st.sampled_from([Role.RIM, Role.TIP, Role.SHOULDER, Role.FLANK, Role.CHEEK, Role.FLOOR]),
        st.integers(0, 3),
    )
    edges = [
        (axis, line, a, b, draw(labels))
        for axis, along, lines in ((0, ys, (0, xs[-1])), (1, xs, (0, ys[-1])))
        for line in lines
        for a, b in pairwise(along)
    ]
    table = np.array(edges, dtype=np.int64)
    removed = np.array(
        [(xs[i], ys[j], xs[i + 1], ys[j + 1]) for i, j in sorted(lost)], dtype=np.int64
    ).reshape(-1, 4)
    tags = [np.array([draw(labels) for _ in lost], dtype=np.int64) for _ in range(2)]
    return cut_rectangles(
        (table[:, 0], table[:, 1], table[:, 2], table[:, 3], table[:, 4]), removed, *tags
    )


@st.composite
def holes(draw: st.DrawFn, *, notches: bool = True) -> Hole:
    """A circle, slot, window or notch of 1 nm to 40 mm, within 60 mm of the origin."""
    size = [draw(st.integers(1, 40 * _MM)) for _ in range(2)]
    lo = [draw(st.integers(-20 * _MM, 60 * _MM)) for _ in range(2)]
    opening: Opening | None = None
    if notches and draw(st.booleans()):
        opening = (draw(st.sampled_from((0, 1))), draw(st.sampled_from((-1, 1))))
    most = [s * (2 if opening and opening[0] == k else 1) for k, s in enumerate(size)]
    shape = draw(st.sampled_from(["sharp", "round", "between"]))
    diameter = {"sharp": 0, "round": min(most)}.get(shape)
    return Hole(
        lo=(lo[0], lo[1]),
        hi=(lo[0] + size[0], lo[1] + size[1]),
        diameter=draw(st.integers(0, min(most))) if diameter is None else diameter,
        open=opening,
    )


# solve: lids, stacks, and cases with drawers


@st.composite
def lidded_jobs(draw: st.DrawFn) -> Job:
    """A box with a top of any kind, a stack or a case, in sizes that usually can be made."""
    size = st.integers(40 * _MM, 400 * _MM)
    thick = st.integers(2 * _MM, 6 * _MM)
    readings = draw(thick)
    off = draw(st.integers(0, readings // 20))
    own = draw(
        st.dictionaries(
            st.sampled_from((*PANELS, *FURTHER_PANELS, "drawer-1-left", "tray-2-front", "shelf-1")),
            st.builds(
                PanelAsk,
                thickness=thick.map(lambda t: Thickness(readings=(t,), measured=False)),
                layers=st.none() | st.integers(1, 2),
            ),
            max_size=4,
        )
    )
    what = draw(st.sampled_from(("top", "top", "stack", "drawers")))
    kind = draw(st.sampled_from(TOPS if what == "top" else ("open", "lift-off")))
    count = draw(st.integers(1, 5))
    lip = draw(st.none() | st.integers(_MM, 12 * _MM))
    return Job(
        title="Specimen case",
        unit="mm",
        inside=Inside(length=draw(size), width=draw(size), height=draw(size)),
        stock=Stock(
            material="birch plywood",
            thickness=Thickness(readings=(readings - off, readings, readings + off), measured=True),
            film=draw(st.none() | st.integers(0, 100_000)),
        ),
        panels=own,
        top=Top(
            kind=kind if what != "drawers" else "open",
            clearance=draw(st.none() | st.integers(50_000, _MM)),
            lip=lip if kind == "cut-through" else None,
        ),
        stack=Stack(count=count if what == "stack" else 1),
        drawers=Drawers(
            count=count if what == "drawers" else 0,
            inside_of=draw(st.sampled_from(INSIDE_OF)),
            stops=draw(st.booleans()),
        ),
    )


def till_jobs() -> st.SearchStrategy[Job]:
    """A box with a till, of many sizes and tops; not all of them can be."""
    thick = st.integers(2 * _MM, 6 * _MM).map(
        lambda t: Thickness(readings=(t - t // 60, t, t + t // 60), measured=True)
    )
    size = st.integers(60 * _MM, 300 * _MM)
    return st.builds(
        Job,
        title=st.just("Chest"),
        unit=st.just("mm"),
        inside=st.builds(Inside, length=size, width=size, height=size),
        stock=st.builds(Stock, material=st.just("birch plywood"), thickness=thick),
        panels=st.dictionaries(
            st.sampled_from(("till-bottom", "till-front", "ledge", "front")),
            st.builds(PanelAsk, thickness=thick),
            max_size=2,
        ),
        dividers=st.builds(
            Dividers,
            length=st.builds(Compartments, count=st.integers(1, 3)),
            width=st.builds(Compartments, count=st.integers(1, 2)),
            height=st.none() | st.integers(10 * _MM, 120 * _MM),
        ),
        top=st.builds(Top, kind=st.sampled_from(("open", "lift-off", "rim", "sliding", "hinged"))),
        till=st.builds(
            Till,
            on=st.sampled_from(TILL_ON),
            height=st.none() | st.integers(10 * _MM, 100 * _MM),
            columns=st.integers(1, 3),
            rows=st.integers(1, 2),
            notch=st.booleans(),
        ),
    )


def hinged_jobs() -> st.SearchStrategy[Job]:
    """A box with a hinged lid, of many sizes, thicknesses and pins; not all of them can be."""
    thick = st.integers(2 * _MM, 8 * _MM).map(
        lambda t: Thickness(readings=(t - t // 50, t, t + t // 50), measured=True)
    )
    size = st.integers(40 * _MM, 400 * _MM)
    return st.builds(
        Job,
        title=st.just("Slide box"),
        unit=st.just("mm"),
        inside=st.builds(Inside, length=size, width=size, height=size),
        stock=st.builds(Stock, material=st.just("birch plywood"), thickness=thick),
        panels=st.dictionaries(
            st.sampled_from(("lid-top", "lid-left", "right", "back", "front")),
            st.builds(PanelAsk, thickness=thick),
            max_size=3,
        ),
        top=st.builds(
            Top,
            kind=st.just("hinged"),
            pin=st.none() | st.integers(_MM, 8 * _MM),
            depth=st.none() | st.integers(10 * _MM, 60 * _MM),
            clearance=st.none() | st.integers(50_000, _MM),
        ),
    )


# sheet: orders, and sheets cut up so that a packing is known

Piece = tuple[int, int, int, int]  # x, y, width, height


def _cut_up(draw: st.DrawFn, piece: Piece, parts: int, least: int, pinwheel: bool) -> list[Piece]:
    """Cut a rectangle into about ``parts``: straight through, or into five round a middle one."""
    x, y, w, h = piece
    if parts >= 5 and pinwheel and min(w, h) >= 3 * least:
        a = draw(st.integers(least, w - 2 * least))
        b = draw(st.integers(least, h - 2 * least))
        c = draw(st.integers(a + least, w - least))
        d = draw(st.integers(b + least, h - least))
        five = [
            (x, y, c, b),
            (x + c, y, w - c, d),
            (x + a, y + d, w - a, h - d),
            (x, y + b, a, h - b),
            (x + a, y + b, c - a, d - b),
        ]
        return [q for p in five for q in _cut_up(draw, p, parts // 5, least, pinwheel)]
    if parts < 2 or max(w, h) < 2 * least:
        return [piece]
    if w >= h:
        a = draw(st.integers(least, w - least))
        two = [(x, y, a, h), (x + a, y, w - a, h)]
    else:
        a = draw(st.integers(least, h - least))
        two = [(x, y, w, a), (x, y + a, w, h - a)]
    return [q for p in two for q in _cut_up(draw, p, parts // 2, least, pinwheel)]


@st.composite
def known_packings(
    draw: st.DrawFn, *, pinwheel: bool, most: int = 12
) -> tuple[tuple[int, int], list[Piece]]:
    """((width, height) of a sheet in units, pieces that cover it once); no unit is wasted.

    With ``pinwheel`` at least one cut does not go through, so that no guillotine could make it.
    """
    least = 3
    size = (draw(st.integers(20, 60)), draw(st.integers(20, 60)))
    parts = draw(st.integers(5 if pinwheel else 2, most))
    return size, _cut_up(draw, (0, 0, *size), parts, least, pinwheel)


@st.composite
def nest_orders(draw: st.DrawFn) -> tuple[list[NestItem], list[SheetStock], NestAsk]:
    """Items, sheets and what is asked: any of them may be refused, for a reason that is said."""
    stocks = [("birch ply", 3 * _MM), ("birch ply", 6 * _MM), ("acrylic", 3 * _MM)]
    used = draw(st.lists(st.sampled_from(stocks), min_size=1, max_size=2, unique=True))
    grains: st.SearchStrategy[Axis] = st.sampled_from(["", "", "x", "y"])
    turns: st.SearchStrategy[Turn] = st.sampled_from(["none", "half", "free", "free"])
    items = []
    for i in range(draw(st.integers(1, 9))):
        material, thickness = draw(st.sampled_from(used))
        w, h = draw(st.integers(8 * _MM, 240 * _MM)), draw(st.integers(8 * _MM, 240 * _MM))
        windows: tuple[tuple[int, int, int, int], ...] = ()
        if min(w, h) > 60 * _MM and draw(st.booleans()):
            edge = draw(st.integers(8 * _MM, 20 * _MM))
            windows = ((edge, edge, w - 2 * edge, h - 2 * edge),)
        items.append(
            NestItem(
                name=f"panel {i}",
                group=draw(st.sampled_from(["", "tray", "drawer"])),
                width=w,
                height=h,
                turned=draw(
                    st.none()
                    | st.tuples(st.integers(-90_000, 90_000), st.integers(-90_000, 90_000)).map(
                        lambda d, w=w, h=h: (h + d[0], w + d[1])
                    )
                ),
                material=material,
                thickness=thickness,
                quantity=draw(st.integers(1, 3)),
                turn=draw(turns),
                quarters=draw(st.integers(0, 3)),
                grain=draw(grains),
                windows=windows,
            )
        )
    sheets = [
        SheetStock(
            name=f"sheet {i}",
            width=draw(st.integers(100 * _MM, 620 * _MM)),
            height=draw(st.integers(100 * _MM, 420 * _MM)),
            material=draw(st.sampled_from(used))[0],
            thickness=draw(st.sampled_from(used))[1] + draw(st.integers(-60_000, 60_000)),
            count=draw(st.none() | st.integers(0, 4)),
            offcut=draw(st.booleans()),
            grain=draw(grains),
            keep_outs=draw(st.lists(_keep_outs(), max_size=1).map(tuple)),
        )
        for i in range(draw(st.integers(1, 4)))
    ]
    # and one of each that there is enough of, so that most orders can be nested
    sheets += [
        SheetStock(
            name=f"plenty {i}",
            width=600 * _MM,
            height=500 * _MM,
            material=m,
            thickness=t,
            grain="x",
        )
        for i, (m, t) in enumerate(used)
        if draw(st.integers(0, 9))
    ]
    spacing = draw(st.integers(150_000, 4 * _MM))
    ask = NestAsk(
        spacing=spacing,
        kerf=draw(st.integers(0, spacing)),
        margin=draw(st.integers(0, 9 * _MM)),
        bed=draw(
            st.none()
            | st.builds(
                Bed,
                width=st.integers(300 * _MM, 700 * _MM),
                height=st.integers(300 * _MM, 500 * _MM),
            )
        ),
        keep_outs=draw(st.lists(_keep_outs(), max_size=2).map(tuple)),
        windows=draw(st.booleans()),
        level=draw(st.integers(0, 1)),
        seed=draw(st.integers(0, 3)),
    )
    return items, sheets, ask


def _keep_outs() -> st.SearchStrategy[KeepOut]:
    """Clamps and magnets, some of them half off the sheet."""
    return st.builds(
        KeepOut,
        x=st.integers(-20 * _MM, 500 * _MM),
        y=st.integers(-20 * _MM, 400 * _MM),
        width=st.integers(1 * _MM, 60 * _MM),
        height=st.integers(1 * _MM, 60 * _MM),
    )


# sheet: what is cut, in which sequence

Rectangle = tuple[int, int, int, int]  # x, y, width, height, nm


def _notched(draw: st.DrawFn, box: Rectangle) -> np.ndarray[Any, np.dtype[np.int64]]:
    """A rectangle with a slot in some of its corners or sides, counter-clockwise."""
    x, y, w, h = box
    dx, dy = w // 5, h // 5
    points = []
    for corner in range(4):
        notch = draw(st.booleans())
        cx, cy = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))[corner]
        sx, sy = ((1, 1), (-1, 1), (-1, -1), (1, -1))[corner]
        if not notch:
            points.append((cx, cy))
        elif corner % 2 == 0:
            points += [(cx, cy + sy * dy), (cx + sx * dx, cy + sy * dy), (cx + sx * dx, cy)]
        else:
            points += [(cx + sx * dx, cy), (cx + sx * dx, cy + sy * dy), (cx, cy + sy * dy)]
    return np.array(points, dtype=np.int64)


def _part_cuts(
    draw: st.DrawFn, box: Rectangle, depth: int, host: int | None, number: list[int]
) -> list[SheetCut]:
    """A part in a rectangle with holes, marks and perhaps a part in its window."""
    part = number[0]
    number[0] += 1
    label_ = f"part {part}"
    outline = _notched(draw, box)
    entries = draw(st.none() | st.integers(0, len(outline) - 1))
    allowed = None
    if entries is not None:
        allowed = np.zeros(len(outline), dtype=np.bool_)
        allowed[entries] = True
    cuts = [
        SheetCut(
            path=outline,
            kind=CutKind.OUTER,
            part=part,
            label=label_,
            host=host,
            entries=allowed,
        )
    ]
    x, y, w, h = box
    # the middle three fifths hold up to four cells
    cells = [
        (x + w // 5 + i * (3 * w // 10), y + h // 5 + j * (3 * h // 10), w // 4, h // 4)
        for i in range(2)
        for j in range(2)
    ]
    for cx, cy, cw, ch in cells:
        what = draw(st.sampled_from(["", "hole", "round", "mark", "dot", "window"]))
        rim = np.array([(cx, cy), (cx + cw, cy), (cx + cw, cy + ch), (cx, cy + ch)], dtype=np.int64)
        if what == "hole" or (what == "window" and depth == 0):
            cuts.append(SheetCut(path=rim, kind=CutKind.INNER, part=part, label=label_))
        elif what == "round":  # two half circles
            r = min(cw, ch) // 2
            pair = np.array([(cx, cy + r), (cx + 2 * r, cy + r)], dtype=np.int64)
            cuts.append(
                SheetCut(
                    path=pair,
                    kind=CutKind.INNER,
                    part=part,
                    label=label_,
                    bulge=np.array([1.0, 1.0]),
                )
            )
        elif what == "mark":
            cuts.append(
                SheetCut(path=rim[:3], kind=CutKind.MARK, part=part, label=label_, closed=False)
            )
        elif what == "dot":
            cuts.append(SheetCut(path=rim, kind=CutKind.MARK, part=part, label=label_))
        elif what == "window":
            cuts.append(SheetCut(path=rim, kind=CutKind.INNER, part=part, label=label_))
            gap = min(cw, ch) // 20
            inner = (cx + gap, cy + gap, cw - 2 * gap, ch - 2 * gap)
            cuts += _part_cuts(draw, inner, depth - 1, part, number)
    return cuts


@st.composite
def cut_sheets(draw: st.DrawFn, *, most: int = 6) -> list[SheetCut]:
    """Everything that is cut on one sheet: parts side by side, some in windows of others."""
    number = [0]
    cuts: list[SheetCut] = []
    for k in range(draw(st.integers(1, most))):
        box = (
            (k % 3) * 110 * _MM + draw(st.integers(0, 5 * _MM)),
            (k // 3) * 110 * _MM + draw(st.integers(0, 5 * _MM)),
            draw(st.integers(30 * _MM, 100 * _MM)),
            draw(st.integers(30 * _MM, 100 * _MM)),
        )
        cuts += _part_cuts(draw, box, 2, None, number)
    return draw(st.permutations(cuts))


@st.composite
def sequence_asks(draw: st.DrawFn) -> SequenceAsk:
    """Home anywhere near the sheet, any heat spread, small budgets too."""
    return SequenceAsk(
        home=(draw(st.integers(-9 * _MM, 400 * _MM)), draw(st.integers(-9 * _MM, 300 * _MM))),
        back=draw(st.booleans()),
        heat_distance=draw(st.sampled_from([0, 3 * _MM, 20 * _MM])),
        heat_weight=draw(st.sampled_from([0.0, 20.0, 200.0])),
        rounds=draw(st.integers(0, 6)),
        passes=draw(st.sampled_from([0, 1, 40])),
        kicks=draw(st.integers(0, 3)),
    )
