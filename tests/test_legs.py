"""Legs of a raised base: what is cut away between them, judged by shapely; what cannot be is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from boxjoint.errors import InputError, JobError
from boxjoint.job.read import parse_job, read_job
from boxjoint.make import build

MM = 1_000_000
FIXTURE = Path(__file__).parents[1] / "fixtures" / "jobs" / "specimen-tray-legs.toml"


def changed(old: str, new: str) -> str:
    text = FIXTURE.read_text(encoding="utf-8")
    assert old in text
    return text.replace(old, new)


def test_walls_stand_on_legs_of_the_width_asked_and_keep_their_web() -> None:
    built = build(read_job(FIXTURE))
    assert built.passed
    for name in ("front", "back", "left", "right"):
        part = built.part(name)
        (hole,) = [h for h in part.holes if h.placed.kind == "space between legs"]
        cut = hole.as_cut
        outline, *mortises = (shapely.Polygon(r / MM) for r in part.as_cut.corners_only())
        radius = cut.diameter / 2 / MM
        (x0, y0), (x1, y1) = ((v / MM for v in p) for p in (cut.lo, cut.hi))
        # a rectangle whose upper corners are round: boxes and two discs (plane geometry)
        discs = [
            shapely.Point(x, y1 - radius).buffer(radius, 256) for x in (x0 + radius, x1 - radius)
        ]
        space = shapely.union_all(
            [
                shapely.box(x0, y0 - 1, x1, y1 - radius),
                shapely.box(x0 + radius, y0 - 1, x1 - radius, y1),
                *discs,
            ]
        )
        left = outline.difference(space)
        # what stands on the bench: two feet, each as wide as was asked
        line = left.intersection(shapely.LineString([(-5, 0.001), (1000, 0.001)]))
        feet = sorted(np.round([g.length for g in line.geoms], 3))
        tips = [32.0, 32.0]
        assert feet == pytest.approx(tips, abs=4.1)  # corner tabs may stand out by a thickness
        assert left.geom_type == "Polygon"
        gap = min(space.distance(m) for m in mortises)
        assert gap == pytest.approx(hole.web.width / MM, abs=0.002)
        assert gap >= built.plan.web.value - 1e-6


def test_legs_follow_the_sheet() -> None:
    # a thicker sheet: the web grows with it, and so less is cut away
    thin, thick = (build(parse_job(changed("[4.02, 3.96, 4.05]", t))) for t in ("[3.0]", "[5.0]"))
    heights = [b.part("front").holes[0].placed.hole.size[1] / MM for b in (thin, thick)]
    assert heights == pytest.approx([24 - 3 - 0.3, 24 - 5 - 0.3])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("raised = 24\n", "", "only a raised base has legs"),
        ("raised = 24", "raised = 6", "no height is left between the legs of front"),
        ("legs = 32", "legs = 140", "the legs of front take all its length"),
        ("legs = 32", "legs = 4", "too near|over the joint"),
        ("legs = 32", "legs = -3", "legs"),
        ("legs = 32", 'legs = "wide"', "width of the legs"),
    ],
)
def test_legs_that_cannot_be_are_refused(old: str, new: str, said: str) -> None:
    with pytest.raises((InputError, JobError), match=said):
        build(parse_job(changed(old, new)))
