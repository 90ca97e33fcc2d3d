"""What is scored on panels and waste: inside the part, clear of its sides, and the same on both mates."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely
from test_order import MM, order_of, tray

from boxjoint.geometry.drawing import Label, Layer
from boxjoint.geometry.strokes import label_strokes
from boxjoint.job.read import parse_job, read_job
from boxjoint.order.labels import LEAST_HEIGHT_MM, Marker, joint_letters
from boxjoint.order.lay import lay
from boxjoint.order.records import Laid

JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"


def parts_and_marks(found: Laid) -> list[tuple[shapely.Polygon, list[np.ndarray]]]:
    """Every part as cut, at its place, by shapely; and the marks that lie on it."""
    out = []
    for sheet in found.sheets:
        for copy in sheet.copies:
            rings = copy.piece.drawn.rings
            loops = [(rings.ring(k) + np.array(copy.shift)) / 1e6 for k in range(rings.count)]
            part = shapely.Polygon(loops[0], loops[1:])
            on = [m.xy for m in sheet.marks if part.intersects(shapely.LineString(m.xy))]
            out.append((part, on))
    return out


@pytest.mark.parametrize("name", ["slide-tray", "specimen-case-six-drawers", "cube-20"])
def test_marks_lie_on_their_part_clear_of_every_side(name: str) -> None:
    found = lay(order_of(read_job(JOBS / f"{name}.toml")), sizes=[(600 * MM, 400 * MM)], level=0)
    marked = 0
    for part, marks in parts_and_marks(found):
        for xy in marks:
            line = shapely.LineString(xy)
            assert part.contains(line)
            # 1 mm is kept from the side as cut, which lies half a kerf inside the drawn one
            assert part.exterior.distance(line) > 0.99
            marked += 1
    assert marked > 20


def test_letters_pair_and_restart_in_every_body() -> None:
    found = lay(
        order_of(read_job(JOBS / "specimen-case-six-drawers.toml")),
        sizes=[(600 * MM, 400 * MM)],
        level=0,
    )
    built = found.built[0]
    letters = joint_letters(built)
    assert len(letters) == len(built.solution.joints)
    names = [p.name for p in built.solution.panels]
    for drawer in ("drawer-1-", "drawer-6-"):
        own = [
            letters[j.index]
            for j in built.solution.joints
            if names[j.a].startswith(drawer) and names[j.b].startswith(drawer)
        ]
        assert sorted(own) == [chr(ord("A") + k) for k in range(len(own))]
    seen = Counter(
        (names[slab].rsplit("-", 1)[0], letters[j.index])
        for j in built.solution.joints
        for slab in (j.a, j.b)
        if names[slab].startswith("drawer-3-")
    )
    assert set(seen.values()) == {2}


def test_no_letter_is_lower_than_can_be_read() -> None:
    """At least 2.5 mm: common practice, no source (2 to 2.8 mm is the range that is stated)."""
    found = lay(order_of(tray()), sizes=[(300 * MM, 200 * MM)], level=0)
    strokes = label_strokes(Label(layer=Layer.MARK, at=(0, 0), text="H", height=LEAST_HEIGHT_MM))
    least = float(np.ptp(np.concatenate(strokes)[:, 1]))
    assert least == pytest.approx(2.5)
    tall = [np.ptp(m.xy, axis=0).max() for m in found.sheets[0].marks]
    assert max(tall) >= least


def test_nothing_is_scored_on_the_face_that_shows_or_when_it_is_not_wanted() -> None:
    outside = lay(
        order_of(tray('[nest]\nface = "outside"\n')), sizes=[(300 * MM, 200 * MM)], level=0
    )
    marks = [m.xy for s in outside.sheets for m in s.marks]
    for part, on in parts_and_marks(outside):
        assert not on, part
    assert marks  # the line on the waste
    assert any("outside, which shows" in n for n in outside.notes)
    none = lay(order_of(tray("[nest]\nlabels = false\n")), sizes=[(300 * MM, 200 * MM)], level=0)
    assert not any(s.marks for s in none.sheets)


def test_what_finds_no_room_is_said() -> None:
    job = parse_job(
        'title = "Pill"\nunit = "mm"\n[inside]\nlength = 14\nwidth = 14\nheight = 8\n'
        '[stock]\nmaterial = "birch plywood"\nthickness = 3\n[cut]\nkerf = 0.16\n'
    )
    found = lay(order_of(job), sizes=[(300 * MM, 200 * MM)], level=0)
    assert any("no room to score" in n for n in found.notes)
    assert Marker({}).missing == {}


def test_the_line_on_the_waste_has_title_thickness_kerf_and_date() -> None:
    found = lay(order_of(tray()), sizes=[(500 * MM, 300 * MM)], level=0, date="2026-03-01")
    plain = lay(order_of(tray()), sizes=[(500 * MM, 300 * MM)], level=0)
    assert len(found.sheets[0].marks) > len(plain.sheets[0].marks)
    x, y, w, h = (v / 1e6 for v in found.sheets[0].nested.remains[0])
    waste = shapely.box(x, y, x + w, y + h)
    assert any(waste.contains(shapely.LineString(m.xy)) for m in found.sheets[0].marks)
