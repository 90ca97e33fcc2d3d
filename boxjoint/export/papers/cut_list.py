"""The first page: what is ordered, with which kerf, and the cut list."""

from __future__ import annotations

from boxjoint.export.papers.flow import GREY, SMALL, Cell, Column, Flow
from boxjoint.export.papers.records import KerfUsed, ShopPapers
from boxjoint.export.papers.records_cut import CutRow
from boxjoint.export.papers.wording import both_units, numbers, size_words, standing
from boxjoint.job.figures import Figure
from boxjoint.units import System, small_size

__all__ = ["draw_cover", "draw_cut_list"]

_SINGULAR = {True: "box", False: "boxes"}


def draw_cover(flow: Flow, papers: ShopPapers) -> None:
    """Jobs and quantities, kerf, and what must not be overlooked."""
    if papers.warnings:
        flow.framed(papers.warnings, head="Before you start")
    rows = []
    for job in papers.jobs:
        inside = Cell(main="–")
        if job.inside is not None:
            a, b = size_words(job.inside, job.unit)
            inside = Cell(main=a, sub=f"{b}; {standing(job.inside[0])}")
        rows.append(
            [
                Cell(main=job.title, sub=job.note, bold=True),
                Cell(main=f"{job.quantity} {_SINGULAR[job.quantity == 1]}"),
                inside,
            ]
        )
    flow.table(
        [
            Column(head="job", share=78),
            Column(head="quantity", share=24),
            Column(head="inside: length × width × height", share=80),
        ],
        rows,
    )
    for kerf in papers.kerf:
        flow.paragraph(_kerf_words(kerf, papers.jobs[0].unit), size=SMALL, fill=GREY)


def _kerf_words(kerf: KerfUsed, unit: System) -> str:
    """The kerf that is in the outlines, on one line."""
    of = f" of {kerf.stock}" if kerf.stock else ""
    return (
        f"Full kerf{of}, in the outlines: {_kerf(kerf.x, unit)} across cuts along Y; "
        f"{_kerf(kerf.y, unit)} across cuts along X."
    )


def _kerf(figure: Figure, unit: System) -> str:
    """The kerf in both systems and what it is; +- is expanded, 95 %."""
    return f"{small_size(figure.value, unit)}, {figure.stands(unit).replace('+-', '±')}"


def draw_cut_list(flow: Flow, rows: tuple[CutRow, ...]) -> None:
    """One line a part: how many, how large, from what, on which sheets."""
    if not rows:
        return
    total = sum(r.quantity for r in rows)
    flow.heading("Cut list", beside=f"{total} parts; sizes are over the tabs, computed", keep=14.0)
    several = len({r.job for r in rows}) > 1
    labels = any(r.label and r.label != r.part for r in rows)
    columns = [Column(head="part", share=36)]
    if labels:
        columns.append(Column(head="in the picture", share=20))
    if several:
        columns.append(Column(head="job", share=34))
    columns += [
        Column(head="pieces", share=14, right=True),
        Column(head="across × up", share=46),
        Column(head="stock", share=64),
        Column(head="grain", share=24),
        Column(head="sheet", share=14),
        Column(head="cut", share=9),
    ]
    flow.table(columns, [_row(r, labels=labels, several=several) for r in rows])


def _row(row: CutRow, *, labels: bool, several: bool) -> list[str | Cell]:
    size = size_words(row.size, row.unit)
    thick = both_units(row.thickness, row.unit)
    other = "in" if row.unit == "mm" else "mm"
    cells: list[str | Cell] = [Cell(main=row.part, sub=row.note, bold=True)]
    if labels:
        cells.append(row.label or row.part)
    if several:
        cells.append(row.job)
    return [
        *cells,
        Cell(main=str(row.quantity), bold=True),
        Cell(main=size[0], sub=size[1]),
        Cell(
            main=f"{thick[0]} {row.material}",
            sub=f"{thick[1].split(' ±')[0].removesuffix(' in').removesuffix(' mm')} "
            f"{other}; {standing(row.thickness)}",
        ),
        row.grain,
        numbers(row.sheets) or "–",
        Cell(tick=True),
    ]
