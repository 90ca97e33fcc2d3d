"""Assembly step by step, and the inspection sheet to fill in."""

from __future__ import annotations

from boxjoint.export.papers.flow import BODY, GREY, SIDE, SMALL, Cell, Column, Flow, put
from boxjoint.export.papers.records_bench import Assembly, AssemblyStep, Inspection, SizeCheck
from boxjoint.export.papers.typeface import wrapped
from boxjoint.export.papers.wording import both_units, in_unit, standing
from boxjoint.job.figures import Figure
from boxjoint.units import System

__all__ = ["draw_assembly", "draw_inspection"]

_GAP = 6.0  # between two steps side by side, mm
_MOST_PICTURE = 62.0  # height of a picture of a step
_LINE = 1.3
_MOST_COPIES = 6  # boxes to write in, side by side


def draw_assembly(flow: Flow, assembly: Assembly) -> None:
    """Steps in two columns, read from left to right; a pair of steps stays on one page."""
    if not assembly.steps:
        return
    count = f"{assembly.quantity} boxes, all alike" if assembly.quantity > 1 else ""
    steps = list(assembly.steps)
    pairs = [steps[i : i + 2] for i in range(0, len(steps), 2)]
    first = _pair_high(flow, pairs[0])
    note = flow.height_of(lambda f: f.paragraph(assembly.note)) if assembly.note else 0.0
    flow.heading(
        f"Assembly: {assembly.job}", beside=count, keep=min(first + note, flow.full_room - 15.0)
    )
    if assembly.note:
        flow.paragraph(assembly.note, size=SMALL, fill=GREY)
    for k, pair in enumerate(pairs):
        high = _pair_high(flow, pair)
        flow.need(min(high, flow.full_room))
        y = flow.y
        for i, step in enumerate(pair):
            _step(flow, SIDE + i * (_half(flow) + _GAP), y, 2 * k + i + 1, step, high)
        flow.y = y + high + 3.0


def _half(flow: Flow) -> float:
    return (flow.width - _GAP) / 2


def _step_lines(flow: Flow, step: AssemblyStep) -> list[str]:
    room = _half(flow) - 11.0
    lines = wrapped(step.words, BODY, room)
    if step.parts:
        lines += wrapped("Parts: " + ", ".join(step.parts), BODY, room)
    return lines[:24]


def _picture_size(flow: Flow, step: AssemblyStep) -> tuple[float, float, float]:
    """(scale, width, height) of a step's picture, mm of paper."""
    if step.picture is None:
        return 1.0, 0.0, 0.0
    p = step.picture
    scale = min((_half(flow) - 4.0) / p.wide, _MOST_PICTURE / p.high)
    return scale, p.wide * scale, p.high * scale


def _pair_high(flow: Flow, pair: list[AssemblyStep]) -> float:
    words = max(len(_step_lines(flow, s)) for s in pair) * BODY * _LINE
    return max(words, 7.0) + max(_picture_size(flow, s)[2] for s in pair) + 5.0


def _step(flow: Flow, x: float, y: float, number: int, step: AssemblyStep, high: float) -> None:
    """One step: its number in a disc, a box to tick, the words, the picture below."""
    page = flow.page
    page.box(x, y, _half(flow), high, stroke="#8a8a8a", width=0.2)
    page.circle((x + 4.2, y + 4.6), 3.0, fill="#1b1b1b", width=0.1)
    put(
        page, x + 4.2, y + 5.75, str(number), 3.2, bold=True, anchor="middle", fill="#ffffff",
        room=5.2,
    )  # fmt: skip
    for i, line in enumerate(_step_lines(flow, step)):
        put(page, x + 9.0, y + 3.9 + i * BODY * _LINE, line, BODY)
    if step.picture is not None:
        scale, wide, tall = _picture_size(flow, step)
        page.place(step.picture.marks, x + (_half(flow) - wide) / 2, y + high - tall - 1.5, scale)


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
        Column(head="measure", share=44),
        Column(head="should be", share=46),
        Column(head="limits", share=42),
        *(
            Column(
                head=f"box {first + i}" if inspection.quantity > 1 else "measured",
                share=50 / copies,
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
                *([Cell(write=2)] * copies),
            ]
        )
    for check in inspection.outsides:
        rows.append(
            [f"outside {check.name}", _should(check.size, unit), _limits(check, unit), *boxes]
        )
    flow.table(heads, rows, least=7.4)
    y = flow.y + 3.4
    x = SIDE + 0.8
    x += put(flow.page, x, y, "Fit felt:", BODY, bold=True) + 3.0
    for word in inspection.felt:
        flow.page.tick_box(x, y - 2.9)
        x += 5.0 + put(flow.page, x + 4.6, y, word, BODY) + 4.0
    if inspection.fit:
        x += put(flow.page, x, y, f"(chosen: {inspection.fit})", SMALL, fill=GREY, room=62.0) + 4.0
    for word in ("contents fit", "lid and drawers run", "clean"):
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
