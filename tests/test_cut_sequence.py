"""Cut sequence: proved by polygons of shapely, by brute force, and by faults planted into good ones."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, permutations, product

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import cut_sheets, sequence_asks

from boxjoint.errors import InputError, ProofFailed
from boxjoint.sheet.cuts import Cut, CutKind, SequenceAsk, Step
from boxjoint.sheet.entries import best_entries, modes_of
from boxjoint.sheet.heat import near_pairs
from boxjoint.sheet.sequence import cut_sequence, must_precede, travel_mm
from boxjoint.sheet.sequence_check import check_sequence, points_inside, sequence_faults

MM = 1_000_000


def ring(x: float, y: float, w: float, h: float) -> np.ndarray:
    return np.array(
        [
            [x * MM, y * MM],
            [(x + w) * MM, y * MM],
            [(x + w) * MM, (y + h) * MM],
            [x * MM, (y + h) * MM],
        ]
    ).astype(np.int64)


def outer(part: int, *box: float, **more) -> Cut:
    return Cut(path=ring(*box), kind=CutKind.OUTER, part=part, **more)


def inner(part: int, *box: float, **more) -> Cut:
    return Cut(path=ring(*box), kind=CutKind.INNER, part=part, **more)


def seeded(n: int, seed: int) -> list[Cut]:
    """About n contours on a grid of parts, two thirds of them inner."""
    rng = np.random.default_rng(seed)
    across = round((n / 3) ** 0.5)
    cuts = []
    for k in range(across * across):
        x, y = (k % across) * 30, (k // across) * 30
        w, h = rng.uniform(18, 28, 2)
        cuts.append(outer(k, x, y, w, h))
        for cell in rng.permutation(4)[:2]:
            a, b = x + 2 + (cell % 2) * w / 2, y + 2 + (cell // 2) * h / 2
            cuts.append(inner(k, a, b, *rng.uniform(1, 5, 2)))
    return cuts


def drops_by_shapely(cuts: list[Cut], steps: tuple[Step, ...]) -> None:
    """An own simulator: what is cut through drops all within it, and nothing dropped is cut again."""
    dropped: list[shapely.Polygon] = []
    for step in steps:
        cut = cuts[step.cut]
        points = cut.flat() / MM
        line = shapely.LinearRing(points) if cut.closed else shapely.LineString(points)
        for hole in dropped:
            assert not shapely.Polygon(hole).contains(line.interpolate(0.3, normalized=True))
            assert not hole.crosses(line)
        if cut.kind is not CutKind.MARK:
            dropped.append(shapely.Polygon(points))


@given(cut_sheets(), sequence_asks())
@settings(max_examples=40, deadline=None)
def test_nothing_is_cut_after_it_has_come_loose(cuts: list[Cut], ask: SequenceAsk) -> None:
    found = cut_sequence(cuts, ask)
    assert sequence_faults(cuts, found.steps) == []
    assert sorted(s.cut for s in found.steps) == list(range(len(cuts)))
    kinds = [cuts[s.cut].kind for s in found.steps]
    marks = kinds.count(CutKind.MARK)
    assert all(k is CutKind.MARK for k in kinds[:marks])
    drops_by_shapely(cuts, found.steps)
    # travel by another way of counting
    place, travel = ask.home, 0.0
    for s in found.steps:
        cut = cuts[s.cut]
        begin = tuple(cut.path[s.entry].tolist())
        travel += float(np.hypot(begin[0] - place[0], begin[1] - place[1])) / MM
        end = cut.path[s.entry if cut.closed else (0 if s.reverse else -1)]
        place = tuple(end.tolist())
    if ask.back:
        travel += float(np.hypot(ask.home[0] - place[0], ask.home[1] - place[1])) / MM
    assert found.travel_mm == pytest.approx(travel, abs=1e-6)


@given(cut_sheets(), st.randoms(use_true_random=False))
@settings(max_examples=10, deadline=None)
def test_the_sequence_does_not_depend_on_how_cuts_are_listed(cuts, rng) -> None:
    ask = SequenceAsk(kicks=5)
    first = cut_sequence(cuts, ask)
    shuffled = list(cuts)
    rng.shuffle(shuffled)
    second = cut_sequence(shuffled, ask)
    for a, b in zip(first.steps, second.steps, strict=True):
        assert cuts[a.cut] is shuffled[b.cut]
        assert (a.entry, a.reverse) == (b.entry, b.reverse)
    assert (first.travel_mm, first.heat_mm) == (second.travel_mm, second.heat_mm)


@given(cut_sheets(most=1), st.booleans(), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_entries_are_the_best_there_are(cuts: list[Cut], back: bool, seed: int) -> None:
    """Against all combinations, tried one by one."""
    cuts = cuts[:5]
    modes = modes_of(cuts)
    home = np.array([-3.0, 2.0])
    sequence = np.random.default_rng(seed).permutation(len(cuts))
    mode, travel = best_entries(modes, sequence, home, back)
    best = np.inf
    for choice in product(*(range(modes.start[i], modes.start[i + 1]) for i in sequence)):
        places = [home]
        for m in choice:
            places += [modes.begin[m], modes.end[m]]
        places.append(home if back else places[-1])
        best = min(best, sum(np.hypot(*(a - b)) for a, b in list(pairwise(places))[::2]))
    assert travel == pytest.approx(best, abs=1e-9)
    places = [home]
    for i in sequence:
        places += [modes.begin[mode[i]], modes.end[mode[i]]]
    if back:
        places.append(home)
    assert sum(np.hypot(*(a - b)) for a, b in list(pairwise(places))[::2]) == pytest.approx(travel)


@pytest.mark.parametrize("seed", range(12))
def test_small_sheets_come_near_the_best_sequence(seed: int) -> None:
    """Against every sequence that is allowed, with the best entries for each."""
    rng = np.random.default_rng(seed)
    cuts = []
    for k in range(3):
        x, y = rng.uniform(0, 120, 2).tolist()
        cuts += [outer(k, x + 130 * k, y, 40, 30), inner(k, x + 130 * k + 5, y + 5, 8, 8)]
    ask = SequenceAsk(heat_weight=0)
    found = cut_sequence(cuts, ask)
    modes, home = modes_of(cuts), np.zeros(2)
    bound = {tuple(p) for p in must_precede(cuts).tolist()}
    best = min(
        best_entries(modes, np.array(p), home, True)[1]
        for p in permutations(range(6))
        if all(p.index(a) < p.index(b) for a, b in bound)
    )
    assert best - 1e-6 <= found.travel_mm <= 1.1 * best


def nearest_neighbour(cuts: list[Cut]) -> float:
    """From the first vertex of a cut to the nearest first vertex of one that may come next."""
    bound = must_precede(cuts).tolist()
    steps: list[Step] = []
    place = np.zeros(2)
    left = set(range(len(cuts)))
    while left:
        free = sorted(left - {b for a, b in bound if a in left})
        i = min(free, key=lambda i: float(np.hypot(*(cuts[i].path[0] - place))))
        place = cuts[i].path[0]
        left.remove(i)
        steps.append(Step(cut=i, entry=0))
    assert sequence_faults(cuts, steps) == []
    return travel_mm(cuts, steps)


def test_travel_is_far_below_the_nearest_neighbour() -> None:
    cuts = seeded(190, 4)
    found = cut_sequence(cuts, SequenceAsk(heat_weight=0))
    assert found.travel_mm < 0.7 * nearest_neighbour(cuts)


def test_heat_spread_trades_travel_for_lines_that_follow_at_once() -> None:
    cuts = seeded(190, 7)
    plain = cut_sequence(cuts, SequenceAsk(heat_distance=8 * MM, heat_weight=0))
    spread = cut_sequence(cuts, SequenceAsk(heat_distance=8 * MM, heat_weight=40))
    near = {
        (a, b) for a, b in zip(*(v.tolist() for v in near_pairs(cuts, 8 * MM)[:2]), strict=True)
    }

    def close(steps: tuple[Step, ...]) -> int:
        return sum(tuple(sorted((a.cut, b.cut))) in near for a, b in pairwise(steps))

    assert close(spread.steps) == spread.close_followers < close(plain.steps) / 2
    assert plain.travel_mm < spread.travel_mm
    assert spread.travel_mm + spread.heat_mm < plain.travel_mm + 40 * close(plain.steps)


def test_distances_of_cuts_are_those_of_shapely() -> None:
    cuts = seeded(100, 3)
    rings = [shapely.LinearRing(c.path / MM) for c in cuts]
    expected = {
        (i, j): rings[i].distance(rings[j])
        for i in range(len(cuts))
        for j in range(i + 1, len(cuts))
        if rings[i].distance(rings[j]) < 6.0
    }
    a, b, gap = near_pairs(cuts, 6 * MM)
    found = dict(zip(zip(a.tolist(), b.tolist(), strict=True), gap.tolist(), strict=True))
    assert found.keys() == expected.keys()
    assert len(found) > 100
    for key, value in expected.items():
        assert found[key] == pytest.approx(value, abs=1e-5)


@given(
    st.lists(
        st.tuples(st.integers(-6, 6), st.integers(-6, 6)), min_size=3, max_size=9, unique=True
    ),
    st.integers(1, 10**9),
)
def test_points_in_polygons_are_those_of_shapely(corners, scale: int) -> None:
    polygon = shapely.Polygon(corners)
    if not polygon.is_valid or polygon.area == 0:
        return
    grid = np.array(list(product(range(-7, 8), range(-7, 8))), dtype=np.int64)
    expected = shapely.contains_xy(polygon, grid[:, 0], grid[:, 1])
    points = points_inside(grid * scale, np.array(corners, dtype=np.int64) * scale)
    assert points.tolist() == expected.tolist()


# faults planted into good sequences


@pytest.fixture
def hosted() -> list[Cut]:
    """A frame with a mark and a window, in it a tile with a hole."""
    return [
        outer(0, 0, 0, 100, 80),
        inner(0, 10, 10, 60, 60),
        outer(1, 20, 20, 30, 30, host=0),
        inner(1, 30, 30, 5, 5),
        Cut(path=ring(80, 10, 5, 5)[:2], kind=CutKind.MARK, part=0, closed=False),
    ]


def test_a_frame_with_a_tile_in_its_window(hosted: list[Cut]) -> None:
    found = cut_sequence(hosted)
    assert [s.cut for s in found.steps] == [4, 3, 2, 1, 0]


@pytest.mark.parametrize(
    ("sequence", "said"),
    [
        ([4, 2, 3, 1, 0], "part 1 inner (step 3) is cut after part 1 outer"),
        ([4, 3, 1, 2, 0], "part 1 outer (step 4) is cut after part 0 inner"),
        ([4, 0, 3, 2, 1], "part 0 inner (step 5) is cut after part 0 outer"),
        ([3, 4, 2, 1, 0], "part 1 inner (step 1) comes before a mark"),
        ([4, 3, 2, 1], "part 0 outer is never cut"),
        ([4, 3, 3, 2, 1, 0], "part 1 inner is cut twice: steps 2, 3"),
        ([4, 3, 2, 1, 0, 7], "step 6 names cut 7, which there is not"),
        ([0, 1, 2, 3, 4], "part 0 mark (step 5) is cut after part 0 outer"),
    ],
)
def test_the_checker_sees_a_wrong_sequence(hosted, sequence: list[int], said: str) -> None:
    steps = [Step(cut=i, entry=0) for i in sequence]
    assert any(said in f for f in sequence_faults(hosted, steps)), sequence_faults(hosted, steps)
    with pytest.raises(ProofFailed, match="cut sequence is wrong") as failed:
        check_sequence(hosted, steps)
    assert failed.value.data["faults"]


def test_the_checker_sees_a_wrong_start(hosted: list[Cut]) -> None:
    steps = list(cut_sequence(hosted).steps)
    allowed = np.array([True, False, True, True])
    bad = [hosted[0], hosted[1], replace(hosted[2], entries=allowed), *hosted[3:]]
    assert "not allowed" in sequence_faults(bad, [replace(s, entry=1) for s in steps])[1]
    assert "of 4" in sequence_faults(hosted, [*steps[:-1], replace(steps[-1], entry=4)])[0]
    wrong = replace(steps[0], reverse=not steps[0].reverse)
    assert "neither end" in sequence_faults(hosted, [wrong, *steps[1:]])[0]


def test_crossing_outlines_are_not_cut() -> None:
    with pytest.raises(ProofFailed, match="come loose"):
        cut_sequence([outer(0, 0, 0, 50, 50), outer(1, 40, 40, 50, 50)])


def test_a_thin_line_across_a_window_is_seen() -> None:
    """None of its ends lies inside, but its middle does."""
    line = np.array([[0, 30 * MM], [100 * MM, 30 * MM]], dtype=np.int64)
    cuts = [inner(0, 10, 10, 60, 60), Cut(path=line, kind=CutKind.OUTER, part=1, closed=False)]
    assert "come loose" in sequence_faults(cuts, [Step(cut=0, entry=0), Step(cut=1, entry=0)])[0]


def test_a_round_window_is_as_wide_as_its_arcs() -> None:
    circle = Cut(
        path=np.array([[0, 50 * MM], [100 * MM, 50 * MM]], dtype=np.int64),
        kind=CutKind.INNER,
        part=0,
        bulge=np.array([1.0, 1.0]),
    )
    assert circle.lengths_mm().sum() == pytest.approx(np.pi * 100)
    # 16 chords a half circle: the area of a regular 32-gon
    assert shapely.Polygon(circle.flat() / MM).area == pytest.approx(
        16 * 50**2 * np.sin(np.pi / 16), rel=1e-6
    )
    tile = outer(1, 40, 60, 20, 20, host=0)
    assert [s.cut for s in cut_sequence([circle, tile]).steps] == [1, 0]


# bad input


def test_a_host_that_holds_nothing_is_refused() -> None:
    cuts = [outer(0, 0, 0, 50, 50), inner(0, 5, 5, 10, 10), outer(1, 60, 0, 5, 5, host=0)]
    with pytest.raises(InputError, match="lies in no window of part 0"):
        cut_sequence(cuts)


def test_a_hole_round_its_own_part_is_refused() -> None:
    with pytest.raises(InputError, match="in a circle"):
        cut_sequence([outer(0, 10, 10, 50, 50), inner(0, 0, 0, 100, 100)])


def test_two_outlines_of_one_part_are_refused() -> None:
    with pytest.raises(InputError, match="two outlines"):
        cut_sequence([outer(0, 0, 0, 50, 50), outer(0, 60, 0, 50, 50)])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"path": ring(0, 0, 1, 1) / 1.0}, "whole nanometres"),
        ({"path": ring(0, 0, 1, 1)[:1]}, "two points"),
        ({"path": ring(0, 0, 20_000, 1)}, "beyond 10 m: 20000 mm"),
        ({"entries": np.zeros(4, dtype=np.bool_)}, "no vertex at which the beam may start"),
        ({"entries": np.zeros(3, dtype=np.bool_)}, "one truth for each point"),
        ({"bulge": np.zeros(3)}, "one number for each point"),
        ({"closed": False, "entries": np.array([0, 1, 1, 0], dtype=np.bool_)}, "at an end"),
    ],
)
def test_a_bad_cut_is_refused(change: dict, said: str) -> None:
    with pytest.raises(InputError, match=said):
        replace(outer(0, 0, 0, 1, 1), **change)


@pytest.mark.parametrize(
    "change",
    [
        {"heat_distance": -1},
        {"heat_weight": -1.0},
        {"heat_weight": float("nan")},
        {"rounds": -1},
        {"home": (0, 10**11)},
    ],
)
def test_a_bad_ask_is_refused(change: dict) -> None:
    with pytest.raises(InputError):
        SequenceAsk(**change)


def test_no_cuts_and_one_cut() -> None:
    assert cut_sequence([]).travel_mm == 0.0
    one = cut_sequence([outer(0, 30, 40, 10, 10)])
    assert one.travel_mm == pytest.approx(100.0)  # 3-4-5 to its nearest corner, and back
    assert one.steps == (Step(cut=0, entry=0),)
    assert cut_sequence([outer(0, 30, 40, 10, 10)], SequenceAsk(back=False)).travel_mm == 50.0
