"""What is written for an order: a drawing of every sheet, the report, and the shop papers."""

from __future__ import annotations

from collections.abc import Sequence

from boxjoint.export.dxf import DxfVersion, drawing_to_dxf
from boxjoint.export.papers.records_cut import RecordedSettings
from boxjoint.export.papers.shop import shop_files
from boxjoint.export.svg import drawing_to_svg
from boxjoint.geometry.page import A4, Paper
from boxjoint.order.drawing import sheet_drawing
from boxjoint.order.papers import papers_of
from boxjoint.order.plan import Planned
from boxjoint.order.report import order_json, order_text, quote_text
from boxjoint.sheet.price import Quote

__all__ = ["order_files", "quote_files"]


def order_files(
    planned: Planned,
    *,
    date: str,
    dxf: DxfVersion = "R2000",
    paper: Paper = A4,
    settings: Sequence[RecordedSettings] = (),
    papers: bool = True,
    quote: Quote | None = None,
) -> dict[str, bytes]:
    """Return what is written for an order, by path relative to the output folder.

    With a ``quote`` its text is written too, and the price stands on the papers.
    """
    laid = planned.laid
    content: dict[str, bytes] = {}
    for sheet, cuts in zip(laid.sheets, planned.cuts, strict=True):
        drawing = sheet_drawing(laid, sheet, cuts.drawn())
        content[f"{sheet.name}.dxf"] = drawing_to_dxf(drawing, version=dxf).encode()
        content[f"{sheet.name}.svg"] = drawing_to_svg(drawing).encode()
    content["order.json"] = order_json(planned).encode()
    content["order.md"] = order_text(planned).encode()
    if quote is not None:
        content["quote.md"] = quote_text(planned, quote).encode()
    if papers:
        content |= shop_files(
            papers_of(planned, date=date, paper=paper, settings=settings, quote=quote)
        )
    return content


def quote_files(
    planned: Planned, quote: Quote, *, date: str, paper: Paper = A4
) -> dict[str, bytes]:
    """Return a quote as text and as papers with the price."""
    pages = shop_files(papers_of(planned, date=date, paper=paper, quote=quote, drawings=False))
    return {"quote.md": quote_text(planned, quote).encode(), "quote.pdf": pages["shop.pdf"]}
