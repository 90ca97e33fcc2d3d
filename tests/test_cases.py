"""Cases and drawers: sizes, clearances, that every drawer pulls out, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from test_lids import boxes, free

from boxjoint.errors import ArrangementError, InputError, JobError
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import Job, PanelAsk, Source, Thickness
from boxjoint.job.tops import Top
from boxjoint.job.write import job_to_toml
from boxjoint.make import build, solid
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.clearances import clearance_figures

ROOT = Path(__file__).parents[1]
JOBS = ROOT / "fixtures" / "jobs"
MM = 1_000_000

TEXT = """
unit = "mm"
[inside]
length = 150
width = 100
height = 129
[stock]
material = "birch plywood"
thickness = 3
[cut]
kerf = 0.18
[drawers]
count = 3
"""


def job(*lines: str) -> Job:
    return parse_job(TEXT + "\n".join(lines) + "\n")


def test_drawers_are_sized_from_the_case() -> None:
    made = job_arrangement(job("clearance = 0.5", "above = 0.8"))
    at = boxes(made)
    # 129 mm less two shelves of 3 mm: three openings of 41 mm
    assert at["shelf-1"].span(2) == (85 * MM, 88 * MM)
    assert at["shelf-2"].span(2) == (41 * MM, 44 * MM)
    for k, floor in ((1, 88), (2, 44), (3, 0)):
        assert at[f"drawer-{k}-bottom"].lo == (500_000, 0, floor * MM)
        assert at[f"drawer-{k}-left"].hi[2] == (floor + 41) * MM - 800_000
        assert at[f"drawer-{k}-right"].hi[0] == 149_500_000
        # flush with the front; behind it a stop of one thickness on the case's back
        assert at[f"drawer-{k}-front"].lo[1] == at["left"].lo[1] == 0
        assert at[f"drawer-{k}-back"].hi[1] == at[f"stop-{k}"].lo[1] == 97 * MM
    assert [b.name for b in made.bodies] == ["case", "drawer-1", "drawer-2", "drawer-3"]
    assert {b.out for b in made.bodies[1:]} == {(1, -1)}
    assert free(made)


def test_the_case_follows_from_the_drawers() -> None:
    built = build(job('inside_of = "drawer"', "stops = false", "behind = 2"))
    built.require()
    held = {(r.block, r.axis): r for r in built.insides}
    for k in (1, 2, 3):
        assert [held[f"drawer-{k}", a].asked for a in range(3)] == [150 * MM, 100 * MM, 129 * MM]
    # two walls and 0.6 mm on both sides; two walls and 2 mm behind; a bottom and 1 mm above
    opening = [held["opening-2", a].asked for a in range(3)]
    assert opening == [157_200_000, 108 * MM, 133 * MM]
    assert free(built.solution.arrangement)


def test_film_and_the_worst_readings_widen_the_gaps() -> None:
    asked = job()
    readings = Thickness(readings=(2_900_000, 3_000_000, 3_100_000), measured=True)
    asked = replace(asked, stock=replace(asked.stock, thickness=readings, film=50_000))
    at = boxes(job_arrangement(asked))
    assert at["drawer-1-left"].lo[0] == 600_000 + 2 * 50_000 + 100_000
    # above: the drawer's bottom and the shelf below may both be thicker
    assert (
        at["left"].hi[2] - 3 * MM - at["drawer-1-left"].hi[2] == 1_000_000 + 100_000 + 2 * 100_000
    )


def test_equal_drawers_are_equal_even_where_the_height_does_not_divide() -> None:
    asked = job()
    asked = replace(asked, inside=replace(asked.inside, height=129 * MM + 2))
    built = build(asked)
    built.require()
    assert free(built.solution.arrangement)
    for name in ("bottom", "front", "back", "left", "right"):
        first, *others = (built.part(f"drawer-{k}-{name}").drawn.rings for k in (1, 2, 3))
        for other in others:
            assert (first.xy == other.xy).all()


def test_a_drawer_takes_its_own_stock() -> None:
    six = PanelAsk(thickness=Thickness(readings=(6 * MM,), measured=False))
    two = PanelAsk(layers=2)
    asked = replace(job(), panels={"drawer-front": six, "drawer-2-front": two})
    at = boxes(job_arrangement(asked))
    assert at["drawer-1-front"].hi[1] == 6 * MM
    assert at["drawer-2-front"].hi[1] == 12 * MM  # two sheets of the drawers' fronts
    assert at["drawer-1-back"].hi[1] == at["drawer-2-back"].hi[1]


def test_heights_are_given_from_the_top() -> None:
    at = boxes(job_arrangement(job("heights = [30, 40, 53]")))
    assert at["drawer-1-bottom"].lo[2] == (129 - 30) * MM
    assert at["shelf-2"].lo[2] == 53 * MM
    alone = parse_job(TEXT.replace("count = 3", "heights = [61, 65]"))
    assert alone.drawers.count == 2
    assert parse_job(job_to_toml(alone)) == alone


def test_clearances_of_drawers_are_assumed_until_asked() -> None:
    """0.5 to 0.75 mm on each side and 1 mm above in plywood: common practice, no source."""
    found = clearance_figures(job())
    assert {n: (f.value, f.source) for n, f in found.items()} == {
        "drawer_clearance": (0.6, Source.ASSUMED),
        "drawer_above": (1.0, Source.ASSUMED),
        "film": (0.0, Source.ASSUMED),
    }
    assert "drawer_behind" in clearance_figures(job("stops = false"))


@pytest.mark.parametrize("fixing", ["tabbed", "loose"])
def test_dividers_stand_in_every_drawer(fixing: str) -> None:
    asked = job(
        "[dividers]",
        f'fixing = "{fixing}"',
        "thickness = 2",
        "[dividers.length]",
        "compartments = 3",
    )
    built = build(asked)
    built.require()
    made = built.solution.arrangement
    at = boxes(made)
    for k in (1, 2, 3):
        for d in ("divider-x1", "divider-x2"):
            assert at[f"drawer-{k}-{d}"].size[0] == 2 * MM
    assert "divider-x1" not in at
    (opening,) = (b for b in made.insides if b.name == "opening-1")
    assert {"drawer-1-divider-x1", "drawer-1-left", "stop-1"} <= set(opening.guests)
    assert free(made)


# what is refused ----------------------------------------------------------------------------------


def test_heights_that_do_not_add_up_are_refused() -> None:
    with pytest.raises(InputError, match=r"130\.00 mm .*1\.00 mm .* too much") as caught:
        job_arrangement(job("heights = [30, 40, 54]"))
    assert caught.value.exit_code == 2
    assert "[drawers] heights" in str(caught.value)


def test_a_drawer_of_which_nothing_is_left_is_refused() -> None:
    with pytest.raises(ArrangementError) as caught:
        job_arrangement(job("heights = [4, 66, 53]"))
    text = str(caught.value)
    assert "drawer-1's inside along its height" in text
    assert "4.00 mm" in text  # what it takes, and the opening's height
    assert caught.value.exit_code == 1
    with pytest.raises(ArrangementError, match="shelves leave nothing of the case"):
        job_arrangement(replace(job(), drawers=replace(job().drawers, count=50)))


@pytest.mark.parametrize(
    "line",
    ["clearance = 0", "above = 0", "clearance = -1", "stops = 1", "heights = []", "heights = 3",
     "heights = [1, 2]", 'inside_of = "box"', "cout = 3"],
)  # fmt: skip
def test_bad_values_are_refused(line: str) -> None:
    with pytest.raises(JobError) as caught:
        job(line)
    assert caught.value.exit_code == 2
    assert "[drawers]" in str(caught.value)


@pytest.mark.parametrize("count", ["0", "101", "true", "2.5", '"3"'])
def test_counts_that_are_none_are_refused(count: str) -> None:
    with pytest.raises(JobError, match="no such count of drawers"):
        parse_job(TEXT.replace("count = 3", f"count = {count}"))


def test_a_case_has_no_lid_and_no_proud_tips() -> None:
    with pytest.raises(InputError, match="closed top"):
        job_arrangement(replace(job(), top=Top(kind="rim")))
    proud = replace(job(), joint=replace(job().joint, proud=200_000))
    with pytest.raises(InputError, match="proud tips"):
        job_arrangement(proud)


# whole orders -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("specimen-case-six-drawers", 5 + 5 + 6 + 30),
        ("sliding-pencil-box", 5 + 5 + 1),
        ("stack-of-three-trays", 3 * 6 + 2),
        ("lift-off-notebook-box-a5", 5 + 2),
    ],
)
def test_orders_of_the_science_room_are_proved(name: str, parts: int) -> None:
    built = build(read_job(JOBS / f"{name}.toml"))
    built.require()
    assert len(built.parts) == parts
    assert free(built.solution.arrangement)


@pytest.mark.solid
def test_the_solid_proof_of_a_case_holds() -> None:
    pytest.importorskip("cadquery")
    one = replace(job(), drawers=replace(job().drawers, count=1))
    proved, _ = solid(build(one))
    assert proved.solid is not None
    assert proved.solid.faults == ()
