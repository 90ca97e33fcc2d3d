"""Nominal and drawn outlines against shapely, a library for plane geometry kept elsewhere.

Source of every reference value here: shapely (GEOS), https://shapely.readthedocs.io: ``area``,
``length``, ``is_valid`` and ``buffer`` with mitred joins. The buffer of a rectilinear region by
half the kerf is what an outline becomes whose sides all move alike; for a rectangular beam the plane
is stretched so that the beam becomes square, and back.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import affinity

from boxjoint.fit.compensate import Allowance, Beam, compensate, virtual_cut
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import Inside, Job, JointAsk, PanelAsk, PerAxis, Stock, Thickness, Top
from boxjoint.solve.arrangement import Arrangement, Slab
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import solve
from boxjoint.solve.tabs import TabAsk

MM = 1_000_000
NOTHING = Allowance(clearance=[0.0] * 64, sheet_clearance=0.0, floor_relief=0.0)


def region(rings: Rings) -> Any:
    """Rings as a shapely polygon, mm: the first is the outside, the others are holes."""
    xy = [rings.xy[a:b] / 1e6 for a, b in pairwise(rings.start.tolist())]
    return shapely.Polygon(xy[0], xy[1:])


def box_panels(closed: bool) -> tuple[Panel, ...]:
    job = Job(
        title="Notebook box",
        unit="mm",
        inside=Inside(length=217_300_001, width=153_777_777, height=61_234_567),
        stock=Stock(
            material="birch plywood", thickness=Thickness(readings=(3 * MM,), measured=False)
        ),
        panels={"bottom": PanelAsk(thickness=Thickness(readings=(6_100_000,), measured=False))},
        joint=JointAsk(rank=("left", "bottom", "front")),
        top=Top(kind="closed" if closed else "open"),
    )
    return solve(box_arrangement(job), TabAsk()).panels


def tray_panels() -> tuple[Panel, ...]:
    """Four walls, a base 10 mm above the lower rim and a divider: half of the panels have holes."""

    def slab(name: str, normal: int, lo: tuple[int, int, int], hi: tuple[int, int, int]) -> Slab:
        box = Cuboid((lo[0] * MM, lo[1] * MM, lo[2] * MM), (hi[0] * MM, hi[1] * MM, hi[2] * MM))
        return Slab(name=name, normal=normal, box=box, guest=name == "divider")

    slabs = (
        slab("base", 2, (-5, -3, -4), (96, 74, 0)),
        slab("front", 1, (-5, -3, -14), (96, 0, 40)),
        slab("back", 1, (-5, 70, -14), (96, 74, 40)),
        slab("left", 0, (-5, -3, -14), (0, 74, 40)),
        slab("right", 0, (90, -3, -14), (96, 74, 40)),
        slab("divider", 0, (45, -3, -4), (48, 74, 40)),
    )
    return solve(Arrangement(slabs=slabs)).panels


PANELS = [
    pytest.param(panel, id=f"{kind} {panel.name}")
    for kind, panels in (
        ("closed", box_panels(True)),
        ("open", box_panels(False)),
        ("tray", tray_panels()),
    )
    for panel in panels
]


@pytest.mark.parametrize("panel", PANELS)
def test_nominal_rings_are_valid_and_have_shapelys_area_and_length(panel: Panel) -> None:
    shape = region(panel.rings)
    assert shape.is_valid
    assert panel.rings.area / 1e12 == pytest.approx(shape.area, rel=1e-13)
    assert panel.rings.perimeter / 1e6 == pytest.approx(shape.length, rel=1e-13)
    assert np.array(panel.rings.extent) / 1e6 == pytest.approx(shape.bounds, abs=1e-12)


@pytest.mark.parametrize("panel", PANELS)
@pytest.mark.parametrize("kerf", [0.05, 0.2, 0.8])
def test_an_outline_whose_sides_all_move_alike_is_the_mitred_buffer(
    panel: Panel, kerf: float
) -> None:
    beam = Beam(kerf=PerAxis(x=kerf, y=kerf))
    drawn = compensate(panel.rings, beam, NOTHING).rings
    wanted = region(panel.rings).buffer(kerf / 2, join_style="mitre", mitre_limit=5)
    shape = region(drawn)
    assert shape.is_valid
    assert shapely.hausdorff_distance(shape.boundary, wanted.boundary) < 1e-6
    # drawn coordinates are whole nanometres: half of one a side at most
    assert drawn.area / 1e12 == pytest.approx(wanted.area, abs=5e-7 * wanted.length)
    assert drawn.perimeter / 1e6 == pytest.approx(wanted.length, abs=1e-6 * len(drawn))


@pytest.mark.parametrize("panel", PANELS)
@pytest.mark.parametrize("kerf", [(0.14, 0.23), (0.5, 0.1)])
@pytest.mark.parametrize("scale", [(1.0, 1.0), (1.0021, 0.9983)])
def test_a_rectangular_beam_is_the_buffer_in_a_stretched_plane(
    panel: Panel, kerf: tuple[float, float], scale: tuple[float, float]
) -> None:
    beam = Beam(kerf=PerAxis(x=kerf[0], y=kerf[1]), scale=PerAxis(x=scale[0], y=scale[1]))
    drawn = compensate(panel.rings, beam, NOTHING).rings
    square = affinity.scale(region(panel.rings), 1 / kerf[0], 1 / kerf[1], origin=(0, 0))
    wanted = affinity.scale(
        square.buffer(0.5, join_style="mitre", mitre_limit=5),
        kerf[0] / scale[0],
        kerf[1] / scale[1],
        origin=(0, 0),
    )
    assert shapely.hausdorff_distance(region(drawn).boundary, wanted.boundary) < 1e-6


@pytest.mark.parametrize("panel", PANELS)
def test_the_virtual_cut_is_the_negative_buffer(panel: Panel) -> None:
    """Shrinking by half the kerf what was drawn for another kerf: 0.3 for 0.2."""
    allowance = Allowance(clearance=[0.06] * 64, proud=0.25)
    drawn = compensate(panel.rings, Beam(kerf=PerAxis(x=0.2, y=0.2)), allowance).rings
    cut = virtual_cut(drawn, Beam(kerf=PerAxis(x=0.3, y=0.3)))
    shape = region(cut)
    wanted = region(drawn).buffer(-0.15, join_style="mitre", mitre_limit=5)
    assert shape.is_valid
    assert shapely.hausdorff_distance(shape.boundary, wanted.boundary) < 1e-6
    assert cut.area / 1e12 == pytest.approx(wanted.area, abs=1e-6 * wanted.length)
    assert cut.perimeter / 1e6 == pytest.approx(wanted.length, abs=1e-6 * len(cut))


def test_the_tray_has_holes_and_the_box_has_none() -> None:
    """The buffers above are of both kinds, or they would say little about holes."""
    assert max(len(region(p.rings).interiors) for p in tray_panels()) >= 3
    assert all(not region(p.rings).interiors for p in box_panels(True))
