"""Pages as SVG and PDF: size of the paper, words that readers find again, letters and their widths."""

from __future__ import annotations

import csv
import io
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import pdfplumber
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import names

from boxjoint.errors import InputError
from boxjoint.export.papers.pdf import pages_pdf
from boxjoint.export.papers.typeface import MISSING, printed, shrunk, unprintable, width_mm, wrapped
from boxjoint.geometry.page import A4, LETTER, Page, Paper, page_svg, paper_named

ROOT = Path(__file__).resolve().parents[1]
SVG = "{http://www.w3.org/2000/svg}"
SIGNS = "é ü ñ ł ± × ° ½ – — → ² √ ≤ Δ µ € “x” Ω Ж □"


def a_page(paper: Paper = A4) -> Page:
    page = Page(paper)
    page.text(20, 30, SIGNS, 4.0)
    page.text(paper.wide / 2, 60, "turned about", 4.0, anchor="middle", matrix=(0, -1, 1, 0))
    page.text(paper.wide - 20, 90, "right end", 4.0, bold=True, anchor="end")
    page.shapes(
        [[(20, 100), (60, 100), (60, 140), (20, 140)], [(30, 110), (30, 130), (50, 130)]],
        fill="#c9c9c9",
    )
    page.line((20, 150), (80, 150), dash=(2, 1))
    page.circle((100, 150), 5)
    page.tick_box(120, 150)
    return page


def standard_sizes() -> list[tuple[Paper, float, float]]:
    with (ROOT / "fixtures/published/iso216_269_paper_sizes.csv").open(encoding="utf-8") as file:
        a4 = next(row for row in csv.DictReader(file) if row["name"] == "A4")
    return [
        (A4, float(a4["width_mm"]), float(a4["height_mm"])),  # ISO 216
        (LETTER, 8.5 * 25.4, 11 * 25.4),  # ANSI/ASME Y14.1, size A: 8.5 x 11 in (from memory)
    ]


@pytest.mark.parametrize(("paper", "wide", "high"), standard_sizes(), ids=["A4", "Letter"])
def test_the_paper_has_its_standard_size(paper: Paper, wide: float, high: float) -> None:
    page = a_page(paper)
    with pdfplumber.open(io.BytesIO(pages_pdf([page], "sizes"))) as pdf:
        # a point is 1/72 in: ISO 32000-1, 8.3.2.3; a file's numbers are rounded to 1e-4 pt
        assert float(pdf.pages[0].width) * 25.4 / 72 == pytest.approx(wide, abs=1e-4)
        assert float(pdf.pages[0].height) * 25.4 / 72 == pytest.approx(high, abs=1e-4)
    root = ET.fromstring(page_svg(page, "sizes"))
    assert (root.get("width"), root.get("height")) == (f"{wide:g}mm", f"{high:g}mm")
    assert root.get("viewBox") == f"0 0 {wide:g} {high:g}"


def test_papers_are_found_by_name() -> None:
    assert paper_named(" a4") is A4
    assert paper_named("LETTER") is LETTER
    with pytest.raises(InputError, match="Did you mean 'letter'"):
        paper_named("leter")
    with pytest.raises(InputError, match="2000 mm"):
        Paper(name="roll", wide=0, high=100)


def test_the_same_pages_give_the_same_bytes() -> None:
    assert pages_pdf([a_page(), a_page(LETTER)], "é") == pages_pdf([a_page(), a_page(LETTER)], "é")
    with pytest.raises(InputError, match="needs a page"):
        pages_pdf([], "none")


def test_readers_find_every_character_again() -> None:
    data = pages_pdf([a_page()], "signs")
    words = subprocess.run(
        ["pdftotext", "-enc", "UTF-8", "-", "-"], input=data, capture_output=True, check=True
    ).stdout.decode()
    assert SIGNS in words
    assert "right end" in words
    assert "turned about" in words
    text = "".join(e.text or "" for e in ET.fromstring(page_svg(a_page(), "t")).iter(f"{SVG}text"))
    assert SIGNS in text


def test_words_stand_where_they_were_put() -> None:
    with pdfplumber.open(io.BytesIO(pages_pdf([a_page()], "places"))) as pdf:
        last = [c for c in pdf.pages[0].chars if c["fontname"].endswith("Bold")]
        box = pdf.pages[0].rects + pdf.pages[0].curves
    assert max(c["x1"] for c in last) * 25.4 / 72 == pytest.approx(190, abs=0.01)
    assert (max(c["x1"] for c in last) - min(c["x0"] for c in last)) * 25.4 / 72 == pytest.approx(
        width_mm("right end", 4.0, bold=True), abs=0.01
    )
    assert any(
        (r["x0"] * 25.4 / 72, r["top"] * 25.4 / 72) == pytest.approx((20, 100), abs=0.01)
        for r in box
    )


@pytest.mark.parametrize("bold", [False, True])
def test_widths_are_those_of_the_whole_font(bold: bool) -> None:
    """Against the DejaVu fonts that matplotlib ships, read by fontTools."""
    import matplotlib
    from fontTools.ttLib import TTFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    with TTFont(Path(matplotlib.get_data_path()) / "fonts/ttf" / name) as whole:
        cmap, per_em = whole.getBestCmap(), whole["head"].unitsPerEm
        for c in f"{SIGNS} The quick brown fox, 0123456789 (mm/s) ±½":
            wide = whole["hmtx"][cmap[ord(c)]][0] / per_em
            assert width_mm(c, 1.0, bold=bold) == pytest.approx(wide, abs=6e-4)


def test_what_the_font_has_not_is_shown_as_such() -> None:
    assert printed("盒 box\n\u202eאb") == f"{MISSING} box {MISSING}b"
    assert unprintable("盒 box 盒") == "盒"
    assert printed("e\u0301tude") == "étude"
    assert printed("ﬁne") == "fine"


@settings(deadline=None, max_examples=60)
@given(
    text=st.one_of(names(), st.text("Wi é", max_size=80)),
    size=st.floats(1.5, 6),
    room=st.floats(8, 120),
    bold=st.booleans(),
)
def test_lines_fit_their_room_and_lose_nothing(
    text: str, size: float, room: float, bold: bool
) -> None:
    lines = wrapped(text, size, room, bold=bold)
    assert all(width_mm(line, size, bold=bold) <= room * 1.000001 for line in lines)
    assert "".join("".join(lines).split()) == "".join(printed(text).split())
    short, smaller = shrunk(text, size, room, least=1.0, bold=bold)
    assert width_mm(short, smaller, bold=bold) <= room * 1.000001
    assert short == printed(text) or (smaller == 1.0 and short.endswith("…"))


def test_marks_can_be_put_elsewhere_smaller() -> None:
    page, other = a_page(), Page()
    other.place(page.marks, 10, 20, 0.5)
    with pdfplumber.open(io.BytesIO(pages_pdf([other], "half"))) as pdf:
        last = [c for c in pdf.pages[0].chars if c["fontname"].endswith("Bold")]
    assert max(c["x1"] for c in last) * 25.4 / 72 == pytest.approx(10 + 190 / 2, abs=0.01)
