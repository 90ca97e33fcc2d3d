"""The checker of nests: what it accepts and refuses, beside distances measured by shapely."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import known_packings, plates

from boxjoint.errors import ProofFailed
from boxjoint.geometry.rings import Rings, turned
from boxjoint.sheet.checker import check_nest, nest_faults
from boxjoint.sheet.records import (
    Bed,
    Item,
    KeepOut,
    Nest,
    NestAsk,
    NestedSheet,
    Placement,
    SheetStock,
    Strip,
)

MM = 1_000_000
quick = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
SHEET = SheetStock(
    name="A", width=300 * MM, height=200 * MM, material="birch ply", thickness=3 * MM, count=1
)
ASK = NestAsk(spacing=2 * MM, kerf=200_000, margin=5 * MM)


def item(name: str, w: int = 50 * MM, h: int = 30 * MM, **more: object) -> Item:
    base = Item(name=name, width=w, height=h, material="birch ply", thickness=3 * MM)
    return replace(base, **more)  # type: ignore[arg-type]


def at(it: Item, x: int, y: int, quarters: int = 0, **more: object) -> Placement:
    base = Placement(item=it, copy=1, sheet=0, x=x, y=y, quarters=quarters)
    return replace(base, **more)  # type: ignore[arg-type]


def nest_of(*placed: Placement, stock: SheetStock = SHEET) -> Nest:
    sheet = NestedSheet(stock=stock, placements=placed, fill=0.5, used=0.5, remains=())
    return Nest(sheets=(sheet,), bound=0.5, equivalent=0.5, left=(), level=0, seed=0)


A, B = item("front"), item("back")
GOOD = (at(A, 5 * MM, 5 * MM), at(B, 57 * MM, 5 * MM))


def test_a_sound_nest_is_accepted() -> None:
    check_nest(nest_of(*GOOD), [A, B], [SHEET], ASK)


def test_the_error_names_the_pair_and_the_distance() -> None:
    with pytest.raises(ProofFailed, match=r"front and back are 1\.999999 mm apart") as caught:
        check_nest(nest_of(GOOD[0], at(B, 57 * MM - 1, 5 * MM)), [A, B], [SHEET], ASK)
    assert len(caught.value.data["faults"]) == 1


HALF, LOCKED = item("half", turn="half"), item("locked", turn="none")
ALONG = item("along", grain="x")


@pytest.mark.parametrize(
    ("placed", "items", "change", "said"),
    [
        ((at(A, 5 * MM, 5 * MM), at(B, 20 * MM, 20 * MM)), [A, B], {}, "front and back overlap"),
        ((at(A, 5 * MM, 5 * MM), at(B, 5 * MM, 5 * MM)), [A, B], {}, "front and back overlap"),
        ((at(A, 5 * MM, 5 * MM), at(B, 55 * MM, 5 * MM)), [A, B], {}, "overlap or touch"),
        # corner to corner: sqrt(1.4^2 + 1.4^2) = 1.979899 mm, although 1.4 mm along each axis
        (
            (at(A, 5 * MM, 5 * MM), at(B, 56_400_000, 36_400_000)),
            [A, B],
            {},
            "1.979898 mm apart",
        ),
        ((at(A, 5 * MM - 1, 5 * MM),), [A], {}, "0.000001 mm beyond margin or bed"),
        ((at(A, 245 * MM + 1, 5 * MM),), [A], {}, "beyond margin or bed"),
        ((at(A, 5 * MM, 165 * MM + 1),), [A], {}, "beyond margin or bed"),
        (
            (at(A, 155 * MM, 5 * MM),),
            [A],
            {"bed": Bed(width=200 * MM, height=400 * MM)},
            "5.000000 mm beyond margin or bed",
        ),
        (
            (at(A, 5 * MM, 5 * MM),),
            [A],
            {"keep_outs": (KeepOut(x=56 * MM, y=0, width=9 * MM, height=9 * MM, name="clamp"),)},
            "front is 1.000 mm from clamp",
        ),
        (
            (at(A, 5 * MM, 5 * MM),),
            [A],
            {"keep_outs": (KeepOut(x=20 * MM, y=9 * MM, width=MM, height=MM, name="magnet"),)},
            "front is 0.000 mm from magnet",
        ),
        (
            (at(A, 5 * MM, 5 * MM),),
            [A],
            {"keep_outs": (KeepOut(x=0, y=0, width=99 * MM, height=99 * MM, name="clamp"),)},
            "front is 0.000 mm from clamp",
        ),
        ((at(HALF, 5 * MM, 5 * MM, 1),), [HALF], {}, "half is turned by 1 quarters"),
        ((at(LOCKED, 5 * MM, 5 * MM, 2),), [LOCKED], {}, "locked is turned by 2 quarters"),
        ((at(ALONG, 5 * MM, 5 * MM),), [ALONG], {}, "sheet without grain"),
        ((), [A], {}, "front 1 is missing"),
        ((*GOOD, at(A, 120 * MM, 5 * MM)), [A, B], {}, "front is there twice"),
        ((*GOOD, at(A, 120 * MM, 5 * MM, copy=2)), [A, B], {}, "front is one more than was asked"),
        (GOOD, [A, item("back", 49 * MM)], {}, "back is not what was asked"),
        (GOOD, [A], {}, "back is not what was asked"),
        ((replace(GOOD[0], sheet=1), GOOD[1]), [A, B], {}, "names sheet 2, lies on 1"),
        ((replace(GOOD[0], host=1), GOOD[1]), [A, B], {}, "lies in a window where it does not"),
    ],
)
def test_every_fault_is_named(
    placed: tuple[Placement, ...], items: list[Item], change: dict[str, object], said: str
) -> None:
    ask = replace(ASK, **change)  # type: ignore[arg-type]
    assert any(said in f for f in nest_faults(nest_of(*placed), items, [SHEET], ask))


@pytest.mark.parametrize(
    ("stock", "said"),
    [
        (replace(SHEET, material="acrylic"), "front is of birch ply, its sheet of acrylic"),
        (replace(SHEET, thickness=3_060_000), "lies on a sheet 0.06 mm off its thickness"),
        (replace(SHEET, count=0), "1 sheets 'A' are used of 0"),
    ],
)
def test_stock_is_checked(stock: SheetStock, said: str) -> None:
    faults = nest_faults(nest_of(*GOOD, stock=stock), [A, B], [stock], ASK)
    assert any(said in f for f in faults)


def test_a_sheet_that_nobody_gave_is_seen() -> None:
    other = replace(SHEET, width=301 * MM)
    faults = nest_faults(nest_of(*GOOD), [A, B], [other], ASK)
    assert faults == ("sheet 'A' is none of those given",)


def test_a_flaw_of_the_sheet_counts_like_a_clamp() -> None:
    flawed = replace(SHEET, keep_outs=(KeepOut(x=30 * MM, y=20 * MM, width=MM, height=MM),))
    assert nest_faults(nest_of(*GOOD, stock=flawed), [A, B], [flawed], ASK)


FRAME = item("frame", 100 * MM, 90 * MM, windows=((10 * MM, 10 * MM, 80 * MM, 70 * MM),))
IN = at(A, 17 * MM, 17 * MM, host=0)


def test_a_panel_may_lie_in_a_window_of_another() -> None:
    frame = at(FRAME, 5 * MM, 5 * MM)
    assert nest_faults(nest_of(frame, IN), [FRAME, A], [SHEET], ASK) == ()
    closer = replace(IN, x=IN.x - 1)
    assert "1.999999 mm apart" in nest_faults(nest_of(frame, closer), [FRAME, A], [SHEET], ASK)[0]
    silent = replace(IN, host=None)
    assert "does not say so" in nest_faults(nest_of(frame, silent), [FRAME, A], [SHEET], ASK)[0]
    solid = item("frame", 100 * MM, 90 * MM)
    faults = nest_faults(nest_of(at(solid, 5 * MM, 5 * MM), IN), [solid, A], [SHEET], ASK)
    assert "overlap: one lies on the other" in faults[0]


def test_a_clamp_may_stand_in_a_window() -> None:
    ask = replace(ASK, keep_outs=(KeepOut(x=50 * MM, y=40 * MM, width=MM, height=MM),))
    assert nest_faults(nest_of(at(FRAME, 5 * MM, 5 * MM)), [FRAME], [SHEET], ask) == ()


def test_an_outline_larger_than_the_item_said_is_seen() -> None:
    def larger(p: Placement) -> Rings:
        w, h = p.item.size_at(p.quarters)
        return rings_of([(0, 0), (w + 1, 0), (w + 1, h), (0, h)])

    faults = nest_faults(nest_of(GOOD[0]), [A], [SHEET], ASK, larger)
    assert "is cut 50.00 x 30.00 mm, nested 50.00 x 30.00 mm" in faults[0]


def rings_of(*loops: list[tuple[int, int]]) -> Rings:
    xy = np.array([p for loop in loops for p in loop], dtype=np.int64)
    n = len(xy)
    return Rings(
        xy=xy,
        start=np.cumsum([0, *(len(loop) for loop in loops)]),
        role=np.zeros(n, dtype=np.uint8),
        joint=np.full(n, -1, dtype=np.int32),
    )


def test_members_of_a_strip_follow_on() -> None:
    walls = tuple(item(n, w * MM, 30 * MM) for n, w in (("front", 60), ("right", 40)))
    strip = Strip(name="walls", members=walls, gap=2 * MM)
    row = (at(walls[0], 5 * MM, 5 * MM), at(walls[1], 67 * MM, 5 * MM))
    assert nest_faults(nest_of(*row), [strip], [SHEET], ASK) == ()
    apart = (row[0], replace(row[1], x=row[1].x + 1))
    assert "does not follow on" in nest_faults(nest_of(*apart), [strip], [SHEET], ASK)[0]
    swapped = (at(walls[1], 5 * MM, 5 * MM), at(walls[0], 47 * MM, 5 * MM))
    assert "does not follow on" in nest_faults(nest_of(*swapped), [strip], [SHEET], ASK)[0]
    turned_apart = (row[0], replace(row[1], quarters=2))
    assert "turned together" in nest_faults(nest_of(*turned_apart), [strip], [SHEET], ASK)[0]
    # upside down the strip runs to the left
    back = (at(walls[1], 5 * MM, 5 * MM, 2), at(walls[0], 47 * MM, 5 * MM, 2))
    assert nest_faults(nest_of(*back), [strip], [SHEET], ASK) == ()


def region(rings: Rings, x: int, y: int) -> shapely.Polygon:
    """A cut path moved to a place, as shapely has it, nm."""
    x0, y0 = rings.extent[:2]
    loops = [rings.ring(k) + np.array([x - x0, y - y0]) for k in range(rings.count)]
    return shapely.Polygon(loops[0], loops[1:])


@quick
@given(
    plates(),
    plates(),
    st.integers(-30, 40),
    st.integers(-30, 40),
    st.integers(0, 3),
    st.integers(1, 6),
)
def test_distances_are_those_of_shapely(
    first: Rings, second: Rings, dx: int, dy: int, quarters: int, spacing: int
) -> None:
    """Two plates of a few nm anywhere: faults exactly where shapely finds them too near."""
    second = turned(second, quarters)
    shapes = {"front": first, "back": second}
    items = []
    for name, rings in shapes.items():
        x0, y0, x1, y1 = rings.extent
        items.append(item(name, x1 - x0, y1 - y0))
    a, b = at(items[0], 100, 100), at(items[1], 100 + dx, 100 + dy)
    there = [region(first, a.x, a.y), region(second, b.x, b.y)]
    # right-angled outlines on whole nm: the distance squared is whole, and shapely rounds the root
    square = round(there[0].distance(there[1]) ** 2)
    wanted = square < spacing**2
    # a part in a window has to say so, whatever its distance
    holes = (
        [shapely.Polygon(r) for r in there[0].interiors],
        [shapely.Polygon(r) for r in there[1].interiors],
    )
    if not wanted and any(h.contains(there[1]) for h in holes[0]):
        b = replace(b, host=0)
    elif not wanted and any(h.contains(there[0]) for h in holes[1]):
        a = replace(a, host=1)
    ask = NestAsk(spacing=spacing, kerf=0)
    outlines: Callable[[Placement], Rings] = lambda p: shapes[p.item.name]  # noqa: E731
    faults = nest_faults(nest_of(a, b), items, [SHEET], ask, outlines)
    pair = [f for f in faults if "front and back" in f]
    assert bool(pair) == wanted, (faults, square)
    if wanted and square > 0:
        assert f"{math.isqrt(square)}" in pair[0].replace("0.00000", "")
    if not wanted:
        assert not faults


@quick
@given(st.booleans().flatmap(lambda p: known_packings(pinwheel=p)), st.data())
def test_known_packings_hold_and_not_a_nanometre_closer(
    packing: tuple[tuple[int, int], list[tuple[int, int, int, int]]], data: st.DataObject
) -> None:
    """Sheets cut up completely: with the spacing taken off every piece nothing is to spare."""
    (width, height), pieces = packing
    unit, spacing = 10 * MM, MM
    stock = replace(SHEET, width=width * unit - spacing, height=height * unit - spacing)
    items = [
        item(f"p{i}", w * unit - spacing, h * unit - spacing)
        for i, (_, _, w, h) in enumerate(pieces)
    ]
    ask = NestAsk(spacing=spacing, kerf=spacing)
    placed = [at(it, p[0] * unit, p[1] * unit) for it, p in zip(items, pieces, strict=True)]
    assert nest_faults(nest_of(*placed, stock=stock), items, [stock], ask) == ()
    i = data.draw(st.integers(0, len(pieces) - 1))
    dx, dy = data.draw(st.sampled_from([(1, 0), (-1, 0), (0, 1), (0, -1)]))
    placed[i] = replace(placed[i], x=placed[i].x + dx, y=placed[i].y + dy)
    assert nest_faults(nest_of(*placed, stock=stock), items, [stock], ask)
