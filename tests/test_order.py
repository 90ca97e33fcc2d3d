"""Orders on sheets: read, laid, compensated for the way each panel lies, proved, drawn."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from strategies import labelled_rings

from boxjoint.errors import InputError, JobError, ProofFailed
from boxjoint.export.dxf import drawing_to_dxf
from boxjoint.geometry.rings import Rings, Role, mirrored, turned
from boxjoint.job.read import parse_job
from boxjoint.job.records import Cut, Job, PerAxis
from boxjoint.job.sheets import Nesting
from boxjoint.make import build
from boxjoint.order.cuts import sequenced
from boxjoint.order.drawing import copy_curves, sheet_drawing
from boxjoint.order.items import Pieces
from boxjoint.order.lay import cut_back, lay
from boxjoint.order.read import is_order, lines_of, read_order, split_quantity
from boxjoint.order.records import Laid, LaidSheet, Order
from boxjoint.sheet.records import NestedSheet
from boxjoint.shop.book import Book
from boxjoint.shop.records import Machine, Offcut, OffcutUse, Sheet
from boxjoint.shop.stock import bed_of, offcuts_left

MM = 1_000_000
JOBS = Path(__file__).parents[1] / "fixtures" / "jobs"
TRAY = """
title = "Slide tray"
unit = "mm"
[inside]
length = 120
width = 60
height = 25
[stock]
material = "birch plywood"
thickness = 3
[cut]
kerf = { x = 0.16, y = 0.22 }
"""


def order_of(*jobs: Job, quantity: int = 1) -> Order:
    return Order(title="First order", unit="mm", lines=lines_of([(job, quantity) for job in jobs]))


def tray(more: str = "") -> Job:
    return parse_job(TRAY + more)


def laid(job: Job, size: tuple[int, int] = (300 * MM, 200 * MM)) -> Laid:
    return lay(order_of(job), sizes=[size], level=1)


UPRIGHT = (100 * MM, 200 * MM)  # on such a sheet the tray's longer panels have to be turned


@settings(max_examples=60, deadline=None)
@given(labelled_rings())
def test_mirrored_outlines_are_those_of_shapely_and_come_back(rings: Rings) -> None:
    seen = mirrored(rings)
    assert seen.area == rings.area
    for k in range(rings.count):
        ours = shapely.Polygon(seen.ring(k))
        theirs = shapely.affinity.scale(shapely.Polygon(rings.ring(k)), -1, 1, origin=(0, 0))
        assert ours.symmetric_difference(theirs).area == 0
    back = mirrored(seen)
    assert np.array_equal(back.xy, rings.xy)
    assert np.array_equal(back.role, rings.role)
    assert np.array_equal(back.joint, rings.joint)


@pytest.mark.parametrize("face", ["inside", "outside"])
@pytest.mark.parametrize("size", [(300 * MM, 200 * MM), UPRIGHT])
def test_every_copy_as_cut_by_an_outside_beam_is_its_nominal(
    face: str, size: tuple[int, int]
) -> None:
    """shapely cuts the drawn outline of every copy with a beam of kerf_x by kerf_y.

    Source of the expectation: the Minkowski difference of a polygon and a rectangle, done by shapely
    on the drawn outline at its place; compared with the nominal moved by the asked clearance alone.
    """
    job = tray(f'[joint]\nclearance = 0.08\n[nest]\nface = "{face}"\n')
    found = laid(job, size)
    assert found.passed
    turns = set()
    for sheet in found.sheets:
        for copy in sheet.copies:
            piece = copy.piece
            turns.add(piece.quarters % 2)
            drawn = piece.drawn.rings.ring(0) + np.array(copy.shift)
            left = eroded(shapely.Polygon(drawn / 1e6), 0.16 / 2, 0.22 / 2)
            # back to the panel's own axes, independently of our own turning
            left = shapely.affinity.rotate(left, -90 * piece.quarters, origin=(0, 0))
            if piece.mirrored:
                left = shapely.affinity.scale(left, -1, 1, origin=(0, 0))
            nominal = piece.part.panel.rings
            wide, high = nominal.extent[2] / 1e6, nominal.extent[3] / 1e6
            assert left.bounds[2] - left.bounds[0] == pytest.approx(wide, abs=2e-6)
            assert left.bounds[3] - left.bounds[1] == pytest.approx(high, abs=2e-6)
            area = shapely.Polygon(nominal.ring(0) / 1e6).area - sum_flanks(nominal) * 0.08 / 4
            assert left.area == pytest.approx(area, abs=0.01)
    assert 1 in turns or size != UPRIGHT


def sum_flanks(rings: Rings) -> float:
    """Length of all flanks, mm."""
    lengths = np.abs(rings.ends - rings.xy).sum(axis=1) / 1e6
    return float(lengths[rings.role == Role.FLANK].sum())


def eroded(shape: shapely.Polygon, dx: float, dy: float) -> shapely.Polygon:
    """What a beam of 2 dx by 2 dy leaves whose centre follows the outline: four shifts, met."""
    moved = [
        shapely.affinity.translate(shape, sx * dx, sy * dy) for sx in (-1, 1) for sy in (-1, 1)
    ]
    left = moved[0]
    for other in moved[1:]:
        left = left.intersection(other)
    return left


def test_a_copy_compensated_for_another_way_of_lying_is_a_fault(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from boxjoint.order import items

    true_compensate = items.compensate
    monkeypatch.setattr(
        items,
        "compensate",
        lambda nominal, beam, allowance, *, quarters, name: true_compensate(
            nominal,
            replace(beam, kerf=PerAxis(x=beam.kerf.y, y=beam.kerf.x)) if quarters % 2 else beam,
            allowance,
            quarters=quarters,
            name=name,
        ),
    )
    found = laid(tray(), UPRIGHT)
    assert not found.passed
    with pytest.raises(ProofFailed, match="as cut from its sheet"):
        found.require()


PLANTED = {
    "30 mm from its place": ("shift", "30.000000, 0.000000 mm off the place"),
    "outlines of another turn": ("turn", "made for"),
    "cut-outs of another turn": ("holes", "its cut-outs do not lie as the panel does"),
    "the other face up": ("face", "not made for its inside up"),
}


@pytest.mark.parametrize(("fault", "words"), PLANTED.values(), ids=PLANTED)
def test_a_copy_that_lies_otherwise_than_nested_is_a_fault(
    monkeypatch: pytest.MonkeyPatch, fault: str, words: str
) -> None:
    from boxjoint.order import lay as module

    true_sheet = module._laid_sheet

    def planted(number: int, sheet: NestedSheet, by_group: dict[str, Pieces]) -> LaidSheet:
        whole = true_sheet(number, sheet, by_group)
        copies = list(whole.copies)
        k = next((k for k, c in enumerate(copies) if c.piece.holes), None)
        if k is None:
            return whole
        copy = copies[k]
        piece = copy.piece
        other = by_group[copy.group].piece(copy.name, piece.quarters + 2)
        if fault == "shift":
            copies[k] = replace(copy, shift=(copy.shift[0] + 30 * MM, copy.shift[1]))
        elif fault == "turn":  # half a turn: the size is the same, and so is the kerf
            copies[k] = replace(copy, piece=other)
        elif fault == "holes":
            copies[k] = replace(copy, piece=replace(piece, holes=other.holes))
        else:
            copies[k] = replace(copy, piece=replace(piece, mirrored=not piece.mirrored))
        return replace(whole, copies=tuple(copies))

    monkeypatch.setattr(module, "_laid_sheet", planted)
    hole = '[[cutouts]]\npanel = "front"\nkind = "round hole"\ndiameter = 6\nfrom_left = 30\nfrom_bottom = 12\n'
    found = lay(order_of(tray(hole)), sizes=[(300 * MM, 200 * MM)], level=1)
    assert any(words in f for f in found.faults), found.faults


def test_copies_lie_where_the_nest_says_and_come_back_alike() -> None:
    found = lay(order_of(tray(), quantity=3), sizes=[(400 * MM, 300 * MM)], level=1)
    assert len(found.sheets[0].copies) + sum(len(s.copies) for s in found.sheets[1:]) == 15
    for sheet in found.sheets:
        for copy in sheet.copies:
            points = np.concatenate([c.xy for c in copy_curves(copy)])
            x0, y0, x1, y1 = (v / 1e6 for v in copy.placement.extent)
            assert points.min(axis=0) == pytest.approx([x0, y0], abs=1e-6)
            assert points.max(axis=0) == pytest.approx([x1, y1], abs=1e-6)
            back = cut_back(copy)
            assert back.area == copy.piece.as_cut.area


def test_the_outside_up_is_not_mirrored_and_the_inside_is() -> None:
    up = {face: laid(tray(f'[nest]\nface = "{face}"\n')) for face in ("inside", "outside")}
    for face, found in up.items():
        for sheet in found.sheets:
            for copy in sheet.copies:
                flat = turned(copy.piece.drawn.rings, -copy.piece.quarters)
                nominal = copy.piece.part.panel.rings
                seen = mirrored(nominal) if face == "inside" else nominal
                shift = np.array(seen.extent[:2]) - np.array(flat.extent[:2])
                ours = shapely.Polygon(flat.ring(0) + shift)
                assert (
                    ours.symmetric_difference(shapely.Polygon(seen.ring(0))).area < 0.02 * ours.area
                )


def test_walls_lie_end_to_end_in_walking_order() -> None:
    found = lay(
        order_of(tray("[nest]\ncontinuous = true\n")), sizes=[(600 * MM, 300 * MM)], level=1
    )
    row = sorted(
        (c for c in found.sheets[0].copies if c.name in ("front", "right", "back", "left")),
        key=lambda c: (c.placement.x, c.placement.y),
    )
    names = [c.name for c in row]
    # seen from the inside one walks the other way round; a strip may lie upside down
    assert names in (["left", "back", "right", "front"], ["front", "right", "back", "left"])
    assert len({c.piece.quarters for c in row}) == 1


def test_one_axis_says_what_it_could_not_have() -> None:
    found = laid(tray("[nest]\none_axis = true\n"))
    assert any("mating edges lie along different axes" in w for w in found.warnings)


def test_a_sheet_is_drawn_in_layers_that_a_simple_controller_keeps() -> None:
    found = laid(tray())
    cuts = sequenced(found.sheets[0]).drawn()
    drawing = sheet_drawing(found, found.sheets[0], cuts)
    layers = [c.layer.value for c in drawing.curves]
    ranks = [["MARK", "CUT_INNER", "CUT_OUTER", "REFERENCE"].index(name) for name in layers]
    assert ranks == sorted(ranks)
    again = sheet_drawing(found, found.sheets[0], sequenced(found.sheets[0]).drawn())
    assert drawing_to_dxf(drawing) == drawing_to_dxf(again)


# Orders and quantities


def test_quantities_on_the_command_line(tmp_path: Path) -> None:
    assert split_quantity("tray.toml") == (Path("tray.toml"), 1)
    assert split_quantity("tray.toml=12") == (Path("tray.toml"), 12)
    odd = tmp_path / "a=b"
    odd.write_text("x")
    assert split_quantity(str(odd)) == (odd, 1)
    for bad in ("tray.toml=0", "tray.toml=-1", "tray.toml=x", "tray.toml=10001", "tray.toml="):
        with pytest.raises(InputError, match="no such quantity"):
            split_quantity(bad)


def test_an_order_file_names_its_jobs(tmp_path: Path) -> None:
    (tmp_path / "tray.toml").write_text(TRAY)
    path = tmp_path / "order.toml"
    path.write_text(
        'title = "First term"\ncustomer = "science room"\n'
        '[[jobs]]\npath = "tray.toml"\nquantity = 3\n[[jobs]]\npath = "tray.toml"\n'
        "[sheets.ply]\nsize = [400, 300]\n[nest]\nspacing = 3\n"
    )
    assert is_order(path)
    assert not is_order(tmp_path / "tray.toml")
    order = read_order(path)
    assert [(line.group, line.quantity) for line in order.lines] == [
        ("Slide tray", 3),
        ("Slide tray (2)", 1),
    ]
    assert order.customer == "science room"
    assert order.nesting.spacing == 3 * MM
    found = lay(order, level=0)
    assert found.ask.spacing == 3 * MM
    assert {s.nested.stock.name for s in found.sheets} == {"ply"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[jobs]]\npaht = "a.toml"\n', "no such key in a job of an order"),
        ("[[jobs]]\nquantity = 2\n", "this job has no path"),
        ('[[jobs]]\npath = "a.toml"\nquantity = 0\n', "no such quantity"),
        ('[[jobs]]\npath = "missing.toml"\n', "no such file"),
        ('tilte = "x"\n[[jobs]]\npath = "a.toml"\n', "no such key or table in an order"),
        ('[[jobs]]\npath = "a.toml"\n[sheets.a]\nsize = [0, 1]\n', "size of a sheet"),
    ],
)
def test_a_bad_order_is_refused_with_its_place(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "order.toml"
    path.write_text(text)
    with pytest.raises(JobError, match=words) as caught:
        read_order(path)
    assert "order.toml" in str(caught.value) or "missing.toml" in str(caught.value)


def test_no_sheets_are_asked_for_with_what_is_needed() -> None:
    with pytest.raises(InputError, match="no sheets are stated") as caught:
        lay(order_of(tray()))
    assert "birch plywood, 3.00 mm" in str(caught.value)


def test_an_order_in_inches_asks_for_and_names_its_sheets_in_inches() -> None:
    order = replace(order_of(tray()), unit="in")
    with pytest.raises(InputError) as caught:
        lay(order)
    assert "size = [24, 12]" in str(caught.value)
    assert "--stock-size 24x12" in str(caught.value)
    laid = lay(
        order, sizes=[(24 * 25_400_000, 12 * 25_400_000)]
    )  # an inch is 25.4 mm (ISO 80000-3)
    # 3.00 mm / 25.4 = 0.118 in
    assert {s.nested.stock.name for s in laid.sheets} == {"birch plywood 0.118 in, 24 x 12 in"}


def test_two_jobs_may_not_mean_different_sheets_by_one_name() -> None:
    a, b = tray("[sheets.ply]\nsize = [400, 300]\n"), tray("[sheets.ply]\nsize = [500, 300]\n")
    with pytest.raises(InputError, match="different sheets by one name"):
        lay(order_of(a, b))


def test_a_panel_larger_than_the_sheet_is_said_with_the_sizes() -> None:
    with pytest.raises(InputError) as caught:
        lay(order_of(tray()), sizes=[(100 * MM, 80 * MM)])
    assert "Slide tray back: fits on no sheet" in str(caught.value)
    assert "126.16 x 28.22 mm" in str(caught.value)  # 120 + 2 x 3 and 25 + 3, and one kerf each
    # 100 less two margins of 5 is 90, less 2 x 3 and one kerf: an inside of 83.84 mm
    assert "nearest inside that fits has length 83.84 mm" in str(caught.value)
    smaller = parse_job(TRAY.replace("length = 120", "length = 83.84"))
    assert laid(smaller, (100 * MM, 80 * MM)).passed


def test_a_router_spaces_by_its_tool() -> None:
    job = replace(tray(), cut=Cut(tool=3 * MM))
    found = lay(order_of(job), sizes=[(400 * MM, 300 * MM)], level=0)
    assert found.ask.spacing >= 4.5 * MM
    assert found.ask.kerf == 3 * MM


# The shop's own sheets


def test_offcuts_of_the_shop_come_first_and_are_counted(tmp_path: Path) -> None:
    at = datetime(2026, 3, 1, tzinfo=UTC)
    with Book.open(tmp_path / "book.sqlite", write=True) as book:
        book.append(Machine(at=at, name="workshop laser", bed_x_mm=400, bed_y_mm=300))
        sheet = book.append(Sheet(at=at, material="birch plywood", thickness_mm=(3.0,))).id
        kept = book.append(Offcut(at=at, sheet=sheet, x_mm=300, y_mm=200, count=2)).id
        book.append(OffcutUse(at=at, offcut=kept, count=1))
        assert bed_of(book, "Workshop  Laser") == (400 * MM, 300 * MM)
        assert bed_of(book, "other") is None
        left = offcuts_left(book, sheet[:8])
        assert [(s.width, s.height, s.count, s.offcut) for s in left] == [
            (300 * MM, 200 * MM, 1, True)
        ]
        book.append(OffcutUse(at=at, offcut=kept, count=1, order="last"))
        assert offcuts_left(book, sheet) == ()
    found = lay(order_of(tray()), sizes=[(600 * MM, 400 * MM)], offcuts=left, level=1)
    assert found.sheets[0].nested.stock.offcut


@pytest.mark.parametrize("quarters", [0, 1])
def test_a_relief_that_would_thin_a_web_is_left_out_on_the_sheet_too(quarters: int) -> None:
    """Mortises 3.1 mm above the lower rim, 3 mm wanted: a circle of 0.5 mm takes 0.146 mm of it."""
    job = parse_job(
        TRAY.replace("birch plywood", "clear acrylic")
        + "[joint]\nclearance = 0\nsheet_clearance = 0\nweb = 3\n[bottom]\nraised = 3.1\n"
    )
    (line,) = order_of(job).lines
    pieces = Pieces(line, build(job), Nesting())
    front = pieces.piece("front", quarters).relieved
    assert front.spared == pieces.parts["front"].relieved.spared > 0
    assert front.corners == pieces.parts["front"].relieved.corners


def test_the_document_knows_the_keys_of_an_order_and_the_rates() -> None:
    from boxjoint.order.read import JOB_KEYS, ORDER_KEYS
    from boxjoint.sheet.price import RATES

    text = (JOBS.parents[1] / "docs" / "orders.md").read_text()
    for key in (*ORDER_KEYS, *JOB_KEYS, *RATES):
        assert f"`{key}`" in text or f"[[{key}]]" in text, key


def test_the_orders_of_the_workshop_can_be_laid() -> None:
    for path in sorted((JOBS.parent / "orders").glob("*.toml")):
        found = lay(read_order(path), level=0)
        found.require()
        assert found.order.customer == "school science room"
