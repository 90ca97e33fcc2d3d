"""Tops: what is made, what stays free, and that every lid comes off."""

from __future__ import annotations

import csv
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from strategies import lidded_jobs, slab

from boxjoint.check.built import Built
from boxjoint.errors import ArrangementError, InputError, JobError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import Job, PanelAsk, Source, Thickness
from boxjoint.job.tops import Stack, Top, homes_of, is_further_panel
from boxjoint.make import build, files, solid
from boxjoint.solve.arrangement import Arrangement, Body
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.clearances import clearance_figures
from boxjoint.units import to_nm

ROOT = Path(__file__).parents[1]
MM = 1_000_000
JOBS = ROOT / "fixtures" / "jobs"

TEXT = """
unit = "mm"
[inside]
length = 120
width = 80
height = 45
[stock]
material = "birch plywood"
thickness = [3.0, 3.1, 2.9]
[cut]
kerf = 0.18
[top]
kind = "open"
"""


def job(kind: str, more: str = "") -> Job:
    return parse_job(TEXT.replace('"open"', f'"{kind}"\n{more}'))


def boxes(made: Arrangement) -> dict[str, Cuboid]:
    return {s.name: s.box for s in made.slabs}


def struck(made: Arrangement, body: Body) -> list[tuple[str, str]]:
    """What a body strikes on its way out, by stepping its slabs and looking; apart from the solver.

    Everything lies on faces of slabs, so it is enough to look half-way between and at every place
    where a face of one passes a face of another.
    """
    if body.out is None:
        return []
    axis, sense = body.out
    own = [s.box for s in made.slabs if s.name in body.slabs]
    later = {n for b in made.bodies[made.bodies.index(body) + 1 :] for n in b.slabs}
    others = [s for s in made.slabs if s.name not in body.slabs and s.name not in later]
    marks = {0}
    for box in own:
        for other in others:
            for a in box.span(axis):
                for b in other.box.span(axis):
                    if (b - a) * sense > 0:
                        marks.add(abs(b - a))
    places = sorted(marks)
    places += [(a + b) // 2 for a, b in pairwise(places)]
    found = []
    for step in places:
        by = [0, 0, 0]
        by[axis] = sense * step
        for box in own:
            lo, hi = ([p[k] + by[k] for k in range(3)] for p in (box.lo, box.hi))
            here = Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))
            found += [(body.name, s.name) for s in others if here.common(s.box) is not None]
    return found


def free(made: Arrangement) -> bool:
    return not any(struck(made, body) for body in made.bodies)


# each kind ----------------------------------------------------------------------------------------


def test_a_lip_closes_the_compartments_that_lie_wholly_under_it() -> None:
    # found at random: loose dividers as high as the inside, three by three; the middle one is closed
    text = """unit = "mm"
inside = { length = 200, width = 120, height = 60 }
stock = { material = "birch plywood", thickness = 3 }
cut = { kerf = 0.2 }
top = { kind = "lift-off" }
[dividers]
fixing = "loose"
[dividers.length]
compartments = 3
[dividers.width]
compartments = 3
"""
    for fixing in ("loose", "tabbed"):
        built = build(parse_job(text.replace("loose", fixing)))
        assert built.passed, fixing
        blocks = {b.name: b.open for b in built.solution.arrangement.insides}
        assert blocks["compartment 2-2"] == () and blocks["compartment 1-1"] == ((2, 1),)


def test_a_lift_off_lid_covers_the_outside_and_its_lip_keeps_the_clearance() -> None:
    asked = job("lift-off", "clearance = 0.25")
    asked = replace(asked, stock=replace(asked.stock, film=40_000))
    made = job_arrangement(asked)
    at = boxes(made)
    # 0.25 mm and film on both faces
    air = 250_000 + 2 * 40_000
    assert at["lip"].lo == (air, air, 45 * MM)
    assert at["lip"].hi == (120 * MM - air, 80 * MM - air, 48 * MM)
    assert at["lid"].lo == (-3 * MM, -3 * MM, 48 * MM)
    assert at["lid"].hi == (123 * MM, 83 * MM, 51 * MM)
    # the walls stand above the inside by the lip, which leaves it as asked
    assert {at[w].hi[2] for w in ("front", "back", "left", "right")} == {48 * MM}
    assert made.bodies[1] == Body(
        name="lid", slabs=("lid", "lip"), glued=(("lip", "lid"),), out=(2, 1)
    )
    assert free(made)


def test_a_rim_goes_over_the_outside_at_the_thickest_reading() -> None:
    made = job_arrangement(job("rim", "depth = 20"))
    at = boxes(made)
    air = 300_000 + 100_000  # the starting value, and the thickest reading less the mean
    assert at["lid-left"].hi[0] == -3 * MM - air
    assert at["lid-right"].lo[0] == 123 * MM + air
    assert at["lid-front"].hi[1] == -3 * MM - air
    assert at["lid-top"].lo[2] == 45 * MM
    assert at["lid-left"].span(2) == (25 * MM, 48 * MM)
    assert free(made)


def test_a_box_cut_through_keeps_its_inside_and_both_halves_are_jointed() -> None:
    built = build(job("cut-through", "depth = 15"))
    built.require()
    at = boxes(built.solution.arrangement)
    assert at["front"].hi[2] == at["lid-front"].lo[2] == 30 * MM
    height = built.inside_along(2)
    assert height is not None
    assert set(height.by_panel) == {
        "front + lid-front", "back + lid-back", "left + lid-left", "right + lid-right"
    }  # fmt: skip
    assert abs(height.least - 45 * MM) <= 4
    pairs = {built.solution.joint_name(j.index) for j in built.solution.joints}
    assert {"lid-top-lid-front", "lid-front-lid-left", "bottom-front", "front-left"} <= pairs
    assert free(built.solution.arrangement)


def test_a_lip_in_a_box_cut_through_is_a_frame_that_reaches_into_the_lid() -> None:
    built = build(job("cut-through", "depth = 15\nlip = 6"))
    built.require()
    made = built.solution.arrangement
    at = boxes(made)
    assert at["lip-left"].span(2) == (0, 36 * MM)
    assert at["lip-left"].hi[0] == 0  # the inside asked for is within the frame
    assert at["left"].hi[0] == -3 * MM - 300_000
    for axis, size in enumerate((120, 80, 45)):
        along = built.inside_along(axis)
        assert along is not None
        assert abs(along.least - size * MM) <= 4
    assert [b.name for b in made.bodies] == ["box", "lip", "lid"]
    assert free(made)


def test_a_sliding_lid_runs_between_rails_under_keepers() -> None:
    made = job_arrangement(job("sliding", "clearance = 0.4\ngap = 0.2"))
    at = boxes(made)
    lid = at["lid"]
    assert lid.lo[2] == at["front"].hi[2] == 45 * MM
    # the thinnest wall brings the rails nearer by 0.1 mm; the thickest lid needs 0.1 mm more
    assert lid.lo[0] - at["rail-left"].hi[0] == 400_000 + 100_000
    assert at["keeper-left"].lo[2] - lid.hi[2] == 200_000 + 100_000
    assert at["keeper-left"].hi[0] <= 0 and at["keeper-right"].lo[0] >= 120 * MM
    assert at["rail-back"].lo[1] == lid.hi[1]
    assert made.bodies[1].out == (1, -1)
    assert free(made)


def test_what_is_glued_is_one_body() -> None:
    made = job_arrangement(job("sliding"))
    assert {pair[0] for pair in made.bodies[0].glued} == {
        "rail-left", "rail-right", "rail-back", "keeper-left", "keeper-right"
    }  # fmt: skip


# clearances and stock -----------------------------------------------------------------------------


def test_clearances_are_assumed_until_asked() -> None:
    """Starting values lie in the usual ranges: common practice, no source."""
    for kind, name, low, high in [
        ("lift-off", "lid_clearance", 0.2, 0.4),
        ("rim", "lid_clearance", 0.2, 0.4),
        ("sliding", "slide_clearance", 0.25, 0.5),  # 0.5 to 1.0 in all
        ("sliding", "slide_gap", 0.2, 0.4),
    ]:
        found = clearance_figures(job(kind))
        assert found[name].source is Source.ASSUMED
        assert low <= found[name].value <= high
        assert "no source" in found[name].note
        assert found["film"].value == 0 and found["film"].source is Source.ASSUMED
    asked = clearance_figures(job("rim", "clearance = 0.5"))
    assert (asked["lid_clearance"].value, asked["lid_clearance"].source) == (0.5, Source.ASKED)
    assert clearance_figures(job("closed")) == {}


def test_a_laminated_panel_is_as_thick_as_its_sheets() -> None:
    asked = job("lift-off")
    two = replace(asked, panels={"bottom": PanelAsk(layers=2), "lip": PanelAsk(layers=3)})
    assert two.thickness("bottom").readings == tuple(2 * r for r in asked.stock.thickness.readings)
    assert two.sheet("bottom") == asked.stock.thickness
    built = build(two)
    built.require()
    at = boxes(built.solution.arrangement)
    assert at["bottom"].lo[2] == -6 * MM
    assert at["lip"].span(2) == (45 * MM, 54 * MM)
    note = files(built)["panels/bottom.svg"].decode()
    assert "cut 2 of these" in note


def test_names_of_panels() -> None:
    assert list(homes_of("drawer-12-divider-x2")) == [
        "drawer-12-divider-x2", "drawer-divider-x2", "divider-x2"
    ]  # fmt: skip
    assert is_further_panel("drawer-12-left") and is_further_panel("tray-2-lip")
    for wrong in (
        "drawer-0-left",
        "drawer-top",
        "drawer-1-top",
        "tray-1-lid",
        "shelf-1-left",
        "lidd",
    ):
        assert not is_further_panel(wrong), wrong


@pytest.mark.parametrize("kind", ["lift-off", "rim", "cut-through", "sliding"])
def test_lids_lie_over_dividers(kind: str) -> None:
    more = '\n[dividers.width]\ncompartments = [30, "rest"]'
    built = build(job(kind, more))
    built.require()
    names = {b.name for b in built.solution.arrangement.insides}
    assert {"inside", "compartment 1-1", "compartment 1-2"} <= names
    assert free(built.solution.arrangement)
    along = built.inside_along(2)
    assert along is not None
    assert abs(along.least - 45 * MM) <= 4


def test_the_whole_must_fit_into_its_space() -> None:
    tight = job("rim", "[fit_into]\nlength = 126")  # the box alone would go in
    with pytest.raises(InputError, match=r"too large .*length|\[fit_into\] length") as caught:
        job_arrangement(tight)
    assert caught.value.exit_code == 2


# what is refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "more", "words"),
    [
        ("rim", "depth = 60", ("[top] depth", "60.00 mm", "48.00 mm")),
        ("cut-through", "depth = 45", ("[top] depth", "45.00 mm")),
        ("cut-through", "depth = 10\nlip = 10", ("lower than its lip", "10.00 mm")),
        ("cut-through", "depth = 10\nlip = 12", ("lower than its lip", "12.00 mm", "10.00 mm")),
    ],
)
def test_a_lid_that_cannot_be_is_refused(kind: str, more: str, words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as caught:
        job_arrangement(job(kind, more))
    assert caught.value.exit_code == 2
    for word in words:
        assert word in str(caught.value)


def test_a_lip_of_which_nothing_is_left_is_refused() -> None:
    small = parse_job(
        TEXT.replace("width = 80", "width = 5").replace('"open"', '"lift-off"\nclearance = 2.5')
    )
    with pytest.raises(ArrangementError, match=r"nothing is left of lip.*5 mm on both") as caught:
        job_arrangement(small)
    assert caught.value.exit_code == 1


def test_a_keeper_over_the_inside_and_a_lid_without_bearing_are_refused() -> None:
    thick = Thickness(readings=(4 * MM,), measured=False)
    with pytest.raises(ArrangementError, match="keeper-left stands in over the inside: 4 mm"):
        job_arrangement(replace(job("sliding"), panels={"keeper-left": PanelAsk(thickness=thick)}))
    with pytest.raises(ArrangementError, match="does not reach its bearing on left"):
        job_arrangement(job("sliding", "clearance = 3"))


@pytest.mark.parametrize(
    "line",
    [
        'kind = "flap"',
        'kind = "rim"\nclearance = 0',
        'kind = "rim"\ndepth = -1',
        'kind = "rim"\nlips = 3',
        'kind = "open"\n[stack]\ncount = 0',
        'kind = "open"\n[stack]\ncount = 1.5',
        'kind = "open"\n[panels.lid]\nlayers = 0',
        'kind = "open"\n[panels.lidd]\nlayers = 1',
    ],
)
def test_bad_values_are_refused_with_their_line(line: str) -> None:
    with pytest.raises(JobError) as caught:
        parse_job(TEXT.replace('kind = "open"', line))
    assert "line 1" in str(caught.value)
    assert caught.value.exit_code == 2


# bodies -------------------------------------------------------------------------------------------


def two_plates(gap: int) -> tuple[object, ...]:
    return (
        slab("lower", 2, (0, 0, 0), (50 * MM, 50 * MM, 3 * MM)),
        slab("upper", 2, (0, 0, 3 * MM + gap), (50 * MM, 50 * MM, 6 * MM + gap)),
    )


def test_a_part_attached_by_nothing_is_refused() -> None:
    plates = two_plates(0)
    body = Body(name="box", slabs=("lower", "upper"))
    with pytest.raises(ArrangementError, match="upper is attached by nothing") as caught:
        Arrangement(slabs=plates, bodies=(body,))  # type: ignore[arg-type]
    assert caught.value.exit_code == 1
    glued = replace(body, glued=(("upper", "lower"),))
    assert Arrangement(slabs=plates, bodies=(glued,)).bodies == (glued,)  # type: ignore[arg-type]
    with pytest.raises(ArrangementError, match="upper is to be glued to lower but does not touch"):
        Arrangement(slabs=two_plates(1), bodies=(glued,))  # type: ignore[arg-type]
    alone = Body(name="box", slabs=("lower",))
    with pytest.raises(ArrangementError, match="upper is attached by nothing"):
        Arrangement(slabs=plates, bodies=(alone,))  # type: ignore[arg-type]


def test_a_body_that_cannot_come_out_is_refused() -> None:
    plates = two_plates(MM)
    box, lid = Body(name="box", slabs=("upper",)), Body(name="lid", slabs=("lower",), out=(2, 1))
    with pytest.raises(ArrangementError, match="lid cannot come out: lower strikes upper"):
        Arrangement(slabs=plates, bodies=(box, lid))  # type: ignore[arg-type]
    # what comes out before is not in the way
    Arrangement(slabs=plates, bodies=(lid, replace(box, out=(2, 1))))  # type: ignore[arg-type]


def test_bodies_that_run_through_each_other_are_refused() -> None:
    base = slab("base", 2, (0, 0, 0), (50 * MM, 50 * MM, 3 * MM))
    wall = slab("wall", 0, (0, 0, 0), (3 * MM, 50 * MM, 50 * MM))
    with pytest.raises(ArrangementError, match="could never be taken apart"):
        Arrangement(
            slabs=(base, wall),
            bodies=(Body(name="a", slabs=("base",)), Body(name="b", slabs=("wall",))),
        )


# stacks -------------------------------------------------------------------------------------------


def test_boxes_of_a_stack_are_equal_and_stand_on_each_other() -> None:
    asked = replace(job("open"), stack=Stack(count=3))
    built = build(asked)
    built.require()
    at = boxes(built.solution.arrangement)
    assert at["tray-2-bottom"].lo[2] == at["tray-1-front"].hi[2] == 48 * MM
    assert at["tray-2-lip"].lo[2] == 45 * MM  # the inside of the tray below stays free up to here
    assert at["tray-2-lip"].lo[0] == 300_000
    for name in ("bottom", "front", "left", "lip"):
        first, *others = (built.part(f"tray-{k}-{name}").drawn.rings for k in (1, 2, 3))
        for other in others:
            assert (first.xy == other.xy).all()
    assert free(built.solution.arrangement)
    with pytest.raises(InputError, match="boxes of a stack are open above"):
        job_arrangement(replace(asked, top=Top(kind="rim")))


def test_an_a5_notebook_goes_in_below_the_lip() -> None:
    """ISO 216: A5 is 148 x 210 mm, from the published table."""
    # with its tolerance: fixtures/published/iso216_269_paper_sizes.csv
    with (ROOT / "fixtures/published/iso216_269_paper_sizes.csv").open(encoding="utf-8") as file:
        a5 = next(row for row in csv.DictReader(file) if row["name"] == "A5")
    sides = [
        Fraction(a5[f"{k}_mm"]) + Fraction(a5[f"tol_{k[0]}_pm_mm"]) for k in ("width", "height")
    ]
    built = build(read_job(JOBS / "lift-off-notebook-box-a5.toml"))
    held = sorted(built.inside_along(k).least for k in (0, 1))  # type: ignore[union-attr]
    assert all(to_nm(side) < h for side, h in zip(sides, held, strict=True))


# everything at once -------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(lidded_jobs())
def test_any_arrangement_is_proved_or_refused(asked: Job) -> None:
    try:
        made = job_arrangement(asked)
    except (ArrangementError, InputError) as error:
        assert error.where or error.value
        return
    try:
        built = build(asked, arrangement=made)
    except (ArrangementError, InputError) as error:
        assert error.where or error.value
        return
    assert built.exact.faults == ()
    assert [f for f in built.faults if "web of" not in f] == []
    assert free(made)
    for inside in built.insides:
        for held in inside.by_panel.values():
            assert abs(held - inside.asked) <= 4


@pytest.fixture(scope="module")
def small() -> dict[str, Built]:
    kinds = {k: job(k) for k in ("lift-off", "rim", "cut-through", "sliding")}
    kinds["frame"] = job("cut-through", "depth = 20\nlip = 6")
    return {name: build(j) for name, j in kinds.items()}


@pytest.mark.solid
@pytest.mark.parametrize("name", ["lift-off", "rim", "cut-through", "frame", "sliding"])
def test_the_solid_proof_holds(small: dict[str, Built], name: str) -> None:
    pytest.importorskip("cadquery")
    proved, step = solid(small[name])
    assert proved.solid is not None
    assert proved.solid.faults == ()
    proved.require()
    assert step
