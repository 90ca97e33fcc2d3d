"""What to cut with: the table of fits, where each figure comes from, and what brittle stock refuses."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from boxjoint.errors import CannotBeCut, InputError
from boxjoint.fit.fits import (
    ASSUMED_KERF_MM,
    CLEARANCES,
    FAMILIES,
    SHEET_CLEARANCE_MM,
    assumed_clearance,
    family_of,
)
from boxjoint.fit.plan import Measured, Plan, plan_cut, seat_gap
from boxjoint.job.figures import Figure
from boxjoint.job.records import (
    FITS,
    Cut,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    PerAxis,
    Source,
    Stock,
    Thickness,
)

MM = 1_000_000
NAMES = ("bottom", "front", "back", "left", "right")
JOINTS = (("bottom", "front", 3), ("bottom", "left", 3), ("front", "left", 3))


def job(material: str = "birch plywood", *, joint: JointAsk | None = None, **more: object) -> Job:
    return Job(
        title="Notebook box",
        unit="mm",
        inside=Inside(length=210 * MM, width=148 * MM, height=60 * MM),
        stock=Stock(material=material, thickness=Thickness(readings=(3 * MM,), measured=False)),
        joint=joint or JointAsk(),
        **more,  # type: ignore[arg-type]
    )


def plan(asked: Job, measured: Measured | None = None) -> Plan:
    return plan_cut(asked, NAMES, JOINTS, measured)


# the table of fits: common practice, no source. Interference per tab as makers state it for 3 to 6 mm
# stock, in mm; clearance is slot minus tab, so the sign is turned.

INTERFERENCE = {
    "birch plywood": {"press": (0.05, 0.12), "snug": (0.0, 0.05)},
    "basswood": {"press": (0.08, 0.15), "snug": (0.0, 0.06)},
    "MDF": {"press": (0.03, 0.08), "snug": (-0.03, 0.03)},
    "oak": {"press": (0.0, 0.05), "snug": (-0.05, 0.0)},
    "acrylic": {"snug": (-0.10, -0.05)},
}
LOOSE = (-0.20, -0.10)


@pytest.mark.parametrize("material", sorted(INTERFERENCE))
def test_starting_values_lie_in_the_windows_of_the_trade(material: str) -> None:
    windows = INTERFERENCE[material] | {"slip": LOOSE, "loose": LOOSE}
    for fit, (least, most) in windows.items():
        assert least <= -assumed_clearance(material, fit) <= most, fit


@pytest.mark.parametrize("family", sorted(CLEARANCES))
def test_each_fit_is_looser_than_the_one_before(family: str) -> None:
    assert tuple(CLEARANCES[family]) == FITS
    values = [v for v in CLEARANCES[family].values() if v is not None]
    assert values == sorted(set(values))
    # all named sizes are of the size of a hair, not of a sheet
    assert all(-0.15 <= v <= 0.3 for v in values)


def test_every_family_has_its_row() -> None:
    assert {f.name for f in FAMILIES} | {"other"} == set(CLEARANCES)


@pytest.mark.parametrize(
    ("material", "family"),
    [
        ("birch plywood", "plywood"),
        ("Oak plywood", "plywood"),
        ("poplar", "plywood"),
        ("MDF", "fibreboard"),
        ("HDF, black", "fibreboard"),
        ("basswood", "soft wood"),
        ("white oak", "hard wood"),
        ("beech", "hard wood"),
        ("cast acrylic, clear", "acrylic"),
        ("PMMA", "acrylic"),
        ("cork", "other"),
    ],
)
def test_materials_find_their_family(material: str, family: str) -> None:
    assert family_of(material).name == family


def test_acrylic_refuses_press_and_is_never_below_zero() -> None:
    assert family_of("acrylic").brittle
    with pytest.raises(InputError, match="press fit is refused in brittle stock") as raised:
        assumed_clearance("cast acrylic", "press")
    assert raised.value.exit_code == 2
    assert "glue" in str(raised.value)
    assert all(assumed_clearance("acrylic", fit) >= 0 for fit in FITS if fit != "press")
    with pytest.raises(InputError, match="press fit is refused"):
        plan(job("acrylic", joint=JointAsk(fit="press")))


def test_an_unknown_fit_suggests_the_nearest() -> None:
    with pytest.raises(InputError, match=r"(?i)did you mean 'snug'\?"):
        assumed_clearance("birch plywood", "snugg")


# where figures come from --------------------------------------------------------------------------


def test_what_nobody_said_is_assumed_and_says_how_to_measure_it() -> None:
    found = plan(job())
    assert found.kerf_x.value == found.kerf_y.value == ASSUMED_KERF_MM
    assert found.kerf_x.standing == "ASSUMED"
    assert "boxjoint gauge draw kerf" in found.kerf_x.note
    assert found.fit == "snug"
    assert found.clearance.value == CLEARANCES["plywood"]["snug"]
    assert found.clearance.source is Source.ASSUMED
    assert "fit snug assumed" in found.clearance.note
    assert found.scale_x.value == 1
    assert found.scale_x.standing == "ASSUMED"
    assert found.sheet_clearance.value == SHEET_CLEARANCE_MM
    assert found.sheet_clearance.source is Source.ASSUMED
    assert found.web.value == 3.0
    assert found.corner_relief.value == 0
    assert found.tool is None
    assert found.warnings == ()


def test_what_the_job_says_is_asked() -> None:
    asked = job(
        cut=Cut(kerf=PerAxis(x=0.16, y=0.2), scale=PerAxis(x=1.001, y=0.999)),
        joint=JointAsk(
            clearance=-50_000,
            sheet_clearance=120_000,
            proud=300_000,
            web=2_500_000,
            shoulder_relief=0,
            floor_relief=150_000,
            corner_relief=400_000,
        ),
    )
    found = plan(asked)
    assert {n: (f.value, f.source) for n, f in found.figures.items()} == {
        "kerf_x": (0.16, "asked"),
        "kerf_y": (0.2, "asked"),
        "scale_x": (1.001, "asked"),
        "scale_y": (0.999, "asked"),
        "clearance": (-0.05, "asked"),
        "sheet_clearance": (0.12, "asked"),
        "proud": (0.3, "asked"),
        "web": (2.5, "asked"),
        "shoulder_relief": (0.0, "asked"),
        "floor_relief": (0.15, "asked"),
        "seam_relief": (0.1, "assumed"),
        "corner_relief": (0.4, "asked"),
    }
    assert found.fit == ""
    assert found.clearances == (-0.05,) * 3
    assert found.webs == (2.5,) * 5
    assert found.beam.kerf == PerAxis(x=0.16, y=0.2)
    assert found.beam.scale == PerAxis(x=1.001, y=0.999)


SHOP = Measured(
    kerf_x=Figure(value=0.143, source=Source.MEASURED, uncertainty=0.006, readings=12),
    kerf_y=Figure(value=0.217, source=Source.MEASURED, uncertainty=0.006, readings=12),
    scale_x=Figure(value=1.0011, source=Source.MEASURED, unit="1", uncertainty=0.0001),
    clearance=Figure(value=-0.041, source=Source.MEASURED, uncertainty=0.01, readings=9),
)


def test_the_shops_own_figures_go_before_assumed_ones_only() -> None:
    found = plan(job(), SHOP)
    assert (found.kerf_x, found.kerf_y) == (SHOP.kerf_x, SHOP.kerf_y)
    assert "measured, 12 readings, +-0.012 mm (95 %)" in found.kerf_x.standing
    assert found.scale_x == SHOP.scale_x
    assert found.scale_y.source is Source.ASSUMED  # nobody measured this one
    assert found.clearances == (-0.041,) * 3
    own = plan(job(cut=Cut(kerf=PerAxis(x=0.2, y=0.2)), joint=JointAsk(clearance=0)), SHOP)
    assert own.beam.kerf == PerAxis(x=0.2, y=0.2)
    assert own.clearances == (0.0,) * 3
    assert own.kerf_x.source is Source.ASKED


def test_a_joint_of_many_tabs_gets_more_than_the_comb_of_one() -> None:
    many = (("bottom", "front", 3), ("bottom", "left", 11), ("front", "left", 201), ("a", "b", 1))
    asked = replace(job(), joint=JointAsk(fit="press"))
    found = plan_cut(asked, (*NAMES, "a", "b"), many, SHOP)
    few, some, most, none = found.clearances
    assert few == none == -0.041  # three segments are the comb's own slot
    assert few < some < most
    # a hair, not a sheet: the worst of 200 flanks of 0.03 mm scatter lies within 4 of them
    assert most - few < 2 * 4 * 0.03
    assert found.clearance == SHOP.clearance  # what was measured is what is shown
    # a clearance that the job asks for, or a starting value, is taken as it is
    assert set(plan_cut(asked, (*NAMES, "a", "b"), many).clearances) == {-0.08}


# brittle stock ------------------------------------------------------------------------------------


@pytest.mark.parametrize("clearance", [-1, -50_000])
def test_interference_is_refused_in_acrylic(clearance: int) -> None:
    with pytest.raises(InputError, match="interference is refused in brittle stock") as raised:
        plan(job("acrylic", joint=JointAsk(clearance=clearance)))
    assert raised.value.where == "[joint] clearance"
    assert plan(job("acrylic", joint=JointAsk(clearance=0))).clearances == (0.0,) * 3
    assert plan(job(joint=JointAsk(clearance=clearance))).clearance.value == clearance / 1e6


def test_one_acrylic_panel_is_enough_to_refuse_interference() -> None:
    mixed = job(joint=JointAsk(clearance=-50_000), panels={"front": PanelAsk(material="acrylic")})
    with pytest.raises(InputError, match="acrylic"):
        plan(mixed)
    # in a joint that acrylic has no part in, interference does no harm
    top = job(joint=JointAsk(clearance=-50_000), panels={"right": PanelAsk(material="acrylic")})
    assert plan(top).clearances == (-0.05,) * 3


def test_of_two_materials_the_one_that_wants_more_room_decides() -> None:
    mixed = job(joint=JointAsk(fit="snug"), panels={"front": PanelAsk(material="acrylic")})
    assert plan(mixed).clearances == (0.05, -0.03, 0.05)
    with pytest.raises(InputError, match="press"):
        plan(replace(mixed, joint=JointAsk(fit="press")))


def test_a_measured_interference_is_never_used_in_acrylic() -> None:
    found = plan(job("acrylic"), SHOP)
    assert min(found.clearances) >= 0


def test_what_is_shown_for_acrylic_is_what_is_used() -> None:
    found = plan(job("acrylic"), SHOP)
    assert found.clearance.value == found.clearances[0]
    with pytest.raises(InputError, match="press"):
        plan(job("acrylic", joint=JointAsk(fit="press")), SHOP)


def test_brittle_stock_gets_wider_webs_and_relieved_corners() -> None:
    found = plan(job("acrylic"))
    assert found.webs == (4.5,) * 5
    assert found.corner_relief.value == 0.5  # the trade: 0.5 to 1 mm (common practice, no source)
    assert found.corner_relief.source is Source.ASSUMED
    mixed = plan(job(panels={"left": PanelAsk(material="acrylic")}))
    assert mixed.webs == (3.0, 3.0, 3.0, 4.5, 3.0)


# a router -----------------------------------------------------------------------------------------


def test_a_router_is_not_compensated_and_relieves_its_corners() -> None:
    found = plan(job(cut=Cut(tool=3_000_000)))
    assert found.beam.kerf == PerAxis(x=0.0, y=0.0)
    assert found.tool is not None
    assert (found.tool.value, found.tool.source) == (3.0, Source.ASKED)
    assert found.figures["tool"] is found.tool
    assert found.corner_relief.value == 1.55  # the cutter's radius and what the offset needs
    asked = plan(job(cut=Cut(tool=3 * MM), joint=JointAsk(corner_allowance=0)))
    assert asked.corner_relief.value == 1.5
    assert found.corner_relief.source is Source.COMPUTED
    assert any("1.5 mm" in w and "router" in w for w in found.warnings)
    assert plan(job(cut=Cut(tool=3 * MM)), SHOP).beam.kerf == PerAxis(x=0.0, y=0.0)


def test_only_guests_keep_a_shoulder_relief() -> None:
    found = plan(job())
    assert found.allowance().shoulder_relief == 0
    assert found.allowance(guest=True).shoulder_relief == 0.1


# the seat gap -------------------------------------------------------------------------------------


@pytest.mark.parametrize("radius", [0.05, 0.09, 0.1, 1.5])
@pytest.mark.parametrize("part", [0.0, 0.1, 0.5, 1.0, 1.9])
def test_the_seat_gap_is_where_a_corner_meets_a_fillet(radius: float, part: float) -> None:
    """Push a sharp corner into a filleted one, by halving, and see how far it comes (shapely)."""
    clearance = part * radius
    # material around an inside corner at (0, 0) with its slot in x, y > 0; fillet of the radius
    square = shapely.box(0, 0, radius, radius)
    arc = shapely.Point(radius, radius).buffer(radius, quad_segs=2000)
    fillet = square.difference(arc)
    lo, hi = 0.0, 2 * radius
    for _ in range(50):
        middle = (lo + hi) / 2
        # the mate's flank stands half the clearance off; its corner is at that height over the seat
        inside = fillet.buffer(-1e-7).contains(shapely.Point(clearance / 2, middle))
        on_wall = clearance == 0 and middle < radius
        lo, hi = (middle, hi) if inside or on_wall else (lo, middle)
    assert seat_gap(radius, clearance) == pytest.approx(hi, abs=3e-5 + 2e-3 * radius)


def test_the_seat_gap_formula_and_its_ends() -> None:
    # design: r - sqrt(r^2 - (r - c/2)^2), r where nothing is loose, 0 where the fillet is cleared
    assert seat_gap(0.1, 0.04) == pytest.approx(0.1 - math.sqrt(0.1**2 - 0.08**2))
    assert seat_gap(0.1, 0.04) == pytest.approx(0.04)  # a 3-4-5 triangle
    assert seat_gap(0.1, 0.0) == seat_gap(0.1, -0.05) == 0.1
    assert seat_gap(0.1, 0.2) == seat_gap(0.1, 0.3) == 0.0
    assert seat_gap(0.0, 0.0) == 0.0
    with pytest.raises(CannotBeCut, match="radius"):
        seat_gap(-0.1, 0.0)


# the scatter of cut edges ---------------------------------------------------------------------------


def test_a_clearance_shifted_for_many_tabs_is_computed_and_its_scatter_is_an_input() -> None:
    """11 segments: 5 flanks a way. E[greatest of 5] = 1.16296 (Harter 1961, expected normal order
    statistics, from memory), so sqrt(2) x 0.01 x 2 x 1.16296 = 0.0329 mm more than the comb."""
    many = (("bottom", "front", 3), ("bottom", "left", 11))
    asked = job(cut=Cut(edge_sd=10_000), joint=JointAsk(fit="press"))
    found = plan_cut(asked, NAMES, many, SHOP)
    assert found.clearances[0] == -0.041
    assert found.clearances[1] == pytest.approx(-0.041 + 0.03289, abs=2e-5)
    assert found.joint_source is Source.COMPUTED
    assert found.clearance.source is Source.MEASURED
    assert found.edge_sd == Figure(value=0.01, source=Source.ASKED)
    assert found.figures["edge_sd"] == found.edge_sd
    default = plan_cut(job(), NAMES, many, SHOP)
    assert default.edge_sd is not None
    assert (default.edge_sd.value, default.edge_sd.source) == (0.02, Source.ASSUMED)
    assert default.clearances[1] == pytest.approx(-0.041 + 2 * 0.03289, abs=2e-5)
    none = plan_cut(job(cut=Cut(edge_sd=0)), NAMES, many, SHOP)
    assert none.clearances == (-0.041, -0.041)
    assert none.joint_source is Source.MEASURED  # nothing was shifted


def test_without_a_comb_no_scatter_plays_a_part() -> None:
    for joint in (JointAsk(clearance=0), JointAsk(fit="snug")):
        found = plan(job(joint=joint), None)
        assert found.edge_sd is None
        assert "edge_sd" not in found.figures
        assert found.joint_source is found.clearance.source


def test_a_comb_that_brittle_stock_refuses_is_no_longer_measured() -> None:
    found = plan(job("acrylic"), SHOP)
    assert found.clearance.value == 0
    assert found.clearance.source is Source.COMPUTED
