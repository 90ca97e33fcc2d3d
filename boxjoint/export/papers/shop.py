"""From records to the pages of one order, and their files."""

from __future__ import annotations

from boxjoint.export.papers.bench_page import draw_assembly, draw_inspection
from boxjoint.export.papers.cautions import draw_cautions, draw_kerf_not_measured
from boxjoint.export.papers.cut_list import draw_cover, draw_cut_list
from boxjoint.export.papers.desk_page import draw_packing, draw_price
from boxjoint.export.papers.flow import Flow
from boxjoint.export.papers.machine_page import draw_operations, draw_settings
from boxjoint.export.papers.pdf import pages_pdf
from boxjoint.export.papers.records import ShopPapers
from boxjoint.export.papers.sheet_page import LEAST_HIGH, draw_sheet
from boxjoint.gauge.form_page import form_page
from boxjoint.geometry.page import Page, page_svg

__all__ = ["shop_files", "shop_pages", "shop_pdf"]

_STEP = 6.0  # by which a sheet picture gives way, mm


def shop_pages(papers: ShopPapers) -> tuple[Page, ...]:
    """Return the pages of an order.

    Their sequence: what is ordered, cut list, sheets, inspection where it still fits on the first
    page, cut sequence, settings, cautions, what to do about a kerf that is not measured, assembly,
    inspection, packing, price, gauge forms.

    Returns
    -------
    tuple of Page
        Numbered; the same for the same records.

    Raises
    ------
    MissingExtra
        reportlab, whose reader of fonts measures the words, is not installed.
    """
    beside = " · ".join(w for w in (papers.date, papers.reference) if w.strip())
    flow = Flow(papers.paper, papers.title, beside)
    draw_cover(flow, papers)
    draw_cut_list(flow, papers.cuts)
    inspections = list(papers.inspections)
    high = _beside_inspection(flow, papers)
    if high is not None:
        draw_sheet(flow, papers.sheets[0], high=high)
        draw_inspection(flow, inspections.pop())
    else:
        for sheet in papers.sheets:
            draw_sheet(flow, sheet)
    unit = papers.jobs[0].unit
    draw_operations(flow, papers.operations, papers.times, unit)
    draw_settings(flow, papers.settings)
    draw_cautions(flow, papers.cautions)
    if papers.gauges or not all(k.measured for k in papers.kerf):
        draw_kerf_not_measured(flow, forms=bool(papers.gauges))
    for assembly in papers.assemblies:
        draw_assembly(flow, assembly)
    for inspection in inspections:
        draw_inspection(flow, inspection)
    draw_packing(flow, papers.packing)
    draw_price(flow, papers.price)
    for piece in papers.gauges:
        flow.add_page(form_page(piece))
    return flow.finish()


def _beside_inspection(flow: Flow, papers: ShopPapers) -> float | None:
    """Height of the sheet's picture, mm, at which one box's inspection fits below it on this page.

    The picture gives way, as far as it still helps; ``None`` where that is not far enough, or where
    there are more sheets or jobs.
    """
    if len(papers.sheets) != 1 or len(papers.inspections) != 1:
        return None
    sheet, inspection = papers.sheets[0], papers.inspections[0]
    room = flow.room - flow.height_of(lambda f: draw_inspection(f, inspection)) - 2.0
    high = room
    while high >= LEAST_HIGH:
        if flow.height_of(lambda f, h=high: draw_sheet(f, sheet, high=h)) <= room:  # type: ignore[misc]
            return high
        high -= _STEP
    return None


def shop_pdf(papers: ShopPapers) -> bytes:
    """Return the pages of an order as PDF; the same bytes for the same records."""
    return pages_pdf(shop_pages(papers), papers.title, subject="shop papers")


def shop_files(papers: ShopPapers) -> dict[str, bytes]:
    """Return ``shop.pdf`` and ``shop-01.svg`` and on, by file name."""
    pages = shop_pages(papers)
    files = {"shop.pdf": pages_pdf(pages, papers.title, subject="shop papers")}
    for i, page in enumerate(pages):
        title = f"{papers.title}, {i + 1} of {len(pages)}"
        files[f"shop-{i + 1:02d}.svg"] = page_svg(page, title).encode()
    return files
