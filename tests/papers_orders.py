"""Records for the shop papers, filled by hand: orders of a school's science room."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import boxjoint
from boxjoint.export.papers.records import KerfUsed, OrderedJob, ShopPapers
from boxjoint.export.papers.records_bench import (
    Assembly,
    AssemblyStep,
    Diagonal,
    Inspection,
    PackedBox,
    PaperPicture,
    Price,
    PriceLine,
    SizeCheck,
)
from boxjoint.export.papers.records_cut import (
    Area,
    CutNumber,
    CutRow,
    Operation,
    PlacedPart,
    RecordedSettings,
    SheetPicture,
    SheetTime,
    Towards,
)
from boxjoint.gauge.kerf_gauge import kerf_gauge
from boxjoint.gauge.pieces import GaugeStock
from boxjoint.geometry.page import A4, Paper, PathMark, TextMark
from boxjoint.job.figures import Figure
from boxjoint.job.records import Source
from boxjoint.solve.solution import Solution
from boxjoint.units import System, read_speed

ROOT = Path(__file__).resolve().parents[1]
THIN = Figure(value=3.017, source=Source.MEASURED, uncertainty=0.02, readings=3)
THICK = Figure(value=6.1, source=Source.MEASURED, readings=1)
ASSUMED_THICK = Figure(value=3.0, source=Source.ASSUMED)
KERF = (
    Figure(value=0.183, source=Source.MEASURED, uncertainty=0.004, readings=14),
    Figure(value=0.201, source=Source.MEASURED, uncertainty=0.004, readings=14),
)


def asked(mm: float) -> Figure:
    return Figure(value=mm, source=Source.ASKED)


def computed(value: float, unit: str = "mm") -> Figure:
    return Figure(value=value, source=Source.COMPUTED, unit=unit)


def solution_of(name: str) -> Solution:
    built = boxjoint.build(boxjoint.read_job(ROOT / f"fixtures/jobs/{name}.toml"))
    solution = built.solution
    return solution if isinstance(solution, Solution) else solution[0]


def rings_of(solution: Solution, name: str) -> list[NDArray[np.float64]]:
    """The nominal rings of a panel, mm, its lower left corner at (0, 0)."""
    rings = solution.panel(name).rings
    whole = [rings.xy[a:b] / 1e6 for a, b in zip(rings.start[:-1], rings.start[1:], strict=True)]
    low = whole[0].min(axis=0)
    return [r - low for r in whole]


def put(
    rings: list[NDArray[np.float64]],
    label: str,
    at: tuple[float, float],
    *,
    turned: bool = False,
    cuts: str = "",
    up: Towards | None = "up",
) -> PlacedPart:
    """A part with its lower left corner at a place of the sheet, turned a quarter or not."""
    if turned:
        high = rings[0][:, 1].max()
        rings = [np.column_stack([high - r[:, 1], r[:, 0]]) for r in rings]
        up = "left" if up == "up" else up
    return PlacedPart(label=label, rings=tuple(r + np.array(at) for r in rings), up=up, cuts=cuts)


def tray_rows(solution: Solution, unit: System = "mm") -> tuple[CutRow, ...]:
    rows = []
    for panel in solution.panels:
        thick = panel.name == "bottom"
        rows.append(
            CutRow(
                part=panel.name,
                job="Slide tray",
                quantity=1,
                size=(computed(panel.size[0] / 1e6), computed(panel.size[1] / 1e6)),
                material="birch plywood",
                thickness=THICK if thick else THIN,
                grain="along length" if panel.name in ("front", "back") else "any",
                sheets=(1,),
                unit=unit,
            )
        )
    return tuple(rows)


def tray_inspection(unit: System = "mm", quantity: int = 1) -> Inspection:
    allowed = Figure(value=0.5, source=Source.ASSUMED)
    limit = Figure(value=0.3, source=Source.ASSUMED)
    return Inspection(
        job="Slide tray",
        quantity=quantity,
        insides=(
            SizeCheck(name="length", size=asked(232.0), limit=limit),
            SizeCheck(name="width", size=asked(79.375), limit=limit),
            SizeCheck(name="height", size=asked(32.0), limit=limit),
        ),
        diagonals=(Diagonal(face="opening", a=232.0, b=79.375, allowed=allowed),),
        outsides=(
            SizeCheck(name="length", size=computed(238.03)),
            SizeCheck(name="width", size=computed(85.41)),
            SizeCheck(name="height", size=computed(38.1)),
        ),
        fit="snug, clearance -0.05 mm asked",
        unit=unit,
    )


def tray_papers(paper: Paper = A4, unit: System = "mm") -> ShopPapers:
    """One tray of five panels from one sheet: all that fits on one page, and what follows."""
    s = solution_of("slide-tray")
    parts = (
        put(rings_of(s, "bottom"), "bottom", (8, 8), cuts="1"),
        put(rings_of(s, "front"), "front", (8, 100), cuts="2"),
        put(rings_of(s, "back"), "back", (8, 144), cuts="3"),
        put(rings_of(s, "left"), "left", (252, 8), turned=True, cuts="4"),
        put(rings_of(s, "right"), "right", (252, 100), turned=True, cuts="5"),
    )
    sheet = SheetPicture(
        number=1,
        of=1,
        name="A7",
        size=(400.0, 200.0),
        material="birch plywood",
        thickness=THIN,
        parts=parts,
        grain="x",
        face_up="outside faces up",
        margin_mm=5.0,
        keep_outs=(Area(x=380, y=180, width=20, height=20, name="clamp"),),
        remains=(Area(x=296, y=5, width=99, height=190),),
        used=computed(0.61, "1"),
        starts=tuple(
            CutNumber(number=i + 1, at=(float(p.rings[0][3][0]), float(p.rings[0][3][1])))
            for i, p in enumerate(parts)
        ),
        unit=unit,
        file="sheet-01.dxf",
    )
    return ShopPapers(
        title="Slide trays for the science room",
        date="2026-11-25",
        reference="room 12, glass slides",
        jobs=(
            OrderedJob(
                title="Slide tray",
                quantity=1,
                inside=(asked(232.0), asked(79.375), asked(32.0)),
                unit=unit,
            ),
        ),
        kerf=(KerfUsed(x=KERF[0], y=KERF[1], stock="birch plywood A7"),),
        cuts=tray_rows(s, unit),
        sheets=(sheet,),
        operations=tuple(
            Operation(
                sheet=1,
                steps=(i + 1, i + 1),
                layer="CUT_OUTER",
                part=p.label,
                what="outline",
                length=computed(640.0 + 37 * i),
                time=computed(44.0 + 3 * i, "s"),
                band=(36.0 + 3 * i, 61.0 + 3 * i),
            )
            for i, p in enumerate(parts)
        ),
        times=(
            SheetTime(
                sheet=None,
                time=computed(247.0, "s"),
                band=(200.0, 330.0),
                how="no job of this machine is logged yet",
            ),
        ),
        settings=(
            RecordedSettings(
                name="ply3",
                machine="red laser",
                material="birch plywood 3 mm",
                speed=read_speed("700 mm/min"),
                power="80 %",
                passes=1,
                air="on",
                recorded="2026-10-02",
            ),
        ),
        assemblies=(tray_assembly(),),
        inspections=(tray_inspection(unit),),
        paper=paper,
    )


def a_picture(label: str) -> PaperPicture:
    """A stand-in for an isometric picture: a wall over a plate, with an arrow and a slanted name."""
    plate = ((10.0, 60.0), (60.0, 85.0), (110.0, 60.0), (60.0, 35.0))
    wall = ((10.0, 30.0), (60.0, 55.0), (60.0, 30.0), (10.0, 5.0))
    return PaperPicture(
        wide=120.0,
        high=90.0,
        marks=(
            PathMark(rings=(plate,), fill="#F3E5C6", stroke="#2B2118", width=0.25),
            PathMark(rings=(wall,), fill="#E4CD9F", stroke="#2B2118", width=0.5),
            PathMark(
                rings=(((35.0, 48.0), (35.0, 66.0)),), closed=False, width=0.25, dash=(1.6, 0.9)
            ),
            TextMark(
                at=(35.0, 32.0),
                words=label,
                size=4.0,
                anchor="middle",
                matrix=(0.866, 0.5, 0.0, 1.0),
            ),
        ),
    )


def tray_assembly() -> Assembly:
    words = {
        "bottom": "Lay the bottom flat, outside down, its arrow away from you.",
        "front": "Press the front down onto the front edge of the bottom, names outwards.",
        "left": "Press the left wall down: into the bottom, and into the slots of the front.",
        "right": "The right wall likewise.",
        "back": "Press the back down last: it locks both side walls. Check the diagonals before the "
        "glue sets.",
    }
    return Assembly(
        job="Slide tray",
        note="A little glue on the flanks only. Clamps beside the tabs, not on them.",
        steps=tuple(
            AssemblyStep(words=w, parts=(name,), picture=a_picture(name))
            for name, w in words.items()
        ),
    )


def order_papers(paper: Paper = A4) -> ShopPapers:
    """Three jobs, six drawers among them, three sheets, an assumed kerf, a price: many pages."""
    tray, drawer, box = (
        solution_of(n) for n in ("slide-tray", "specimen-drawer", "notebook-box-a5")
    )
    rows, sheets = [], []
    ordered = (
        ("Slide tray", tray, 1, "T"),
        ("Specimen drawer", drawer, 6, "D"),
        ("Notebook box A5", box, 2, "N"),
    )
    for title, s, quantity, letter in ordered:
        for panel in s.panels:
            rows.append(
                CutRow(
                    part=panel.name,
                    job=title,
                    quantity=quantity,
                    size=(computed(panel.size[0] / 1e6), computed(panel.size[1] / 1e6)),
                    material="birch plywood",
                    thickness=THICK if panel.name == "bottom" else THIN,
                    grain="any",
                    sheets=(1, 2, 3) if quantity > 1 else (1,),
                    label=f"{letter} {panel.name}",
                )
            )
    for number in (1, 2, 3):
        parts, x, y, row_high, step = [], 8.0, 8.0, 0.0, 0
        for _title, s, quantity, letter in ordered:
            for panel in s.panels:
                for copy in range(1, min(quantity, 2) + 1):
                    rings = rings_of(s, panel.name)
                    wide, high = rings[0].max(axis=0).tolist()
                    if x + wide > 592:
                        x, y, row_high = 8.0, y + row_high + 2, 0.0
                    if y + high > 392 or wide > 580:
                        continue
                    step += len(rings)
                    name = f"{letter}{number if quantity > 1 else ''}.{copy} {panel.name}"
                    parts.append(put(rings, name, (x, y), cuts=str(step)))
                    x, row_high = x + wide + 2, max(row_high, high)
        sheets.append(
            SheetPicture(
                number=number,
                of=3,
                name=f"B{number}",
                size=(600.0, 400.0),
                material="birch plywood",
                thickness=THIN if number < 3 else ASSUMED_THICK,
                parts=tuple(parts),
                margin_mm=5.0,
                copies=2 if number == 2 else 1,
                remains=(
                    Area(
                        x=400, y=y + row_high + 4, width=190, height=max(20.0, 390 - y - row_high)
                    ),
                ),
                used=computed(0.7, "1"),
                file=f"sheet-{number:02d}.dxf",
            )
        )
    operations = tuple(
        Operation(
            sheet=sheet.number,
            steps=(3 * i + 1, 3 * i + 3),
            layer="CUT_INNER" if i % 2 else "CUT_OUTER",
            part=p.label,
            what="outline" if i % 2 == 0 else "3 holes",
            length=computed(500.0 + 11 * i),
            time=computed(30.0 + i, "s"),
            band=(25.0 + i, 45.0 + i),
        )
        for sheet in sheets
        for i, p in enumerate(sheet.parts)
    )
    allowed = Figure(value=0.5, source=Source.ASSUMED)
    tray_papers_ = tray_papers(paper)
    return ShopPapers(
        title="Trays, drawers and notebook boxes for the science room, autumn",
        date="2026-11-25",
        reference="room 12",
        jobs=tuple(
            OrderedJob(title=t, quantity=q, inside=(asked(232.0), asked(79.375), asked(32.0)))
            for t, _, q, _ in ordered
        ),
        kerf=(
            KerfUsed(x=KERF[0], y=KERF[1], stock="birch plywood A7"),
            KerfUsed(
                x=Figure(value=0.18, source=Source.ASSUMED),
                y=Figure(value=0.18, source=Source.ASSUMED),
                stock="birch plywood 6 mm",
            ),
        ),
        warnings=(
            "The kerf of birch plywood 6 mm is assumed: cut the gauge on the last page first.",
            "Sheet 3 was not measured: its thickness is what the label says.",
        ),
        cuts=tuple(rows),
        sheets=tuple(sheets),
        operations=operations,
        times=tuple(
            SheetTime(sheet=n, time=computed(900.0 + 60 * n, "s"), band=(700.0, 1400.0))
            for n in (1, 2, 3)
        ),
        settings=(
            *tray_papers_.settings,
            RecordedSettings(name="ply6", machine="red laser", material="birch plywood 6 mm"),
        ),
        assemblies=(tray_assembly(),),
        inspections=(
            tray_inspection(),
            Inspection(
                job="Specimen drawer",
                quantity=6,
                insides=(
                    SizeCheck(name="length", size=asked(300.0), limit=allowed),
                    SizeCheck(name="width", size=asked(200.0), limit=allowed),
                ),
                diagonals=(Diagonal(face="opening", a=300.0, b=200.0, allowed=allowed),),
            ),
        ),
        packing=tuple(
            PackedBox(label=f"{i} of 9", job=t, what="assembled, wrapped")
            for i, t in enumerate(
                ["Slide tray"] + ["Specimen drawer"] * 6 + ["Notebook box A5"] * 2, start=1
            )
        ),
        price=Price(
            lines=(
                PriceLine(what="Sheets", how="3 sheets 600 × 400 mm with waste", amount="27.00"),
                PriceLine(what="Machine", how="52 min at the shop's own rate", amount="41.60"),
                PriceLine(
                    what="Labour", how="cleaning, gluing, packing: 2 h 40 min", amount="64.00"
                ),
            ),
            total="132.60",
            note="Stands for 30 days. Times are computed, not logged.",
        ),
        gauges=(kerf_gauge(GaugeStock(material="birch plywood", thickness_mm=6.1)),),
        paper=paper,
    )
