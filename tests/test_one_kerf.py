"""A controller that takes one kerf on a machine that has two: what really comes out."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
import shapely.affinity

from boxjoint.check.built import Built
from boxjoint.export.report import report
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import Cut, Inside, Job, JointAsk, PerAxis, Stock, Thickness, Top
from boxjoint.make import build, solid

MM = 1_000_000


def box(x: float, y: float, *, material: str = "birch plywood", scale: float = 1.0) -> Job:
    return Job(
        title="Notebook box",
        unit="mm",
        inside=Inside(length=150 * MM, width=100 * MM, height=40 * MM),
        stock=Stock(material=material, thickness=Thickness(readings=(3 * MM,), measured=False)),
        cut=Cut(kerf=PerAxis(x=x, y=y), scale=PerAxis(x=scale, y=scale)),
        joint=JointAsk(clearance=20_000),
        top=Top(kind="closed"),
    )


def by_controller(job: Job) -> Built:
    return build(job, kerf_by_controller=True, confirmed=True)


def region(rings: Rings) -> shapely.Geometry:
    outer, *holes = [rings.ring(k) / 1e6 for k in range(rings.count)]
    return shapely.Polygon(outer, holes)


def test_clearances_and_insides_are_those_of_one_kerf_cut_by_two() -> None:
    """Kerf 0.16 and 0.24, so 0.20 entered: sides that look along X stay 0.02 proud, along Y 0.02 shy.

    A clearance loses twice what both mates' flanks are proud. The x and z joints have both mates'
    flanks along X, along Y: 0.02 - 0.08 and 0.02 + 0.08. Along y the base shows its Y and the left
    wall its X, which cancel. A panel's inside grows by two shoulders: 0.04 along X, less 0.04 along Y.
    """
    built = by_controller(box(0.16, 0.24))
    built.require()
    wanted = {"length": (-60_000, -60_000), "width": (20_000, 20_000), "height": (100_000, 100_000)}
    for j in built.joints:
        axis = ("length", "width", "height")[built.solution.joints[j.joint].axis]
        assert (j.least, j.greatest) == pytest.approx(wanted[axis], abs=8), axis
    held = {i.axis: i.by_panel for i in built.insides}
    assert set(held[0].values()) == {150_040_000}
    assert held[1] == {
        "bottom": 99_960_000, "top": 99_960_000, "left": 100_040_000, "right": 100_040_000,
    }  # fmt: skip
    assert set(held[2].values()) == {39_960_000}
    (said,) = [w for w in built.warnings if "offsets by one kerf" in w]
    assert "0.200 mm" in said
    assert "0.160 mm" in said
    assert "0.240 mm" in said
    assert "clearances will come out at -0.060 to +0.100 mm (computed), wanted +0.020 mm" in said
    assert "inside is off by -0.040 to +0.040 mm" in said
    # the tightest joint, -0.06 mm, rides on the whole fillet of the wider kerf
    assert built.seat_gap_mm == pytest.approx(0.12)
    data = report(built)
    assert data["inside"]["width"]["as_cut"]["least"] == 99.96
    assert min(j["clearance"]["least"] for j in data["joints"]) == pytest.approx(-0.06, abs=1e-5)


def test_each_part_is_what_shapely_makes_of_offset_and_beam() -> None:
    kx, ky = 0.16, 0.22
    built = by_controller(box(kx, ky))
    for part in built.parts:
        path = region(part.drawn.rings).buffer((kx + ky) / 4, join_style="mitre")
        # a beam of kx by ky is a square one where y is stretched
        square = shapely.affinity.scale(path, 1, kx / ky, origin=(0, 0))
        left = square.buffer(-kx / 2, join_style="mitre")
        left = shapely.affinity.scale(left, 1, ky / kx, origin=(0, 0))
        assert left.symmetric_difference(region(part.as_cut)).area < 1e-3


def test_equal_kerfs_come_out_as_asked_and_nothing_is_said() -> None:
    built = by_controller(box(0.2, 0.2))
    assert built.one_kerf is None
    assert not any("one kerf" in w for w in built.warnings)
    for j in built.joints:
        assert (j.least, j.greatest) == pytest.approx((20_000, 20_000), abs=4)


@pytest.mark.parametrize("scale", [0.98, 1.0, 1.015])
def test_scale_and_two_kerfs_are_still_proved_side_by_side(scale: float) -> None:
    assert by_controller(box(0.15, 0.23, scale=scale)).passed


def test_one_kerf_that_makes_brittle_stock_tight_is_said() -> None:
    built = by_controller(replace(box(0.16, 0.24, material="acrylic")))
    assert any("interference in brittle stock" in w for w in built.warnings)


def test_the_solid_proof_is_of_the_outlines_and_the_step_of_what_comes_out() -> None:
    pytest.importorskip("cadquery")
    proved, step = solid(by_controller(box(0.16, 0.24)))
    assert proved.passed
    assert step
