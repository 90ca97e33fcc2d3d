"""Relief in one side of a corner, and a router's cutter in it, looked at in shapely."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from test_relief import flattened, plain, region

from boxjoint.check.built import Built
from boxjoint.errors import CannotBeCut, InputError
from boxjoint.fit.compensate import compensate
from boxjoint.fit.relief import relieve
from boxjoint.geometry.rings import Role
from boxjoint.job.read import read_job
from boxjoint.job.records import Cut, JointAsk, PerAxis
from boxjoint.make import build

MM = 1_000_000
ROUTER = Path(__file__).parents[1] / "fixtures" / "jobs" / "notebook-box-a5-router.toml"
TOOL = 3.175


@pytest.fixture(scope="module")
def router() -> Built:
    return build(read_job(ROUTER))


def routed(outline: shapely.Geometry) -> shapely.Geometry:
    """What is left of a plate when a round cutter has gone wherever it has room (shapely's buffers)."""
    plate = outline.envelope.buffer(20)
    room = plate.difference(outline).buffer(-TOOL / 2, quad_segs=64)
    return plate.buffer(-5).difference(room.buffer(TOOL / 2, quad_segs=64))


@pytest.mark.parametrize("style", ["diagonal", "side"])
def test_the_cutter_leaves_nothing_where_the_mates_sharp_corners_go(style: str) -> None:
    job = read_job(ROUTER)
    built = build(replace(job, joint=replace(job.joint, corner_style=style)))  # type: ignore[arg-type]
    part = built.part("front")
    assert part.relieved.corners > 0 and part.relieved.left_out == 0
    wanted = plain(part.drawn.rings)  # sharp: where this is not, a mate may be
    arcs = routed(region(part.relieved))
    assert arcs.difference(wanted).area < 1e-3
    # without a relief the cutter leaves a fillet in every one of these corners: (1 - pi/4) r2
    fillets = routed(wanted).difference(wanted).area
    assert fillets == pytest.approx(
        part.relieved.corners * (1 - math.pi / 4) * (TOOL / 2) ** 2, rel=0.02
    )


def test_a_relief_in_a_side_is_half_a_circle_in_the_flank(router: Built) -> None:
    radius = TOOL / 2 + 0.05
    assert router.plan.corner_relief.value == pytest.approx(radius)
    for part in router.parts:
        found = part.relieved
        assert (found.lean != 0).all() and found.deepest == radius
        taken = plain(part.drawn.rings).difference(region(found))
        assert taken.area == pytest.approx(found.corners * math.pi * radius**2 / 2, rel=1e-3)
        # nothing is taken beyond a shoulder, where it would show inside the box
        rings = part.drawn.rings
        for i in np.flatnonzero(rings.role == Role.SHOULDER).tolist():
            a, b = rings.xy[i] / 1e6, rings.ends[i] / 1e6
            behind = np.array([-(b - a)[1], (b - a)[0]]) / np.abs(b - a).sum() * 0.01
            strip = shapely.Polygon([a, b, b + behind, a + behind])
            assert strip.intersection(taken).area < 1e-6


def test_a_beam_of_some_width_leaves_the_same_half_circle(router: Built) -> None:
    """Cut by a round beam: what it leaves passes through the corner as cut, a radius deep."""
    job = replace(router.job, cut=Cut(kerf=PerAxis(x=0.2, y=0.2)))
    job = replace(job, joint=replace(job.joint, corner_relief=1_600_000))
    part = build(job).part("front")
    assert (part.relieved.lean != 0).all()
    left = region(part.relieved).buffer(-0.1, quad_segs=64)
    sharp = plain(part.as_cut)
    taken = sharp.difference(left)
    assert taken.area == pytest.approx(part.relieved.corners * math.pi * 1.6**2 / 2, rel=0.02)
    assert left.difference(sharp).area < 1e-3
    arcs = [b for _, bulge in part.relieved.rings for b in bulge.tolist() if b]
    assert len(arcs) == part.relieved.corners and all(b < 0 for b in arcs)
    assert len(flattened(*part.relieved.rings[0])) > 100


def test_a_side_too_short_for_it_is_relieved_on_the_diagonal(router: Built) -> None:
    panel = router.part("front").panel
    drawn = compensate(panel.rings, router.beam, router.plan.allowance(), name="front")
    found = relieve(drawn, 2.6, style="side")  # the flank is 6.08 mm; 2.5 radii are 6.5
    assert found.corners > 0 and (found.lean == 0).all()


def test_what_the_cutter_cannot_do_is_refused_with_numbers() -> None:
    job = read_job(ROUTER)
    small = replace(job, joint=replace(job.joint, corner_relief=1_000_000))
    with pytest.raises(InputError, match=r"does not enter a relief.*1\.0000 mm.*1\.5875 mm"):
        build(small)
    narrow = replace(job, joint=JointAsk(segments={"length": 77}))
    with pytest.raises((CannotBeCut, InputError), match=r"tool 3\.175 mm|cutter"):
        build(narrow)


def test_reliefs_count_as_bites_of_their_own_depth(router: Built) -> None:
    """A tab whose root two reliefs would take keeps its width: the corner is left out and said."""
    job = replace(router.job, joint=replace(router.job.joint, tab_width=round(5.2 * MM)))
    built = build(job)
    roots = [p.relieved.spared for p in built.parts]
    assert sum(roots) > 0
    assert any("would lose their web, neck or tab" in w for w in built.warnings)
