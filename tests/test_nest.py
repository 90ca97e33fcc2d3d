"""Nesting: every nest is proved, the same for the same order, and what cannot be nested is refused."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import known_packings, nest_orders

from boxjoint.errors import InputError
from boxjoint.fit.compensate import Allowance, Beam, compensate
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import Inside, Job, PerAxis, Stock, Thickness, Top
from boxjoint.sheet.nest import chosen_level, nest
from boxjoint.sheet.records import (
    Bed,
    Item,
    KeepOut,
    Nest,
    NestAsk,
    Place,
    Placement,
    SheetStock,
    Strip,
)
from boxjoint.sheet.strips import (
    Mating,
    continuous_strip,
    mating_edges,
    orient,
    oriented,
    strip_pieces,
)
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.solution import Solution, solve

MM = 1_000_000
PLY = "birch ply"
ASK = NestAsk(spacing=2 * MM, kerf=200_000, margin=5 * MM)
quick = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])


def item(name: str, w: float, h: float, **more: object) -> Item:
    base = Item(
        name=name, width=round(w * MM), height=round(h * MM), material=PLY, thickness=3 * MM
    )
    return replace(base, **more)  # type: ignore[arg-type]


def sheet(name: str, w: float, h: float, **more: object) -> SheetStock:
    base = SheetStock(
        name=name, width=round(w * MM), height=round(h * MM), material=PLY, thickness=3 * MM
    )
    return replace(base, **more)  # type: ignore[arg-type]


BED = sheet("A", 600, 300)


def drawers(n: int, seed: int = 1) -> list[Item]:
    """Panels of open drawers and trays, as a workshop may be asked for."""
    rng = random.Random(seed)
    out: list[Item] = []
    while len(out) < n:
        x, y, z = rng.randrange(80, 260, 5), rng.randrange(60, 180, 5), rng.randrange(25, 90, 5)
        for name, w, h in (
            ("bottom", x, y),
            ("front", x, z),
            ("back", x, z),
            ("left", y, z),
            ("right", y, z),
        ):
            lock = "half" if rng.random() < 0.2 else "free"
            out.append(item(name, w + 0.18, h + 0.18, group=f"job {len(out) // 5}", turn=lock))
    return out[:n]


# --- the result ---------------------------------------------------------------------------------


@quick
@given(nest_orders())
def test_any_order_is_nested_and_proved_or_refused(
    order: tuple[list[Item], list[SheetStock], NestAsk],
) -> None:
    """``nest`` runs the checker; shapely looks once more, and so does the arithmetic of the result."""
    items, sheets, ask = order
    try:
        done = nest(items, sheets, ask)
    except InputError as error:
        assert error.where or error.value
        assert error.limit or error.do or error.value
        return
    assert len(done.placements) == sum(i.quantity for i in items)
    # the bound of all kinds together, each up to a whole sheet at least
    assert done.bound <= done.equivalent + 1e-9 <= len(done.sheets) + 1e-9
    given_ = {s.name: s for s in sheets}
    counts = {s.name: c for s, c in done.counted()}
    left = {entry.stock.name: entry.count for entry in done.left}
    for name, stock in given_.items():
        if stock.count is not None:
            assert counts.get(name, 0) + (left.get(name) or 0) == stock.count
    looked_at_by_shapely(done, ask)


def looked_at_by_shapely(done: Nest, ask: NestAsk) -> None:
    for used in done.sheets:
        solid = []
        for p in used.placements:
            region = shapely.box(*p.extent)
            for x, y, w, h in p.item.windows_at(p.quarters):
                window = shapely.box(p.x + x, p.y + y, p.x + x + w, p.y + y + h)
                region = region.difference(window)
            solid.append(region)
        room = shapely.box(
            ask.margin, ask.margin, used.stock.width - ask.margin, used.stock.height - ask.margin
        )
        if ask.bed is not None:
            room = room.intersection(shapely.box(0, 0, ask.bed.width, ask.bed.height))
        clamps = [
            shapely.box(k.x, k.y, k.x + k.width, k.y + k.height)
            for k in (*ask.keep_outs, *used.stock.keep_outs)
        ]
        for i, a in enumerate(solid):
            assert room.covers(a)
            for b in (*solid[:i], *clamps):
                assert a.distance(b) >= ask.spacing - 1e-6 * MM  # shapely works in floats
        for x, y, w, h in used.remains:
            kept = shapely.box(x, y, x + w, y + h)
            assert shapely.box(0, 0, used.stock.width, used.stock.height).covers(kept)
            assert max(w, h) >= ask.least_offcut[0]
            assert min(w, h) >= ask.least_offcut[1]
            assert all(kept.distance(a) >= ask.spacing - 1e-6 * MM for a in solid)
        for i, r in enumerate(used.remains):
            for q in used.remains[:i]:
                a, b = (shapely.box(x, y, x + w, y + h) for x, y, w, h in (r, q))
                assert a.intersection(b).area == 0


@pytest.mark.parametrize("level", [0, 1, 2])
def test_the_sequence_of_items_and_sheets_changes_nothing(level: int) -> None:
    items = drawers(25)
    sheets = [BED, sheet("B", 400, 300, count=2), sheet("C", 220, 150, count=2, offcut=True)]
    ask = replace(ASK, level=level, keep_outs=(KeepOut(x=0, y=0, width=9 * MM, height=9 * MM),))
    first = nest(items, sheets, ask)
    for seed in range(3):
        random.Random(seed).shuffle(items)
        random.Random(seed).shuffle(sheets)
        assert nest(items, sheets, ask) == first


def test_more_search_is_never_worse() -> None:
    items = drawers(40)
    found = [nest(items, [BED], replace(ASK, level=k)).equivalent for k in (0, 1, 2)]
    assert found[0] >= found[1] >= found[2]
    assert found[2] < found[0]


@quick
@given(known_packings(pinwheel=False, most=6))
def test_few_pieces_of_a_known_guillotine_packing_go_back_on_one_sheet(
    packing: tuple[tuple[int, int], list[tuple[int, int, int, int]]],
) -> None:
    assert_sheets(packing, most=1)


@quick
@given(st.booleans().flatmap(lambda p: known_packings(pinwheel=p, most=20)))
def test_a_known_packing_takes_at_most_one_sheet_more(
    packing: tuple[tuple[int, int], list[tuple[int, int, int, int]]],
) -> None:
    """No waste at all is the hardest case; the area bound is met exactly."""
    assert_sheets(packing, most=2)


def assert_sheets(
    packing: tuple[tuple[int, int], list[tuple[int, int, int, int]]], most: int
) -> None:
    (width, height), pieces = packing
    unit, spacing = 10 * MM, MM
    stock = replace(BED, width=width * unit - spacing, height=height * unit - spacing)
    items = [
        replace(BED_ITEM, name=f"p{i}", width=w * unit - spacing, height=h * unit - spacing)
        for i, (_, _, w, h) in enumerate(pieces)
    ]
    done = nest(items, [stock], NestAsk(spacing=spacing, kerf=spacing, level=2))
    assert done.bound == 1.0
    assert len(done.sheets) <= most


BED_ITEM = item("any", 1, 1)


# --- sheets -------------------------------------------------------------------------------------


def test_offcuts_come_first_and_the_smallest_that_does() -> None:
    stocks = [
        BED,
        sheet("small", 170, 120, offcut=True, count=1),
        sheet("middle", 230, 180, offcut=True, count=1),
    ]
    done = nest([item("lid", 150, 100)], stocks, ASK)
    assert [s.stock.name for s in done.sheets] == ["small"]
    assert {e.stock.name: e.count for e in done.left} == {"A": None, "middle": 1}
    done = nest([item("lid", 150, 100, quantity=2)], stocks, ASK)
    assert [s.stock.name for s in done.sheets] == ["middle"]
    done = nest([item("lid", 150, 100, quantity=9)], stocks, ASK)
    assert done.sheets[0].stock.offcut and not done.sheets[-1].stock.offcut


def test_a_smaller_sheet_is_taken_for_what_is_left() -> None:
    stocks = [sheet("large", 600, 300), sheet("small", 170, 120)]
    done = nest([item("lid", 150, 100, quantity=7, turn="half")], stocks, ASK)
    # 600 x 300 holds 2 rows of 3 at 150 x 100 with 2 between and 5 round it
    assert sorted((s.name, c) for s, c in done.counted()) == [("large", 1), ("small", 1)]


def test_panels_of_different_stock_lie_on_their_own_sheets() -> None:
    acrylic = replace(sheet("C", 400, 400), material="Acrylic", thickness=3 * MM)
    thin = replace(BED, name="thin", thickness=1_500_000)
    items = [
        item("front", 100, 50),
        item("bottom", 100, 80, thickness=1_500_000),
        item("lid", 100, 80, material="acrylic"),
    ]
    done = nest(items, [BED, acrylic, thin], ASK)
    assert {p.item.name: s.stock.name for s in done.sheets for p in s.placements} == {
        "front": "A",
        "bottom": "thin",
        "lid": "C",
    }


def test_too_few_sheets_say_how_many_more() -> None:
    with pytest.raises(InputError, match=r"2 more of A \(600\.00 x 300\.00 mm\)") as caught:
        nest([item("lid", 580, 280, quantity=4)], [replace(BED, count=2)], ASK)
    assert caught.value.data["short"] == {"A": 2}
    assert caught.value.exit_code == 2


def test_only_as_many_sheets_as_there_are() -> None:
    items = drawers(30)
    free = nest(items, [BED], ASK)
    held = nest(items, [replace(BED, count=len(free.sheets))], ASK)
    assert [s.placements for s in held.sheets] == [s.placements for s in free.sheets]
    assert held.left == ()


def test_remains_are_what_an_empty_corner_leaves() -> None:
    done = nest([item("lid", 200, 290)], [BED], ASK)
    # right of 5 + 200 + 2: 393 x 300, margin kept with it
    assert done.sheets[0].remains == ((207 * MM, 0, 393 * MM, 300 * MM),)


def test_windows_take_panels_when_asked() -> None:
    """Four frames on two sheets; the small panels need sheets of their own, or the windows."""
    frame = item("frame", 580, 280, quantity=2, windows=((20 * MM, 20 * MM, 540 * MM, 240 * MM),))
    small = item("lid", 250, 110, quantity=8)
    assert len(nest([frame, small], [BED], ASK).sheets) == 4
    done = nest([frame, small], [BED], replace(ASK, windows=True))
    assert len(done.sheets) == 2
    assert done.bound < 2
    for used in done.sheets:
        hosts = {p.item.name: p.host for p in used.placements}
        assert hosts["frame"] is None
        assert used.placements[hosts["lid"] or 0].item.name == "frame"


# --- turns --------------------------------------------------------------------------------------


def test_grain_turns_and_sheets_agree() -> None:
    along = item("front", 200, 100, grain="x")
    (placed,) = nest([along], [replace(BED, grain="y")], ASK).placements
    assert placed.quarters % 2 == 1
    (placed,) = nest([along], [replace(BED, grain="x")], ASK).placements
    assert placed.quarters % 2 == 0


def test_a_lock_is_kept_where_a_turn_would_help() -> None:
    lid = item("lid", 100, 280, quantity=6)
    assert len(nest([lid], [BED], ASK).sheets) == 2
    lying = item("lid", 280, 100, quantity=6)
    assert len(nest([replace(lying, turn="half")], [BED], ASK).sheets) == 2
    (first, *_) = nest([replace(lying, turn="none", quarters=1)], [BED], ASK).placements
    assert first.quarters == 1


def test_the_turned_size_is_the_one_that_is_kept_clear() -> None:
    """kerf_x and kerf_y differ: turned, the cut path is not just swapped."""
    tall = item("lid", 290, 590, turned=(590 * MM, 290 * MM + 1))
    with pytest.raises(InputError, match="fits on no sheet"):
        nest([tall], [BED], ASK)
    nest([replace(tall, turned=(590 * MM, 290 * MM))], [BED], ASK)


# --- refused before any search ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("items", "sheets", "ask", "said"),
    [
        ([], [BED], {}, "nothing to nest"),
        ([item("lid", 50, 50)], [], {}, "there are no sheets to cut from"),
        ([item("lid", 50, 50)], [replace(BED, count=0)], {}, "no sheets to cut from"),
        (
            [item("lid", 50, 50, thickness=4 * MM)],
            [BED],
            {},
            r"job lid: every sheet of this material has the wrong thickness: 4\.00 mm wanted",
        ),
        ([item("lid", 50, 50, material="birch plx")], [BED], {}, "Did you mean 'birch ply'"),
        (
            [item("lid", 50, 50)],
            [BED],
            {"keep_outs": (KeepOut(x=-MM, y=-MM, width=700 * MM, height=400 * MM),)},
            "leave nothing of any sheet",
        ),
        ([item("lid", 50, 50)], [BED], {"margin": 150 * MM}, "leave nothing of any sheet"),
        (
            [item("lid", 700, 200)],
            [BED],
            {},
            r"job lid: fits on no sheet in any turn that is allowed: cut 700\.00 x 200\.00 mm, "
            r"turn free, too large by 110\.00 mm and 0\.00 mm; "
            r"the nearest that fits is 590\.00 x 200\.00 mm, on A \(600\.00 x 300\.00 mm\)",
        ),
        (
            [item("lid", 500, 200)],
            [BED],
            {"bed": Bed(width=400 * MM, height=300 * MM)},
            r"nearest that fits is 395\.00 x 200\.00 mm",
        ),
        (
            [item("lid", 400, 200)],
            [BED],
            {"keep_outs": (KeepOut(x=300 * MM, y=100 * MM, width=50 * MM, height=50 * MM),)},
            r"nearest that fits is 400\.00 x 143\.00 mm",
        ),
        ([item("lid", 200, 400, turn="half")], [BED], {}, "Let it be turned, or turn the sheet"),
        ([item("lid", 50, 50)], [sheet("A", 24, 12)], {"margin": 0}, "were inches taken for mm"),
        (
            [item("lid", 50, 50, grain="x", turn="none")],
            [replace(BED, grain="y")],
            {},
            "contradicting grain",
        ),
        ([item("lid", 50, 50, grain="x")], [BED], {}, "A: no grain stated"),
        ([item("lid", 50, 50), item("lid", 60, 50)], [BED], {}, "two items have one name"),
        ([item("lid", 50, 50)], [BED, BED], {}, "two kinds of sheet have one name"),
        ([item("lid", 50, 50, quantity=20_001)], [BED], {}, "more than one order"),
    ],
)
def test_bad_input_is_refused_by_name(
    items: list[Item], sheets: list[SheetStock], ask: dict[str, object], said: str
) -> None:
    items = [replace(i, group="job") for i in items]
    with pytest.raises(InputError, match=said) as caught:
        nest(items, sheets, replace(ASK, **ask))  # type: ignore[arg-type]
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("spacing", [0, -1, 199_999])
def test_spacing_is_at_least_the_kerf(spacing: int) -> None:
    with pytest.raises(InputError, match="at least the kerf"):
        NestAsk(spacing=spacing, kerf=200_000)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"quantity": 0}, "quantity"),
        ({"width": 0}, "width must be larger than zero"),
        ({"height": 11_000 * MM}, "Check the unit"),
        ({"turn": "left"}, "turn is none, half or free"),
        ({"windows": ((0, 10 * MM, MM, MM),)}, "window must lie inside"),
    ],
)
def test_items_validate(change: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        item("lid", 50, 50, **change)


def test_the_nearest_size_that_fits_does_fit() -> None:
    clamps = (KeepOut(x=300 * MM, y=100 * MM, width=50 * MM, height=50 * MM),)
    ask = replace(ASK, keep_outs=clamps)
    lid = item("lid", 431.37, 257.11)
    with pytest.raises(InputError) as caught:
        nest([lid], [BED], ask)
    w, h = caught.value.data["fits_nm"]
    nest([replace(lid, width=w, height=h)], [BED], ask)
    with pytest.raises(InputError):
        nest([replace(lid, width=w + 20_000, height=h + 20_000)], [BED], ask)


def test_one_panel_and_very_many() -> None:
    assert len(nest([item("lid", 50, 50)], [BED], ASK).placements) == 1
    done = nest([replace(i, quantity=100) for i in drawers(100)], [BED], replace(ASK, level=1))
    assert len(done.placements) == 10_000
    assert len(done.sheets) < 1.2 * done.bound


def test_a_time_budget_only_chooses_the_level() -> None:
    asked = replace(ASK, level=3)
    levels = [chosen_level(100, replace(asked, seconds=s)) for s in (0.01, 1.0, 5.0, 60.0)]
    assert levels == sorted(levels) and levels[0] == 0 and levels[-1] == 3
    assert chosen_level(100, asked) == 3
    assert chosen_level(100, replace(asked, level=1, seconds=60.0)) == 1
    items = drawers(15)
    timed = nest(items, [BED], replace(asked, seconds=0.05))
    assert timed == nest(items, [BED], replace(ASK, level=timed.level))


# --- real outlines ------------------------------------------------------------------------------


def solved(inside: tuple[float, float, float], top: bool) -> Solution:
    job = Job(
        title="slide tray",
        unit="mm",
        inside=Inside(
            **{k: round(v * MM) for k, v in zip(("length", "width", "height"), inside, strict=True)}
        ),
        stock=Stock(material=PLY, thickness=Thickness(readings=(3 * MM,), measured=False)),
        top=Top(kind="closed" if top else "open"),
    )
    return solve(box_arrangement(job))


def cut_paths(box: Solution, kerf: PerAxis) -> dict[tuple[str, int], Rings]:
    """Every panel compensated for the way it lies, in all four turns."""
    beam = Beam(kerf=kerf)
    loose = Allowance(clearance=(0.1,) * len(box.joints))
    return {
        (p.name, q): compensate(p.rings, beam, loose, quarters=q).rings
        for p in box.panels
        for q in range(4)
    }


def items_of(paths: dict[tuple[str, int], Rings], **more: object) -> list[Item]:
    def size(rings: Rings) -> tuple[int, int]:
        x0, y0, x1, y1 = rings.extent
        return x1 - x0, y1 - y0

    out = []
    for name in sorted({n for n, _ in paths}):
        w, h = size(paths[name, 0])
        out.append(item(name, 1, 1, width=w, height=h, turned=size(paths[name, 1]), **more))
    return out


def test_a_box_is_proved_on_its_real_outlines() -> None:
    box = solved((150, 100, 60), top=True)
    paths = cut_paths(box, PerAxis(x=0.15, y=0.23))
    items = items_of(paths, quantity=2)

    def path(p: Placement) -> Rings:
        return paths[p.item.name, p.quarters]

    done = nest(items, [BED], ASK, outlines=path)
    regions = []
    for p in done.placements:
        rings = path(p)
        x0, y0 = rings.extent[:2]
        regions.append(
            (
                p.sheet,
                shapely.Polygon([(x - x0 + p.x, y - y0 + p.y) for x, y in rings.ring(0).tolist()]),
            )
        )
    for i, (s, a) in enumerate(regions):
        for other, b in regions[:i]:
            assert s != other or a.distance(b) >= ASK.spacing - 1


# --- strips -------------------------------------------------------------------------------------


def walls(**more: object) -> list[Item]:
    sizes = {"back": 150, "front": 150, "left": 100, "right": 100}
    return [item(n, w, 60, **more) for n, w in sizes.items()]


def test_walls_lie_end_to_end_in_walking_order() -> None:
    """Seen from outside each wall's right end meets the left end of the next (the design's frame)."""
    strip = continuous_strip([item("bottom", 150, 100), *walls(turn="half")], ASK.spacing)
    done = nest([strip, item("bottom", 150, 100)], [BED], ASK)
    row = sorted(
        (p for p in done.placements if p.item.name != "bottom"),
        key=lambda p: p.x if p.quarters == 0 else -p.x,
    )
    assert [p.item.name for p in row] == ["front", "right", "back", "left"]
    for a, b in pairwise(row):
        assert b.extent[0] - a.extent[2] == ASK.spacing
        assert a.y == b.y


@pytest.mark.parametrize("quarters", range(4))
def test_a_strip_turns_as_one(quarters: int) -> None:
    """The same as turning the drawn strip about the origin by shapely."""
    uneven = [item("front", 150, 60), item("right", 100, 50), item("back", 150, 60)]
    strip = Strip(name="walls", members=tuple(uneven), gap=2 * MM)
    whole = shapely.MultiPolygon(
        [
            shapely.box(x, y, x + m.width, y + m.height)
            for m, (x, y) in zip(uneven, strip.offsets(0), strict=True)
        ]
    )
    spun = shapely.affinity.rotate(whole, 90 * quarters, origin=(0, 0))
    x0, y0, x1, y1 = spun.bounds
    assert strip.size_at(quarters) == (round(x1 - x0), round(y1 - y0))
    for poly, m, (dx, dy) in zip(spun.geoms, uneven, strip.offsets(quarters), strict=True):
        w, h = m.size_at(quarters)
        assert [round(v) for v in poly.bounds] == [
            round(x0) + dx,
            round(y0) + dy,
            round(x0) + dx + w,
            round(y0) + dy + h,
        ]


def test_strips_refuse_what_cannot_run_on() -> None:
    four = walls()
    with pytest.raises(InputError, match="contradicting grain"):
        continuous_strip([replace(four[0], grain="x"), replace(four[1], grain="y")], 2 * MM)
    with pytest.raises(InputError, match="two walls or more"):
        continuous_strip(four[:1], 2 * MM)
    with pytest.raises(InputError, match="back is wanted 1 times, front 2 times"):
        continuous_strip([four[0], replace(four[1], quantity=2)], 2 * MM)
    with pytest.raises(InputError, match="other stock"):
        continuous_strip([four[0], replace(four[1], thickness=4 * MM)], 2 * MM)
    strip = continuous_strip(walls(turn="none"), 2 * MM)
    with pytest.raises(InputError, match="walls: fits on no sheet"):
        nest([strip], [sheet("A", 400, 300)], ASK)


def test_a_long_strip_breaks_into_the_fewest_even_pieces() -> None:
    strip = continuous_strip(walls(), 2 * MM)  # 150 + 100 + 150 + 100 and three gaps of 2
    assert strip.size_at(0)[0] == 506 * MM
    assert strip_pieces(strip, 506 * MM) == (strip,)
    pieces = strip_pieces(strip, 505 * MM)
    names: list[list[str]] = [
        [m.name for m in (p.members if isinstance(p, Strip) else (p,))] for p in pieces
    ]
    assert names == [["front", "right"], ["back", "left"]]
    done = nest(list[Place](pieces), [sheet("A", 400, 300)], ASK)
    assert len(done.placements) == 4
    assert len(strip_pieces(strip, 150 * MM)) == 4
    with pytest.raises(InputError, match="front: longer than any sheet"):
        strip_pieces(strip, 149 * MM)


# --- one machine axis ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inside", "top", "unlike"),
    [
        ((300, 200, 100), True, 4),
        ((200, 300, 400), True, 4),
        ((300, 200, 100), False, 4),
        ((150, 100, 400), False, 2),
    ],
)
def test_what_cannot_match_goes_on_the_shortest_direction(
    inside: tuple[float, float, float], top: bool, unlike: int
) -> None:
    """Of a closed box at least 4 of 12 edges are unlike, of an open one 2 of 8; here the shortest.

    Three panels that meet in a corner meet in edges of three directions, and two machine axes can not
    serve three directions: an odd cycle. A low open box has its four short edges unlike rather than
    two long ones.
    """
    box = solved(inside, top)
    edges = mating_edges(box)
    names = [p.name for p in box.panels]
    found = orient(names, edges)
    assert len(edges) == (12 if top else 8)
    assert len(found.unlike) == unlike
    assert {m.length for m in found.unlike} == {min(m.length for m in edges)}
    assert price(found.unlike) == least_by_hand(names, edges)


def price(unlike: Sequence[Mating]) -> tuple[int, int]:
    return max((m.length for m in unlike), default=0), sum(m.length for m in unlike)


def least_by_hand(names: Sequence[str], edges: Sequence[Mating]) -> tuple[int, int]:
    """All placements, one by one, by the definition."""
    prices = []
    for number in range(2 ** len(names)):
        turn = {n: number >> i & 1 for i, n in enumerate(names)}
        prices.append(
            price([m for m in edges if (m.axis_a + turn[m.a] + m.axis_b + turn[m.b]) % 2])
        )
    return min(prices)


def test_a_frame_of_four_walls_matches_everywhere() -> None:
    box = solved((300, 200, 100), top=False)
    names = [p.name for p in box.panels if p.name != "bottom"]
    edges = [m for m in mating_edges(box) if "bottom" not in (m.a, m.b)]
    assert orient(names, edges).unlike == ()


@quick
@given(st.data())
def test_orient_is_the_least_of_all_placements(data: st.DataObject) -> None:
    names = [f"p{i}" for i in range(data.draw(st.integers(2, 7)))]
    pair = st.lists(st.sampled_from(names), min_size=2, max_size=2, unique=True)
    edges = [
        Mating(
            a=a,
            axis_a=data.draw(axis),
            b=b,
            axis_b=data.draw(axis),
            length=data.draw(st.integers(1, 9)),
        )
        for a, b in data.draw(st.lists(pair, max_size=12))
        for axis in [st.integers(0, 1)]
    ]
    found = orient(names, edges)
    assert price(found.unlike) == least_by_hand(names, edges)
    assert found.unlike_length == sum(m.length for m in found.unlike)
    locked = orient(names, edges, {names[0]: 1})
    assert locked.quarters[names[0]] == 1
    # turning all panels together changes nothing
    assert price(locked.unlike) == price(found.unlike)


def test_very_many_panels_are_oriented_by_families() -> None:
    """Twenty loose dividers along one direction in a four-wall frame: all can match."""
    names = ["front", "back", *(f"divider {i:02}" for i in range(20))]
    edges = [
        Mating(a=w, axis_a=1, b=n, axis_b=0, length=60 * MM) for n in names[2:] for w in names[:2]
    ]
    found = orient(names, edges)
    assert found.unlike == ()
    assert sum(found.quarters.values()) == 2  # the walls, rather than twenty dividers


def test_an_orientation_locks_the_items() -> None:
    box = solved((300, 200, 100), top=False)
    names = [p.name for p in box.panels]
    found = orient(names, mating_edges(box))
    items = oriented([item(n, 100, 50) for n in names], found)
    for it in items:
        assert {q % 2 for q in it.turns} == {found.quarters[it.name]}
    done = nest(items, [BED], ASK)
    assert {p.item.name: p.quarters % 2 for p in done.placements} == dict(found.quarters)
    stuck = next(n for n, q in found.quarters.items() if q)
    with pytest.raises(InputError, match="may not be turned"):
        oriented([item(stuck, 100, 50, turn="half")], found)
