"""The exact proof: it holds for what is right, and sees seeded faults with their exact size.

Faults are put into rings (or slabs) alone, by shapely on whole nanometres: the proof gets no roles, no
joints and no owners to lean on. Every expected size is worked out by hand from the slabs.
"""

from __future__ import annotations

import dataclasses
import pickle

import numpy as np
import oracle
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import box_slabs, shelf_slabs, slab, tray_slabs

from boxjoint.check.exact import ExactProof, Fault, exact_proof
from boxjoint.errors import ProofFailed
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Rings
from boxjoint.geometry.rings import rectangle as plain_rectangle
from boxjoint.solve.arrangement import Arrangement, InsideBlock, Slab
from boxjoint.solve.panels import Frame, Panel
from boxjoint.solve.solution import Solution, solve
from boxjoint.solve.tabs import TabAsk

MM = 1_000_000
INSIDE = (90 * MM, 50 * MM, 30 * MM)
#: Six thicknesses, none a multiple of another, so that a size tells which slab it came from.
T = {
    "bottom": 6_100_001,
    "top": 2_950_003,
    "front": 4_030_007,
    "back": 5_210_011,
    "left": 3_175_013,
    "right": 7_777_777,
}
ASK = TabAsk(counts={0: 9, 1: 5, 2: 3})
BLOCK = InsideBlock(name="inside", box=Cuboid((0, 0, 0), INSIDE))


def closed_box() -> Solution:
    return solve(Arrangement(slabs=tuple(box_slabs(INSIDE, T)), insides=(BLOCK,)), ASK)


@pytest.fixture(scope="module")
def box() -> Solution:
    return closed_box()


def region_of(panel: Panel) -> shapely.Geometry:
    """The panel in its own axes, nm; whole numbers, so that shapely's results are exact."""
    outer, *holes = [panel.rings.ring(k) for k in range(panel.rings.count)]
    return shapely.Polygon(outer, holes)


def with_region(panel: Panel, region: shapely.Geometry) -> Panel:
    """The panel with other rings, in one piece or more; roles and joints are wiped."""
    outer, holes = [], []
    for part in shapely.get_parts(shapely.normalize(region.simplify(0))):
        part = shapely.geometry.polygon.orient(part)
        outer.append(np.array(part.exterior.coords)[:-1])
        holes += [np.array(r.coords)[:-1] for r in part.interiors]
    found = [*outer, *holes]
    xy = np.concatenate(found)
    whole = np.rint(xy).astype(np.int64)
    assert (xy == whole).all()
    rings = Rings(
        xy=whole,
        start=np.concatenate([[0], np.cumsum([len(r) for r in found])]),
        role=np.zeros(len(whole), dtype=np.uint8),
        joint=np.full(len(whole), -1, dtype=np.int32),
    )
    return dataclasses.replace(panel, rings=rings)


def rings_of(region: shapely.Geometry) -> list[np.ndarray]:
    """Outer rings of a region without holes, counter-clockwise, whole nanometres."""
    parts = [shapely.geometry.polygon.orient(p) for p in shapely.get_parts(region) if p.area]
    assert not any(p.interiors for p in parts)
    return [np.rint(np.array(p.exterior.coords)[:-1]).astype(np.int64) for p in parts]


def in_plane(panel: Panel, block: Cuboid) -> shapely.Geometry:
    """The rectangle of a block of the world in the panel's own axes."""
    x, y = (
        sorted(panel.frame.senses[k] * (c - panel.frame.origin[k]) for c in block.span(axis))
        for k, axis in enumerate(panel.frame.axes)
    )
    return shapely.box(x[0], y[0], x[1], y[1])


def changed(
    solution: Solution, name: str, *, add: Cuboid | None = None, take: Cuboid | None = None
) -> ExactProof:
    """Prove the solution again after a block of the world was added to, or taken from, one panel."""
    panels = []
    for panel in solution.panels:
        if panel.name == name:
            region = region_of(panel)
            if add is not None:
                region = region.union(in_plane(panel, add))
            if take is not None:
                region = region.difference(in_plane(panel, take))
            panel = with_region(panel, region)
        panels.append(panel)
    return exact_proof(panels, solution.arrangement.insides)


def faults(proof: ExactProof) -> list[tuple[str, tuple[str, ...], tuple[int, int, int]]]:
    return [(f.kind, f.panels, f.size) for f in proof.faults]


def segments(solution: Solution, a: str, b: str) -> list[tuple[int, int, str]]:
    """(lo, hi, owner) of each segment of a joint."""
    i, j = sorted(solution.arrangement.index(n) for n in (a, b))
    joint = next(k for k in solution.joints if (k.a, k.b) == (i, j))
    tabs = solution.tabs[joint.index]
    names = [s.name for s in solution.arrangement.slabs]
    owners = [names[o] for o in tabs.owner.tolist()]
    return list(zip(tabs.lo.tolist(), tabs.hi.tolist(), owners, strict=True))


# what holds ---------------------------------------------------------------------------------------


def test_a_box_of_six_thicknesses_holds(box: Solution) -> None:
    proof = exact_proof(box.panels, box.arrangement.insides)
    assert proof.passed
    assert (proof.bars, proof.corners) == (12, 8)
    outside = [INSIDE[k] + sum(T[n] for n in pair) for k, pair in enumerate(PAIRS)]
    hollow = INSIDE[0] * INSIDE[1] * INSIDE[2]
    # the outside less the inside, a hundred times what an int64 holds
    assert proof.volume == proof.union == outside[0] * outside[1] * outside[2] - hollow
    assert proof.volume > 2**63
    proof.require()


PAIRS = (("left", "right"), ("front", "back"), ("bottom", "top"))


def test_wiping_roles_and_joints_changes_nothing(box: Solution) -> None:
    bare = [with_region(p, region_of(p)) for p in box.panels]
    assert exact_proof(bare, box.arrangement.insides) == exact_proof(
        box.panels, box.arrangement.insides
    )


def test_one_slab_alone_holds() -> None:
    alone = solve(Arrangement(slabs=(slab("shelf", 2, (0, 0, 0), (90 * MM, 40 * MM, 3 * MM)),)))
    proof = exact_proof(alone.panels)
    assert proof.passed
    assert (proof.bars, proof.corners, proof.volume) == (0, 0, 90 * 40 * 3 * MM**3)


@pytest.mark.parametrize("what", ["tray", "shelves"])
def test_what_is_no_box_holds(what: str) -> None:
    walls = {n: t for n, t in T.items() if n != "top"}
    if what == "tray":
        slabs = tray_slabs(3, 2, (30 * MM, 25 * MM, 20 * MM), {**walls, "divider": 3 * MM})
    else:
        slabs = shelf_slabs((90 * MM, 60 * MM, 120 * MM), walls, [30 * MM, 70 * MM], 4 * MM)
    assert exact_proof(solve(Arrangement(slabs=tuple(slabs))).panels).passed


# seeded faults on joints --------------------------------------------------------------------------


@pytest.mark.parametrize("by", [1, 1000, MM])
def test_a_tab_too_wide(box: Solution, by: int) -> None:
    """A flank that stands out by 1 nm: an overlap of exactly that, as thick as both mates."""
    lo, hi, owner = segments(box, "bottom", "front")[3]
    assert owner == "front"
    block = Cuboid((hi, -T["front"], -T["bottom"]), (hi + by, 0, 0))
    proof = changed(box, "front", add=block)
    assert faults(proof) == [("overlap", ("bottom", "front"), (by, T["front"], T["bottom"]))]
    assert (proof.faults[0].lo, proof.faults[0].hi) == (block.lo, block.hi)
    assert lo < hi


@pytest.mark.parametrize("by", [1, 1000])
def test_a_tab_too_narrow(box: Solution, by: int) -> None:
    _, hi, owner = segments(box, "bottom", "front")[3]
    assert owner == "front"
    block = Cuboid((hi - by, -T["front"], -T["bottom"]), (hi, 0, 0))
    proof = changed(box, "front", take=block)
    assert faults(proof) == [("void", ("bottom", "front"), (by, T["front"], T["bottom"]))]
    assert (proof.faults[0].lo, proof.faults[0].hi) == (block.lo, block.hi)


def test_a_tab_too_long(box: Solution) -> None:
    """A tip that stands out of its slab by 1 nm."""
    lo, hi, owner = segments(box, "bottom", "front")[3]
    assert owner == "front"
    tip = Cuboid((lo, -T["front"], -T["bottom"] - 1), (hi, 0, 0))
    assert faults(changed(box, "front", add=tip)) == [
        ("outside", ("front",), (0, 0, 1)),
        # nobody but the volume knows how wide it is
        ("volume", ("front",), ((hi - lo) * T["front"], 0, 0)),
    ]


def test_a_tab_too_short(box: Solution) -> None:
    lo, hi, owner = segments(box, "bottom", "front")[3]
    assert owner == "front"
    tip = Cuboid((lo, -T["front"], -T["bottom"]), (hi, 0, -T["bottom"] + 1))
    proof = changed(box, "front", take=tip)
    assert faults(proof) == [("void", ("bottom", "front"), (hi - lo, T["front"], 1))]


def test_a_shoulder_too_high(box: Solution) -> None:
    """A slot 1 nm too deep goes on beyond its joint: the panel is not whole away from it."""
    lo, hi, owner = segments(box, "bottom", "front")[4]
    assert owner == "bottom"
    proof = changed(box, "front", take=Cuboid((lo, -T["front"], 0), (hi, 0, 1)))
    assert faults(proof) == [("volume", ("front",), (-(hi - lo) * T["front"], 0, 0))]


def test_a_slot_too_shallow(box: Solution) -> None:
    lo, hi, owner = segments(box, "bottom", "front")[4]
    assert owner == "bottom"
    proof = changed(box, "front", add=Cuboid((lo, -T["front"], -1), (hi, 0, 0)))
    assert faults(proof) == [("overlap", ("bottom", "front"), (hi - lo, T["front"], 1))]


def test_a_lost_tab(box: Solution) -> None:
    lo, hi, owner = segments(box, "top", "right")[1]
    assert owner == "right"
    tab = Cuboid((INSIDE[0], lo, INSIDE[2]), (INSIDE[0] + T["right"], hi, INSIDE[2] + T["top"]))
    proof = changed(box, "right", take=tab)
    assert faults(proof) == [("void", ("right", "top"), (T["right"], hi - lo, T["top"]))]
    assert (proof.faults[0].lo, proof.faults[0].hi) == (tab.lo, tab.hi)
    assert proof.union - proof.volume == tab.volume


def test_a_tab_that_both_have(box: Solution) -> None:
    lo, hi, owner = segments(box, "top", "right")[1]
    assert owner == "right"
    tab = Cuboid((INSIDE[0], lo, INSIDE[2]), (INSIDE[0] + T["right"], hi, INSIDE[2] + T["top"]))
    proof = changed(box, "top", add=tab)
    assert faults(proof) == [("overlap", ("right", "top"), (T["right"], hi - lo, T["top"]))]
    assert proof.volume - proof.union == tab.volume


def test_two_faults_that_cancel_in_volume(box: Solution) -> None:
    """Equal volumes prove nothing by themselves: a tab lost here, one of its size too many there."""
    lost, kept = (segments(box, "top", "right")[k] for k in (1, 3))
    assert lost[2] == kept[2] == "right"
    assert lost[1] - lost[0] == kept[1] - kept[0]
    x, z = (INSIDE[0], INSIDE[0] + T["right"]), (INSIDE[2], INSIDE[2] + T["top"])
    panels = []
    for panel in box.panels:
        region = region_of(panel)
        if panel.name == "right":
            block = Cuboid((x[0], lost[0], z[0]), (x[1], lost[1], z[1]))
            region = region.difference(in_plane(panel, block))
        elif panel.name == "top":
            block = Cuboid((x[0], kept[0], z[0]), (x[1], kept[1], z[1]))
            region = region.union(in_plane(panel, block))
        panels.append(with_region(panel, region))
    proof = exact_proof(panels, box.arrangement.insides)
    assert proof.volume == proof.union
    assert [f.kind for f in proof.faults] == ["void", "overlap"]


# seeded faults on corners -------------------------------------------------------------------------


def corner(name_x: str, name_y: str, name_z: str) -> Cuboid:
    lo, hi = [0, 0, 0], [0, 0, 0]
    for k, name in enumerate((name_x, name_y, name_z)):
        below = name in ("left", "front", "bottom")
        lo[k] = -T[name] if below else INSIDE[k]
        hi[k] = 0 if below else INSIDE[k] + T[name]
    return Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))


def owner_of(solution: Solution, block: Cuboid) -> str:
    names = [
        p.name
        for p in solution.panels
        if p.slab.box.contains(block) and region_of(p).contains(in_plane(p, block))
    ]
    assert len(names) == 1
    return names[0]


CORNERS = [(x, y, z) for x in ("left", "right") for y in ("front", "back") for z in PAIRS[2]]


@pytest.mark.parametrize("names", CORNERS)
def test_a_corner_owned_by_nobody(box: Solution, names: tuple[str, str, str]) -> None:
    block = corner(*names)
    proof = changed(box, owner_of(box, block), take=block)
    assert {f.kind for f in proof.faults} == {"void"}
    assert any(
        f.lo == block.lo and f.hi == block.hi and f.size == block.size for f in proof.faults
    ), proof.faults
    assert proof.union - proof.volume == block.volume


@pytest.mark.parametrize("names", CORNERS)
def test_a_corner_owned_twice(box: Solution, names: tuple[str, str, str]) -> None:
    block = corner(*names)
    owner = owner_of(box, block)
    second = next(n for n in names if n != owner)
    proof = changed(box, second, add=block)
    # the corner hangs on to its second panel in a point only: its rings are faulted as well
    sized = [f for f in proof.faults if f.kind != "ring"]
    assert {f.panels for f in proof.faults if f.kind == "ring"} <= {(second,)}
    assert [(f.kind, set(f.panels), f.size) for f in sized] == [
        ("overlap", {owner, second}, block.size)
    ]
    assert (proof.faults[0].lo, proof.faults[0].hi) == (block.lo, block.hi)
    assert proof.volume - proof.union == block.volume


def test_a_corner_owned_three_times(box: Solution) -> None:
    names = ("left", "front", "bottom")
    block = corner(*names)
    panels = [
        with_region(p, region_of(p).union(in_plane(p, block))) if p.name in names else p
        for p in box.panels
    ]
    proof = exact_proof(panels, box.arrangement.insides)
    sized = [f for f in proof.faults if f.kind != "ring"]
    assert {f.kind for f in sized} == {"overlap"}
    assert {f.size for f in sized} == {block.size}
    pairs = {f.panels for f in sized}
    assert pairs == {("bottom", "front"), ("bottom", "left"), ("front", "left")}


def test_a_corner_that_its_owner_has_only_in_part(box: Solution) -> None:
    block = corner("left", "front", "bottom")
    owner = owner_of(box, block)
    assert owner == "bottom"
    one = Cuboid(block.lo, (block.lo[0] + 1, block.hi[1], block.hi[2]))
    proof = changed(box, owner, take=one)
    assert {f.kind for f in proof.faults} == {"void"}
    assert proof.union - proof.volume == one.volume


# seeded faults elsewhere --------------------------------------------------------------------------


def shifted(panel: Panel, axis: int, by: int) -> Panel:
    """The panel with its slab moved bodily."""
    lo, hi = list(panel.slab.box.lo), list(panel.slab.box.hi)
    lo[axis] += by
    hi[axis] += by
    box = Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))
    moved = dataclasses.replace(panel.slab, box=box)
    return dataclasses.replace(panel, slab=moved, frame=Frame.of(moved))


def prove_with(solution: Solution, other: Panel) -> ExactProof:
    panels = [other if p.name == other.name else p for p in solution.panels]
    return exact_proof(panels, solution.arrangement.insides)


@pytest.mark.parametrize("by", [1, -1, 1000])
def test_a_wall_moved_out_of_its_plane(box: Solution, by: int) -> None:
    """The front moved by 1 nm along y: the inside is 1 nm too deep, or entered by 1 nm."""
    proof = prove_with(box, shifted(box.panel("front"), 1, by))
    inside = [f for f in proof.faults if f.kind == "inside"]
    assert not proof.passed
    if by > 0:  # into the inside, over the wall's whole face
        entered = next(f for f in inside if f.panels == ("front",))
        assert entered.size == (INSIDE[0], by, INSIDE[2])
    else:
        gap = next(f for f in inside if f.panels == ("inside",))
        assert gap.size == (0, -by, 0)


@pytest.mark.parametrize("by", [1, -1])
def test_a_wall_moved_in_its_plane(box: Solution, by: int) -> None:
    """The front moved by 1 nm along x: every flank overlaps on one side and gapes on the other."""
    proof = prove_with(box, shifted(box.panel("front"), 0, by))
    for mate in ("bottom", "top"):
        t = T[mate]
        own = [f for f in proof.faults if set(f.panels) == {"front", mate} and f.size[0] == 1]
        thin = {f.size for f in own}
        # every division along x is off by 1 nm; the slab's own ends are seen as well
        assert (1, T["front"], t) in thin
        kinds = [f.kind for f in own if f.size == (1, T["front"], t) and 0 < f.lo[0] < INSIDE[0]]
        divisions = len(segments(box, mate, "front")) - 1
        assert kinds.count("overlap") + kinds.count("void") >= divisions - 1


def test_a_panel_outside_its_slab(box: Solution) -> None:
    panel = box.panel("back")
    rings = dataclasses.replace(panel.rings, xy=panel.rings.xy + np.array([0, 1]))
    proof = prove_with(box, dataclasses.replace(panel, rings=rings))
    outside = [f for f in proof.faults if f.kind == "outside"]
    assert [(f.panels, f.size) for f in outside] == [(("back",), (0, 0, 1))]


@pytest.mark.parametrize("side", [1, 1000, 5 * MM])
def test_a_hole_away_from_joints(box: Solution, side: int) -> None:
    at = (20 * MM, 0, 10 * MM)
    hole = Cuboid(at, (at[0] + side, 1, at[2] + side))
    proof = changed(box, "front", take=hole)
    assert faults(proof) == [("volume", ("front",), (-side * side * T["front"], 0, 0))]
    assert "front is off by -" in str(proof.faults[0])


def test_a_panel_of_no_area(box: Solution) -> None:
    panel = box.panel("back")
    gone = dataclasses.replace(panel, rings=dataclasses.replace(panel.rings, xy=panel.rings.xy * 0))
    kinds = [f.kind for f in prove_with(box, gone).faults]
    assert "empty" in kinds
    assert "void" in kinds


def test_an_inside_that_a_slab_enters(box: Solution) -> None:
    shelf = slab(
        "shelf",
        2,
        (-T["left"], -T["front"], 12 * MM),
        (INSIDE[0] + T["right"], INSIDE[1] + T["back"], 15 * MM),
    )
    arrangement = Arrangement(slabs=(*box_slabs(INSIDE, T), shelf), insides=(BLOCK,))
    proof = exact_proof(solve(arrangement).panels, arrangement.insides)
    assert faults(proof) == [("inside", ("shelf",), (INSIDE[0], INSIDE[1], 3 * MM))]


@pytest.mark.parametrize("gap", [1, 1000])
def test_an_inside_that_is_not_closed_by_a_nanometre(box: Solution, gap: int) -> None:
    lower = InsideBlock(
        name="inside", box=Cuboid((0, 0, 0), (INSIDE[0], INSIDE[1] - gap, INSIDE[2]))
    )
    assert faults(exact_proof(box.panels, (lower,))) == [("inside", ("inside",), (0, gap, 0))]


def test_an_inside_asked_larger_is_entered(box: Solution) -> None:
    larger = InsideBlock(
        name="inside", box=Cuboid((0, 0, 0), (INSIDE[0], INSIDE[1], INSIDE[2] + 1))
    )
    found = faults(exact_proof(box.panels, (larger,)))
    assert ("inside", ("top",), (INSIDE[0], INSIDE[1], 1)) in found


def test_an_open_face_needs_no_slab_and_a_closed_one_does() -> None:
    walls = {n: t for n, t in T.items() if n != "top"}
    arrangement = Arrangement(slabs=tuple(box_slabs(INSIDE, walls)))
    panels = solve(arrangement).panels
    is_open = InsideBlock(name="inside", box=BLOCK.box, open=((2, 1),))
    assert exact_proof(panels, (is_open,)).passed
    (fault,) = exact_proof(panels, (BLOCK,)).faults
    assert (fault.kind, fault.panels, fault.size[:2]) == ("inside", ("inside",), (0, 0))
    assert fault.size[2] >= INSIDE[2]  # no slab stands there at all


def test_slabs_that_overlap_in_parallel(box: Solution) -> None:
    """An arrangement refuses this; the proof sees it without asking the arrangement."""
    panel = box.panel("front")
    twin = dataclasses.replace(panel, slab=dataclasses.replace(panel.slab, name="twin"))
    proof = exact_proof([*box.panels, twin])
    assert ("overlap", ("front", "twin"), panel.slab.box.size) in faults(proof)


# the record ---------------------------------------------------------------------------------------


def test_a_failed_proof_raises_with_all_its_faults(box: Solution) -> None:
    lo, hi, _ = segments(box, "bottom", "front")[3]
    tab = Cuboid((lo, -T["front"], -T["bottom"]), (hi, 0, 0))
    proof = changed(box, "front", take=tab)
    with pytest.raises(ProofFailed) as raised:
        proof.require()
    assert raised.value.exit_code == 1
    assert raised.value.data["faults"] == proof.faults
    assert pickle.loads(pickle.dumps(raised.value)).data["faults"] == proof.faults
    text = str(raised.value)
    assert "void" in text
    assert "bottom and front" in text
    assert f"{(hi - lo) / 1e6:.6f} x {T['front'] / 1e6:.6f} x {T['bottom'] / 1e6:.6f} mm" in text


def test_the_text_of_a_fault_shows_every_nanometre() -> None:
    fault = Fault(kind="overlap", panels=("a", "b"), lo=(1, 2, 3), hi=(2, 4, 6), size=(1, 2, 3))
    assert str(fault) == (
        "overlap of 0.000001 x 0.000002 x 0.000003 mm "
        "at x 0.000001, y 0.000002, z 0.000003 (a and b)"
    )


# any fault at all ---------------------------------------------------------------------------------

_TRAY = {n: 3 * MM + k for k, n in enumerate((*T, "divider")) if n != "top"}


def _tray() -> Solution:
    slabs: list[Slab] = tray_slabs(3, 2, (25 * MM, 30 * MM, 20 * MM), _TRAY, raised=6 * MM)
    return solve(Arrangement(slabs=tuple(slabs)))


TRAY = _tray()


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.integers(0, len(TRAY.panels) - 1),
    st.floats(0, 1),
    st.floats(0, 1),
    st.sampled_from([1, 10, 1000, MM]),
    st.sampled_from([1, 10, 1000, MM]),
)
def test_any_rectangle_that_changes_sides_is_seen(
    which: int, across: float, along: float, width: int, height: int
) -> None:
    """Turn a rectangle anywhere in a slab of a tray from material into none or back: never unseen."""
    panel = TRAY.panels[which]
    w, h = panel.size
    x, y = round(across * (w - width)), round(along * (h - height))
    patch = shapely.box(x, y, x + width, y + height)
    region = region_of(panel)
    kept = region.difference(patch)
    other = kept if not kept.equals(region) else region.union(patch)
    proof = prove_with(TRAY, with_region(panel, other))
    assert not proof.passed
    lost, gained = (region.difference(other), other.difference(region))
    off = sum(oracle.signed_area(ring) for ring in rings_of(gained))  # twice the area
    off -= sum(oracle.signed_area(ring) for ring in rings_of(lost))
    assert 2 * (proof.volume - proof.union) == off * panel.slab.thickness


# insides that claim what they should not --------------------------------------------------------------


def test_a_face_named_open_that_a_slab_closes_is_a_fault(box: Solution) -> None:
    claimed = dataclasses.replace(BLOCK, open=((2, 1),))
    (fault,) = exact_proof(box.panels, (claimed,)).faults
    assert (fault.kind, fault.panels) == ("inside", ("inside",))
    assert "its +z is named open and closed by top" in str(fault)


@pytest.mark.parametrize("gap", [-1, INSIDE[2] // 2, 10**12])
def test_a_gap_that_leaves_nothing_to_close_is_a_fault(box: Solution, gap: int) -> None:
    (fault,) = exact_proof(box.panels, (dataclasses.replace(BLOCK, gap=gap),)).faults
    assert fault.kind == "inside"
    assert "a gap of" in fault.note


def test_a_gap_is_no_leave_to_end_short_of_an_open_edge() -> None:
    """Walls 0.2 mm lower than the inside asked: there is no wall above for them to end short of."""
    walls = {n: t for n, t in T.items() if n != "top"}
    panels = solve(Arrangement(slabs=tuple(box_slabs(INSIDE, walls)))).panels
    higher = Cuboid((0, 0, 0), (INSIDE[0], INSIDE[1], INSIDE[2] + MM // 5))
    block = InsideBlock(name="inside", box=higher, open=((2, 1),), gap=MM // 2)
    found = exact_proof(panels, (block,)).faults
    assert {(f.kind, f.size) for f in found} == {
        ("inside", (INSIDE[0], 0, 0)),
        ("inside", (0, INSIDE[1], 0)),
    }


def test_two_insides_that_claim_the_same_space_are_a_fault(box: Solution) -> None:
    twin = dataclasses.replace(BLOCK, name="twin")
    found = faults(exact_proof(box.panels, (BLOCK, twin)))
    assert found == [("inside", ("inside", "twin"), INSIDE)]
    # a part of it by itself, as the lid's share of a box that is cut through, is no second claim
    lower = InsideBlock(
        name="lower", box=Cuboid((0, 0, 0), (*INSIDE[:2], INSIDE[2] // 2)), open=((2, 1),)
    )
    assert exact_proof(box.panels, (BLOCK, lower)).passed
    # but two compartments never share space
    cells = [
        dataclasses.replace(b, compartment=(k, 1)) for k, b in enumerate((BLOCK, lower), start=1)
    ]
    found = faults(exact_proof(box.panels, cells))
    assert found == [("inside", ("inside", "lower"), lower.box.size)]


# a third slab that crosses a part of a bar -------------------------------------------------------------


def test_faults_beside_a_corner_of_half_a_bar_are_seen_though_they_cancel_in_volume() -> None:
    """Two shelves end half-way through the left wall: only that half of the bar is their corner.

    Beside the one shelf nobody has the other half (2 x 4 x 3 mm); beside the other both have it. The
    volumes cancel, so only the sweep can tell. An arrangement refuses such slabs; the proof is asked.
    """
    front = slab("front", 1, (-4 * MM, -4 * MM, 0), (50 * MM, 0, 60 * MM))
    left = slab("left", 0, (-4 * MM, -4 * MM, 0), (0, 50 * MM, 60 * MM))
    shelves = [
        slab(f"shelf-{z}", 2, (-2 * MM, -4 * MM, z * MM), (50 * MM, 50 * MM, (z + 3) * MM))
        for z in (10, 30)
    ]

    def panel(of: Slab, *taken: tuple[tuple[int, int, int], tuple[int, int, int]]) -> Panel:
        x, y = (of.box.size[k] for k in Frame.of(of).axes)
        whole = Panel(slab=of, frame=Frame.of(of), rings=plain_rectangle(0, 0, x, y))
        region = region_of(whole)
        for lo, hi in taken:
            block = Cuboid(tuple(v * MM for v in lo), tuple(v * MM for v in hi))  # type: ignore[arg-type]
            region = region.difference(in_plane(whole, block))
        return with_region(whole, region)

    # the bar of front and left is the left wall's, but for the first shelf's height; there the front
    # keeps the shelf's corner and nobody the other half. At the second both have the other half
    front_lacks = [
        *(((-4, -4, a), (0, 0, b)) for a, b in ((0, 10), (13, 30), (33, 60))),
        ((-4, -4, 10), (-2, 0, 13)),
        ((-2, -4, 30), (0, 0, 33)),
        *(((0, -4, z), (50, 0, z + 3)) for z in (10, 30)),
    ]
    panels = [
        panel(front, *front_lacks),
        panel(left, ((-4, -4, 10), (0, 0, 13))),
        *(panel(s, ((-2, -4, 0), (0, 50, 60))) for s in shelves),
    ]
    proof = exact_proof(panels)
    assert proof.volume == proof.union
    half = (2 * MM, 4 * MM, 3 * MM)
    found = faults(proof)
    assert ("void", ("front", "left"), half) in found
    assert ("overlap", ("front", "left"), half) in found
