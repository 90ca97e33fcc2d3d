"""Standard contents in compartments that are named for them, against the published sizes themselves.

The tables are read here from ``fixtures/published``, not from the program's own copy: ISO 216 and ISO 269
sheets, and the other items of ``standard_contents.json`` (ISO 8037-1, ISO/IEC 7810, IEC 60086; sources in
``fixtures/published/README.md``).
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import shapely

from boxjoint.check.built import Built
from boxjoint.job.filling import Compartments, Contents, Dividers, Item
from boxjoint.job.records import Cut, Inside, Job, JointAsk, PerAxis, Stock, Thickness
from boxjoint.job.standards import standard_item, standard_items
from boxjoint.make import build

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
MM = 1_000_000
#: Thickness of the stack of sheets that goes in, where the item is a single sheet.
STACK = 12.0
CLEARANCE = 1.5


@dataclass(frozen=True)
class Published:
    """(least, greatest) in mm; ``stated`` where the source gives limits."""

    length: tuple[float, float]
    width: tuple[float, float]
    thickness: tuple[float, float] | None
    stated: bool


def _sheets() -> dict[str, Published]:
    found = {}
    with (PUBLISHED / "iso216_269_paper_sizes.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            width, height = float(row["width_mm"]), float(row["height_mm"])
            w, h = (float(row[f"tol_{k}_pm_mm"] or 0) for k in "wh")
            found[row["name"]] = Published(
                (height - h, height + h), (width - w, width + w), None, bool(row["tol_w_pm_mm"])
            )
    return found


def _others() -> dict[str, Published]:
    data = json.loads((PUBLISHED / "standard_contents.json").read_text(encoding="utf-8"))
    found = {}
    slide = data["iso8037_1_slide"]
    assert slide["length_tol"] == slide["width_tol"] == "+0 / -1"
    thin, thick = slide["thickness_mm"]
    for width in slide["widths_mm"]:
        length = slide["length_mm"]
        found[f"ISO 8037 slide {length} x {width}"] = Published(
            (length - 1, length), (width - 1, width), (thin, thick), True
        )
    cards = data["iso7810_cards"]
    thickness = (cards["thickness_mm"]["min"], cards["thickness_mm"]["max"])
    for name in ("ID-1", "ID-2", "ID-3", "ID-000"):
        length, width = cards[name]
        found[name] = Published((length, length), (width, width), thickness, False)
    limits = cards["ID-1_unused_card_limits_mm"]
    found["ID-1"] = Published(tuple(limits["width"]), tuple(limits["height"]), thickness, True)
    cells = dict(data["iec60086_2_round_cells_mm"])
    for unused in ("provenance", "format"):
        del cells[unused]
    cells |= {"CR2032": data["iec60086_2_other_mm"]["CR2032"]}
    for name, cell in cells.items():
        across, high = tuple(cell["diameter"]), tuple(cell["height"])
        short = name.partition("(")[2].rstrip(")") or name
        # a button cell lies: its diameter is its length
        size = (high, across, across) if high > across else (across, across, high)
        found[short] = Published(*size, True)
    block = data["iec60086_2_other_mm"]["6LR61 (9 V)"]
    found["9 V"] = Published(
        tuple(block["height"]), tuple(block["length"]), tuple(block["width"]), True
    )
    for name, key in (("Letter", "letter"), ("Legal", "legal"), ("Ledger", "ledger/tabloid")):
        width, length = (side * 25.4 for side in data["us_paper_in"][key])
        found[name] = Published((length, length), (width, width), None, False)
    return found


TABLE = _sheets() | _others()


def test_the_programs_copy_has_every_published_item_and_no_other() -> None:
    assert {item.name for item in standard_items()} == set(TABLE)


@pytest.mark.parametrize("name", TABLE)
def test_the_programs_copy_is_the_published_table(name: str) -> None:
    item, row = standard_item(name), TABLE[name]
    for ours, theirs in (
        (item.length, row.length),
        (item.width, row.width),
        (item.thickness, row.thickness),
    ):
        if theirs is None:
            assert ours is None
        else:
            assert ours is not None
            assert [nm / MM for nm in ours] == pytest.approx(theirs, abs=1e-9)
    assert item.limits_stated == row.stated


def boxed(name: str, **more: object) -> Built:
    """A tray of two by two compartments, each for one of the items, lying flat."""
    thickness = STACK if TABLE[name].thickness is None else None
    return build(
        Job(
            title="Standard contents",
            unit="mm",
            inside=Inside(),
            stock=Stock(
                material="birch plywood",
                thickness=Thickness(readings=(2_980_000, 3_050_000, 3_020_000), measured=True),
            ),
            items={
                "thing": Item(
                    of=name, count=4, thickness=None if thickness is None else round(thickness * MM)
                )
            },
            contents=Contents(clearance=round(CLEARANCE * MM)),
            dividers=Dividers(
                length=Compartments(sizes=("thing", "thing")),
                width=Compartments(sizes=("thing", "thing")),
            ),
            cut=Cut(kerf=PerAxis(x=0.16, y=0.2)),
            # small items leave little between two mortises
            joint=JointAsk(web=0),
            **more,  # type: ignore[arg-type]
        )
    )


def on_the_base(built: Built, axis: int) -> tuple[float, float]:
    """Both compartments along an axis as the base as cut holds them, mm, sheets centred in their slots.

    From the outline alone: the walls bear on the innermost of its edges, a divider stands in the middle
    of its mortises. For a base that is flush with the outside.
    """
    part = built.part("bottom")
    rings = [part.as_cut.ring(k) / MM for k in range(part.as_cut.count)]
    plate = shapely.Polygon(rings[0])
    low, high = plate.bounds[axis], plate.bounds[axis + 2]
    lines = sorted({float(v) for v in rings[0][:, axis]})
    middle = (low + high) / 2
    # a shoulder stands one wall inside the outermost edge; what lies further in is a corner of it
    floor = max(v for v in lines if v < low + 4)
    ceiling = min(v for v in lines if v > high - 4)
    assert floor < middle < ceiling
    t = float(np.mean([2.98, 3.05, 3.02]))
    slots = [r for r in rings[1:] if np.ptp(r[:, axis]) == pytest.approx(t + 0.1, abs=1e-4)]
    assert slots
    centres = {round(float(r[:, axis].min() + r[:, axis].max()) / 2, 5) for r in slots}
    (centre,) = centres
    return centre - t / 2 - floor, ceiling - centre - t / 2


@pytest.mark.parametrize("name", [n for n in TABLE if TABLE[n].length[1] > 60])
def test_every_item_fits_its_compartment_at_its_upper_limit(name: str) -> None:
    row = TABLE[name]
    # low walls, so that mortises of thin items have room
    built = boxed(name)
    assert built.passed, (built.faults, built.exact.faults)
    for axis, limits in enumerate((row.length, row.width)):
        asked = [c for c in built.compartments if c.axis == axis]
        assert [c.number for c in asked] == [1, 2]
        for c, size in zip(asked, on_the_base(built, axis), strict=True):
            air = size - limits[1]
            assert air > 0
            # two roundings of a nanometre at each end
            assert air == pytest.approx(CLEARANCE, abs=4e-6)
            assert c.mean / MM == pytest.approx(size, abs=2e-5)
            # pushed together as far as the slots let them, they still leave room
            assert c.least / MM > limits[1]
            if row.stated:
                assert c.mean / MM - limits[1] <= CLEARANCE + 4e-6


@pytest.mark.parametrize("name", [n for n in TABLE if TABLE[n].length[1] <= 60])
@pytest.mark.parametrize("lie", ["flat", "on edge", "on end"])
def test_small_items_fit_an_undivided_box_however_they_lie(name: str, lie: str) -> None:
    row = TABLE[name]
    thickness = (STACK, STACK) if row.thickness is None else row.thickness
    asked = Item(
        of=name,
        lie=lie,  # type: ignore[arg-type]
        thickness=round(STACK * MM) if row.thickness is None else None,
    )
    job = Job(
        title="One thing",
        unit="mm",
        inside=Inside(),
        stock=Stock(
            material="birch plywood", thickness=Thickness(readings=(2 * MM,), measured=False)
        ),
        items={"thing": asked},
        contents=Contents(clearance=round(CLEARANCE * MM)),
    )
    built = build(job)
    sides = {
        "flat": (row.length, row.width, thickness),
        "on edge": (row.length, thickness, row.width),
        "on end": (row.width, thickness, row.length),
    }[lie]
    for r, limits in zip(built.insides, sides, strict=True):
        assert r.by_panel
        assert r.least / MM - limits[1] == pytest.approx(CLEARANCE, abs=4e-6)
