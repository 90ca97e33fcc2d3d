"""What an inside may be on its seats: the budget, by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from boxjoint.export.report import report, report_text
from boxjoint.job.filling import Bottom
from boxjoint.job.records import Cut, Inside, Job, JointAsk, PerAxis, Stock, Thickness, Top
from boxjoint.make import build

MM = 1_000_000


def tray(*readings: int, **more: object) -> Job:
    given: dict[str, object] = {
        "title": "Specimen tray",
        "unit": "mm",
        "inside": Inside(length=150 * MM, width=100 * MM, height=40 * MM),
        "stock": Stock(
            material="birch plywood",
            thickness=Thickness(readings=readings, measured=len(readings) > 1),
        ),
        "cut": Cut(kerf=PerAxis(x=0.2, y=0.2)),
        "joint": JointAsk(clearance=40_000, sheet_clearance=100_000),
        "top": Top(kind="open"),
    }
    return Job(**(given | more))  # type: ignore[arg-type]


def test_the_seat_gap_counts_once_at_each_closed_end() -> None:
    """Kerf 0.2 leaves fillets of 0.1; clearance 0.04 lets the corner in by 0.02: a 3-4-5 triangle, so
    the gap is 0.1 - sqrt(0.1^2 - 0.08^2) = 0.04 mm. Two ends along x and y, one under the open top."""
    assert 0.1 - math.sqrt(0.1**2 - 0.08**2) == pytest.approx(0.04)
    data = report(build(tray(3 * MM)))
    for name, asked, ends in (("length", 150, 2), ("width", 100, 2), ("height", 40, 1)):
        r = data["inside"][name]["range"]
        seat, spread, known = r["budget"]
        # kerf asked +- 0.03, scale assumed +- 2.4 in 1000, edges +- 0.04: twice the root of the squares
        more = 2 * math.sqrt(0.015**2 + (asked * 1.2e-3) ** 2 + 0.02**2)
        assert (known["what"], known["source"]) == ("kerf and scale", "assumed")
        assert (known["least"], known["greatest"]) == pytest.approx((-more, more), abs=1e-5)
        assert "kerf asked, scale assumed" in known["note"]
        assert r["least"] == pytest.approx(asked - more, abs=1e-5)
        assert r["greatest"] == pytest.approx(asked + ends * 0.04 + more, abs=1e-5)
        assert (seat["what"], seat["source"]) == ("seat gap", "computed")
        assert "half the kerf (asked)" in seat["note"]
        assert (spread["what"], spread["least"], spread["greatest"]) == ("thickness spread", 0, 0)


def test_a_raised_base_brings_its_spread_and_its_slots() -> None:
    """Readings 3.9, 4.0, 4.1 in slots of the mean and 0.1: the top face is 0.05 off the middle either
    way, and the sheet moves in its slot by what its reading leaves: 0.2, 0.1, none."""
    raised = tray(3_900_000, 4 * MM, 4_100_000, bottom=Bottom(raised=10 * MM))
    data = report(build(raised))
    r = data["inside"]["height"]["range"]
    seat, spread, slots, known = r["budget"]
    assert seat["greatest"] == 0  # cheeks place the base, no shoulder, and the top is open
    assert (spread["least"], spread["greatest"]) == pytest.approx((-0.05, 0.05), abs=1e-5)
    assert spread["source"] == "measured"
    assert slots["source"] == "computed"
    # slot 4.1: the 4.1 sheet fills it, its top at the upper cheek, 0.05 above where the mean's top is
    # in the middle; the 3.9 sheet lying on the lower cheek has its top 0.15 below
    assert r["least"] == pytest.approx(40 - 0.05 + known["least"], abs=1e-5)
    assert r["greatest"] == pytest.approx(40 + 0.15 + known["greatest"], abs=1e-5)
    one = replace(raised, stock=tray(4 * MM).stock)
    found = report(build(one))["inside"]["height"]["range"]["budget"][1]
    assert (found["least"], found["source"]) == (0, "assumed")


def test_the_report_for_people_names_every_source() -> None:
    text = report_text(build(tray(3 * MM)))
    assert "- length may be 149.637 to 150.443 mm (computed): held 150.000 to 150.000" in text
    assert "kerf and scale -0.363 to +0.363 (assumed: 95 %: kerf asked, scale assumed" in text
    assert "seat gap +0.000 to +0.080 (computed: 2 ends of 0.040 mm" in text
