"""Assembly step by step, and the inspection sheet to fill in."""

from __future__ import annotations

from dataclasses import dataclass

from boxjoint.export.papers.flow import BODY, GREY, SIDE, SMALL, Cell, Column, Flow, put
from boxjoint.export.papers.records_bench import Assembly, AssemblyStep, Inspection, SizeCheck
from boxjoint.export.papers.typeface import wrapped
from boxjoint.export.papers.wording import both_units, in_unit, standing
from boxjoint.geometry.page import INK, LINE
from boxjoint.job.figures import Figure
from boxjoint.units import System

__all__ = ["draw_assembly", "draw_inspection"]

_GAP = 4.0  # between steps side by side, mm
#: Steps side by side, and the greatest height of their pictures, mm: largest first.
_GRIDS = ((2, 66.0), (2, 54.0), (3, 54.0), (3, 44.0), (3, 36.0))
_LINE = 1.3
_MOST_COPIES = 4  # boxes to write in, side by side


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """How steps stand on the page: so many side by side, pictures at most so high, mm."""

    across: int
    picture: float
    wide: float

    def lines(self, step: AssemblyStep) -> list[str]:
        """The words of a step, broken."""
        room = self.wide - 11.0
        lines = wrapped(step.words, BODY, room)
        if step.parts:
            lines += wrapped("Parts: " + ", ".join(step.parts), BODY, room)
        return lines[:30]

    def size(self, step: AssemblyStep) -> tuple[float, float, float]:
        """(scale, width, height) of a step's picture, mm of paper."""
        if step.picture is None:
            return 1.0, 0.0, 0.0
        p = step.picture
        scale = min((self.wide - 3.0) / p.wide, self.picture / p.high)
        return scale, p.wide * scale, p.high * scale

    def rows(self, steps: tuple[AssemblyStep, ...]) -> list[tuple[tuple[AssemblyStep, ...], float]]:
        """Steps that stand side by side, with the height they take."""
        out = []
        for i in range(0, len(steps), self.across):
            row = steps[i : i + self.across]
            words = max(len(self.lines(s)) for s in row) * BODY * _LINE
            out.append((row, max(words, 7.0) + max(self.size(s)[2] for s in row) + 5.0))
        return out


def _grid(flow: Flow, steps: tuple[AssemblyStep, ...], above: float) -> _Grid:
    """The largest pictures with which all steps fit on what is left, else on one page, else largest."""
    grids = [
        _Grid(across=n, picture=most, wide=(flow.width - (n - 1) * _GAP) / n) for n, most in _GRIDS
    ]
    for room in (flow.room, flow.full_room):
        for grid in grids:
            if above + sum(high + _GAP for _, high in grid.rows(steps)) <= room:
                return grid
    return grids[0]


def draw_assembly(flow: Flow, assembly: Assembly) -> None:
    """Steps side by side, read from left to right; steps of a row stay on one page."""
    if not assembly.steps:
        return
    count = f"{assembly.quantity} boxes, all alike" if assembly.quantity > 1 else ""
    note = flow.height_of(lambda f: f.paragraph(assembly.note)) if assembly.note else 0.0
    grid = _grid(flow, assembly.steps, 9.0 + note)
    rows = grid.rows(assembly.steps)
    total = note + sum(high + _GAP for _, high in rows)
    keep = total if total + 9.0 <= flow.full_room else rows[0][1] + note
    flow.heading(f"Assembly: {assembly.job}", beside=count, keep=min(keep, flow.full_room - 15.0))
    if assembly.note:
        flow.paragraph(assembly.note, size=SMALL, fill=GREY)
    number = 0
    for row, high in rows:
        flow.need(min(high, flow.full_room))
        for i, step in enumerate(row):
            number += 1
            _step(flow, SIDE + i * (grid.wide + _GAP), grid, number, step, high)
        flow.y += high + _GAP


def _step(flow: Flow, x: float, grid: _Grid, number: int, step: AssemblyStep, high: float) -> None:
    """One step: its number in a disc, the words, the picture below."""
    page, y = flow.page, flow.y
    page.box(x, y, grid.wide, high, stroke=LINE, width=0.2)
    page.circle((x + 4.2, y + 4.6), 3.0, fill=INK, width=0.1)
    put(
        page,
        x + 4.2,
        y + 5.75,
        str(number),
        3.2,
        bold=True,
        anchor="middle",
        fill="#ffffff",
        room=5.2,
    )
    for i, line in enumerate(grid.lines(step)):
        put(page, x + 9.0, y + 3.9 + i * BODY * _LINE, line, BODY)
    if step.picture is not None:
        scale, wide, tall = grid.size(step)
        page.place(step.picture.marks, x + (grid.wide - wide) / 2, y + high - tall - 1.5, scale)


def draw_inspection(flow: Flow, inspection: Inspection) -> None:
    """Sizes asked and computed, with limits, and boxes to write in: one a box of the job."""
    for first in range(1, inspection.quantity + 1, _MOST_COPIES):
        last = min(first + _MOST_COPIES - 1, inspection.quantity)

        def draw(f: Flow, first: int = first, last: int = last) -> None:
            _inspection(f, inspection, first, last)

        flow.whole(draw)


def _inspection(flow: Flow, inspection: Inspection, first: int, last: int) -> None:
    unit = inspection.unit
    copies = last - first + 1
    which = f"box {first}" if first == last else f"boxes {first} to {last}"
    of = f" of {inspection.quantity}" if inspection.quantity > 1 else ""
    flow.heading(
        f"Inspection: {inspection.job}",
        beside=f"{which}{of}; write what the calipers show, in mm or in inches: ☐ mm ☐ in",
        keep=0.0,
    )
    heads = [
        Column(head="measure", share=42),
        Column(head="should be", share=40),
        Column(head="limits", share=44),
        *(
            Column(
                head=f"box {first + i}" if inspection.quantity > 1 else "measured",
                share=(50 if copies == 1 else 64) / copies,
            )
            for i in range(copies)
        ),
    ]
    boxes = [Cell(write=1)] * copies
    rows: list[list[str | Cell]] = []
    for check in inspection.insides:
        rows.append(
            [f"inside {check.name}", _should(check.size, unit), _limits(check, unit), *boxes]
        )
    for d in inspection.diagonals:
        a = in_unit(d.a, unit)
        rows.append(
            [
                Cell(main="diagonals", sub=f"{d.face}, {a.split()[0]} × {in_unit(d.b, unit)}"),
                _should(d.length, unit),
                Cell(
                    main=f"may differ by {in_unit(d.allowed.value, unit)}",
                    sub=f"{standing(d.allowed)}; then {in_unit(d.skew_mm, unit, places=1)} out of square",
                ),
                *([Cell(write=2)] if copies == 1 else boxes),
            ]
        )
        if copies > 1:  # two values side by side are too narrow to write in
            rows.append([Cell(sub="the other diagonal"), "", "", *boxes])
    for check in inspection.outsides:
        rows.append(
            [f"outside {check.name}", _should(check.size, unit), _limits(check, unit), *boxes]
        )
    if copies > 1:
        rows.append(
            [
                Cell(main="fit felt", sub=f"chosen: {inspection.fit}" if inspection.fit else ""),
                Cell(main=" / ".join(inspection.felt)),
                "",
                *boxes,
            ]
        )
    flow.table(heads, rows, least=7.4)
    y = flow.y + 3.4
    x = SIDE + 0.8
    if copies == 1:
        x += put(flow.page, x, y, "Fit felt:", BODY, bold=True) + 3.0
        for word in inspection.felt:
            flow.page.tick_box(x, y - 2.9)
            x += 5.0 + put(flow.page, x + 4.6, y, word, BODY) + 4.0
    if copies == 1 and inspection.fit:
        x += put(flow.page, x, y, f"(chosen: {inspection.fit})", SMALL, fill=GREY, room=52.0) + 3.0
    for word in ("contents fit", "lid and drawers run"):
        if x + 40.0 > SIDE + flow.width:
            y, x = y + 5.6, SIDE + 0.8
        flow.page.tick_box(x, y - 2.9)
        x += 5.0 + put(flow.page, x + 4.6, y, word, BODY) + 4.0
    y += 6.6
    x = SIDE + 0.8
    for word, long in (("Checked by", 46.0), ("Date", 30.0), ("Note", 0.0)):
        x += put(flow.page, x, y, word, BODY) + 1.5
        end = x + long if long else SIDE + flow.width
        flow.page.line((x, y + 0.6), (end, y + 0.6))
        x = end + 4.0
    flow.y = y + 3.5


def _should(figure: Figure, unit: System) -> Cell:
    a, b = both_units(figure, unit)
    return Cell(main=a, sub=f"{b}; {standing(figure)}", bold=True)


def _limits(check: SizeCheck, unit: System) -> Cell:
    if check.limit is None:
        return Cell(main="to compare")
    low, high = check.size.value - check.limit.value, check.size.value + check.limit.value
    return Cell(
        main=f"{in_unit(low, unit).split()[0]} to {in_unit(high, unit)}",
        sub=f"± {in_unit(check.limit.value, unit)}, {standing(check.limit)}",
    )
