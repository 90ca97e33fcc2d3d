"""The same box again: from other stock, or one panel of it, and what changes with it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from boxjoint.again import Restocked, kept_counts, recut, restock
from boxjoint.check.as_cut import inside_as_cut, joints_as_cut
from boxjoint.check.built import Built
from boxjoint.errors import BoxjointError, CannotBeCut, InputError
from boxjoint.export.report import report, report_text
from boxjoint.fit.compensate import Beam, virtual_cut
from boxjoint.fit.plan import Measured
from boxjoint.job.figures import Figure
from boxjoint.job.filling import Bottom
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import (
    DIRECTIONS,
    Cut,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    PerAxis,
    Source,
    Stock,
    Thickness,
    Top,
)
from boxjoint.make import build
from boxjoint.solve.box import outside_of
from boxjoint.units import small_size

JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
FIXTURES = sorted(JOBS.glob("*.toml"))
MM = 1_000_000


def thick(*mm: float) -> Thickness:
    return Thickness(readings=tuple(round(t * 1e6) for t in mm), measured=len(mm) > 1)


def job(size: tuple[float, float, float] = (150, 100, 40), t: float = 3, **more: object) -> Job:
    length, width, height = (round(s * 1e6) for s in size)
    given = {
        "title": "Specimen drawer",
        "unit": "mm",
        "inside": Inside(length=length, width=width, height=height),
        "stock": Stock(material="birch plywood", thickness=thick(t)),
        "cut": Cut(kerf=PerAxis(x=0.18, y=0.18)),
        "joint": JointAsk(clearance=20_000),
        "top": Top(kind="closed"),
    }
    return Job(**(given | more))  # type: ignore[arg-type]


def counts(built: Built) -> list[list[int]]:
    return [[r.count for r in t.runs] for t in built.solution.tabs]


def row(result: Restocked, what: str) -> tuple[str, str]:
    return next((c.old, c.new) for c in result.changes if c.what == what)


# restock: the inside held, the counts kept ---------------------------------------------------------


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
@pytest.mark.parametrize("by", [0.93, 1.07])
def test_every_fixture_keeps_inside_and_counts_on_another_sheet(path: Path, by: float) -> None:
    asked = read_job(path)
    new = Thickness(readings=(round(asked.stock.thickness.nm * by),), measured=False)
    result = restock(asked, thickness=new)
    result.new.require()
    assert result.new.job.inside == asked.inside
    changed = {
        joint.kind
        for joint, a, b in zip(
            result.new.solution.joints, counts(result.old), counts(result.new), strict=True
        )
        if a != b
    }
    # where joints along one direction differ, as those of a case and its drawers do, no job can ask
    # for their counts; then it is said
    said = any(note.startswith("counts that could not be kept") for note in result.notes)
    assert ("finger" in changed) == said
    assert ("mortise" in changed) == any("tabs in mortises" in note for note in result.notes)
    assert result.new.job.stock.thickness == new
    # a panel's own thickness is its own
    for name, panel in asked.panels.items():
        if panel.thickness is not None:
            assert result.new.job.thickness(name) == panel.thickness
    # what is written builds the same box
    again = build(parse_job(result.job_text, asked.path, proceed=True))
    assert again.job == result.new.job
    for a, b in zip(again.parts, result.new.parts, strict=True):
        assert (a.drawn.rings.xy == b.drawn.rings.xy).all()


def test_the_rule_alone_would_have_changed_the_counts() -> None:
    asked = job(t=3)
    kept = restock(asked, thickness=thick(5))
    again = restock(asked, thickness=thick(5), recount=True)
    assert counts(kept.new) == counts(kept.old)
    assert counts(again.new) == counts(build(job(t=5)))
    assert counts(again.new) != counts(again.old)
    assert all(max(n) < max(o) for n, o in zip(counts(again.new), counts(again.old), strict=True))
    assert again.new.job.joint.segments == {}
    assert kept.new.job.joint.segments == kept_counts(kept.old)


def test_asked_widths_become_the_counts_they_gave() -> None:
    asked = read_job(JOBS / "slide-tray.toml")
    assert asked.joint.tab_width is not None
    result = restock(asked, thickness=thick(3.3))
    assert result.new.job.joint.tab_width is None
    assert result.new.job.joint.segments == kept_counts(result.old)
    assert "tab_width" not in result.job_text
    assert "# caliper readings" in result.job_text  # the maker's own comments stay
    assert "segments" in result.job_text


def test_the_table_says_old_against_new() -> None:
    result = restock(job(t=3), thickness=thick(4))
    assert row(result, "inside length") == ("150.00 mm (5.906 in)",) * 2
    assert row(result, "outside length") == ("156.00 mm (6.142 in)", "158.00 mm (6.220 in)")
    assert row(result, "outside height") == ("46.00 mm (1.811 in)", "48.00 mm (1.890 in)")
    assert row(result, "front thickness") == ("3.00 mm (0.118 in)", "4.00 mm (0.157 in)")
    assert row(result, "left size") == (
        "106.00 x 46.00 mm (4.173 x 1.811 in)",
        "108.00 x 48.00 mm (4.252 x 1.890 in)",
    )
    # segments divide the inside: the same count of the same inside is as wide
    for kind in ("segments", "segment width"):
        old, new = row(result, f"bottom-front {kind}")
        assert old == new
    cut = [sum(p.cut_length_mm for p in b.parts) for b in (result.old, result.new)]
    assert row(result, "cut length") == (f"{cut[0]:.0f} mm", f"{cut[1]:.0f} mm")
    areas = [sum(p.panel.rings.area for p in b.parts) / 1e14 for b in (result.old, result.new)]
    assert row(result, "area") == (f"{areas[0]:.1f} cm2", f"{areas[1]:.1f} cm2")
    assert areas[1] > areas[0]
    inch = restock(replace(job(t=3), unit="in"), thickness=thick(4))
    assert row(inch, "inside length")[0] == "5.9055 in (150.00 mm)"  # 150 / 25.4 = 5.90551...
    assert row(inch, "cut length")[0].endswith(f" in ({cut[0]:.0f} mm)")
    assert row(inch, "area")[0].endswith(f" in2 ({areas[0]:.1f} cm2)")
    assert " in (" in row(inch, "bottom-front segment width")[0]


def test_counts_that_were_kept_are_never_called_asked() -> None:
    asked = read_job(JOBS / "slide-tray.toml")  # asks for a width, so all its counts are kept
    result = restock(asked, thickness=thick(3.2, 3.24))
    sources = {c.what: c.source for c in result.changes}
    assert {sources[n] for n in sources if n.endswith("segments")} == {"kept"}
    assert (sources["inside length"], sources["front thickness"]) == ("asked", "measured")
    assert (sources["bottom thickness"], sources["outside length"]) == ("asked", "computed")
    text = report_text(result.new)
    assert "kept: 29 along length" in text and "asked: 29" not in text
    whys = {r["why"] for j in report(result.new)["joints"] for r in j["runs"]}
    assert whys == {"kept: 29 along length", "kept: 11 along width", "kept: 5 along height"}
    # a width beyond the usual is a kept one, too
    wide = restock(job(joint=JointAsk(tab_width=13_300_000)), thickness=thick(3.1))
    assert any("kept tabs of" in w and "lie outside" in w for w in wide.new.warnings)
    assert not any("asked tabs" in w for w in wide.new.warnings)
    # what the job itself asks for stays asked
    own = restock(job(joint=JointAsk(segments={"length": 7})), thickness=thick(3.1))
    by_axis = {c.axis: c.source for c in own.changes if c.kind == "segments"}
    assert by_axis == {"x": "asked", "y": "kept", "z": "kept"}


def test_one_panel_of_another_sheet_leaves_the_others_as_they_are() -> None:
    result = restock(job(t=3), panels={"bottom": thick(6.1, 6.15)})
    assert result.new.job.thickness("bottom").nm == 6_125_000
    assert result.new.job.thickness("front").nm == 3_000_000
    assert row(result, "outside height") == ("46.00 mm (1.811 in)", "49.125 mm (1.934 in)")
    assert row(result, "outside length")[0] == row(result, "outside length")[1]
    assert "[panels.bottom]\nthickness = [6.1, 6.15]" in result.job_text


def test_stock_and_panels_together() -> None:
    own = job(t=3, panels={"bottom": PanelAsk(thickness=thick(6), material="oak")})
    result = restock(own, thickness=thick(3.2), panels={"left": thick(4)})
    found = {p.panel.name: p.panel.slab.thickness / 1e6 for p in result.new.parts}
    assert found == {
        "bottom": 6.0,
        "top": 3.2,
        "front": 3.2,
        "back": 3.2,
        "left": 4.0,
        "right": 3.2,
    }
    assert result.new.job.material("bottom") == "oak"


# restock: the outside held ------------------------------------------------------------------------


def test_the_outside_held_takes_it_from_the_inside() -> None:
    asked = job(t=3)
    result = restock(asked, thickness=thick(4.5), hold="outside")
    outside = [outside_of(b.solution.arrangement).size for b in (result.old, result.new)]
    assert outside[0] == outside[1] == (156 * MM, 106 * MM, 46 * MM)
    assert result.new.job.inside.xyz == (147 * MM, 97 * MM, 37 * MM)
    assert counts(result.new) == counts(result.old)
    assert row(result, "inside height") == ("40.00 mm (1.575 in)", "37.00 mm (1.457 in)")
    assert parse_job(result.job_text, "job.toml").inside == result.new.job.inside


def test_an_open_box_holds_its_outside_to_the_rim() -> None:
    tray = job(t=3, top=Top(kind="open"))
    result = restock(tray, thickness=thick(5), hold="outside")
    assert result.new.job.inside.height == 38 * MM


def test_an_outside_with_nothing_left_inside_is_refused() -> None:
    small = job((20, 20, 20), t=3)
    with pytest.raises(InputError, match="nothing is left of the inside") as raised:
        restock(small, thickness=thick(13), hold="outside")
    assert raised.value.exit_code == 2
    assert raised.value.where == "--hold outside"
    assert "26.00 mm" in str(raised.value)


# restock: what it refuses and says ----------------------------------------------------------------


def test_no_new_thickness_is_refused() -> None:
    with pytest.raises(InputError, match="restock needs a new thickness"):
        restock(job())


def test_an_unknown_panel_suggests_the_nearest() -> None:
    with pytest.raises(InputError, match=r"(?i)did you mean 'bottom'\?") as raised:
        restock(job(), panels={"botom": thick(4)})
    assert raised.value.exit_code == 2
    with pytest.raises(InputError, match="no panel of that name"):
        restock(job(top=Top(kind="open")), panels={"top": thick(4)})


def test_tabs_that_would_vanish_are_refused() -> None:
    """The outside held by sheets so thick that kept counts leave tabs narrower than the clearance."""
    loose = job((40, 40, 40), t=3, joint=JointAsk(clearance=200_000, segments={"length": 81}))
    assert build(loose).passed
    with pytest.raises(CannotBeCut, match=r"close a slot|larger than a tab"):
        restock(loose, thickness=thick(20), hold="outside")


def test_a_count_that_cannot_be_kept_is_said_and_the_others_are_kept() -> None:
    """Outer ends lose their end tab in a corner as wide as themselves: that count alone gives way."""
    outer = job((150, 100, 60), t=3, joint=JointAsk(clearance=0, ends="outer"))
    result = restock(outer, thickness=thick(12))
    result.new.require()
    lost = [n for n in result.notes if "cannot be kept" in n]
    assert lost
    for note in lost:
        direction = next(d for d in DIRECTIONS if f"along {d}" in note)
        assert direction not in result.new.job.joint.segments
    for direction, n in result.new.job.joint.segments.items():
        assert kept_counts(result.old)[direction] == n


def test_tabs_where_none_were_are_said() -> None:
    """A run of one segment has no count that could be kept; thinner stock may interlock."""
    flat = job((150, 100, 13), t=5)
    result = restock(flat, thickness=thick(4))
    assert "height" not in kept_counts(result.old)
    assert any("along height" in n and "front-left" in n for n in result.notes)
    assert not any("along height" in n for n in restock(flat, thickness=thick(5.1)).notes)


def test_a_kerf_of_another_thickness_is_said() -> None:
    result = restock(job(t=3), thickness=thick(3.4))
    assert any(
        "kerf in use was given for a sheet of 3.00 mm; this one is 3.40 mm" in n
        for n in result.notes
    )
    # nothing was measured, so there is nothing to doubt; nor with a router, or the same sheet
    assert restock(job(t=3, cut=Cut()), thickness=thick(3.4)).notes == ()
    router = job(t=3, cut=Cut(tool=3 * MM), joint=JointAsk(clearance=0, tab_width=12 * MM))
    assert restock(router, thickness=thick(3.4)).notes == ()
    assert restock(job(t=3), thickness=thick(3)).notes == ()


def test_what_the_shop_measured_goes_into_both() -> None:
    shop = Measured(
        kerf_x=Figure(value=0.143, source=Source.MEASURED, readings=12),
        kerf_y=Figure(value=0.217, source=Source.MEASURED, readings=12),
    )
    result = restock(job(t=3, cut=Cut()), thickness=thick(3.4), measured=shop)
    assert result.old.beam.kerf == result.new.beam.kerf == PerAxis(x=0.143, y=0.217)
    assert any("cut a gauge from the new sheet" in n for n in result.notes)


def test_options_over_the_file_are_written_into_the_new_file() -> None:
    """A kerf, a fit or a clearance from the command line is in what is cut, so it is in the file."""
    asked = read_job(JOBS / "slide-tray.toml")
    changed = replace(
        asked,
        cut=replace(asked.cut, kerf=PerAxis(x=0.2, y=0.22)),
        joint=replace(asked.joint, clearance=None, fit="slip"),
    )
    result = restock(changed, thickness=thick(3.3))
    written = parse_job(result.job_text, "job.toml")
    assert written == result.new.job
    assert written.cut.kerf == PerAxis(x=0.2, y=0.22)
    assert (written.joint.fit, written.joint.clearance) == ("slip", None)
    assert result.new.job.text == result.job_text
    assert "# FULL width" in result.job_text


# recut: one panel that mates with those already cut ------------------------------------------------


def mixed(old: Built, new: Built, panel: str, old_beam: Beam, new_beam: Beam) -> list[object]:
    """Rings as cut: one panel by today's beam, its mates by the beam of then."""
    return [
        virtual_cut(
            (new if p.panel.name == panel else old).part(p.panel.name).drawn.rings,
            new_beam if p.panel.name == panel else old_beam,
        )
        for p in old.parts
    ]


@pytest.mark.parametrize("panel", ["front", "bottom", "left"])
def test_a_panel_recut_with_another_kerf_mates_with_the_old_ones(panel: str) -> None:
    then = job(cut=Cut(kerf=PerAxis(x=0.16, y=0.20)), joint=JointAsk(clearance=30_000))
    today = replace(then, cut=Cut(kerf=PerAxis(x=0.24, y=0.27)))
    old = build(then)
    new, notes = recut(today, panel)
    new.require()
    assert notes == ()
    rings = mixed(old, new, panel, old.beam, new.beam)
    for found in joints_as_cut(old.solution, rings):  # type: ignore[arg-type]
        assert found.unmatched == 0
        assert found.least == pytest.approx(30_000, abs=4)
        assert found.greatest == pytest.approx(30_000, abs=4)
    for block in old.solution.arrangement.insides:
        for inside in inside_as_cut(old.solution, block, rings):  # type: ignore[arg-type]
            assert inside.least == pytest.approx(inside.asked, abs=2)
    # cut with today's beam from yesterday's drawing, it would not have mated
    wrong = mixed(old, old, panel, old.beam, new.beam)
    off = [
        abs(f.greatest - 30_000)
        for f in joints_as_cut(old.solution, wrong)  # type: ignore[arg-type]
        if panel in old.solution.joint_name(f.joint).split("-")
    ]
    assert min(off) > 50_000


def test_a_panel_recut_from_a_thicker_sheet_keeps_the_segments_of_its_mates() -> None:
    then = job(t=3)
    old = build(then)
    new, notes = recut(then, "front", thickness=thick(4.6))
    assert counts(new) == counts(old)
    assert new.part("front").panel.slab.thickness == 4_600_000
    assert new.job.inside == then.inside
    (note,) = notes
    assert "the mates were cut for 3.00 mm" in note
    assert "1.60 mm shy of the new front's face" in note
    _, thinner = recut(then, "front", thickness=thick(2.5))
    assert "0.50 mm proud of the new front's face" in thinner[0]
    # along the length its outline is that of the old one: divisions, corners and all
    a, b = (x.part("front").panel for x in (old, new))
    assert a.size == b.size
    assert (a.rings.xy == b.rings.xy).all()
    rings = mixed(old, new, "front", old.beam, new.beam)
    for found in joints_as_cut(old.solution, rings):  # type: ignore[arg-type]
        assert found.least == pytest.approx(20_000, abs=4)


def test_the_rule_would_have_broken_the_mating() -> None:
    """Seeded: with counts of its own, a thicker sheet would not mate. Recut must keep them."""
    then = job(t=3)
    other = build(replace(then, panels={"front": PanelAsk(thickness=thick(9))}))
    assert counts(other) != counts(build(then))
    new, _ = recut(then, "front", thickness=thick(9))
    assert counts(new) == counts(build(then))


@pytest.mark.parametrize("mm", [2.5, 4.6, 20])
def test_outer_ends_stay_where_the_mates_have_them(mm: float) -> None:
    """The corner grows with the front's sheet, but divisions that are cut already do not move."""
    then = job(t=3, joint=JointAsk(clearance=20_000, tab_width=12 * MM, ends="outer"))
    old = build(then)
    new, _ = recut(then, "front", thickness=thick(mm))
    new.require()
    a, b = (x.part("front").panel for x in (old, new))
    assert (a.rings.xy == b.rings.xy).all()
    for was, now in zip(old.solution.tabs, new.solution.tabs, strict=True):
        assert (was.lo[1:] == now.lo[1:]).all()  # the first begins at a corner
    rings = mixed(old, new, "front", old.beam, new.beam)
    for found in joints_as_cut(old.solution, rings):  # type: ignore[arg-type]
        assert found.unmatched == 0
        assert found.least == found.greatest == pytest.approx(20_000, abs=4)


def test_a_sheet_of_another_thickness_is_refused_where_mortises_wait_for_it() -> None:
    raised = replace(job(t=3), bottom=Bottom(raised=10 * MM))
    with pytest.raises(InputError, match="slots that are cut already") as raised_error:
        recut(raised, "bottom", thickness=thick(4))
    assert "front" in raised_error.value.limit
    assert "restock" in raised_error.value.do
    recut(raised, "bottom", thickness=thick(3))
    recut(raised, "front", thickness=thick(4))  # nobody has a slot for the front


@pytest.mark.parametrize("wanted", [0.2, -0.04])
def test_recut_with_another_clearance_says_that_half_of_the_change_arrives(wanted: float) -> None:
    """The number said is what the virtual cut of the new panel and of the old mates finds."""
    asked = read_job(JOBS / "slide-tray.toml")
    old = build(asked)  # clearance -0.05
    changed = replace(asked, joint=replace(asked.joint, clearance=round(wanted * 1e6)))
    built, notes = recut(changed, "front")
    (note,) = notes
    mixed = [
        (built if p.panel.name == "front" else old).part(p.panel.name).as_cut for p in old.parts
    ]
    found = joints_as_cut(old.solution, mixed)
    index = next(i for i, p in enumerate(old.solution.panels) if p.name == "front")
    got = {
        round(f.least / 1e6, 6)
        for j, f in zip(old.solution.joints, found, strict=True)
        if index in (j.a, j.b)
    }
    assert sorted(got) == pytest.approx([(wanted - 0.05) / 2] * len(got), abs=4e-6)
    assert f"they get {small_size((wanted - 0.05) / 2, sign=True)} (computed)" in note
    assert f"not {small_size(wanted, sign=True)}" in note
    # with the clearance that it names, the joints get what was wanted
    (again,) = (float(w) for w in re.findall(r"--clearance (\S+)mm", note))
    assert (again - 0.05) / 2 == pytest.approx(wanted, abs=1e-6)
    assert recut(asked, "front")[1] == ()


def test_recut_refuses_an_unknown_panel() -> None:
    with pytest.raises(InputError, match=r"(?i)did you mean 'front'\?") as raised:
        recut(job(), "frnt")
    assert raised.value.where == "--panel"
    with pytest.raises(BoxjointError, match="no panel of that name"):
        recut(job(top=Top(kind="open")), "top")
