"""Gauge forms: blank ones filled in come back as readings; what is wrong is refused by its row.

The printed page is parsed as XML and looked at as a picture by a renderer outside the project.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import cairosvg
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from boxjoint.errors import FileProblem, ReadingError
from boxjoint.gauge.comb import Verdict, comb_start, comb_update
from boxjoint.gauge.comb_pieces import fit_comb, sheet_comb
from boxjoint.gauge.coupon import coupon
from boxjoint.gauge.form import FACTS, form_csv, form_toml, parse_form, read_form
from boxjoint.gauge.form_page import form_svg
from boxjoint.gauge.kerf_gauge import kerf_gauge
from boxjoint.gauge.pieces import GaugeKind, GaugePiece, GaugeStock
from boxjoint.gauge.readings import Form
from boxjoint.gauge.strips import strips
from boxjoint.job.read import read_job
from boxjoint.make import build

SVG = "{http://www.w3.org/2000/svg}"
PLY = GaugeStock(material="birch plywood", thickness_mm=3.02)
ACRYLIC = GaugeStock(material="cast acrylic", thickness_mm=2.9)
GAUGE = kerf_gauge(PLY)
COMB = fit_comb(PLY, tab_width_mm=8.0)


def filled_csv(
    piece: GaugePiece,
    values: dict[int, list[str]],
    *,
    separator: str = ",",
    head: dict[str, str] | None = None,
    comma: bool = False,
) -> str:
    """Fill in a blank CSV form by hand: values by row or slot, entries of the head by name."""
    out = io.StringIO()
    write = csv.writer(out, delimiter=separator, lineterminator="\r\n").writerow
    columns: list[str] = []
    for cells in csv.reader(io.StringIO(form_csv(piece))):
        if cells and cells[0] in ("row", "slot"):
            columns = cells
        elif not columns and cells and cells[0] in (head or {}):
            cells = [cells[0], (head or {})[cells[0]]]
        elif columns and cells:
            first = next(i for i, c in enumerate(columns) if c in ("value 1", "verdict"))
            for i, value in enumerate(values.get(int(cells[0]), [])):
                cells[first + i] = value
            if comma:  # a spreadsheet of a country with decimal commas
                cells = [re.sub(r"^(-?\d+)\.(\d+)$", r"\1,\2", c) for c in cells]
        write(cells)
    return out.getvalue()


def filled_toml(piece: GaugePiece, values: dict[int, list[str]]) -> str:
    """Fill in a blank TOML form by hand."""
    text = form_toml(piece)
    for row, numbers in values.items():
        text = re.sub(
            rf"values = \[\]\nrow = {row}\n",
            f"values = [{', '.join(numbers)}]\nrow = {row}\n",
            text,
        )
        text = re.sub(
            rf'verdict = ""(.*)\nslot = {row}\n',
            rf'verdict = "{numbers[0]}"\1\nslot = {row}\n',
            text,
        )
    return text


VALUES = {
    1: ["99.86"],
    2: ["59.78"],
    3: ["72.14"],
    4: ["12.2"],
    5: ["50.22"],
    6: ["12.14"],
    7: ["70.92", "70.9"],
    8: ["11.78"],
    9: ["48.32", "48.30"],
    10: ["11.86"],
}


@pytest.mark.parametrize("form", ["toml", "csv", "semicolon", "tab"])
def test_a_filled_form_is_readings(form: str) -> None:
    text = {
        "toml": lambda: filled_toml(GAUGE, VALUES),
        "csv": lambda: filled_csv(GAUGE, VALUES),
        "semicolon": lambda: filled_csv(GAUGE, VALUES, separator=";", comma=True),
        "tab": lambda: filled_csv(GAUGE, VALUES, separator="\t", comma=True),
    }[form]()
    filled = parse_form(text, piece=GAUGE)
    wanted = [r for r in GAUGE.rows if r.row in VALUES]
    assert filled.kind is GaugeKind.KERF
    assert filled.gauge == GAUGE.code
    assert filled.empty == (11, 12)
    assert len(filled.readings) == len(wanted)
    for reading, row in zip(filled.readings, wanted, strict=True):
        again = row.reading([float(v) for v in VALUES[row.row]])
        assert reading == again
        assert f"row {row.row}" in reading.where


def test_both_blank_forms_say_the_same() -> None:
    for piece in (GAUGE, COMB, strips(PLY), sheet_comb(PLY, segment_mm=8.0)):
        key = "reading" if piece.rows else "slot"
        data = tomllib.loads(form_toml(piece))
        assert data["gauge"] == piece.code
        assert len(data[key]) == len(piece.rows) + len(piece.slots)
        cells = list(csv.reader(io.StringIO(form_csv(piece))))
        at = next(i for i, c in enumerate(cells) if c and c[0] in ("row", "slot"))
        for table, line in zip(data[key], cells[at + 1 :], strict=True):
            named = dict(zip(cells[at], line, strict=True))
            for name, value in table.items():
                if name in ("values", "verdict"):
                    continue
                shown = "yes" if value is True else named[name]
                assert named[name] == shown
                if isinstance(value, float):
                    assert float(named[name]) == value


def test_inches_are_inches() -> None:
    row = {1: ["3.9315"], 2: ["2 23/64 in"], 7: ["70.92 mm"]}
    filled = parse_form(filled_csv(GAUGE, row, head={"unit": "in"}))
    assert filled.unit == "in"
    assert [r.values_mm[0] for r in filled.readings] == pytest.approx(
        [3.9315 * 25.4, (2 + 23 / 64) * 25.4, 70.92]
    )


def test_facts_are_kept() -> None:
    head = {"date": "2026-03-02", "machine": "diode 10 W", "caliper_step": "0.01"}
    filled = parse_form(filled_csv(GAUGE, VALUES, head=head))
    assert set(filled.facts) == set(FACTS)
    assert filled.facts["machine"] == "diode 10 W"
    text = filled_toml(GAUGE, VALUES).replace('date = ""', "date = 2026-03-02")
    assert parse_form(text).facts["date"] == "2026-03-02"


def test_a_row_twice_is_more_repeats() -> None:
    text = filled_csv(GAUGE, VALUES)
    line = next(t for t in text.splitlines() if t.startswith("7,"))
    filled = parse_form(text + line + "\r\n")
    assert sum(len(r.values_mm) for r in filled.readings if r.form is Form.STACK) == 6


def test_the_uncertainty_of_a_strip_may_be_changed() -> None:
    piece = strips(PLY)
    text = filled_toml(piece, {1: ["300.2"], 3: ["-0.35"]}).replace("u_mm = 0.05", "u_mm = 0.2")
    one, difference = parse_form(text, piece=piece).readings
    assert one.u_mm == 0.2
    assert difference.values_mm == (-0.35,)  # Y stands out
    assert difference.u_mm == 0.03


@pytest.mark.parametrize("write", [filled_csv, filled_toml])
def test_verdicts_are_slots(write: Any) -> None:
    words = {1: ["no"], 2: ["no"], 3: ["Press"], 4: ["press"], 5: ["slides"], 7: ["loose"]}
    filled = parse_form(write(COMB, words), piece=COMB)
    assert [s.x_mm for s in filled.slots] == pytest.approx([s.x_mm for s in COMB.slots])
    assert filled.slots[2].verdict is Verdict.PRESS
    assert filled.slots[5].verdict is None
    assert filled.own_tab
    result = comb_update(
        comb_start(kerf_mm=0.18, u_kerf_mm=0.05), filled.slots, own_tab=filled.own_tab
    )
    assert COMB.slots[0].x_mm < result.answer.x_mm < COMB.slots[-1].x_mm
    sheet = sheet_comb(PLY, segment_mm=8.0)
    assert not parse_form(write(sheet, words)).own_tab


def test_the_feel_of_a_coupon() -> None:
    built = build(read_job("fixtures/jobs/slide-tray.toml"))
    piece = coupon(built.solution, built.plan, title="Slide tray", material="birch plywood")
    text = form_toml(piece).replace('verdict = ""', 'verdict = "slides"', 1)
    filled = parse_form(text, piece=piece)
    assert filled.verdict is Verdict.SLIDES
    assert filled.readings == ()
    row = piece.rows[0]
    filled = parse_form(filled_csv(piece, {1: ["6.43"]}))
    assert filled.readings[0].drawn_mm == row.drawn_mm


REFUSED: dict[str, tuple[Any, str]] = {
    "nan": (lambda: filled_csv(GAUGE, {3: ["nan"]}), r"row 3: value is not a finite number"),
    "toml nan": (lambda: filled_toml(GAUGE, {3: ["nan"]}), r"row 3: value is not a finite"),
    "toml true": (lambda: filled_toml(GAUGE, {3: ["true"]}), r"row 3: value is true or false"),
    "toml list": (lambda: filled_toml(GAUGE, {3: ["[1.0]"]}), r"row 3: value is of type list"),
    "negative": (lambda: filled_csv(GAUGE, {3: ["-72.1"]}), r"row 3: value is negative"),
    "zero": (lambda: filled_csv(GAUGE, {3: ["0"]}), r"row 3: a value must be larger than zero"),
    "word": (lambda: filled_csv(GAUGE, {3: ["wide"]}), r"row 3: value cannot be read"),
    "inches as mm": (lambda: filled_csv(GAUGE, {3: ["2.84"]}), r"row 3: UNITS\?.*inches"),
    "mm as inches": (
        lambda: filled_csv(GAUGE, {3: ["72.14"]}, head={"unit": "in"}),
        r"row 3: UNITS\?.*mm read as inches",
    ),
    "thousands mark": (lambda: filled_csv(GAUGE, {3: ["1,250"]}), r"row 3: value is ambiguous"),
    "decimal comma, comma file": (
        lambda: filled_csv(GAUGE, {3: ["72.14"]}).replace("72.14", "72,14"),
        r"row 3: more cells than columns: 17 cells.*decimal comma",
    ),
    "too many values": (
        lambda: filled_toml(GAUGE, {3: ["72.14"] * 10_000}),
        r"too many values for one estimate: 10000",
    ),
    "drawn size changed": (
        lambda: filled_csv(GAUGE, VALUES).replace(",72,8,", ",71,8,", 1),
        r"row 7: this row is not one of gauge K-",
    ),
    "slices changed": (
        lambda: filled_toml(GAUGE, VALUES).replace("slices = 8", "slices = 9", 1),
        r"row 7: this row is not one of gauge K-",
    ),
    "form changed": (
        lambda: filled_toml(GAUGE, VALUES).replace('form = "plug"', 'form = "hole"', 1),
        r"row 1: this row is not one of gauge K-",
    ),
    "form unknown": (
        lambda: filled_toml(GAUGE, VALUES).replace('form = "plug"', 'form = "pin"', 1),
        r"row 1: form or axis of a row was changed",
    ),
    "row of another gauge": (
        lambda: filled_csv(GAUGE, VALUES).replace(GAUGE.code, "K-BCDFG"),
        r"row 1: this row is not one of gauge K-BCDFG",
    ),
    "unit": (lambda: filled_csv(GAUGE, VALUES, head={"unit": "cm"}), r"unit of a form: 'cm'"),
    "blank": (lambda: form_csv(GAUGE), r"nothing is filled in"),
    "blank toml": (lambda: form_toml(COMB), r"nothing is filled in"),
    "verdict": (lambda: filled_csv(COMB, {4: ["lose"]}), r"slot 4: unknown verdict.*loose"),
    "version": (
        lambda: filled_csv(GAUGE, VALUES, head={"version": "2"}),
        r"a form of another version",
    ),
    "job file": (lambda: Path("fixtures/jobs/slide-tray.toml").read_text(), r"no gauge form"),
    "nothing": (lambda: "", r"no gauge form"),
    "not toml": (lambda: "format = [", r"neither TOML nor CSV"),
    "unknown key": (lambda: "gage = 1\n" + filled_toml(GAUGE, VALUES), r"Did you mean 'gauge'"),
    "row no number": (
        lambda: filled_toml(GAUGE, VALUES).replace("row = 3", 'row = "third"'),
        r"row third: row is not a whole number",
    ),
    "rows no table": (
        lambda: filled_toml(GAUGE, {}).split("[[reading]]")[0] + "reading = 3\n",
        r"must be a list of tables",
    ),
}


@pytest.mark.parametrize("name", list(REFUSED))
def test_what_is_wrong_is_refused_by_its_row(name: str) -> None:
    make, message = REFUSED[name]
    with pytest.raises(ReadingError, match=message) as caught:
        parse_form(make(), name="form.csv")
    assert caught.value.exit_code == 2
    assert "form.csv" in str(caught.value) or "too many" in message


def test_a_comma_in_toml_makes_two_values_that_cannot_both_be() -> None:
    # [72,14] is two whole numbers in TOML; no form can tell, the check of plausible values does
    from boxjoint.gauge.estimate import fit_kerf

    filled = parse_form(filled_toml(GAUGE, VALUES | {3: ["72", "14"]}))
    with pytest.raises(ReadingError, match=r"row 3.*IMPLAUSIBLE"):
        fit_kerf(filled.readings)


def test_the_form_of_another_gauge_is_refused() -> None:
    text = filled_csv(GAUGE, VALUES)
    other = kerf_gauge(GaugeStock(material="birch plywood", thickness_mm=6.0))
    for expected in (other, other.code):
        with pytest.raises(ReadingError, match=r"belongs to another gauge.*the gauge is K-"):
            parse_form(text, piece=expected)
    # the quick form is a form of the same piece
    assert parse_form(text, piece=kerf_gauge(PLY, quick=True)).readings


def test_files_are_read(tmp_path: Path) -> None:
    path = tmp_path / "gauge.csv"
    path.write_bytes(b"\xef\xbb\xbf" + filled_csv(GAUGE, VALUES).encode())
    assert len(read_form(path, GAUGE).readings) == 10
    quoted = tmp_path / "quoted.csv"  # some spreadsheets quote every cell
    out = io.StringIO()
    for cells in csv.reader(io.StringIO(filled_csv(GAUGE, VALUES))):
        csv.writer(out, quoting=csv.QUOTE_ALL).writerow(cells)
    quoted.write_text(out.getvalue())
    assert len(read_form(quoted).readings) == 10
    with pytest.raises(FileProblem, match="no such form"):
        read_form(tmp_path / "none.csv")
    with pytest.raises(FileProblem, match="cannot be read"):
        read_form(tmp_path)
    path.write_bytes(b"\xff\xfe\x00d")
    with pytest.raises(FileProblem, match="UTF-8"):
        read_form(path)
    path.write_bytes(b"x" * 1_000_001)
    with pytest.raises(FileProblem, match="too large"):
        read_form(path)


@given(text=st.text(max_size=300) | st.binary(max_size=200).map(lambda b: b.decode("latin-1")))
@settings(max_examples=100, deadline=None)
def test_any_text_is_refused_with_a_message(text: str) -> None:
    with pytest.raises(ReadingError):
        parse_form(text)


@given(
    data=st.data(),
    line=st.integers(0, 40),
    junk=st.text(alphabet=',;"\t\n=[]{}x1.-\x00', max_size=6),
)
@settings(max_examples=100, deadline=None)
def test_a_damaged_form_never_ends_in_a_traceback(data: Any, line: int, junk: str) -> None:
    text = data.draw(st.sampled_from([filled_csv(GAUGE, VALUES), filled_toml(GAUGE, VALUES)]))
    lines = text.splitlines()
    k = line % len(lines)
    at = data.draw(st.integers(0, len(lines[k])))
    lines[k] = lines[k][:at] + junk + lines[k][at:]
    try:
        filled = parse_form("\n".join(lines))
    except ReadingError as error:
        assert str(error)
    else:
        assert filled.gauge == GAUGE.code


# ---- the printed page ----------------------------------------------------------------------


def pages() -> list[GaugePiece]:
    built = build(read_job("fixtures/jobs/slide-tray.toml"))
    return [
        GAUGE,
        kerf_gauge(PLY, quick=True),
        kerf_gauge(PLY, bridge_mm=0.0, slices=4),
        kerf_gauge(GaugeStock(material="oak", thickness_mm=12.0), frame_mm=(160.0, 120.0)),
        strips(PLY),
        COMB,
        fit_comb(ACRYLIC, tab_width_mm=8.0, centre_mm=-0.4, slots=15, axis="y"),
        sheet_comb(PLY, segment_mm=8.0),
        coupon(built.solution, built.plan, title="Slide tray", material="birch plywood"),
    ]


@pytest.mark.parametrize("piece", pages(), ids=lambda p: f"{p.code}-{len(p.rows)}")
def test_the_page_has_all_that_is_wanted(piece: GaugePiece) -> None:
    text = form_svg(piece)
    assert text == form_svg(piece)
    root = ET.fromstring(text)
    # ISO 216: A4 is 210 x 297 mm
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    assert root.get("viewBox") == "0 0 210 297"
    words = [e.text or "" for e in root.iter(f"{SVG}text")]
    assert piece.code in words
    numbers = [r.row for r in piece.rows] + [s.slot for s in piece.slots]
    for number in numbers:
        # in the table, and for readings in the picture too
        assert words.count(str(number)) >= (2 if piece.rows else 1)
    everything = " ".join(words)
    for row in piece.rows:
        assert row.what in words
    if piece.kind is GaugeKind.KERF:
        assert "count the slices" in everything
        assert "zero" in everything
    if piece.warnings:
        assert "CAUTION" in everything
    discs = list(root.iter(f"{SVG}circle"))
    assert len(discs) >= len(numbers)
    for e in root.iter(f"{SVG}text"):
        x, y = float(e.get("x", "nan")), float(e.get("y", "nan"))
        assert 8 <= x <= 202
        assert 8 <= y <= 292


@pytest.mark.parametrize("piece", pages(), ids=lambda p: f"{p.code}-{len(p.rows)}")
def test_the_page_leaves_its_edges_white(piece: GaugePiece, tmp_path: Path) -> None:
    from matplotlib import image

    png = io.BytesIO(cairosvg.svg2png(bytestring=form_svg(piece).encode(), output_width=840))
    grey = image.imread(png)[:, :, :3].mean(axis=2)
    edge = 840 * 5 // 210  # printers leave 5 mm
    for strip in (grey[:edge], grey[-edge:], grey[:, :edge], grey[:, -edge:]):
        assert strip.min() > 0.99
    assert (grey < 0.5).mean() > 0.005


def test_discs_of_the_picture_do_not_touch() -> None:
    for piece in pages():
        root = ET.fromstring(form_svg(piece))
        at = [(float(e.get("cx", "0")), float(e.get("cy", "0"))) for e in root.iter(f"{SVG}circle")]
        for i, a in enumerate(at):
            for b in at[i + 1 :]:
                assert (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 > 4.6**2, (piece.code, a, b)
