"""The solid proof holds for what is right, finds every seeded fault down to a micrometre, and says
what cut panels share.

Volumes are compared with elementary geometry (a prism is its base times its height; the sum of what
lies between an outer and an inner block), with shapely's areas, and with the booleans of manifold3d,
a kernel of another make, where it is installed.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from importlib.util import find_spec
from itertools import combinations

import numpy as np
import pytest
from shapely import Polygon, box
from strategies import slab, tray_slabs

from boxjoint.check import kernel
from boxjoint.check.interference import area_mm2, predicted_outline
from boxjoint.check.solid import SolidFault, SolidProof, solid_proof
from boxjoint.errors import InputError, MissingExtra, ProofFailed
from boxjoint.fit.compensate import Allowance, Beam, compensate, virtual_cut
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import Inside, Job, PanelAsk, PerAxis, Stock, Thickness, Top
from boxjoint.solve.arrangement import Arrangement, InsideBlock
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution, solve
from boxjoint.solve.tabs import TabAsk

MM = 1_000_000
UM = 1_000

needs_kernel = pytest.mark.skipif(
    find_spec("OCP") is None,
    reason='the solid kernel is not installed: pip install "boxjoint[solid]"',
)
pytestmark = [pytest.mark.solid]

SKEW = Beam(kerf=PerAxis(x=0.143, y=0.217), scale=PerAxis(x=1.0011, y=0.9992))


def thickness(nm: int) -> Thickness:
    return Thickness(readings=(nm,), measured=False)


def box_of(t: dict[str, int] | int, *, top: bool = True, counts: int | None = None) -> Solution:
    """A small notebook box, 60 x 45 x 30 mm inside."""
    own = t if isinstance(t, dict) else {}
    job = Job(
        title="Notebook box",
        unit="mm",
        inside=Inside(length=60 * MM, width=45 * MM, height=30 * MM),
        stock=Stock(
            material="birch plywood", thickness=thickness(t if isinstance(t, int) else 3 * MM)
        ),
        panels={name: PanelAsk(thickness=thickness(v)) for name, v in own.items()},
        top=Top(kind="closed" if top else "open"),
    )
    ask = TabAsk(counts=dict.fromkeys(range(3), counts) if counts else None)
    return solve(box_arrangement(job), ask)


TRAY = {"bottom": 3_050_000, "front": 4 * MM, "back": 4_100_000, "left": 5 * MM, "right": 6 * MM}


def tray() -> Solution:
    """Four compartments: dividers that cross above a base set 10 mm above the walls' lower rim."""
    t, cell = TRAY | {"divider": 3_175_000}, (28 * MM, 22 * MM, 24 * MM)
    step = [c + t["divider"] for c in cell]
    insides = [
        InsideBlock(
            name=f"compartment {i + 1}-{j + 1}",
            box=Cuboid(
                (i * step[0], j * step[1], 0),
                (i * step[0] + cell[0], j * step[1] + cell[1], cell[2]),
            ),
            open=((2, 1),),
        )
        for i in range(2)
        for j in range(2)
    ]
    return solve(
        Arrangement(slabs=tuple(tray_slabs(2, 2, cell, t, raised=10 * MM)), insides=tuple(insides))
    )


@pytest.fixture(scope="module")
def plain() -> Solution:
    return box_of(3 * MM, counts=3)


def allow(solution: Solution, clearance: float = -0.05, **others: float) -> dict[str, Allowance]:
    relief = others.pop("shoulder_relief", 0.1)
    return {
        p.name: Allowance(
            clearance=[clearance] * len(solution.joints),
            shoulder_relief=relief if p.slab.guest else 0.0,
            **others,
        )
        for p in solution.panels
    }


def cut_of(
    solution: Solution,
    allowances: dict[str, Allowance],
    drawn_for: Beam = SKEW,
    *,
    by: Beam | None = None,
    quarters: int = 0,
) -> dict[str, Rings]:
    return {
        p.name: virtual_cut(
            compensate(p.rings, drawn_for, allowances[p.name], quarters=quarters).rings,
            by or drawn_for,
            quarters=quarters,
        )
        for p in solution.panels
    }


# what is right passes


@needs_kernel
def test_a_box_of_six_thicknesses_passes() -> None:
    t = {"bottom": 6_100_000, "top": 3 * MM, "front": 4 * MM, "back": 3_175_000, "left": 5 * MM}
    solution = box_of(t | {"right": 2_980_000})
    proof = solid_proof(solution)
    assert proof.passed, proof.faults
    # elementary geometry: the union of six slabs is the outer block less the inside
    outer = (60 + 5 + 2.98) * (45 + 4 + 3.175) * (30 + 6.1 + 3)
    assert proof.union == pytest.approx(outer - 60 * 45 * 30, abs=1e-6)
    assert sum(v for _, v in proof.volumes) == pytest.approx(proof.union, abs=1e-6)
    assert proof.pairs == 12
    for panel in solution.panels:
        # shapely's area of the same rings, times the thickness
        area = Polygon(
            panel.rings.ring(0), [panel.rings.ring(k) for k in range(1, panel.rings.count)]
        ).area
        assert dict(proof.volumes)[panel.name] == pytest.approx(
            area * panel.slab.thickness / 1e18, rel=1e-12
        )


@needs_kernel
@pytest.mark.parametrize(
    ("clearance", "others", "quarters"),
    [
        (-0.05, {}, 0),
        (-0.04, {"sheet_clearance": -0.06, "proud": 0.3, "floor_relief": -0.1}, 1),
        (0.06, {"sheet_clearance": -0.06, "proud": -0.4, "shoulder_relief": 0.0}, 2),
    ],
    ids=["usual", "all tight, tips proud, turned", "loose flanks, tight cheeks, tips shy"],
)
def test_dividers_that_cross_over_a_raised_base_pass(
    clearance: float, others: dict[str, float], quarters: int
) -> None:
    solution = tray()
    assert {j.kind for j in solution.joints} == {"finger", "mortise", "halflap"}
    allowances = allow(solution, clearance, **others)
    proof = solid_proof(solution, cut_of(solution, allowances, quarters=quarters), allowances)
    assert proof.passed, [str(f) for f in proof.faults]
    assert len(proof.shared) == len(solution.joints)
    assert {round(i.asked, 9) for i in proof.insides} == {28.0, 22.0}
    for inside in proof.insides:
        assert inside.face_to_face == pytest.approx(inside.asked, abs=4e-6)


@needs_kernel
def test_shelves_that_cross_through_protruding_walls_pass() -> None:
    walls = [
        slab("front", 1, (-9 * MM, -3 * MM, 0), (49 * MM, 0, 40 * MM), -1),
        slab("back", 1, (-9 * MM, 30 * MM, 0), (49 * MM, 34 * MM, 40 * MM)),
        slab("left", 0, (-4 * MM, -9 * MM, 0), (0, 40 * MM, 40 * MM), -1),
        slab("right", 0, (40 * MM, -9 * MM, 0), (43 * MM, 40 * MM, 40 * MM)),
        slab("shelf", 2, (-4 * MM, -3 * MM, 20 * MM), (43 * MM, 34 * MM, 23 * MM), guest=True),
    ]
    above = InsideBlock(
        name="above", box=Cuboid((0, 0, 23 * MM), (40 * MM, 30 * MM, 40 * MM)), open=((2, 1),)
    )
    solution = solve(Arrangement(slabs=tuple(walls), insides=(above,)))
    allowances = allow(solution)
    proof = solid_proof(solution, cut_of(solution, allowances), allowances)
    assert proof.passed, [str(f) for f in proof.faults]


# cut solids


@needs_kernel
def test_what_panels_share_is_flanks_times_interference_times_both_thicknesses() -> None:
    t = {"bottom": 6 * MM, "top": 3 * MM, "front": 4 * MM, "back": 5 * MM}
    solution = box_of(t | {"left": 2_500_000, "right": 3_500_000}, counts=5)
    allowances = allow(solution, -0.06)
    proof = solid_proof(solution, cut_of(solution, allowances), allowances)
    assert proof.passed, [str(f) for f in proof.faults]
    thick = {p.name: p.slab.thickness / MM for p in solution.panels}
    flanks = {
        frozenset(solution.joint_name(j.index).split("-")): solution.tabs[j.index].flanks
        for j in solution.joints
    }
    assert len(proof.shared) == 12
    for shared in proof.shared:
        a, b = shared.panels
        # elementary geometry: each mate's flank moved out by 0.06 / 4, so they overlap by 0.03;
        # a corner that the mate's segment does not continue is one more flank
        one = 0.03 * thick[a] * thick[b]
        count = round(shared.found / one)
        assert shared.found == pytest.approx(count * one, abs=shared.tolerance)
        assert 0 <= count - flanks[frozenset((a, b))] <= 2
        assert shared.found == pytest.approx(shared.predicted, abs=1e-6)


@needs_kernel
def test_a_loose_box_shares_nothing_and_holds_its_inside() -> None:
    solution = box_of(3 * MM, top=False)
    allowances = allow(solution, 0.08)
    proof = solid_proof(solution, cut_of(solution, allowances), allowances)
    assert proof.passed
    assert all(s.predicted == pytest.approx(0, abs=1e-9) for s in proof.shared)
    assert [(i.axis, i.asked) for i in proof.insides] == [(0, 60.0), (1, 45.0)]  # open above
    for inside in proof.insides:
        assert len(inside.held) == 3
        for held in inside.held:
            assert held.distance == pytest.approx(inside.asked, abs=4e-6)


@needs_kernel
def test_another_kernel_finds_the_same_common_volumes() -> None:
    manifold3d = pytest.importorskip("manifold3d", reason="the other kernel, extra 'bench'")
    solution = tray()
    allowances = allow(solution, -0.05, sheet_clearance=-0.03)
    cut = cut_of(solution, allowances)
    proof = solid_proof(solution, cut, allowances)

    def solid(panel: Panel) -> object:
        rings, normal = cut[panel.name], panel.slab.normal
        right, up = panel.frame.axes
        flat = manifold3d.CrossSection([rings.ring(k) / MM for k in range(rings.count)])
        lo, hi = (v / MM for v in panel.slab.box.span(normal))
        # columns of the map: where the drawing's right, up and the extrusion go in the world
        place = np.zeros((3, 4))
        place[right, 0], place[up, 1] = panel.frame.senses
        place[right, 3], place[up, 3] = (v / MM for v in panel.frame.origin)
        place[normal, 2], place[normal, 3] = 1.0, lo
        return flat.extrude(hi - lo).transform(place)

    solids = {p.name: solid(p) for p in solution.panels}
    found = {s.panels: s.found for s in proof.shared}
    for a, b in combinations(solids, 2):
        other = abs((solids[a] ^ solids[b]).volume())  # type: ignore[operator]
        assert other == pytest.approx(found.get((a, b), 0.0), abs=1e-6), (a, b)


@needs_kernel
def test_a_beam_wider_than_stated_leaves_shoulders_standing_back(plain: Solution) -> None:
    allowances = allow(plain)
    drawn_for = Beam(kerf=PerAxis(x=0.2, y=0.2))
    by = Beam(kerf=PerAxis(x=0.202, y=0.202))  # each side stands back by a micrometre
    proof = solid_proof(plain, cut_of(plain, allowances, drawn_for, by=by), allowances)
    kinds = {f.kind for f in proof.faults}
    assert kinds == {"volume", "interference", "seat", "inside size"}
    seats = [f.size for f in proof.faults if f.kind == "seat"]
    assert seats == pytest.approx([-0.001] * len(seats), abs=1e-8)
    sizes = [f.size for f in proof.faults if f.kind == "inside size"]
    assert sizes == pytest.approx([-0.002] * len(sizes), abs=1e-8)
    with pytest.raises(ProofFailed, match="solid proof found") as caught:
        proof.require()
    assert caught.value.data["faults"] == proof.faults


@needs_kernel
@pytest.mark.parametrize("told", [-0.054, -0.046])
def test_a_clearance_other_than_told_is_found(plain: Solution, told: float) -> None:
    cut = cut_of(plain, allow(plain, -0.05))
    proof = solid_proof(plain, cut, allow(plain, told))
    wrong = [f for f in proof.faults if f.kind == "interference"]
    # 12 joints; 0.002 mm more or less on each flank of 3 x 3 mm
    assert len(wrong) == 12
    for fault in wrong:
        each = fault.size / (0.002 * 9)
        assert each == pytest.approx(round(each), abs=0.01)
        assert np.sign(fault.size) == np.sign(told - -0.05)


@needs_kernel
def test_loose_flanks_other_than_told_are_found_by_volume(plain: Solution) -> None:
    proof = solid_proof(plain, cut_of(plain, allow(plain, 0.05)), allow(plain, 0.054))
    assert {f.kind for f in proof.faults} == {"volume"}


@needs_kernel
def test_a_cut_set_needs_outlines_and_allowances(plain: Solution) -> None:
    cut = cut_of(plain, allow(plain))
    with pytest.raises(InputError, match="no allowance"):
        solid_proof(plain, cut, None)
    del cut["left"]
    with pytest.raises(InputError, match="left"):
        solid_proof(plain, cut, allow(plain))


def test_predicted_outlines_are_what_a_perfect_beam_leaves() -> None:
    """Two ways to the same outline: moved here on its own, and drawn, then cut, by the fit room."""
    solution = tray()
    allowances = allow(solution, -0.05, sheet_clearance=0.08, proud=0.2)
    cut = cut_of(solution, allowances, Beam())
    for panel in solution.panels:
        rings = cut[panel.name]
        outlines = predicted_outline(panel.rings, allowances[panel.name])
        for k, outline in enumerate(outlines):
            assert area_mm2(outline) == pytest.approx(rings.ring_area(k) / 1e12, abs=1e-3)
            a, b = Polygon(outline), Polygon(rings.ring(k) / MM)
            assert a.symmetric_difference(b).area < 3e-6 * a.length


# seeded faults


def rings_of(shape: Polygon) -> Rings:
    """Rings without roles from a rectilinear shapely polygon in nm."""
    outer = np.array(shape.exterior.coords[:-1])
    holes = [np.array(h.coords[:-1]) for h in shape.interiors]
    if not shape.exterior.is_ccw:
        outer = outer[::-1]
    holes = [h[::-1] if hole.is_ccw else h for h, hole in zip(holes, shape.interiors, strict=True)]
    parts = [np.rint(p).astype(np.int64) for p in (outer, *holes)]
    n = sum(map(len, parts))
    return Rings(
        xy=np.concatenate(parts),
        start=np.cumsum([0, *map(len, parts)]),
        role=np.zeros(n, dtype=np.uint8),
        joint=np.full(n, -1, dtype=np.int32),
    )


def shape_of(panel: Panel) -> Polygon:
    return Polygon(panel.rings.ring(0), [panel.rings.ring(k) for k in range(1, panel.rings.count)])


def with_panel(solution: Solution, panel: Panel) -> Solution:
    return replace(
        solution,
        panels=tuple(panel if p.name == panel.name else p for p in solution.panels),
    )


def reshaped(solution: Solution, name: str, change: Callable[[Polygon], Polygon]) -> Solution:
    panel = solution.panel(name)
    return with_panel(solution, replace(panel, rings=rings_of(change(shape_of(panel)))))


def moved_along_normal(solution: Solution, name: str, by: int) -> Solution:
    panel = solution.panel(name)
    lo, hi = list(panel.slab.box.lo), list(panel.slab.box.hi)
    lo[panel.slab.normal] += by
    hi[panel.slab.normal] += by
    where = Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))
    return with_panel(solution, replace(panel, slab=replace(panel.slab, box=where)))


def of_kind(proof: SolidProof, kind: str) -> list[SolidFault]:
    return [f for f in proof.faults if f.kind == kind]


def lower_tab(solution: Solution) -> tuple[int, int]:
    """Ends, nm on the drawing, of the front's first tab into the bottom that is clear of corners."""
    joint = next(j for j in solution.joints if solution.joint_name(j.index) == "bottom-front")
    tabs = solution.tabs[joint.index]
    mine = int(np.flatnonzero(tabs.owner == joint.b)[0])
    origin = solution.panel("front").frame.origin[0]
    return int(tabs.lo[mine]) - origin, int(tabs.hi[mine]) - origin


@needs_kernel
def test_a_wall_moved_out_by_a_micrometre(plain: Solution) -> None:
    proof = solid_proof(moved_along_normal(plain, "front", -UM))
    (outside,) = of_kind(proof, "outside slab")
    assert outside.panels == ("front",)
    assert outside.size == pytest.approx(0.001, abs=1e-9)
    (gap,) = of_kind(proof, "inside not closed")
    assert gap.size == pytest.approx(60 * 30, rel=1e-4)  # the whole face
    voids = of_kind(proof, "void")
    assert voids
    assert all(min(v.extent.size) == pytest.approx(0.001, abs=1e-9) for v in voids if v.extent)


@needs_kernel
def test_a_wall_moved_in_by_a_micrometre(plain: Solution) -> None:
    proof = solid_proof(moved_along_normal(plain, "front", UM))
    (entered,) = of_kind(proof, "inside entered")
    assert entered.panels == ("front",)
    assert entered.size == pytest.approx(0.001 * 60 * 30, abs=1e-6)
    overlaps = of_kind(proof, "overlap")
    assert {f.panels[0] for f in overlaps} | {f.panels[1] for f in overlaps} > {"front", "left"}
    assert {f.panels for f in of_kind(proof, "outside slab")} == {("front",)}


@needs_kernel
def test_a_wall_moved_sideways_by_a_micrometre(plain: Solution) -> None:
    panel = plain.panel("front")
    shifted = replace(panel.rings, xy=panel.rings.xy + np.array([UM, 0]))
    proof = solid_proof(with_panel(plain, replace(panel, rings=shifted)))
    (outside,) = of_kind(proof, "outside slab")
    assert outside.size == pytest.approx(0.001, abs=1e-9)
    assert of_kind(proof, "overlap")
    assert of_kind(proof, "void")


@needs_kernel
def test_a_lost_tab(plain: Solution) -> None:
    lo, hi = lower_tab(plain)
    proof = solid_proof(reshaped(plain, "front", lambda s: s - box(lo, 0, hi, 3 * MM)))
    (void,) = proof.faults
    assert void.kind == "void"
    assert void.size == pytest.approx((hi - lo) / MM * 3 * 3, abs=1e-6)
    assert set(void.panels) == {"front", "bottom"}
    assert void.extent is not None
    assert void.extent.size == pytest.approx(((hi - lo) / MM, 3, 3), abs=1e-9)


@needs_kernel
def test_a_tab_too_long_by_a_micrometre(plain: Solution) -> None:
    lo, hi = lower_tab(plain)
    proof = solid_proof(reshaped(plain, "front", lambda s: s | box(lo, -UM, hi, 0)))
    (outside,) = proof.faults
    assert outside.kind == "outside slab"
    assert outside.size == pytest.approx(0.001, abs=1e-9)


@needs_kernel
def test_a_tab_too_short_by_a_micrometre(plain: Solution) -> None:
    lo, hi = lower_tab(plain)
    proof = solid_proof(reshaped(plain, "front", lambda s: s - box(lo, 0, hi, UM)))
    (void,) = proof.faults
    assert void.kind == "void"
    assert void.size == pytest.approx(0.001 * (hi - lo) / MM * 3, abs=1e-8)


@needs_kernel
def test_a_tab_too_wide_by_a_micrometre(plain: Solution) -> None:
    _, hi = lower_tab(plain)
    proof = solid_proof(reshaped(plain, "front", lambda s: s | box(hi, 0, hi + UM, 3 * MM)))
    (overlap,) = proof.faults
    assert overlap.kind == "overlap"
    assert set(overlap.panels) == {"front", "bottom"}
    assert overlap.size == pytest.approx(0.001 * 3 * 3, abs=1e-8)


@needs_kernel
def test_a_tab_that_stands_aside_by_a_micrometre_is_found_though_the_volumes_add_up(
    plain: Solution,
) -> None:
    lo, hi = lower_tab(plain)
    proof = solid_proof(
        reshaped(
            plain,
            "front",
            lambda s: (s | box(hi, 0, hi + UM, 3 * MM)) - box(lo, 0, lo + UM, 3 * MM),
        )
    )
    assert sum(v for _, v in proof.volumes) == pytest.approx(proof.union, abs=1e-8)
    assert [f.kind for f in proof.faults] == ["overlap", "void"]
    assert [f.size for f in proof.faults] == pytest.approx([0.009, 0.009], abs=1e-8)


CORNER = box(0, 0, 3 * MM, 3 * MM)  # the front's lower left corner cell on its drawing


@needs_kernel
def test_a_corner_owned_twice(plain: Solution) -> None:
    front = shape_of(plain.panel("front"))
    assert front.intersection(CORNER).area == 0  # the bottom owns it
    proof = solid_proof(reshaped(plain, "front", lambda s: s | CORNER))
    (overlap,) = proof.faults
    assert overlap.kind == "overlap"
    assert set(overlap.panels) == {"front", "bottom"}
    assert overlap.size == pytest.approx(27, abs=1e-8)
    assert overlap.extent is not None
    assert overlap.extent.lo == pytest.approx((-3, -3, -3))
    assert overlap.extent.hi == pytest.approx((0, 0, 0))


@needs_kernel
def test_a_corner_owned_by_nobody(plain: Solution) -> None:
    bottom = plain.panel("bottom")
    # as drawn from below, the front is at the top (right +x, up -y)
    cell = box(0, bottom.size[1] - 3 * MM, 3 * MM, bottom.size[1])
    proof = solid_proof(reshaped(plain, "bottom", lambda s: s - cell))
    (void,) = proof.faults
    assert void.kind == "void"
    assert set(void.panels) == {"front", "bottom", "left"}
    assert void.size == pytest.approx(27, abs=1e-8)


@needs_kernel
def test_a_hole_in_the_middle_of_a_wall_is_a_void_and_opens_the_inside(plain: Solution) -> None:
    proof = solid_proof(
        reshaped(plain, "front", lambda s: s - box(20 * MM, 15 * MM, 21 * MM, 16 * MM))
    )
    assert [(f.kind, round(f.size, 6)) for f in proof.faults] == [
        ("void", 3.0),
        ("inside not closed", 1.0),
    ]


@needs_kernel
def test_a_divider_moved_by_a_micrometre_enters_one_compartment_and_leaves_the_next() -> None:
    proof = solid_proof(moved_along_normal(tray(), "across 1", UM))
    assert {f.kind for f in proof.faults} >= {
        "outside slab",
        "overlap",
        "inside entered",
        "inside not closed",
    }
    # the face as well as the half-lap and tabs at its rims are open by a micrometre
    assert {f.where.split(",")[0] for f in of_kind(proof, "inside not closed")} == {
        "compartment 1-1",
        "compartment 1-2",
    }
    assert {f.where.split(",")[0] for f in of_kind(proof, "inside entered")} == {
        "compartment 2-1",
        "compartment 2-2",
    }


@needs_kernel
def test_an_inside_larger_than_the_box_gives_is_found(plain: Solution) -> None:
    (block,) = plain.arrangement.insides
    (x, y, z) = block.box.hi
    larger = replace(block, box=Cuboid((0, 0, 0), (x, y, z + UM)))
    proof = solid_proof(replace(plain, arrangement=replace(plain.arrangement, insides=(larger,))))
    (entered,) = of_kind(proof, "inside entered")
    assert entered.panels == ("top",)
    assert entered.size == pytest.approx(0.001 * 60 * 45, abs=1e-6)


@needs_kernel
@pytest.mark.parametrize("how", ["reversed", "empty"])
def test_a_panel_turned_inside_out_or_empty_is_no_solid(plain: Solution, how: str) -> None:
    panel = plain.panel("front")
    xy = panel.rings.xy[::-1].copy() if how == "reversed" else panel.rings.xy[:0]
    start = panel.rings.start if how == "reversed" else np.array([0], dtype=np.int64)
    n = len(xy)
    bad = Rings(xy=xy, start=start, role=panel.rings.role[:n], joint=panel.rings.joint[:n])
    proof = solid_proof(with_panel(plain, replace(panel, rings=bad)))
    assert [f.panels for f in of_kind(proof, "no solid")] == [("front",)]
    assert of_kind(proof, "void")


# the kernel itself


@needs_kernel
@pytest.mark.parametrize("clash", [1e-3, 1e-4, 1e-5])
@pytest.mark.parametrize("far", [0.0, 1234.567891])
def test_known_clashes_are_found_down_to_ten_nanometres(clash: float, far: float) -> None:
    one = kernel.box_solid((far, far, far), (far + 30, far + 20, far + 3))
    other = kernel.box_solid((far + 30 - clash, far, far), (far + 40, far + 20, far + 3))
    common = kernel.boolean("common", one, [other])
    # coordinates over a metre carry 2e-13 mm of rounding
    assert kernel.volume(common) == pytest.approx(clash * 20 * 3, abs=1e-10)
    apart = kernel.box_solid((far + 30, far, far), (far + 40, far + 20, far + 3))
    assert kernel.volume(kernel.boolean("common", one, [apart])) == 0


@needs_kernel
def test_a_kernel_that_fails_is_an_error_not_an_answer() -> None:
    from OCP.TopoDS import TopoDS_Shape

    with pytest.raises(ProofFailed, match="error instead of a common"):
        kernel.boolean("common", kernel.box_solid((0, 0, 0), (1, 1, 1)), [TopoDS_Shape()])


@needs_kernel
def test_lines_cross_a_solid_at_its_faces() -> None:
    solid = kernel.box_solid((1, 2, 3), (11, 22, 33))
    assert kernel.crossings(solid, 1, [(5, 0, 5), (50, 0, 5)]) == [pytest.approx([2, 22]), []]


def test_outlines_are_cleaned_of_repeats_and_straight_vertices() -> None:
    xy = np.array([[0, 0], [2, 0], [5, 0], [5, 0], [5, 4], [5, 4], [5, 9], [0, 9], [0, 9]])
    assert kernel.plain_polygon(xy).tolist() == [[0, 0], [5, 0], [5, 9], [0, 9]]
    # a spike of no width goes too
    spike = np.array([[0, 0], [5, 0], [5, 9], [5, 7], [0, 7]])
    assert kernel.plain_polygon(spike).tolist() == [[0, 0], [5, 0], [5, 7], [0, 7]]


@needs_kernel
def test_progress_counts_every_stage_to_its_end(plain: Solution) -> None:
    calls: list[tuple[str, int, int]] = []
    allowances = allow(plain)
    solid_proof(plain, cut_of(plain, allowances), allowances, lambda *call: calls.append(call))
    stages = list(dict.fromkeys(stage for stage, _, _ in calls))
    assert {"pairs of nominal panels", "pairs of cut panels", "union of the slabs"} < set(stages)
    for stage in stages:
        counts = [(done, total) for s, done, total in calls if s == stage]
        assert counts == [(i, counts[-1][1]) for i in range(counts[-1][1] + 1)]


def test_without_the_kernel_it_says_how_to_get_it(
    plain: Solution, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "OCP.BOPAlgo", None)
    monkeypatch.setitem(sys.modules, "OCP", None)
    with pytest.raises(MissingExtra, match=r'pip install "boxjoint\[solid\]"') as caught:
        solid_proof(plain)
    assert caught.value.exit_code == 2


def test_importing_the_proof_loads_no_kernel() -> None:
    code = (
        "import sys, boxjoint.check.solid, boxjoint.export.step;"
        "sys.exit(any(m.split('.')[0] in ('OCP', 'cadquery') for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@needs_kernel
def test_faults_are_found_under_python_o() -> None:
    """No check may hide in an ``assert``, ours or the kernel's."""
    code = (
        "from test_solid import *;"
        "b = box_of(3 * MM, counts=3);"
        "f = solid_proof(moved_along_normal(b, 'front', -UM)).faults;"
        "print(sorted({x.kind for x in f}), solid_proof(b).passed)"
    )
    done = subprocess.run(
        [sys.executable, "-O", "-W", "ignore", "-c", code],
        check=True,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": ":".join(p for p in sys.path if p)},
    )
    assert done.stdout.strip() == "['inside not closed', 'outside slab', 'void'] True"
