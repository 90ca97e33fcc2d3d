"""The shop papers of an order: read back from the PDF, within the page, the same twice."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from papers_orders import order_papers, tray_papers

from boxjoint.errors import InputError
from boxjoint.export.papers.shop import shop_files, shop_pages, shop_pdf
from boxjoint.geometry.page import A4, LETTER, Paper

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


def test_a_simple_tray_has_its_parts_sheet_and_settings_on_the_first_page() -> None:
    first = shop_pages(tray_papers())[0]
    words = " ".join(str(getattr(m, "words", "")) for m in first.marks)
    for heading in ("Cut list", "Sheet 1 of 1", "Cut sequence", "Settings as this shop recorded"):
        assert heading in words


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.text(min_size=1, max_size=120).filter(lambda t: bool(t.strip())),
    st.text(max_size=80),
    st.integers(1, 80),
)
def test_long_titles_many_rows_and_any_letters_stay_on_the_page(
    title: str, job: str, rows: int
) -> None:
    plain = tray_papers()
    cuts = tuple(replace(plain.cuts[k % 5], job=job, part=f"part {k}") for k in range(rows))
    pages = shop_pages(replace(plain, title=title, cuts=cuts))
    assert pages
    assert shop_pdf(replace(plain, title=title, cuts=cuts)).startswith(b"%PDF-")


def test_papers_need_a_title_and_a_job() -> None:
    with pytest.raises(InputError, match="title"):
        replace(tray_papers(), title="  ")
    with pytest.raises(InputError, match="need a job"):
        replace(tray_papers(), jobs=())
