"""Contents first: the inside follows from what goes in, and everything that is asked is checked.

Where things lie is worked out by laying them down one by one (``oracle.lay_down``), without the sums of
the program.
"""

from __future__ import annotations

import csv
import json
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import oracle
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from boxjoint.errors import InputError, JobError
from boxjoint.export.report import report, report_text
from boxjoint.job.filling import LIES, Compartments, Contents, Dividers, FitInto, Item
from boxjoint.job.limits import FILLING_WINDOWS
from boxjoint.job.measures import refuse_job
from boxjoint.job.questions import question_job
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import DIRECTIONS, Inside, Job, Source, Stock, Thickness, Top
from boxjoint.job.standards import standard_item, standard_items
from boxjoint.make import build
from boxjoint.solve.inside import assumed_clearance, find_inside, item_size

ROOT = Path(__file__).parents[1]
MM = 1_000_000

BASE = """title = "Slide box"
unit = "mm"

[stock]
material = "birch plywood"
thickness = 3

[items.slides]
of = "ISO 8037 slide 76 x 26"
count = 20
lie = "on edge"

[contents]
clearance = 2
"""


def job(**more: Any) -> Job:
    given = {
        "title": "Slide box",
        "unit": "mm",
        "inside": Inside(),
        "stock": Stock(
            material="birch plywood", thickness=Thickness(readings=(3 * MM,), measured=False)
        ),
    }
    return Job(**(given | more))


def mm(*sizes: float) -> tuple[int, ...]:
    return tuple(round(s * MM) for s in sizes)


def refused(text: str) -> JobError:
    with pytest.raises(JobError) as caught:
        parse_job(text, "box.toml")
    assert caught.value.exit_code == 2
    return caught.value


# how things lie -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lie", "turned", "wanted"),
    [
        # 20 slides of 76 x 26 x 1.2 mm and 2 mm of clearance, by hand
        ("flat", False, (78, 28, 26)),
        ("flat", True, (28, 78, 26)),
        ("on edge", False, (78, 26, 28)),
        ("on edge", True, (26, 78, 28)),
        ("on end", False, (28, 26, 78)),
        ("on end", True, (26, 28, 78)),
    ],
)
def test_slides_lie_as_told(lie: str, turned: bool, wanted: tuple[int, int, int]) -> None:
    text = BASE.replace('lie = "on edge"', f'lie = "{lie}"\nturned = {str(turned).lower()}')
    found = find_inside(parse_job(text))
    assert found.xyz == mm(*wanted)
    assert {a.source for a in found.along} == {Source.COMPUTED}
    assert {a.binds for a in found.along} == {"contents"}
    assert "slides 20 x 1.20 mm (0.047 in) + clearance 2.00 mm (0.079 in) asked" in {
        a.how for a in found.along
    }


sizes = st.tuples(*[st.integers(MM, 90 * MM)] * 3)


@settings(deadline=None, max_examples=150)
@given(
    size=sizes,
    count=st.integers(1, 40),
    lie=st.sampled_from(LIES),
    turned=st.booleans(),
    rows=st.dictionaries(st.integers(0, 2), st.integers(1, 4), max_size=3),
    clearance=st.none() | st.integers(0, 5 * MM),
    lining=st.integers(0, 3 * MM),
    rooms=st.dictionaries(st.sampled_from(DIRECTIONS), st.integers(0, 30 * MM)),
    compartments=st.tuples(st.integers(1, 4), st.integers(1, 3)),
    closed=st.booleans(),
)
def test_the_inside_is_what_lies_in_it_and_the_air_around(
    size: tuple[int, int, int],
    count: int,
    lie: Any,
    turned: bool,
    rows: dict[int, int],
    clearance: int | None,
    lining: int,
    rooms: dict[str, int],
    compartments: tuple[int, int],
    closed: bool,
) -> None:
    asked = job(
        items={
            "stones": Item(
                size=size,
                count=count,
                lie=lie,
                turned=turned,
                rows={DIRECTIONS[k]: n for k, n in rows.items()},
            )
        },
        contents=Contents(clearance=clearance, lining=lining, finger_room=rooms),
        dividers=Dividers(
            length=Compartments(count=compartments[0]), width=Compartments(count=compartments[1])
        ),
        top=Top(kind="closed" if closed else "open"),
    )
    each = math.ceil(Fraction(count, compartments[0] * compartments[1]))
    try:
        bare = oracle.around(oracle.lay_down(size, each, lie, turned, rows))
    except ValueError:
        with pytest.raises(InputError, match="rows of stones do not hold") as caught:
            find_inside(asked)
        assert caught.value.exit_code == 2
        return
    # rows that are asked for are kept free even where they are not full
    whole = [
        max(b, n * oracle.around(oracle.lay_down(size, 1, lie, turned, {}))[k])
        for k, (b, n) in enumerate(zip(bare, (rows.get(k, 1) for k in range(3)), strict=True))
    ]
    try:
        found = find_inside(asked)
    except InputError as error:  # a compartment narrower than the stock, and nothing else
        assert "narrower than the stock" in error.what
        return
    for k, along in enumerate(found.along):
        air = assumed_clearance(whole[k]) if clearance is None else clearance
        faces = 1 if k == 2 and not closed else 2
        cell = whole[k] + air + faces * lining + rooms.get(DIRECTIONS[k], 0)
        n = compartments[k] if k < 2 else 1
        assert along.compartments == (cell,) * n
        assert along.nm == n * cell + (n - 1) * 3 * MM == along.need
        assert along.room == 0


def test_assumed_clearances_say_so() -> None:
    text = BASE.replace("clearance = 2", "")
    found = find_inside(parse_job(text)).along
    assert [a.nm for a in found] == list(mm(77.5, 25.5, 27.5))  # 1.5 mm up to 200 mm
    assert all("1.50 mm (0.059 in) ASSUMED" in a.how for a in found)
    assert assumed_clearance(200 * MM) == 1.5 * MM
    assert assumed_clearance(200 * MM + 1) == 4 * MM


def test_kinds_share_a_compartment_or_have_their_own() -> None:
    items = {
        "books": Item(size=(210 * MM, 148 * MM, 9 * MM), count=4),
        "cards": Item(of="ID-1", count=100),
    }
    none = Contents(clearance=0)
    # one on another: the card's limits are 85.72 x 54.03 x 0.84 mm (see the table's source)
    found = find_inside(job(items=items, contents=none))
    assert found.xyz == mm(210, 148, 36 + 84)
    own = Dividers(length=Compartments(sizes=("books", "cards")))
    found = find_inside(job(items=items, contents=none, dividers=own))
    assert found.along[0].compartments == mm(210, 85.72)
    assert found.xyz == mm(210 + 3 + 85.72, 148, 84)
    # a kind in two compartments is shared out; one that no compartment names takes the others
    three = Dividers(length=Compartments(sizes=("cards", 212 * MM, "cards")))
    found = find_inside(job(items=items, contents=none, dividers=three))
    assert found.along[0].compartments == mm(85.72, 212, 85.72)
    assert found.along[2].nm == round(50 * 0.84 * MM)
    with pytest.raises(InputError, match="no compartment is left for books"):
        find_inside(job(items=items, dividers=Dividers(length=Compartments(sizes=("cards",)))))


# standard items -----------------------------------------------------------------------------------


def test_every_row_of_the_table_says_where_it_is_from() -> None:
    items = standard_items()
    assert len({item.name for item in items}) == len(items) > 40
    for item in items:
        assert item.source and item.standard
        assert item.length[1] >= item.width[1] > 0
        for least, greatest in (item.length, item.width, item.thickness or (1, 1)):
            assert 0 < least <= greatest
        if item.thickness is not None:
            assert item.thickness[1] <= item.width[1]


@pytest.mark.parametrize(
    "name", ["ISO 8037 slide 76 x 26", "iso 8037 Slide 76×26", "slide 76 x 26", "SLIDE 76X26"]
)
def test_a_standard_item_goes_by_several_spellings(name: str) -> None:
    assert standard_item(name).name == "ISO 8037 slide 76 x 26"


@pytest.mark.parametrize(
    ("name", "near"),
    [("A55", "'A5'"), ("ID1", "'ID-1'"), ("AAAA", "'AAA'"), ("ISO slide 76 x 26", "76 x 26'")],
)
def test_of_an_unknown_standard_item_the_nearest_is_suggested(name: str, near: str) -> None:
    error = refused(BASE.replace("ISO 8037 slide 76 x 26", name))
    assert error.where == "box.toml, line 9, [items.slides] of"
    assert "no standard item of that name" in error.what
    assert near in error.do
    assert "ISO 216" in error.limit


def test_nothing_near_asks_for_the_size() -> None:
    error = refused(BASE.replace("ISO 8037 slide 76 x 26", "trilobite"))
    assert "size = [length, width, thickness]" in str(error)


def test_a_sheet_wants_the_thickness_of_its_stack() -> None:
    text = BASE.replace("ISO 8037 slide 76 x 26", "A5")
    assert "thickness is missing" in refused(text).what
    thick = parse_job(text.replace('of = "A5"', 'of = "A5"\nthickness = 9'))
    # ISO 216, A5: 148 +-1.5 x 210 +-2 mm, fixtures/published/iso216_269_paper_sizes.csv
    with (ROOT / "fixtures/published/iso216_269_paper_sizes.csv").open(encoding="utf-8") as file:
        a5 = next(row for row in csv.DictReader(file) if row["name"] == "A5")
    wanted = (
        float(a5["height_mm"]) + float(a5["tol_h_pm_mm"]),
        float(a5["width_mm"]) + float(a5["tol_w_pm_mm"]),
        9,
    )
    assert item_size(thick.items["slides"]) == mm(*wanted)


# what is asked is checked -------------------------------------------------------------------------


def test_an_asked_inside_is_held_and_checked() -> None:
    wide = parse_job(BASE + "\n[inside]\nlength = 80\nwidth = 40\nheight = 30\n")
    found = find_inside(wide)
    assert found.xyz == mm(80, 40, 30)
    assert [a.room for a in found.along] == list(mm(2, 14, 2))
    assert {a.source for a in found.along} == {Source.ASKED}
    tight = parse_job(BASE + "\n[inside]\nlength = 77\nwidth = 40\nheight = 30\n")
    with pytest.raises(InputError) as caught:
        find_inside(tight)
    text = str(caught.value)
    assert caught.value.exit_code == 2
    assert text.startswith("[inside] length: slides does not fit the inside's length: 1.00 mm")
    assert "at least 78.00 mm" in text
    assert "slides 76.00 mm (2.992 in) + clearance 2.00 mm" in text


def test_contents_may_stand_out_of_an_open_box_and_not_of_a_closed_one() -> None:
    low = BASE + "\n[inside]\nheight = 20\n"
    built = build(parse_job(low))
    assert any("stand out of the open box" in w for w in built.warnings)
    with pytest.raises(InputError, match="does not fit the inside's height"):
        build(parse_job(low + '[top]\nkind = "closed"\n'))


def test_the_limit_that_binds_is_named_with_its_slack() -> None:
    text = BASE + '\n[fit_into]\nlength = 84\nwidth = 40\nheight = 200\n[top]\nkind = "closed"\n'
    built = build(parse_job(text))
    data = report(built)["inside"]
    # 78 + 2 x 3, 26 + 2 x 3, 28 + 2 x 3
    assert [data[d]["slack"] for d in DIRECTIONS] == [0.0, 8.0, 166.0]
    assert [data[d]["limit"] for d in DIRECTIONS] == [84.0, 40.0, 200.0]
    assert {data[d]["settled_by"] for d in DIRECTIONS} == {"contents"}
    assert {data[d]["asked"] for d in DIRECTIONS} == {None}
    assert data["length"]["contents_need"] == data["length"]["nominal"] == 78.0
    lines = report_text(built)
    assert (
        "- width: outside 32.00 mm (1.260 in) goes into 40.00 mm (1.575 in) with a slack" in lines
    )
    assert "the contents bind" in lines
    with pytest.raises(InputError) as caught:
        build(parse_job(text.replace("length = 84", "length = 83.9")))
    assert "its length is 0.10 mm (0.004 in) too large" in str(caught.value)
    assert "at most 83.90 mm" in str(caught.value)
    assert "[fit_into] length" in caught.value.where


def test_without_contents_the_inside_takes_what_the_limit_leaves() -> None:
    text = BASE[: BASE.index("[items")] + "[fit_into]\nlength = 100\nwidth = 80\nheight = 50\n"
    built = build(parse_job(text))
    assert find_inside(built.job).xyz == mm(94, 74, 47)  # one base, no top
    data = report(built)["inside"]
    assert {data[d]["slack"] for d in DIRECTIONS} == {0.0}
    assert "which binds with a slack of 0.00 mm" in report_text(built)
    with pytest.raises(InputError, match="nothing is left of the inside's width"):
        find_inside(parse_job(text.replace("width = 80", "width = 6")))


def test_what_nothing_settles_is_missing() -> None:
    text = BASE[: BASE.index("[items")]
    error = refused(text)
    assert len(error.data["problems"]) == 3
    assert "length is missing" in str(error)
    # items settle all three, a limit or compartments their own direction
    assert parse_job(BASE).inside == Inside()
    error = refused(text + "[fit_into]\nlength = 100\n[dividers.width]\ncompartments = [20, 30]\n")
    (problem,) = error.data["problems"]
    assert problem.what == "height is missing"
    error = refused(text + '[inside]\nheight = 3\n[dividers.length]\ncompartments = [20, "rest"]\n')
    assert len(error.data["problems"]) == 2


def test_the_inside_follows_its_contents_when_stock_and_dividers_change() -> None:
    thin = parse_job(BASE + "\n[dividers.length]\ncompartments = 4\n")
    thick = parse_job(
        BASE.replace("thickness = 3", "thickness = 5") + "\n[dividers.length]\ncompartments = 4\n"
    )
    a, b = find_inside(thin).along[0], find_inside(thick).along[0]
    assert a.compartments == b.compartments == mm(78, 78, 78, 78)
    assert b.nm - a.nm == 3 * 2 * MM


# bad values ---------------------------------------------------------------------------------------

KEYS = {
    "raised": ("[bottom]\nraised = {}", ("bottom", "raised")),
    "legs": ("[bottom]\nraised = 20\nlegs = {}", ("bottom", "legs")),
    "compartment": (
        "[dividers.length]\ncompartments = [{}]",
        ("dividers", "length", "compartments", 0),
    ),
    "divider height": ("[dividers]\nheight = {}", ("dividers", "height")),
    "divider clearance": (
        '[dividers]\nfixing = "loose"\nclearance = {}',
        ("dividers", "clearance"),
    ),
    "item": ("[items.one]\nsize = [{}, 3, 3]", ("items", "one", "size", 0)),
    "contents clearance": ("[contents]\nclearance = {}", ("contents", "clearance")),
    "lining": ("[contents]\nlining = {}", ("contents", "lining")),
    "finger room": (
        "[contents]\nfinger_room = {{ width = {} }}",
        ("contents", "finger_room", "width"),
    ),
    "fit into": ("[fit_into]\nheight = {}", ("fit_into", "height")),
}
PLAIN = BASE[: BASE.index("[items")] + "[inside]\nlength = 100\nwidth = 100\nheight = 50\n"


@pytest.mark.parametrize("name", FILLING_WINDOWS)
def test_every_window_holds_its_bounds_and_nothing_beyond(name: str) -> None:
    window, (line, keys) = FILLING_WINDOWS[name], KEYS[name]
    step = Fraction(1, 1_000_000)
    for value, ok in (
        (window.least, True),
        (window.most, True),
        (window.least - step, False),
        (window.most + step, False),
    ):
        text = PLAIN + line.format(f"{float(value):.6f}")
        if ok:
            refuse_job(parse_job(text))  # what is read is accepted again
        else:
            (problem,) = refused(text).data["problems"]
            assert problem.keys == keys


def test_unusual_values_are_questioned() -> None:
    text = PLAIN + "[contents]\nclearance = 0.2\nlining = 12\n[bottom]\nraised = 120\n"
    where = {q.where for q in question_job(parse_job(text))}
    assert where == {"[contents] clearance", "[contents] lining", "[bottom] raised"}


@pytest.mark.parametrize(
    ("lines", "what", "where"),
    [
        ("[items.a]", "no size", "[items.a]"),
        ('[items.a]\nof = "AA"\nsize = [1, 2, 3]', "exclude each other", "[items.a] size"),
        ("[items.a]\nsize = [1, 2]", "three lengths", "[items.a] size"),
        (
            "[items.a]\nsize = [1, 2, 3]\nthickness = 3",
            "a thickness already",
            "[items.a] thickness",
        ),
        ("[items.a]\nsize = [1, 2, 3]\ncount = 0", "whole number", "[items.a] count"),
        ("[items.a]\nsize = [1, 2, 3]\ncount = 1.5", "whole number", "[items.a] count"),
        ("[items.a]\nsize = [1, 2, 3]\nrows = 3", "name its directions", "[items.a] rows"),
        ("[items.a]\nsize = [1, 2, 3]\nrows = { up = 3 }", "no such key", "[items.a] rows.up"),
        ("[items.a]\nsize = [1, 2, 3]\nturned = 1", "true or false", "[items.a] turned"),
        ('[items.a]\nsize = [1, 2, 3]\nlie = "upright"', "none of the known", "[items.a] lie"),
        ('[items.rest]\nof = "AA"', "cannot be called so", "[items] rest"),
        ('[items]\na = "AA"', "must be a table", "[items] a"),
        ("[contents]\nfinger_room = 3", "name its directions", "[contents] finger_room"),
        ("[contents]\nfinger_room = { depth = 3 }", "no such key", "finger_room.depth"),
        ("[fit_into]\ndepth = 3", "no such key", "[fit_into] depth"),
    ],
)
def test_bad_tables_are_refused_with_their_place(lines: str, what: str, where: str) -> None:
    error = refused(PLAIN + lines + "\n")
    assert what in str(error)
    assert where in str(error)


def test_items_that_are_not_a_table() -> None:
    text = PLAIN.replace('unit = "mm"', 'unit = "mm"\nitems = 3\ncontents = 3\nfit_into = 3')
    assert len(refused(text).data["problems"]) == 3


def test_the_fixture_of_notebooks_says_all_of_it() -> None:
    built = build(read_job(ROOT / "fixtures/jobs/notebook-box-contents.toml"))
    assert built.passed
    # by hand: 212 + 3 + 2.4; 149.5 + 3 + 2.4 + 18; 12 x 9 + 3 + 2.4
    assert find_inside(built.job).xyz == mm(217.4, 172.9, 113.4)
    data = json.loads(json.dumps(report(built, rings=False)))
    assert data["inside"]["width"]["how"].endswith("finger room 18.00 mm (0.709 in)")
    assert data["inside"]["height"]["slack"] == pytest.approx(150 - 113.4 - 2 * 4.005)


def test_a_limit_alone_is_kept_in_the_record() -> None:
    assert parse_job(PLAIN + '[fit_into]\nwidth = "5 in"\n').fit_into == FitInto(width=127 * MM)
