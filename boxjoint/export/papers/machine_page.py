"""The list of operations, times with their bands, and the settings that were recorded."""

from __future__ import annotations

from boxjoint.export.papers.flow import GREY, SMALL, Cell, Column, Flow
from boxjoint.export.papers.records_cut import Operation, RecordedSettings, SheetTime
from boxjoint.export.papers.wording import duration, in_unit, standing
from boxjoint.job.figures import Figure
from boxjoint.units import System, format_speed

__all__ = ["draw_operations", "draw_settings"]


def draw_operations(
    flow: Flow, rows: tuple[Operation, ...], times: tuple[SheetTime, ...], unit: System
) -> None:
    """One line a step, or a run of like steps, sheet by sheet in the cut sequence."""
    if not rows and not times:
        return
    flow.heading("Cut sequence", beside="marks first, then holes, then outlines", keep=16.0)
    if rows:
        other: System = "in" if unit == "mm" else "mm"
        timed = any(r.time is not None for r in rows)
        several = len({r.sheet for r in rows}) > 1
        columns = [Column(head="sheet", share=11)] if several else []
        columns += [
            Column(head="steps", share=20),
            Column(head="layer", share=24),
            Column(head="part", share=38),
            Column(head="what", share=34),
            Column(head=f"length, {standing(rows[0].length)}", share=34, right=True),
            *([Column(head="time", share=42)] if timed else []),
            Column(head="done", share=9),
        ]
        flow.table(
            columns,
            [
                [
                    *([str(r.sheet)] if several else []),
                    _steps(r.steps),
                    r.layer,
                    Cell(main=r.part, bold=True),
                    r.what,
                    _long(r.length.value, unit, other),
                    *([_time(r.time, r.band)] if timed else []),
                    Cell(tick=True),
                ]
                for r in rows
            ],
        )
    for t in times:
        where = "All sheets together" if t.sheet is None else f"Sheet {t.sheet}"
        how = f"; {t.how}" if t.how else ""
        flow.paragraph(
            f"{where}: {_time(t.time, t.band)}, {standing(t.time)}{how}. "
            "Real time: ______________ (for the log)"
        )


def _long(mm: float, unit: System, other: System) -> str:
    """A length in both units; filled areas have none."""
    if not mm:
        return "–"
    return f"{in_unit(mm, unit, places=0)} ({in_unit(mm, other, places=0)})"


def _steps(steps: tuple[int, int]) -> str:
    first, last = steps
    if not last:
        return "first"
    return str(first) if first == last else f"{first} to {last}"


def _time(time: Figure | None, band: tuple[float, float] | None) -> str:
    if time is None:
        return "–"
    text = duration(time.value)
    if band is not None:
        text += f" ({duration(band[0])} to {duration(band[1])})"
    return text


def draw_settings(flow: Flow, settings: tuple[RecordedSettings, ...]) -> None:
    """What was recorded, in every unit of speed; what was not recorded is a line to write on."""
    if not settings:
        return
    flow.heading("Settings as this shop recorded them", keep=16.0)
    flow.paragraph(
        "A record of what was used, not advice: lens, mirrors, air and stock change. Try it on waste "
        "of this sheet first, and watch it.",
        size=SMALL,
        fill=GREY,
    )
    blank = "__________"
    rows: list[list[str | Cell]] = []
    for s in settings:
        speed = Cell(main=blank)
        if s.speed is not None:
            first, *others = format_speed(s.speed).split(", ")
            speed = Cell(main=first, sub=", ".join(others))
        rows.append(
            [
                Cell(
                    main=s.name, sub=", ".join(w for w in (s.machine, s.material) if w), bold=True
                ),
                s.layer or "all",
                speed,
                s.power or blank,
                str(s.passes) if s.passes is not None else blank,
                s.air or blank,
                s.focus or blank,
                Cell(main=s.recorded or blank, sub=s.note),
            ]
        )
    flow.table(
        [
            Column(head="settings", share=40),
            Column(head="layer", share=20),
            Column(head="speed", share=40),
            Column(head="power", share=18),
            Column(head="passes", share=14),
            Column(head="air", share=18),
            Column(head="focus", share=22),
            Column(head="recorded", share=26),
        ],
        rows,
    )
