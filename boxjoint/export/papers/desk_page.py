"""Packing list and price: one line a box, and the quote in short."""

from __future__ import annotations

from boxjoint.export.papers.flow import GREY, SMALL, Cell, Column, Flow
from boxjoint.export.papers.records_bench import PackedBox, Price

__all__ = ["draw_packing", "draw_price"]


def draw_packing(flow: Flow, boxes: tuple[PackedBox, ...]) -> None:
    """What goes to the customer, to tick off when it is packed."""
    if not boxes:
        return
    what = any(b.what for b in boxes)
    columns = [Column(head="label", share=26), Column(head="job", share=60)]
    if what:
        columns.append(Column(head="what", share=80))
    columns.append(Column(head="packed", share=16))
    rows: list[list[str | Cell]] = [
        [Cell(main=b.label, bold=True), b.job, *([b.what] if what else []), Cell(tick=True)]
        for b in boxes
    ]

    def draw(f: Flow) -> None:
        f.heading("Packing list", beside=f"{len(boxes)} in all", keep=14.0)
        f.table(columns, rows)

    flow.whole(draw)


def draw_price(flow: Flow, price: Price | None) -> None:
    """Lines, total, terms."""
    if price is None:
        return
    flow.heading("Price", keep=14.0)
    rows: list[list[str | Cell]] = [[x.what, Cell(sub=x.how), x.amount] for x in price.lines]
    rows.append([Cell(main="Total", bold=True), "", Cell(main=price.total, bold=True)])
    flow.table(
        [
            Column(head="for", share=60),
            Column(head="how it is reckoned", share=90),
            Column(head="amount", share=32, right=True),
        ],
        rows,
    )
    if price.note:
        flow.paragraph(price.note, size=SMALL, fill=GREY)
