"""The shop papers of an order: read back from the PDF, within the page, the same twice."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from papers_orders import order_papers, tray_inspection, tray_papers

from boxjoint.errors import InputError
from boxjoint.export.papers.records_cut import PlacedPart
from boxjoint.export.papers.shop import shop_files, shop_pages, shop_pdf
from boxjoint.export.papers.typeface import printed, width_mm
from boxjoint.geometry.page import A4, LETTER, Page, Paper, TextMark
from boxjoint.units import System

pytest.importorskip("reportlab")
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="poppler's pdftotext is not installed"
)


def text_of(pdf: bytes, folder: Path, *options: str) -> str:
    path = folder / "shop.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", *options, str(path), "-"], capture_output=True, text=True, check=True
    )
    return done.stdout


@needs_poppler
def test_every_part_size_and_caution_stands_in_the_papers(tmp_path: Path) -> None:
    papers = tray_papers()
    words = " ".join(text_of(shop_pdf(papers), tmp_path, "-layout").split())
    for row in papers.cuts:
        assert row.part in words
        assert f"{row.size[0].value:.2f}" in words
    assert "Stay with the machine" in words
    assert "232.00 mm" in words
    assert "asked" in words
    assert "ASSUMED" in words
    # diagonal of 232 x 79.375 by Pythagoras
    assert "245.20 mm" in words
    assert not re.search(r"\bsafe\b", words)


@needs_poppler
@pytest.mark.parametrize(
    ("paper", "points"),
    [
        # ISO 216 A4 210 x 297 mm; ANSI/ASME Y14.1 size A 8.5 x 11 in; 72 points to the inch
        (A4, (210 / 25.4 * 72, 297 / 25.4 * 72)),
        (LETTER, (612.0, 792.0)),
    ],
)
def test_pages_have_the_size_of_their_paper_and_hold_all_words(
    paper: Paper, points: tuple[float, float], tmp_path: Path
) -> None:
    out = text_of(shop_pdf(order_papers(paper)), tmp_path, "-bbox")
    sizes = re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', out)
    assert len(sizes) > 5
    for w, h in sizes:
        assert (float(w), float(h)) == pytest.approx(points, abs=0.01)
    words = re.findall(
        r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">', out
    )
    assert len(words) > 500
    for x0, y0, x1, y1 in ((float(v) for v in word) for word in words):
        assert 0 <= x0 <= x1 <= points[0]
        assert 0 <= y0 <= y1 <= points[1]


def test_the_same_papers_are_the_same_bytes() -> None:
    assert shop_pdf(tray_papers()) == shop_pdf(tray_papers())
    files = shop_files(tray_papers())
    assert sorted(files)[:2] == ["shop-01.svg", "shop-02.svg"]
    assert files["shop.pdf"].startswith(b"%PDF-")


def words_of(page: Page) -> str:
    return " ".join(m.words for m in page.marks if isinstance(m, TextMark))


def overruns(page: Page) -> list[TextMark]:
    """Upright words that reach beyond the margins of 10 mm, by the font's own widths."""
    out = []
    for m in page.marks:
        if not isinstance(m, TextMark) or m.matrix != (1.0, 0.0, 0.0, 1.0):
            continue
        wide = width_mm(printed(m.words), m.size, bold=m.bold)
        left = m.at[0] - {"start": 0.0, "middle": wide / 2, "end": wide}[m.anchor]
        inside = left >= 10 and left + wide <= page.paper.wide - 10
        if not (inside and 8 <= m.at[1] <= page.paper.high - 8):
            out.append(m)
    return out


@pytest.mark.parametrize(("paper", "unit"), [(A4, "mm"), (LETTER, "in")])
def test_a_simple_tray_is_cut_and_inspected_from_one_page(paper: Paper, unit: System) -> None:
    first, *others = shop_pages(tray_papers(paper, unit))
    words = words_of(first)
    for heading in ("Cut list", "Sheet 1 of 1", "Inspection: Slide tray"):
        assert heading in words
    assert not any("Inspection" in words_of(page) for page in others)
    assert f"1 of {len(others) + 1}" in words


def test_two_sheets_share_a_page_where_it_costs_little() -> None:
    sheet = tray_papers().sheets[0]
    plain = replace(tray_papers(), cuts=(), inspections=(), operations=(), settings=())
    sheets = tuple(replace(sheet, number=n, of=4, size=(600.0, 400.0)) for n in (1, 2, 3, 4))
    pages = shop_pages(replace(plain, sheets=sheets))
    assert max(len(re.findall(r"Sheet \d of 4", words_of(p))) for p in pages) == 2


def test_steps_of_an_assembly_stand_on_one_page() -> None:
    pages = shop_pages(tray_papers())
    assert sum("locks both side walls" in words_of(p) for p in pages) == 1
    (page,) = (p for p in pages if "Assembly: Slide tray" in words_of(p))
    assert "Lay the bottom flat" in words_of(page)
    assert "locks both side walls" in " ".join(words_of(page).split())


def test_skew_at_the_limit_follows_from_the_law_of_cosines() -> None:
    """A parallelogram of 232 x 79.375 mm whose diagonals differ by 0.5 mm, by its own corners."""
    (diagonal,) = tray_inspection().diagonals
    a, b = diagonal.a, diagonal.b
    low, high = 0.0, 0.1
    for _ in range(60):
        angle = (low + high) / 2
        far = math.hypot(a + b * math.sin(angle), b * math.cos(angle))
        near = math.hypot(a - b * math.sin(angle), b * math.cos(angle))
        low, high = (angle, high) if far - near < 0.5 else (low, angle)
    assert diagonal.skew_mm == pytest.approx(a * math.sin(low), rel=1e-3)
    # Pythagoras: 232^2 = 53824, (79 3/8)^2 = 6300.390625
    assert diagonal.length.value**2 == pytest.approx(53824 + 6300.390625)


def test_names_without_room_stand_beside_the_sheet_or_are_listed() -> None:
    square = np.array([(0.0, 0.0), (6.0, 0.0), (6.0, 6.0), (0.0, 6.0)])
    names = [f"peg {i}" for i in range(150)]
    parts = tuple(
        PlacedPart(label=n, rings=(square + np.array([10.0 + i % 15 * 25, 10.0 + i // 15 * 18]),))
        for i, n in enumerate(names)
    )
    sheet = replace(tray_papers().sheets[0], parts=parts, starts=(), remains=(), keep_outs=())
    pages = shop_pages(replace(tray_papers(), sheets=(sheet,), cuts=(), inspections=()))
    words = re.sub(r"\s+", " ", " ".join(words_of(p) for p in pages))
    for name in names:
        assert re.search(rf"{name}\b", words), name
    assert [m for p in pages for m in overruns(p)] == []


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.text(min_size=1, max_size=120).filter(lambda t: bool(t.strip())),
    st.text(max_size=80),
    st.integers(1, 200),
    st.sampled_from([A4, LETTER]),
)
def test_long_titles_many_rows_and_any_letters_stay_on_the_page(
    title: str, job: str, rows: int, paper: Paper
) -> None:
    plain = tray_papers(paper)
    cuts = tuple(replace(plain.cuts[k % 5], job=job, part=f"part {k}") for k in range(rows))
    pages = shop_pages(replace(plain, title=title, cuts=cuts))
    assert [m for p in pages for m in overruns(p)] == []
    words = " ".join(words_of(p) for p in pages)
    assert all(f"part {k} " in words for k in range(rows))
    for i, page in enumerate(pages):
        assert f"{i + 1} of {len(pages)}" in words_of(page)
    assert shop_pdf(replace(plain, title=title, cuts=cuts)).startswith(b"%PDF-")


def test_papers_need_a_title_and_a_job() -> None:
    with pytest.raises(InputError, match="title"):
        replace(tray_papers(), title="  ")
    with pytest.raises(InputError, match="need a job"):
        replace(tray_papers(), jobs=())
