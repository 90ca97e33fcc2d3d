"""The whole flow: what is built from a job, what is refused, and what the proofs see on the way."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import oracle
import pytest
import shapely
from strategies import box_slabs, slab, tray_slabs

import boxjoint.make
from boxjoint.check.built import Built
from boxjoint.errors import BoxjointError, CannotBeCut, InputError, ProofFailed
from boxjoint.export.panels import all_panels_drawing, panel_drawing
from boxjoint.fit.compensate import Beam, compensate, virtual_cut
from boxjoint.fit.plan import Measured, seat_gap
from boxjoint.geometry.drawing import Layer
from boxjoint.job.figures import Figure
from boxjoint.job.filling import Compartments, Dividers
from boxjoint.job.read import read_job
from boxjoint.job.records import (
    Cut,
    Inside,
    Job,
    JointAsk,
    PerAxis,
    Source,
    Stock,
    Thickness,
    Top,
)
from boxjoint.job.tops import homes_of
from boxjoint.make import build, files, solid, tab_ask
from boxjoint.solve.arrangement import Arrangement

FIXTURES = sorted((Path(__file__).parents[1] / "fixtures" / "jobs").glob("*.toml"))
MM = 1_000_000


def job(**more: object) -> Job:
    given = {
        "title": "Notebook box",
        "unit": "mm",
        "inside": Inside(length=150 * MM, width=100 * MM, height=40 * MM),
        "stock": Stock(
            material="birch plywood", thickness=Thickness(readings=(3 * MM,), measured=False)
        ),
        "cut": Cut(kerf=PerAxis(x=0.16, y=0.2)),
        "joint": JointAsk(clearance=20_000),
        "top": Top(kind="closed"),
    }
    return Job(**(given | more))  # type: ignore[arg-type]


def notes(built: Built) -> str:
    return "\n".join(all_panels_drawing(built).notes)


# what holds ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
def test_every_fixture_is_built_and_proved(path: Path) -> None:
    built = build(read_job(path))
    built.require()
    assert built.passed
    assert [p.panel.name for p in built.parts] == [s.name for s in built.solution.arrangement.slabs]
    # a job speaks of every panel, and of no other
    homes = [set(homes_of(p.panel.name)) & set(built.job.panel_names) for p in built.parts]
    assert all(homes)
    assert set().union(*homes) == set(built.job.panel_names)
    # what is left by the beam, by shapely and by the rings
    for part in built.parts:
        drawn = [part.drawn.rings.ring(k) / 1e6 for k in range(part.drawn.rings.count)]
        kept = oracle.kept_by_beam(
            drawn,
            kerf_x=built.beam.kerf.x,
            kerf_y=built.beam.kerf.y,
            scale_x=built.beam.scale.x,
            scale_y=built.beam.scale.y,
        )
        mine = oracle.region([part.as_cut.ring(k) / 1e6 for k in range(part.as_cut.count)])
        # every side is rounded to a nanometre when it is drawn, and again when it is cut
        assert kept.symmetric_difference(mine).area < 1e-6 * mine.length
        assert kept.geom_type == "Polygon"


def test_files_are_one_drawing_a_panel_all_together_and_two_reports() -> None:
    built = build(job())
    content = files(built)
    names = [f"panels/{n}.{end}" for n in built.job.panel_names for end in ("dxf", "svg")]
    assert set(content) == {*names, "panels.dxf", "panels.svg", "report.json", "report.md"}
    assert all(content.values())
    assert json.loads(content["report.json"])["proofs"]["passed"] is True
    assert files(built) == content  # byte for byte
    assert set(files(built, only="front")) == {"panels/front.dxf", "panels/front.svg"}
    assert files(built, step=b"ISO-10303-21;")["box.step"] == b"ISO-10303-21;"
    assert b"AC1015" in content["panels.dxf"]
    assert b"AC1009" in files(built, dxf="R12")["panels.dxf"]


def test_tabs_are_asked_as_the_job_says() -> None:
    ask = tab_ask(job(joint=JointAsk(segments={"height": 3, "length": 9}, ends="outer")))
    assert ask.counts == {0: 9, 2: 3}
    assert ask.ends == "outer"
    assert tab_ask(job(joint=JointAsk(tab_width=8 * MM))).width == 8 * MM
    assert tab_ask(job()).counts is None


def test_what_the_shop_measured_is_used_and_shown() -> None:
    shop = Measured(
        kerf_x=Figure(value=0.143, source=Source.MEASURED, uncertainty=0.006, readings=12),
        kerf_y=Figure(value=0.217, source=Source.MEASURED, uncertainty=0.006, readings=12),
    )
    built = build(job(cut=Cut()), measured=shop)
    assert built.passed
    assert built.beam.kerf == PerAxis(x=0.143, y=0.217)
    assert built.figures["kerf_x"].standing == "measured, 12 readings, +-0.012 mm (95 %)"
    assert "measured, 12 readings" in notes(built)


def test_the_seat_gap_is_reported_unless_corners_are_relieved() -> None:
    built = build(job())
    assert built.seat_gap_mm == pytest.approx(seat_gap(0.1, 0.02))
    assert 0 < built.seat_gap_mm < 0.1
    relieved = build(job(joint=JointAsk(clearance=20_000, corner_relief=300_000)))
    assert relieved.seat_gap_mm == 0
    assert all(p.relieved.corners for p in relieved.parts)


# the kerf left to a controller --------------------------------------------------------------------


def test_a_controller_gets_clearance_and_proud_but_no_kerf() -> None:
    asked = job(
        cut=Cut(kerf=PerAxis(x=0.2, y=0.2)),
        joint=JointAsk(clearance=60_000, proud=300_000, corner_relief=500_000),
    )
    built = build(asked, kerf_by_controller=True)
    assert built.passed
    assert built.beam == Beam()
    for part in built.parts:
        bare = compensate(part.panel.rings, Beam(), built.plan.allowance())
        assert (part.drawn.rings.xy == bare.rings.xy).all()
        assert part.relieved.corners > 0
    # tips stand out by 0.3 and nothing else
    x0, y0, x1, y1 = built.part("front").drawn.rings.extent
    nominal = built.part("front").panel.size
    assert (x1 - x0, y1 - y0) == (nominal[0] + 600_000, nominal[1] + 600_000)
    said = notes(built)
    assert "kerf applied: no" in said
    assert "full kerf 0.200 mm (7.9 thou)" in said
    assert "half kerf 0.100 mm (3.9 thou)" in said
    assert "kerf applied: yes" in notes(build(asked))


@pytest.mark.parametrize(("x", "y"), [(0.16, 0.18), (0.18, 0.16), (0.16, 0.1701)])
def test_two_kerfs_that_differ_need_a_yes(x: float, y: float) -> None:
    asked = job(cut=Cut(kerf=PerAxis(x=x, y=y)))
    with pytest.raises(InputError, match="a controller offsets by one kerf") as raised:
        build(asked, kerf_by_controller=True)
    assert raised.value.exit_code == 2
    assert f"kerf X {x:.3f} mm" in str(raised.value)
    assert "--yes" in str(raised.value)
    built = build(asked, kerf_by_controller=True, confirmed=True)
    # whoever enters one kerf has to know both
    assert f"{x:.3f} mm" in notes(built)
    assert f"{y:.3f} mm" in notes(built)


@pytest.mark.parametrize(("x", "y"), [(0.16, 0.17), (0.20, 0.19), (0.3, 0.31)])
def test_kerfs_no_more_than_a_hundredth_apart_need_none(x: float, y: float) -> None:
    assert build(job(cut=Cut(kerf=PerAxis(x=x, y=y))), kerf_by_controller=True).passed


# a router -----------------------------------------------------------------------------------------


def test_a_router_gets_nominal_outlines_with_clearance_and_relief() -> None:
    asked = job(cut=Cut(tool=3_175_000), joint=JointAsk(clearance=100_000, segments={"length": 7}))
    built = build(asked)
    assert built.passed
    assert built.beam == Beam()
    front = built.part("front")
    assert front.drawn.rings.extent == (0, 0, *front.panel.size)
    assert front.relieved.corners > 0
    said = notes(built)
    assert "kerf applied: no. Router" in said
    assert "radius 1.5875 mm (0.0625 in) of tool 3.175 mm (0.125 in) (asked)" in said
    assert any("router" in w for w in built.warnings)


def test_a_slot_that_the_cutter_does_not_enter_is_refused() -> None:
    asked = job(cut=Cut(tool=6 * MM), joint=JointAsk(clearance=0, tab_width=5 * MM))
    with pytest.raises(CannotBeCut, match="the cutter does not enter a slot") as raised:
        build(asked)
    assert raised.value.exit_code == 2
    assert "tool 6.000 mm" in str(raised.value)
    assert "slot 4." in str(raised.value) or "slot 5." in str(raised.value)
    # a cutter as wide as the slot goes in
    wide = job(cut=Cut(tool=5 * MM), joint=JointAsk(clearance=0, segments={"length": 9}))
    assert build(wide).passed


# what cannot be cut, and what no proof lets through ------------------------------------------------


def test_a_kerf_that_closes_slots_is_refused_with_the_numbers() -> None:
    asked = job(
        cut=Cut(kerf=PerAxis(x=1.2, y=1.2)),
        joint=JointAsk(clearance=0, segments={"length": 151}),
    )
    with pytest.raises(CannotBeCut, match="the kerf would close a slot or hole") as raised:
        build(asked)
    assert "kerf 1.200 x 1.200 mm" in str(raised.value)
    assert "at x" in str(raised.value)


def test_a_clearance_larger_than_a_tab_is_refused() -> None:
    asked = job(
        cut=Cut(kerf=PerAxis(x=0.1, y=0.1)),
        joint=JointAsk(clearance=900_000, segments={"length": 451}),
    )
    with pytest.raises(CannotBeCut, match="larger than a tab"):
        build(asked)


def test_outlines_drawn_for_another_kerf_fail_on_every_joint_and_inside(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A seeded fault in the compensation: the virtual cut sees it, the exact proof cannot."""

    def wrong(rings: object, beam: Beam, *rest: object, **more: object) -> object:
        half = Beam(kerf=PerAxis(x=beam.kerf.x / 2, y=beam.kerf.y / 2))
        return compensate(rings, half, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(boxjoint.make, "compensate", wrong)
    built = build(job())
    assert built.exact.passed
    assert not built.passed
    assert len([f for f in built.faults if "clearance as cut" in f]) == 12
    assert any("along x: front holds 149.920000 mm, asked 150.000000 mm" in f for f in built.faults)
    with pytest.raises(ProofFailed) as raised:
        built.require()
    assert raised.value.exit_code == 1
    assert raised.value.data["faults"] == built.faults


def test_a_flank_that_the_cut_lost_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    def blunt(rings: object, beam: Beam, **more: object) -> object:
        found = virtual_cut(rings, beam, **more)  # type: ignore[arg-type]
        if more["name"] == "front":
            role = found.role.copy()
            role[np.flatnonzero(role == 3)[0]] = 0
            found = replace(found, role=role)
        return found

    monkeypatch.setattr(boxjoint.make, "virtual_cut", blunt)
    built = build(job())
    assert any("1 flanks face no flank of the mate" in f for f in built.faults)


def test_a_web_under_the_least_is_a_fault_that_says_where() -> None:
    """A raised base leaves a strip below its mortises; the default wants one thickness."""
    walls = dict.fromkeys(("bottom", "front", "back", "left", "right"), 3 * MM)

    def raised_by(below: int, **more: object) -> Built:
        slabs = box_slabs((150 * MM, 100 * MM, 40 * MM), walls, below=below)
        return build(job(**more), arrangement=Arrangement(slabs=tuple(slabs)))

    thin = raised_by(2_500_000)
    assert len([f for f in thin.faults if "web of" in f]) == 4
    fault = next(f for f in thin.faults if f.startswith("front"))
    # the strip less half the mortise's clearance: 2.5 - 0.05
    assert "web of 2.450 mm" in fault
    assert "least 3.000 mm (assumed)" in fault
    assert "[joint] web" in fault
    assert raised_by(4 * MM).passed
    less = JointAsk(clearance=20_000, web=2_400_000)
    assert raised_by(2_500_000, joint=less).passed


def test_an_arrangement_that_is_no_box_is_built_alike() -> None:
    walls = dict.fromkeys(("bottom", "front", "back", "left", "right"), 3 * MM)
    slabs = tray_slabs(3, 2, (40 * MM, 35 * MM, 25 * MM), {**walls, "divider": 3 * MM}, raised=0)
    ask = JointAsk(clearance=20_000, web=0)
    built = build(job(joint=ask), arrangement=Arrangement(slabs=tuple(slabs)))
    assert built.passed
    assert {s.sheet for s in built.sheets} >= {"across 1", "across 2", "along 1"}
    # guests stand off the walls, so that they never push them apart
    assert built.figures["shoulder_relief"].value == 0.1
    assert built.figures["floor_relief"].source is Source.ASSUMED


def test_no_such_box_is_exit_1_and_a_wrong_ask_exit_2() -> None:
    with pytest.raises(BoxjointError) as raised:
        build(job(joint=JointAsk(segments={"length": 8})))
    assert raised.value.exit_code == 2
    # two parallel slabs that overlap
    with pytest.raises(BoxjointError) as refused:
        Arrangement(
            slabs=(
                slab("lower shelf", 2, (0, 0, 0), (MM, MM, 3 * MM)),
                slab("upper shelf", 2, (0, 0, 2 * MM), (MM, MM, 5 * MM)),
            )
        )
    assert refused.value.exit_code == 1


# warnings -----------------------------------------------------------------------------------------


def test_a_joint_where_nothing_interlocks_is_said() -> None:
    flat = job(inside=Inside(length=150 * MM, width=100 * MM, height=7 * MM))
    built = build(flat)
    assert built.passed
    said = [w for w in built.warnings if "nothing interlocks" in w]
    assert len(said) == 1
    for name in ("front-left", "front-right", "back-left", "back-right"):
        assert name in said[0]
    assert "ask for segments along height" in said[0]


def test_asked_tabs_outside_the_usual_are_a_warning_not_a_refusal() -> None:
    built = build(job(joint=JointAsk(clearance=0, segments={"length": 3})))
    assert built.passed
    assert any("asked tabs of 50.00 mm lie outside the usual" in w for w in built.warnings)


def test_corners_without_room_for_a_relief_are_said() -> None:
    ask = JointAsk(clearance=0, corner_relief=4 * MM)
    built = build(job(joint=ask))
    assert any("have no relief of 4.00 mm (0.157 in)" in w for w in built.warnings)


def test_half_a_kerf_and_a_double_one_are_questioned() -> None:
    """Half and full are mixed up most often; against the shop's own kerf, or the usual one."""

    def asked_of(kerf: float, shop: Measured | None = None) -> list[str]:
        built = build(job(cut=Cut(kerf=PerAxis(x=kerf, y=kerf))), measured=shop)
        return [w for w in built.warnings if "[cut] kerf" in w]

    (half,) = asked_of(0.09)
    assert "near half of 0.180 mm (7.1 thou), what is usual" in half
    assert "FULL width" in half and "no source" in half
    (double,) = asked_of(0.36)
    assert "near twice" in double
    for usual in (0.12, 0.15, 0.18, 0.2, 0.25):
        assert asked_of(usual) == []

    def figure(value: float) -> Figure:
        return Figure(value=value, source=Source.MEASURED, uncertainty=0.005, readings=14)

    own = Measured(kerf_x=figure(0.1), kerf_y=figure(0.25))
    found = asked_of(0.12, own)
    assert len(found) == 1 and found[0].startswith("[cut] kerf.y: 0.120 mm")
    assert "near half of 0.250 mm (9.8 thou), what the shop book has measured here" in found[0]
    assert "near twice of" not in asked_of(0.2, own)[0]
    assert "[cut] kerf.x" in asked_of(0.2, own)[0] and "near twice" in asked_of(0.2, own)[0]
    assert asked_of(0.16, own) == []


def test_readings_that_spread_are_said_with_what_it_does() -> None:
    def said(*readings: float, **more: object) -> list[str]:
        sheet = Thickness(readings=tuple(round(r * 1e6) for r in readings), measured=True)
        asked = job(stock=Stock(material="birch plywood", thickness=sheet), **more)
        return [w for w in build(asked).warnings if "thickness readings" in w]

    # a plain box: mates' tips reach through the mean, 3.0
    (plain,) = said(2.9, 3.1, 3.0)
    assert "2.90 mm to 3.10 mm (measured)" in plain
    assert "0.100 mm (3.9 thou) shy or 0.100 mm (3.9 thou) proud" in plain
    assert said(2.97, 3.03) == []
    # a divider stands in slots of 3.0 + 0.1
    dividers = Dividers(length=Compartments(count=2))
    (cheeks,) = said(2.96, 3.04, dividers=dividers)
    assert cheeks.startswith("divider-x1: ")
    assert "thickest place with +0.060 mm (+2.4 thou) and the thinnest with +0.140 mm" in cheeks


def test_rows_of_panels_leave_room_for_the_check_square_in_600_mm() -> None:
    for path in FIXTURES:
        built = build(read_job(path))
        widest = max(p.panel.size[0] for p in built.parts) / 1e6
        assert all_panels_drawing(built).size[0] <= max(490, widest), path.stem


def test_an_unusual_kerf_is_questioned_in_both_units() -> None:
    built = build(job(cut=Cut(kerf=PerAxis(x=0.034, y=0.034))))
    assert any("0.034 mm (1.3 thou)" in w for w in built.warnings)


# drawings -----------------------------------------------------------------------------------------


def test_panels_side_by_side_do_not_touch_and_keep_their_place() -> None:
    built = build(job(joint=JointAsk(clearance=0, proud=500_000)))
    drawing = all_panels_drawing(built)
    shapes = [shapely.Polygon(c.xy) for c in drawing.curves if c.layer is Layer.CUT_OUTER]
    assert len(shapes) == 6
    for i, a in enumerate(shapes):
        for b in shapes[i + 1 :]:
            assert a.distance(b) >= 5
    areas = sorted(round(s.area, 3) for s in shapes)
    assert areas == sorted(round(p.drawn.rings.area / 1e12, 3) for p in built.parts)


def test_holes_are_cut_before_the_outline_that_holds_them() -> None:
    walls = dict.fromkeys(("bottom", "front", "back", "left", "right"), 3 * MM)
    slabs = box_slabs((150 * MM, 100 * MM, 40 * MM), walls, below=9 * MM)
    built = build(job(), arrangement=Arrangement(slabs=tuple(slabs)))
    drawing = panel_drawing(built, built.part("front"))
    layers = [c.layer for c in drawing.curves]
    assert layers.count(Layer.CUT_INNER) == built.part("front").panel.rings.count - 1 > 0
    assert layers[-1] is Layer.CUT_OUTER


@pytest.mark.solid
def test_the_solid_proof_joins_what_was_built() -> None:
    pytest.importorskip("cadquery")
    small = job(inside=Inside(length=50 * MM, width=40 * MM, height=20 * MM))
    said: list[str] = []
    built, step = solid(build(small), progress=lambda stage, done, total: said.append(stage))
    assert built.passed
    assert built.solid is not None
    assert said
    assert step.startswith(b"ISO-10303-21;")
    assert json.loads(files(built, step=step)["report.json"])["proofs"]["solid"]["passed"] is True
