"""gauge draw and gauge read, as a maker meets them: what is written, what is said, what is refused."""

from __future__ import annotations

import csv
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shop_simulated as simulated
from entry import Cli, entry
from gauge_shop import Truth, take

from boxjoint.cli.typed import read_reading, read_readings, read_verdicts, slots_of
from boxjoint.errors import ReadingError
from boxjoint.gauge.form import form_csv, form_toml
from boxjoint.gauge.kerf_gauge import kerf_gauge
from boxjoint.gauge.pieces import GaugeStock
from boxjoint.gauge.readings import Form
from boxjoint.shop.book import Book

ROOT = Path(__file__).parents[1]
JOBS = ROOT / "fixtures" / "jobs"
TRAY = JOBS / "slide-tray.toml"
READINGS = simulated.READINGS


@pytest.fixture
def cli(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Cli:
    return entry(monkeypatch, tmp_path / "book.sqlite")


@pytest.fixture
def shop(cli: Cli) -> Cli:
    """The same with machine, sheet and settings of the invented forms in the book."""
    cli("book", "add", "machine", "red laser")
    cli(
        "book",
        "add",
        "sheet",
        "--material",
        "birch plywood",
        "--thickness",
        "3.02",
        "--batch",
        "A7",
    )
    cli("book", "add", "settings", "ply3", "--speed", "700 mm/min", "--power", "80")
    return cli


# ---- draw --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "stem", "rows"),
    [
        (["kerf", TRAY], "kerf", 12),
        (["kerf", TRAY, "--quick"], "kerf", 8),
        (["kerf", "--material", "mdf", "--thickness", "3", "--thickness", "3.1"], "kerf", 12),
        (["strip", TRAY, "--length", "400"], "strip", 3),
        (["comb", TRAY], "comb", 9),
        (
            ["comb", "--thickness", "3", "--tab-width", "8", "--slots", "5", "--axis", "y"],
            "comb",
            5,
        ),
        (["comb", "--sheet-comb", "--thickness", "3", "--segment", "12"], "sheet-comb", 9),
        (["coupon", TRAY], "coupon", 4),
    ],
)
def test_every_piece_is_drawn_with_its_forms(
    cli: Cli, tmp_path: Path, words: list[object], stem: str, rows: int
) -> None:
    out = tmp_path / "out"
    shown = cli("gauge", "draw", *words, "--speed", "10 mm/s", "--out", out)
    assert shown.code == 0, shown.err
    names = {f"{stem}.dxf", f"{stem}.svg"} | {f"{stem}-form.{e}" for e in ("svg", "toml", "csv")}
    assert {p.name for p in out.iterdir()} == names
    form = tomllib.loads((out / f"{stem}-form.toml").read_text())
    assert len(form.get("reading", form.get("slot"))) == rows or "slot" in form
    assert len([*form.get("reading", []), *form.get("slot", [])]) == rows
    # the code is on the screen, and the outlines and the form belong together
    assert form["gauge"] in shown.out
    assert form["gauge"] in (out / f"{stem}-form.csv").read_text()
    assert f"gauge {form['gauge']}" in (out / f"{stem}.dxf").read_text()
    # length, time and wood are said; the time is the length over the speed
    line = next(x for x in shown.out.splitlines() if x.strip().startswith(form["gauge"]))
    length, time, wood = re.search(r"(\d+) mm +((?:\d+ min )?\d+ s) +([\d.]+) cm2", line).groups()  # type: ignore[union-attr]
    seconds = sum(int(n) * {"min": 60, "s": 1}[u] for n, u in re.findall(r"(\d+) (min|s)", time))
    assert seconds == pytest.approx(float(length) / 10, abs=1)
    assert float(wood) > 1
    assert "No setting is safe" in shown.err


def test_a_kerf_gauge_on_an_offcut(cli: Cli, tmp_path: Path) -> None:
    words = ["gauge", "draw", "kerf", TRAY, "--quick", "--offcut"]
    assert cli(*words, "200x120", "--out", tmp_path / "a").code == 0
    assert "offcut of 200 x 120 mm" in (tmp_path / "a" / "kerf.dxf").read_text()
    shown = cli(*words, "80x50", "--out", tmp_path / "b")
    assert shown.code == 2 and "larger than the offcut" in shown.err
    assert not (tmp_path / "b").exists()
    assert cli(*words, "200", "--out", tmp_path / "b").code == 2


def test_a_set_lies_on_one_offcut_with_a_form_each(cli: Cli, tmp_path: Path) -> None:
    words = ["gauge", "draw", "set", TRAY, "--out", tmp_path / "set"]
    shown = cli(*words, "--offcut", "300x200")
    assert shown.code == 0, shown.err
    names = {p.name for p in (tmp_path / "set").iterdir()}
    assert {"set.dxf", "kerf-form.csv", "comb-form.csv", "coupon-form.csv"} <= names
    assert len(names) == 11
    assert cli(*words).code == 2
    assert "each once" in cli(*words, "--offcut", "300x200", "--pieces", "kerf,quick").err
    assert "inside the margin" in cli(*words, "--offcut", "150x90").err


def test_a_filled_form_is_never_written_over(cli: Cli, tmp_path: Path) -> None:
    words = ("gauge", "draw", "kerf", TRAY, "--out", tmp_path)
    assert cli(*words).code == 0
    assert cli(*words).code == 0  # blank as it was
    form = tmp_path / "kerf-form.csv"
    before = form.read_text().replace('"frame, X",,', '"frame, X",99.84,')
    form.write_text(before)
    shown = cli(*words)
    assert shown.code == 2 and "filled in" in shown.err
    assert form.read_text() == before


def test_scale_is_offered_where_edges_are_long(cli: Cli, tmp_path: Path) -> None:
    assert (
        "strip X laid against strip Y" in cli("gauge", "draw", "kerf", TRAY, "--out", tmp_path).out
    )
    shown = cli("gauge", "draw", "kerf", JOBS / "cube-20.toml", "--out", tmp_path / "cube")
    assert "strip X" not in shown.out


def test_the_comb_of_a_job_has_its_tabs_and_its_fit(cli: Cli, tmp_path: Path) -> None:
    shown = cli("gauge", "draw", "comb", TRAY, "--fit", "press", "--out", tmp_path)
    # starting value of press in plywood: -0.08 (common practice, no source); two kerfs of 0.18
    assert "centre -0.440 mm" in shown.err and "ASSUMED for a press fit" in shown.err
    slots = tomllib.loads((tmp_path / "comb-form.toml").read_text())["slot"]
    assert slots[4]["x_mm"] == pytest.approx(-0.44)
    assert (slots[4]["slot_mm"] + slots[4]["tab_mm"]) / 2 == pytest.approx(
        8.0
    )  # the job's tab_width


def test_brittle_stock_gets_no_interference(cli: Cli, tmp_path: Path) -> None:
    cover = JOBS / "acrylic-cover.toml"
    shown = cli("gauge", "draw", "comb", cover, "--kerf", "0.2", "--out", tmp_path)
    assert shown.code == 0, shown.err
    slots = tomllib.loads((tmp_path / "comb-form.toml").read_text())["slot"]
    assert min(s["x_mm"] for s in slots) + 0.4 >= -1e-9
    shown = cli("gauge", "draw", "comb", cover, "--fit", "press", "--out", tmp_path / "p")
    assert shown.code == 2 and "brittle" in shown.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["kerf", "--out", "x"], "--thickness"),
        (["comb", "--thickness", "3", "--out", "x"], "--tab-width"),
        (["comb", "--sheet-comb", "--thickness", "3", "--out", "x"], "--segment"),
        (["coupon", "--out", "x"], "Missing argument 'JOB'"),
        (["kerf", TRAY, "--material", "mdf", "--out", "x"], "--material"),
        (["kerf", TRAY, "--slices", "40", "--out", "x"], "4 to 15"),
        (["kerf", "--thickness", "30", "--out", "x"], "too thick"),
        (["kerf", "--thickness", "3", "--kerf-x", "0.1", "--out", "x"], "--kerf-y"),
        (["kerf", "--thickness", "nan", "--out", "x"], "finite"),
        (["kerf", TRAY, "--speed", "700", "--out", "x"], "unit"),
        (["kerf", TRAY], "--out"),
        (["comb", TRAY, "--slots", "40", "--out", "x"], "3 to 15"),
        (["comb", TRAY, "--step", "0", "--out", "x"], "step"),
        (["kerf", JOBS / "thick-stock-18.toml", "--out", "x"], "router"),
        (["coupon", "no-such-job.toml", "--out", "x"], "no-such-job.toml"),
        (["kurf"], "Did you mean 'kerf'?"),
    ],
)
def test_what_cannot_be_drawn_is_exit_2(cli: Cli, words: list[object], said: str) -> None:
    shown = cli("gauge", "draw", *words)
    assert shown.code == 2
    assert said in shown.err


# ---- typed readings ----------------------------------------------------------------------------


def test_the_grammar_of_a_reading() -> None:
    r = read_reading("stack x 72 8: 70.61, 70.63")
    assert (r.form, r.axis, r.drawn_mm, r.slices) == (Form.STACK, "x", 72.0, 8)
    assert r.values_mm == (70.61, 70.63)
    same = [
        read_reading(t).values_mm
        for t in (
            "stack x 72/8: 70.61; 70.63",
            "stack x 72mm N=8 : 70,61; 70,63",
            "stack x 72 8: 70,61, 70,63",
            "stack x 7.2cm 8: 7.061 cm, 7.063cm",
        )
    ]
    assert same == [r.values_mm] * 4
    inch = read_reading("hole y 25.4: 1.0079", unit="in")
    assert inch.values_mm[0] == pytest.approx(25.60066)  # 1.0079 x 25.4
    assert inch.drawn_mm == 25.4  # drawn sizes are mm, as on the form
    more = read_reading("strip x 300 ends=1 contour=edge u=0.1: 299.7")
    assert (more.cut_ends, more.contour, more.u_mm) == (1, "edge", 0.1)
    assert read_reading("stack x 72 8 turned: 70.4").turned
    assert read_reading("difference x 300 u=0.03: -0.15").values_mm == (-0.15,)


def test_a_window_joins_its_stack_and_no_plug_joins_a_hole() -> None:
    texts = ["stack x 72 8: 70.9", "window x 72: 72.1", "window y 12: 12.2", "plug x 40: 39.8"]
    found = read_readings([*texts, "hole x 40: 40.2"])
    assert found[0].contour == found[1].contour != ""
    assert {r.contour for r in found[2:]} == {""}
    named = read_readings(["stack x 72 8: 70.9", "window x 72 contour=other: 72.1"])
    assert (named[0].contour, named[1].contour) == ("", "other")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("stack x 72 8 70.61", "FORM AXIS DRAWN: VALUES"),
        ("stack x 72 8:", "FORM AXIS DRAWN: VALUES"),
        ("", "FORM AXIS DRAWN: VALUES"),
        ("stak x 72 8: 70.6", "Did you mean 'stack'"),
        ("plug 100: 99.8", "FORM AXIS DRAWN"),
        ("plug z 100: 99.8", "axis"),
        ("plug x ten: 99.8", "drawn size"),
        ("plug x 100: 99,8,99", "ambiguous"),
        ("plug x 100: 99.80,99.82", "ambiguous"),
        ("plug x 100: 1,250", "ambiguous"),
        ("plug x 100: nan", "finite"),
        ("plug x 100: -99.8", "value"),
        ("plug x 100: 0", "larger than zero"),
        ("plug x 0: 99", "larger than zero"),
        ("plug x 100 8: 99.8", "no slices"),
        ("stack x 72: 70.6", "number of slices"),
        ("stack x 72 1: 70.6", "number of slices"),
        ("stack x 72 8 turnd: 70.6", "Did you mean 'turned'"),
        ("stack x 72 8 ends=3: 70.6", "ends=3"),
        ("strip x 300: 299.9", "u_mm"),
        ("difference y 300 u=0.03: 0.1", "axis x"),
        ("plug x 100: 3.937", "UNITS?"),
        ("plug x 100: 2540.2", "UNITS?"),
    ],
)
def test_what_cannot_be_read_is_named(cli: Cli, text: str, said: str) -> None:
    with pytest.raises(ReadingError, match=re.escape(said)):
        read_readings([text])
    shown = cli("gauge", "read", "kerf", "--reading", text)
    assert (shown.code, shown.out) == (2, "")
    assert said in shown.err


def test_typed_verdicts() -> None:
    assert [(s.x_mm, int(s.verdict)) for s in read_verdicts(["-0.30=no", "-0,25=press"])] == [
        (-0.30, 0),
        (-0.25, 1),
    ]
    slots = slots_of("no,press - slides", "-0.3", "0.1")
    assert [s.x_mm for s in slots] == pytest.approx([-0.45, -0.35, -0.25, -0.15])
    assert slots[2].verdict is None
    for bad in ("no", "=no", "-0.3=", "x=no", "-0.3=tight"):
        with pytest.raises(ReadingError):
            read_verdicts([bad])
    with pytest.raises(ReadingError, match="step"):
        slots_of("no,press,slides", "-0.3", "0")


# ---- read kerf ---------------------------------------------------------------------------------

GOOD = [
    "plug x 100: 99.90",
    "window x 72: 72.22",
    "stack x 72 8: 71.00",
    "plug y 60: 59.76",
    "window y 50: 50.20",
    "stack y 50 8: 48.32",
]


def typed(*readings: str) -> list[str]:
    return [w for r in readings for w in ("--reading", r)]


def test_the_full_form_gives_the_hidden_kerf_back(cli: Cli) -> None:
    found = cli("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--json").json()
    for axis in "xy":
        kerf = found[f"kerf_{axis}"]
        assert kerf["low"] <= simulated.KERF[axis] <= kerf["high"]
        assert kerf["source"] == "measured" and kerf["U95"] < 0.02
        taper = next(t for t in found["taper"] if t["axis"] == axis)
        assert abs(taper["value"] - simulated.TAPER) < 2 * taper["U95"]
    assert found["values"] == 12
    assert len(found["readings"]) == 10
    assert "count the slices" in " ".join(found["cannot_be_seen"])


def test_strips_with_the_gauge_give_the_scale(cli: Cli) -> None:
    alone = cli("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--json").json()
    both = cli(
        "gauge", "read", "kerf", READINGS / "kerf-gauge.csv", READINGS / "strips.csv", "--json"
    ).json()
    for axis in "xy":
        scale = both[f"scale_{axis}"]
        assert scale["low"] <= simulated.SCALE[axis] <= scale["high"]
        assert scale["U95"] < 0.7 * alone[f"scale_{axis}"]["U95"]


def test_what_is_shown(cli: Cli) -> None:
    shown = cli("gauge", "read", "kerf", *typed(*GOOD))
    assert shown.code == 0
    line = next(x for x in shown.out.splitlines() if x.strip().startswith("kerf_x"))
    assert re.search(r"0\.\d{3} mm \(\d\.\d thou\) +\+-0\.\d{3} mm .* measured", line)
    assert shown.out.count("would help:") == 3
    assert shown.err.count("cannot be seen:") == 2


def test_what_was_read_in_inches_is_shown_in_thou_first(cli: Cli) -> None:
    words = ["--reading", "stack x 72 8: 2.7800, 2.7807", "--reading", "window x 72: 2.8417"]
    shown = cli("gauge", "read", "kerf", "--unit", "in", *words).out
    row = next(x for x in shown.splitlines() if x.strip().startswith("kerf_x"))
    # thou first, in the value, its +- and its interval; a thou is 25.4 um
    found = re.search(
        r"([\d.]+) thou \(([\d.]+) mm\) +\+-([\d.]+) thou \(([\d.]+) mm\) +"
        r"([\d.]+) to ([\d.]+) thou \(([\d.]+) to ([\d.]+) mm\)",
        row,
    )
    assert found is not None, row
    thou, mm, u, u_mm, low, high, low_mm, high_mm = map(float, found.groups())
    for one, other in ((thou, mm), (u, u_mm), (low, low_mm), (high, high_mm)):
        assert one * 0.0254 == pytest.approx(other, abs=0.0018)


def test_repeats_are_kept_and_compared(cli: Cli) -> None:
    shown = cli("gauge", "read", "kerf", *typed(*GOOD, "hole x 30: 30.1, 30.5"))
    assert shown.code == 0
    assert "REPEATS: --reading 7: hole x 30" in shown.err


@pytest.mark.parametrize(
    ("readings", "code", "said"),
    [
        # inches for mm, and mm for inches: 25.4 apart
        (["plug x 100: 3.933", *GOOD[1:]], 2, "--reading 1: UNITS?"),
        ([*GOOD[:2], "stack x 72 8: 1803.4", *GOOD[3:]], 2, "--reading 3: UNITS?"),
        # a decimal slip
        (["plug x 100: 9.99", *GOOD[1:]], 2, "IMPLAUSIBLE"),
        (["plug x 100: 998.4", *GOOD[1:]], 2, "IMPLAUSIBLE"),
        # the kerf itself instead of a size: 0.034 for 0.0034 in
        (["plug x 100: 0.034 in", *GOOD[1:]], 2, "IMPLAUSIBLE"),
        # the wrong number of slices on a stack with its window
        ([*GOOD[:2], "stack x 72 2: 71.00", *GOOD[3:]], 0, "LACK_OF_FIT"),
        # a plug given as a hole: seen as a reading that does not fit
        (["hole x 100: 99.60", *GOOD[1:]], 0, "--reading 1: hole x 100"),
        # nothing along y
        (GOOD[:3], 0, "nothing was read along y"),
        # one reading only
        (["plug x 40: 39.8"], 0, "CONFOUNDED"),
        (["plug x 40: 39.8"], 0, "NOT_DETERMINED"),
        # two of one size tell no more
        (["plug x 40: 39.8", "plug x 40: 39.82"], 0, "CONFOUNDED"),
        ([*GOOD, "plug x 30: NaN"], 2, "--reading 7"),
        ([*GOOD, "plug x 30: inf"], 2, "--reading 7"),
        ([*GOOD, "plug x 30: -29.8"], 2, "--reading 7"),
        (["plug x 40: " + ", ".join(["39.8"] * 10_000)], 2, "too many values"),
        (["plug x 40: " + ", ".join(["39.8"] * 90_000)], 2, "too many values"),
    ],
)
def test_bad_readings_are_refused_or_flagged_by_their_row(
    cli: Cli, readings: list[str], code: int, said: str
) -> None:
    shown = cli("gauge", "read", "kerf", *typed(*readings))
    assert shown.code == code, shown.err
    assert said in shown.err
    assert (shown.out == "") == (code == 2)


def test_ten_thousand_readings_and_all_equal_ones(cli: Cli) -> None:
    many = [w for _ in range(10_000) for w in ("--reading", "plug x 40: 39.8")]
    shown = cli("gauge", "read", "kerf", *many)
    assert shown.code == 2 and "10000" in shown.err and "at most 400" in shown.err
    # equal values do not prove that the hand never scatters: u stays above the display's step
    equal = "stack x 72 8: " + ", ".join(["71.00"] * 8)
    found = cli(
        "gauge",
        "read",
        "kerf",
        *typed(equal, "window x 72: 72.22", "--json"[:0] or GOOD[0]),
        "--json",
    ).json()
    assert found["kerf_x"]["U95"] > 0.008


def test_an_axis_without_readings_is_assumed(cli: Cli) -> None:
    found = cli("gauge", "read", "kerf", *typed(*GOOD[:3]), "--json").json()
    assert found["kerf_x"]["source"] == "measured"
    assert found["kerf_y"]["source"] == "assumed"
    assert "ASSUMED" in cli("gauge", "read", "kerf", *typed(*GOOD[:3])).out


def test_a_changed_form_or_one_of_another_gauge_is_refused(cli: Cli, tmp_path: Path) -> None:
    text = (READINGS / "kerf-gauge.csv").read_text()
    for old, new, said in (
        ("K-XCXPB", "K-BCDFG", "row"),
        ("stack,x,72,8", "stack,x,72,7", "row 7"),
        ("window,x,72,", "window,x,70,", "row 3"),
        ("boxjoint gauge form", "some form", "no gauge form"),
        ("71.00,71.00", "71.00,seventy", "row 7"),
        ("99.90", "-99.90", "row 1"),
        ("99.90", "3.9331", "UNITS?"),
    ):
        path = tmp_path / "form.csv"
        path.write_text(text.replace(old, new, 1))
        shown = cli("gauge", "read", "kerf", path)
        assert (shown.code, shown.out) == (2, ""), (old, shown.err)
        assert said in shown.err and "form.csv" in shown.err
    comb = READINGS / "comb-1.csv"
    assert "boxjoint gauge read comb" in cli("gauge", "read", "kerf", comb).err
    gauge = READINGS / "kerf-gauge.csv"
    assert "boxjoint gauge read kerf" in cli("gauge", "read", "comb", gauge).err
    assert cli("gauge", "read", "kerf", tmp_path / "none.csv").code == 2
    assert cli("gauge", "read", "kerf", tmp_path).code == 2
    assert "not both" in cli("gauge", "read", "kerf", gauge, *typed(GOOD[0])).err


def test_a_form_in_inches(cli: Cli, tmp_path: Path) -> None:
    piece = kerf_gauge(GaugeStock(material="birch plywood", thickness_mm=3.0), quick=True)
    truth = Truth(
        kerf={"x": 0.2, "y": 0.2},
        scale={"x": 1.0, "y": 1.0},
        backlash={"x": 0.0, "y": 0.0},
        zero_outside=0.0,
        zero_inside=0.0,
        gap=0.008,
    )
    plans = tuple(r.reading([r.drawn_mm]) for r in piece.rows)
    read = take(plans, truth, np.random.default_rng(1), hand=0.0, edge=0.0, step=0.0127)
    rows = list(csv.reader(form_csv(piece, unit="in").splitlines()))
    start = next(i for i, r in enumerate(rows) if r and r[0] == "row")
    for row, reading in zip(rows[start + 1 :], read, strict=True):
        row[2] = f"{reading.values_mm[0] / 25.4:.4f}"
    path = tmp_path / "inch.csv"
    with path.open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    found = cli("gauge", "read", "kerf", path, "--caliper-step", "0.0005 in", "--json").json()
    assert found["kerf_x"]["value"] == pytest.approx(0.2, abs=0.01)


def test_no_reading_and_nobody_there(cli: Cli) -> None:
    shown = cli("gauge", "read", "kerf")
    assert (shown.code, shown.out) == (2, "")
    assert "--reading" in shown.err
    assert cli("gauge", "read", "comb").code == 2


def test_the_form_of_another_piece_is_refused_naming_both(cli: Cli) -> None:
    form = READINGS / "kerf-gauge.csv"
    own = next(c[1] for c in csv.reader(form.read_text().splitlines()) if c and c[0] == "gauge")
    assert cli("gauge", "read", "kerf", form, "--piece", own.lower()).code == 0
    shown = cli("gauge", "read", "kerf", form, "--piece", "K-BCDFG")
    assert shown.code == 2
    assert own in shown.err and "K-BCDFG" in shown.err and "another gauge" in shown.err
    comb = cli("gauge", "read", "comb", READINGS / "comb-1.csv", "--piece", own)
    assert comb.code == 2 and own in comb.err
    typed = cli("gauge", "read", "kerf", "--piece", own, "--reading", "plug x 40: 39.8")
    assert typed.code == 2 and "only a form" in typed.err


def test_asked_one_by_one(cli: Cli) -> None:
    answers = ["3.02", "99.90", "59.76", "seventy", "72.24", "50,22", "71.00", "48.30", "", ""]
    shown = cli("gauge", "read", "kerf", "--quick", typed="\n".join(answers) + "\n")
    assert shown.code == 0, shown.err
    assert "with N=8 and N=8 marked" in shown.out
    assert "stack X, 8 slices" in shown.out
    assert "Once more" in shown.err
    assert "kerf_x" in shown.out
    # whoever stops half-way has written nothing
    stopped = cli("gauge", "read", "kerf", "--quick", typed="3.02\n99.90\n")
    assert stopped.code == 130 and "stopped" in stopped.err
    # and whoever says nothing has said nothing
    nothing = cli("gauge", "read", "kerf", "--quick", typed="3.02\n" + 8 * "\n")
    assert nothing.code == 2 and "no readings" in nothing.err


# ---- saving ------------------------------------------------------------------------------------


def test_half_a_kerf_is_questioned(shop: Cli) -> None:
    assert shop("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save").code == 0
    comb = READINGS / "comb-1.csv"
    half = shop("gauge", "read", "comb", comb, "--kerf", "0.07")
    assert half.code == 0 and "is it half a kerf?" in half.err
    other = shop("gauge", "read", "comb", comb, "--kerf", "0.25")
    assert "the book believes 0.14" in other.err and "half" not in other.err
    assert "--kerf is" not in shop("gauge", "read", "comb", comb, "--kerf", "0.14").err


def test_saved_readings_are_believed(shop: Cli, tmp_path: Path) -> None:
    shown = shop("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save")
    assert shown.code == 0, shown.err
    assert "the book knew nothing of this kerf" in shown.out
    assert "the book now believes: kerf_x 0.14" in shown.out
    with Book.open(tmp_path / "book.sqlite") as book:
        (entry,) = book.entries("gauge")
        record = entry.record
        assert len(record.readings) == 12
        assert record.source == "K-XCXPB (kerf-gauge.csv)"
        assert record.caliper_step_mm == 0.02
        assert "INVENTED" in record.note
    # the same form again would count twice
    again = shop("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save")
    assert again.code == 2 and "very same rows" in again.err
    assert shop("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save", "--again").code == 0


def test_a_new_reading_is_compared_with_the_book_and_uses_it_only_when_told(shop: Cli) -> None:
    shop("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save")
    quick = READINGS / "quick-gauge.csv"
    plain = shop("gauge", "read", "kerf", quick, "--json").json()
    alone = shop("gauge", "read", "kerf", quick, "--machine", "other", "--json")
    assert alone.json()["kerf_x"] == plain["kerf_x"]
    assert "no machine of that name" in alone.err
    assert plain["prior"] == "assumed"
    assert [a["agrees"] for a in plain["agreement"]] == [True, True]
    book = shop("gauge", "read", "kerf", quick, "--with-book", "--json").json()
    assert book["prior"] == "book"
    assert book["kerf_x"]["u"] < min(plain["kerf_x"]["u"], book["book_before"]["kerf_x"]["u"])


def test_readings_that_contradict_the_book_win(shop: Cli) -> None:
    shop("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save")
    where = ["--machine", "red laser", "--sheet", "A7", "--settings", "ply3"]
    # 0.1 mm more kerf: a stack of 8 is 0.8 shorter, its window 0.1 wider
    moved = typed("stack x 72 8: 70.20", "window x 72: 72.34")
    shown = shop("gauge", "read", "kerf", *moved, *where, "--with-book")
    assert shown.code == 0
    assert "DOES NOT AGREE" in shown.out
    assert "the book was NOT used" in shown.err
    saved = shop("gauge", "read", "kerf", *moved, *where, "--save")
    assert "STEP" in saved.err


def test_what_saving_needs(shop: Cli) -> None:
    base = ["gauge", "read", "kerf", *typed(*GOOD), "--save"]
    for words, said in (
        ([], "--machine"),
        (["--machine", "red lasr"], "Did you mean 'red laser'"),
        (["--machine", "red laser"], "which sheet"),
        (["--machine", "red laser", "--sheet", "A7"], "how was the machine set"),
        (["--machine", "red laser", "--sheet", "B1", "--settings", "ply3"], "in the shop book"),
        (["--machine", "red laser", "--sheet", "A7", "--settings", "ply"], "ply3"),
        (["--machine", "red laser", "--sheet", "A7", "--settings", "ply3", "--speed", "9 mm/s"], "other settings"),
        (["--machine", "red laser", "--sheet", "A7", "--thickness", "3"], "--sheet"),
        (["--machine", "red laser", "--sheet", "A7", "--speed", "9"], "unit"),
        (["--machine", "red laser", "--sheet", "A7", "--speed", "9 mm/s", "--power", "180"], "at most 100"),
        (["--machine", "red laser", "--sheet", "A7", "--settings", "ply3", "--date", "2999-01-01"], "yet to come"),
        (["--machine", "red laser", "--sheet", "A7", "--settings", "ply3", "--date", "yesterday"], "date"),
    ):  # fmt: skip
        shown = shop(*base, *words)
        assert shown.code == 2, words
        assert said in shown.err, (words, shown.err)
    assert shop("book", "list", "gauges").out.endswith("nothing of that kind\n")
    new = ["--machine", "red laser", "--material", "mdf", "--thickness", "3", "--thickness", "3.1"]
    new += ["--settings", "mdf3", "--speed", "20 in/min", "--power", "70", "--passes", "2"]
    assert shop(*base, *new).code == 0
    # records of one second stand in the sequence of their ids
    sheets = shop("book", "list", "sheets", "--json").json()["records"]
    assert [3.0, 3.1] in [sheet["thickness_mm"] for sheet in sheets]
    settings = shop("book", "list", "settings", "--json").json()["records"]
    assert ("mdf3", 20.0, "in/min") in [(s["name"], s["speed"], s["speed_unit"]) for s in settings]


def test_a_read_only_book_loses_nothing_silently(shop: Cli, tmp_path: Path) -> None:
    path = tmp_path / "not-a-book"
    path.write_text("notes of the workshop")
    words = ["gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save", "--book", path]
    shown = shop(*words)
    assert shown.code == 2 and "not a shop book" in shown.err
    assert path.read_text() == "notes of the workshop"


# ---- read comb ---------------------------------------------------------------------------------

COMB = ["--centre", "-0.34", "--step", "0.05", "--verdicts"]
WORDS = "no,no,press,press,slides,slides,slides,loose,loose"


def test_a_comb_gives_every_fit_and_the_next_comb(cli: Cli) -> None:
    words = ["gauge", "read", "comb", *COMB, WORDS, "--kerf", "0.15", "--tab-width", "8"]
    found = cli(*words, "--json").json()
    fits = found["fits"]
    drawn = [fits[f]["as_drawn"] for f in ("press", "snug", "slip", "loose")]
    assert drawn == sorted(drawn)
    assert fits["snug"]["as_drawn"] == pytest.approx(-0.365, abs=0.02)
    for fit in fits.values():
        # x + 2 k, but for what is known of hands before any comb: k was typed, to +- 0.02
        assert fit["as_cut"] == pytest.approx(fit["as_drawn"] + 0.30, abs=0.006)
        assert fit["as_cut_U95"] > fit["as_drawn_U95"]
    assert not found["stop"]
    command = shlex.split(found["next_comb"]["command"])
    assert command[:4] == ["boxjoint", "gauge", "draw", "comb"]
    shown = cli(*words)
    assert "cut another comb" in shown.out and found["next_comb"]["command"] in shown.out


def test_the_next_comb_can_be_drawn_as_printed(cli: Cli, tmp_path: Path) -> None:
    found = cli("gauge", "read", "comb", READINGS / "comb-1.csv", "--json").json()
    words = shlex.split(found["next_comb"]["command"])[1:]
    words[words.index("--out") + 1] = str(tmp_path / "next")
    shown = cli(*words, "--thickness", "3.02", "--material", "birch plywood")
    assert shown.code == 0, shown.err
    slots = tomllib.loads((tmp_path / "next" / "comb-form.toml").read_text())["slot"]
    assert slots[4]["x_mm"] == pytest.approx(found["next_comb"]["centre"], abs=6e-4)


def test_two_rounds_and_when_to_stop(cli: Cli) -> None:
    one = cli("gauge", "read", "comb", READINGS / "comb-1.csv", "--json").json()
    two = cli(
        "gauge", "read", "comb", READINGS / "comb-1.csv", READINGS / "comb-2.csv", "--json"
    ).json()
    assert two["rounds"] == 2
    assert two["u"] < one["u"]
    assert (one["stop"], two["stop"]) == (False, True)
    assert two["u"] <= 0.02
    shown = cli("gauge", "read", "comb", READINGS / "comb-1.csv", READINGS / "comb-2.csv")
    assert "stop here" in shown.out


def test_combs_in_the_book_come_first(shop: Cli) -> None:
    shop("gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--save")
    first = shop("gauge", "read", "comb", READINGS / "comb-1.csv", "--save", "--json").json()
    second = shop("gauge", "read", "comb", READINGS / "comb-2.csv", "--save", "--json").json()
    assert (first["rounds_in_book"], second["rounds_in_book"]) == (0, 1)
    assert second["kerf"]["source"] == "measured"
    assert shop("gauge", "read", "comb", READINGS / "comb-2.csv", "--save").code == 2  # twice
    rounds = shop("book", "list", "combs", "--json").json()["records"]
    assert sorted(r.get("round", 1) for r in rounds) == [1, 2]


def test_brittle_stock_is_never_told_to_interfere(cli: Cli) -> None:
    words = ["gauge", "read", "comb", "--centre", "-0.45", *COMB[2:], WORDS, "--kerf", "0.18"]
    found = cli(*words, "--material", "acrylic", "--thickness", "3", "--json").json()
    assert "refused" in found["fits"]["press"]["remark"]
    assert "0 is used" in found["fits"]["snug"]["remark"]
    coming = found["next_comb"]
    least = coming["centre"] - (coming["slots"] - 1) / 2 * coming["step"]
    assert least + 2 * 0.18 >= -1e-9
    assert cli(*words, "--material", "plywood", "--json").json()["fits"]["press"]["remark"] == ""


def test_a_sheet_comb_counts_one_kerf(cli: Cli, shop: Cli) -> None:
    words = ["gauge", "read", "comb", "--sheet-comb", "--centre", "-0.1", *COMB[2:], WORDS]
    found = cli(*words, "--kerf", "0.2", "--json").json()
    for fit in found["fits"].values():
        assert fit["as_cut"] == pytest.approx(fit["as_drawn"] + 0.2, abs=0.003)  # x + k
    where = ["--machine", "red laser", "--sheet", "A7", "--settings", "ply3"]
    shown = shop(*words, *where, "--save")
    assert shown.code == 2 and "sheet_clearance" in shown.err


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ([*COMB, "slides,no,slides,no,loose,no,loose,press,no"], 0, "INCONSISTENT"),
        ([*COMB, "loose,loose,loose,slides,slides,press,press,no,no"], 0, "INCONSISTENT"),
        ([*COMB, ",".join(["press"] * 9)], 0, "OUTSIDE"),
        ([*COMB, ",".join(["no"] * 9)], 0, "OUTSIDE"),
        ([*COMB, "press,-,-,-,-"], 0, "FEW_VERDICTS"),
        ([*COMB, "no,tight,loose"], 2, "--verdicts, slot 2: unknown verdict"),
        ([*COMB, "no,slide,loose"], 2, "Did you mean 'slides'"),
        ([*COMB, "-,loose"], 0, "FEW_VERDICTS: one verdict"),
        ([*COMB, ",".join(["no"] * 16)], 2, "1 to 15"),
        (["--verdicts", WORDS], 2, "--centre and --step"),
        (["--verdict", "-0.4=no", "--verdict", "-0.3=maybe", "--verdict", "-0.2=slides"], 2, "--verdict 2"),
        (["--verdict", "nan=no", "--verdict", "-0.3=no", "--verdict", "-0.2=slides"], 2, "finite"),
        (["--verdict", "-0.4=no", *COMB, WORDS], 2, "not in two ways"),
        ([*COMB, WORDS, "--fit", "tight"], 2, "unknown fit"),
        ([*COMB, WORDS, "--kerf", "0"], 2, "0.01 to 1.5"),
        ([], 2, "no verdicts"),
    ],
)  # fmt: skip
def test_bad_verdicts_are_refused_or_flagged(
    cli: Cli, words: list[str], code: int, said: str
) -> None:
    shown = cli("gauge", "read", "comb", *words)
    assert shown.code == code, shown.err
    assert said in shown.err
    if "OUTSIDE" in said:
        assert "cut another comb" in shown.out


def test_unknown_verdicts_on_a_form_name_the_slot(cli: Cli, tmp_path: Path) -> None:
    text = (READINGS / "comb-1.csv").read_text()
    path = tmp_path / "comb.csv"
    path.write_text(text.replace("2,no,", "2,nope,"))
    shown = cli("gauge", "read", "comb", path)
    assert shown.code == 2 and "comb.csv: slot 2" in shown.err
    path.write_text(text.replace("2,no,-0.46,", "2,no,-0.45,"))
    assert "slot 2" in cli("gauge", "read", "comb", path).err


# ---- plots ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_plots_are_the_same_every_time(cli: Cli, tmp_path: Path, ending: str) -> None:
    pytest.importorskip("matplotlib")
    start = {"svg": b"<?xml", "png": b"\x89PNG"}[ending]
    for words in (
        ["kerf", READINGS / "kerf-gauge.csv", READINGS / "strips.csv"],
        ["comb", READINGS / "comb-1.csv", READINGS / "comb-2.csv"],
    ):
        paths = [tmp_path / f"{words[0]}-{i}.{ending}" for i in (1, 2)]
        for path in paths:
            assert cli("gauge", "read", *words, "--plot", path).code == 0
        assert paths[0].read_bytes() == paths[1].read_bytes()
        assert paths[0].read_bytes().startswith(start)
        assert len(paths[0].read_bytes()) > 10_000
    shown = cli("gauge", "read", *words, "--plot", tmp_path / "plot.pdf")
    assert shown.code == 2 and ".svg or .png" in shown.err


def test_a_plot_without_matplotlib_says_how_to_get_it(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from boxjoint.export import plots

    monkeypatch.setattr(plots, "find_spec", lambda name: None)
    words = ["gauge", "read", "kerf", READINGS / "kerf-gauge.csv", "--plot", tmp_path / "a.svg"]
    shown = cli(*words)
    assert (shown.code, shown.out) == (2, "")
    assert "boxjoint[plot]" in shown.err


# ---- what is loaded ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "banned"),
    [
        (["gauge", "--help"], {"numpy", "ezdxf", "sqlite3", "matplotlib"}),
        (["gauge", "read", "kerf", str(READINGS / "kerf-gauge.csv")], {"matplotlib", "scipy", "ezdxf"}),
        (["gauge", "read", "comb", str(READINGS / "comb-1.csv")], {"matplotlib", "scipy", "shapely"}),
    ],
)  # fmt: skip
def test_nothing_heavy_is_loaded(words: list[str], banned: set[str], tmp_path: Path) -> None:
    code = (
        f"import sys, os; sys.argv = ['boxjoint', *{words!r}]\n"
        f"os.environ['BOXJOINT_BOOK'] = {str(tmp_path / 'none')!r}\n"
        "from boxjoint.cli.main import run\n"
        "try:\n    run()\nexcept SystemExit as end:\n    assert end.code == 0\n"
        f"found = {banned!r} & set(sys.modules)\nassert not found, found\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr


def test_blank_forms_have_nothing_to_read(cli: Cli, tmp_path: Path) -> None:
    piece = kerf_gauge(GaugeStock(material="", thickness_mm=3.0))
    for name, text in (("a.toml", form_toml(piece)), ("a.csv", form_csv(piece))):
        path = tmp_path / name
        path.write_text(text)
        shown = cli("gauge", "read", "kerf", path)
        assert shown.code == 2 and "nothing is filled in" in shown.err
