"""The job file: read with places, questioned, written back without loss."""

from __future__ import annotations

import csv
import dataclasses
import json
import os
import pickle
import re
import subprocess
import sys
import time
import tomllib
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import jobs, toml_tables

from boxjoint.errors import InputError, JobError
from boxjoint.job.keys import TABLES, all_keys, key_name
from boxjoint.job.limits import WINDOWS
from boxjoint.job.locate import places
from boxjoint.job.measures import refuse_job
from boxjoint.job.problems import Problem
from boxjoint.job.questions import question_job
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import PANELS, Cut, Job, PerAxis, Source, Thickness, Unit
from boxjoint.job.schema import SCHEMA_PATH, job_schema
from boxjoint.job.write import edit_job_text, job_to_toml, starter_text, written_length

ROOT = Path(__file__).parents[1]
FIXTURES = sorted((ROOT / "fixtures" / "jobs").glob("*.toml"))
DOC = (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8")

#: A job with every table; a test replaces single lines of it.
BASE = """\
title = "Slide tray"
unit = "mm"

[inside]
length = 232
width = "3 1/8 in"
height = 32

[stock]
material = "birch plywood"
thickness = [3.02, 3.05, 2.98]

[panels.bottom]
thickness = 6.1

[cut]
kerf = 0.18

[joint]
clearance = -0.05
tab_width = 8

[top]
kind = "open"
"""


def with_line(key: str, line: str, text: str = BASE) -> str:
    """``text`` with the line of a key (its last, so panels before stock) replaced."""
    found = list(re.finditer(rf"^{re.escape(key)}\b.*$", text, re.MULTILINE))
    assert found, key
    return text[: found[-1].start()] + line + text[found[-1].end() :]


def refused(text: str, **options: Any) -> JobError:
    with pytest.raises(JobError) as caught:
        parse_job(text, "tray.toml", **options)
    assert caught.value.exit_code == 2
    return caught.value


def only(text: str, **options: Any) -> Problem:
    """The one problem of a text."""
    problems = refused(text, **options).data["problems"]
    assert len(problems) == 1, problems
    problem: Problem = problems[0]
    return problem


# Reading


def test_the_job_of_the_first_order_is_read_exactly() -> None:
    job = read_job(ROOT / "fixtures/jobs/slide-tray.toml")
    # 3 1/8 in is 79.375 mm: 1 in = 25.4 mm exactly (NIST SP 811, Appendix B)
    assert job.inside.xyz == (232_000_000, 79_375_000, 32_000_000)
    assert job.stock.thickness.readings == (3_020_000, 3_050_000, 2_980_000)
    assert job.stock.thickness.nm == 3_016_667
    assert job.stock.thickness.source is Source.MEASURED
    assert job.thickness("bottom").nm == 6_100_000
    assert job.thickness("bottom").source is Source.ASKED
    assert job.cut.kerf == PerAxis(x=0.18, y=0.18)
    assert job.joint.clearance == -50_000
    assert job.joint.tab_width == 8_000_000
    assert job.joint.rank == PANELS
    assert job.top.kind == "open"
    assert job.text == Path(job.path).read_text(encoding="utf-8")


def test_bare_numbers_take_the_unit_of_the_job_and_a_written_unit_wins() -> None:
    text = BASE.replace('unit = "mm"', 'unit = "in"')
    for key, line in (
        ("length", "length = 9.125"),
        ("height", 'height = "32 mm"'),
        ("thickness", "thickness = 0.25"),
        ("kerf", 'kerf = { x = 0.007, y = "0.2 mm" }'),
        ("clearance", "clearance = -0.002"),
        ("tab_width", 'tab_width = "5/16"'),
    ):
        text = with_line(key, line, text)
    text = text.replace("[3.02, 3.05, 2.98]", '[0.119, "3.05 mm"]')
    job = parse_job(text)
    assert job.inside.xyz == (231_775_000, 79_375_000, 32_000_000)
    assert job.stock.thickness.readings == (3_022_600, 3_050_000)
    assert job.thickness("bottom").nm == 6_350_000
    assert job.cut.kerf == PerAxis(x=float(Fraction(7, 1000) * Fraction(127, 5)), y=0.2)
    assert job.joint.clearance == -50_800
    assert job.joint.tab_width == 7_937_500


def test_what_is_left_out_stays_open() -> None:
    job = parse_job(BASE[: BASE.index("[panels")], "trays/slide-tray.toml")
    assert job.cut == Cut()
    assert (job.joint.clearance, job.joint.fit, job.joint.web) == (None, None, None)
    assert job.top.kind == "open"
    assert parse_job(with_line("title", "", BASE), "trays/slide-tray.toml").title == "slide-tray"


@pytest.mark.parametrize("text", ["\ufeff" + BASE, BASE.replace("\n", "\r\n")])
def test_byte_order_mark_and_line_ends_do_not_matter(text: str, tmp_path: Path) -> None:
    file = tmp_path / "tray.toml"
    file.write_bytes(text.encode())
    job = read_job(file)
    assert job == dataclasses.replace(parse_job(BASE), title=job.title)
    assert job.text == text


# Refusing


@pytest.mark.parametrize(
    ("key", "line", "what", "limit", "do"),
    [
        ("length", "length = 0", "inside size is zero", "0.10 mm", "unit"),
        ("length", "length = -3", "negative", "", ""),
        ("length", "length = nan", "finite", "", ""),
        ("length", "length = inf", "finite", "", ""),
        ("length", "length = 1e999999999999999999999", "finite", "", ""),
        ("length", "length = 1e-999999", "finite", "", ""),
        ("length", f"length = 1{'0' * 4000}", "", "", ""),
        ("length", "length = 5001", "too large", "5000.00 mm", "unit"),
        ("length", 'length = "1,250"', "ambiguous", "thousands", "1.250 or 1250"),
        ("length", 'length = "3 kg"', "unit of length", "", ""),
        ("length", 'length = "20 mm/s"', "unit of length", "", ""),
        ("length", "length = true", "not a length", "number", ""),
        ("length", "length = [1, 2]", "not a length", "number", ""),
        ("length", "length = 2024-05-01", "not a length", "number", ""),
        ("length", 'length = ""', "empty", "", ""),
        ("thickness", "thickness = 0", "zero", "0.30 mm", ""),
        ("thickness", "thickness = 0.29", "too small", "0.30 mm", ""),
        ("thickness", "thickness = 50.1", "too large", "50.00 mm", ""),
        ("thickness", "thickness = []", "no thickness readings", "at least one", ""),
        ("kerf", "kerf = 0", "kerf is zero", "0.010 mm (0.4 thou)", "full width"),
        ("kerf", "kerf = -0.1", "negative", "", ""),
        ("kerf", "kerf = 0.009", "too small", "0.010 mm", "decimal point"),
        ("kerf", "kerf = 1.6", "too large", "1.500 mm (59.1 thou)", "half"),
        ("kerf", "kerf = { x = 0.2 }", "y is missing", "", "both x and y"),
        ("kerf", "scale = 0.89", "too small", "0.9 to 1.1", "size cut over size drawn"),
        ("kerf", "scale = 1.11", "too large", "0.9 to 1.1", "size cut over size drawn"),
        ("kerf", 'scale = "1"', "plain number", "", ""),
        ("kerf", "scale = nan", "plain number", "", ""),
        ("kerf", "scale = 1e999999", "no likely number", "", ""),
        ("kerf", "tool = 0.09", "too small", "25.00 mm", "diameter"),
        ("kerf", "tool = 26", "too large", "25.00 mm", "diameter"),
        ("kerf", "kerf = 0.2\ntool = 3", "exclude each other", "", "one of the two"),
        ("clearance", "clearance = -0.51", "too small", "1.000 mm", "slot minus tab"),
        ("clearance", "clearance = 1.01", "too large", "1.000 mm", "slot minus tab"),
        ("clearance", 'fit = "Snugg"', "none of the known", "press", "'snug'"),
        ("clearance", 'clearance = 0\nfit = "snug"', "exclude each other", "", "one of the two"),
        ("clearance", "ends = true", "none of the known", "inner", ""),
        ("clearance", 'ends = "outter"', "none of the known", "inner", "'outer'"),
        ("clearance", "proud = -5.1", "too small", "10.00 mm", "shy"),
        ("clearance", "proud = 10.1", "too large", "10.00 mm", "shy"),
        ("clearance", "web = -1", "negative", "", ""),
        ("clearance", 'rank = ["botom"]', "no such panel", "panels are", "'bottom'"),
        ("clearance", 'rank = ["top", "top"]', "twice", "once", ""),
        ("clearance", "rank = 3", "list of names", "", ""),
        ("tab_width", "tab_width = 0", "zero", "", ""),
        ("tab_width", "segments = { length = 8 }", "odd", "3 to 20001", "use 7 or 9"),
        ("tab_width", "segments = { length = 4 }", "odd", "3 to 20001", "use 3 or 5"),
        ("tab_width", "segments = { length = 2 }", "odd", "3 to 20001", "use 3"),
        ("tab_width", "segments = { length = 1 }", "no such count", "3 to 20001", ""),
        ("tab_width", "segments = { length = -3 }", "no such count", "3 to 20001", ""),
        ("tab_width", "segments = { length = 20002 }", "odd", "3 to 20001", "use 20001"),
        ("tab_width", "segments = { length = 7.0 }", "whole number", "", ""),
        ("tab_width", "segments = 7", "name its directions", "length = 9", ""),
        ("tab_width", "tab_width = 8\nsegments = { length = 7 }", "exclude each other", "", ""),
        ("kind", 'kind = "opne"', "none of the known", "closed", "'open'"),
        ("title", "title = 3", "must be text", "", ""),
        ("title", 'title = "a\\nb"', "one line", "", ""),
        ("material", 'material = " "', "empty", "", ""),
        ("unit", 'unit = "cm"', "none of the known", '"mm", "in"', ""),
    ],
)
def test_a_bad_value_is_refused_with_its_line(
    key: str, line: str, what: str, limit: str, do: str
) -> None:
    text = with_line(key, line)
    problem = only(text)
    message = str(problem.error("tray.toml"))
    assert what in problem.what
    assert limit in problem.limit
    assert do in problem.do
    bad = line.splitlines()[-1]
    assert text.splitlines()[problem.line - 1] == bad
    assert message.startswith(f"tray.toml, line {problem.line}, ")
    assert len(message) < 500
    if "{" not in bad and "[" not in bad and len(bad) < 40:
        assert bad.split(" = ", 1)[1] in problem.value


@pytest.mark.parametrize("name", [n for n in WINDOWS if n not in ("inside", "thickness", "scale")])
def test_every_window_holds_its_bounds_and_nothing_beyond(name: str) -> None:
    window = WINDOWS[name]
    step = Fraction(1, 1_000_000)
    key, head = ("kerf", "") if name in ("kerf", "tool", "edge_sd") else ("clearance", "")
    if name == "tab_width":
        key = "tab_width"
    for value, ok in (
        (window.least, True),
        (window.most, True),
        (window.least - step, False),
        (window.most + step, False),
    ):
        text = with_line(key, f"{head}{name} = {float(value):.6f}")
        if ok:
            parse_job(text)
        else:
            assert only(text).keys[-1] == name


def test_both_units_of_an_unlikely_kerf_are_shown() -> None:
    message = str(refused(with_line("kerf", 'kerf = "0.07 in"')))
    # 0.07 in = 1.778 mm = 70 thou: 1 in = 25.4 mm exactly
    assert message.startswith(
        'tray.toml, line 17, [cut] kerf: kerf is too large: "0.07 in" = 1.778 mm (70.0 thou); '
    )


def test_an_unlikely_kerf_passes_when_told_to_proceed_but_zero_never() -> None:
    job = parse_job(with_line("kerf", "kerf = 2.5"), proceed=True)
    assert job.cut.kerf == PerAxis(x=2.5, y=2.5)
    refuse_job(job, proceed=True)
    with pytest.raises(JobError, match="kerf is too large"):
        refuse_job(job)
    assert only(with_line("kerf", "kerf = 0"), proceed=True).what == "kerf is zero"
    assert "too large" in only(with_line("length", "length = 6000"), proceed=True).what


def test_readings_that_disagree_are_named() -> None:
    text = BASE.replace("[3.02, 3.05, 2.98]", "[3.02, 3.5, 2.98]")
    problem = only(text)
    # (3.5 - 2.98) / 3.1667 = 16.4 %, by hand
    assert "reading 3 is 2.98 mm" in problem.value
    assert "reading 2 is 3.50 mm" in problem.value
    assert "16.4%" in problem.value
    assert problem.line == 11
    # (3.45 - 2.97) / 3.2 = 15 % exactly: still one sheet
    parse_job(BASE.replace("[3.02, 3.05, 2.98]", "[3.45, 3.18, 2.97]"))
    # 0.481 / 3.2003 = 15.03 %: no more
    assert "15.0%" in only(BASE.replace("[3.02, 3.05, 2.98]", "[3.451, 3.18, 2.97]")).value
    assert "reading 2" in str(refused(BASE.replace("[3.02, 3.05, 2.98]", '[3, "1/6 in"]')))


def test_a_bad_reading_has_its_own_place() -> None:
    text = BASE.replace("[3.02, 3.05, 2.98]", '[\n  3.02,\n  "3,0x mm", # slip\n]')
    problem = only(text)
    assert problem.keys == ("stock", "thickness", 1)
    assert problem.line == 13
    assert problem.where("t") == "t, line 13, [stock] thickness, item 2 of its list"


def test_a_thousand_readings_are_enough() -> None:
    parse_job(with_line("thickness", f"thickness = {[3.0] * 1000}"))
    assert "1001" in only(with_line("thickness", f"thickness = {[3.0] * 1001}")).what


@pytest.mark.parametrize(
    ("line", "do"),
    [
        ("titel = 'x'", "did you mean 'title'?"),
        ("kerf = 0.2", "'kerf' belongs in [cut]"),
        ("thickness = 3", "'thickness' belongs in [stock]"),
        ("[panel.bottom]\nthickness = 3", "did you mean 'panels'?"),
        ("[panels.botom]\nthickness = 3", "did you mean 'bottom'?"),
        ("[[lid]]\nkind = 'x'", ""),
    ],
)
def test_unknown_keys_are_refused_with_the_nearest(line: str, do: str) -> None:
    text = BASE + line if line.startswith("[") else f"{line}\n{BASE}"
    problem = only(text)
    assert problem.what.startswith("no such")
    assert problem.do == do
    assert text.splitlines()[problem.line - 1] == line.splitlines()[0]


def test_a_title_below_a_table_is_sent_to_the_top() -> None:
    problem = only(BASE.replace("[inside]\n", "[inside]\ntitle = 'x'\n"))
    assert "top of the file" in problem.do


@pytest.mark.parametrize("gone", ["unit", "length", "width", "height", "material"])
def test_what_must_be_asked_is_missed(gone: str) -> None:
    problem = only(with_line(gone, ""))
    assert problem.what == f"{gone} is missing"
    assert gone in problem.do


def test_missing_tables_name_every_key() -> None:
    problems = refused('unit = "mm"\n').data["problems"]
    assert [p.what for p in problems] == [
        f"{name} is missing" for name in ("length", "width", "height", "material", "thickness")
    ]
    assert all(p.line == 0 for p in problems)


def test_a_table_that_is_none_is_refused() -> None:
    text = "inside = 3\n" + BASE.replace(BASE[BASE.index("[inside]") : BASE.index("[stock]")], "")
    assert "inside must be a table" in str(refused(text))
    assert "bottom must be a table" in str(
        refused(BASE.replace("[panels.bottom]\nthickness = 6.1", "[panels]\nbottom = 6.1"))
    )


def test_all_problems_come_at_once_in_the_sequence_of_the_file() -> None:
    text = BASE
    for key, line in (("kind", 'kind = "x"'), ("kerf", "kerf = 9"), ("length", "length = 0")):
        text = with_line(key, line, text)
    error = refused(text)
    assert [p.keys[-1] for p in error.data["problems"]] == ["length", "kerf", "kind"]
    first, *lines = str(error).splitlines()
    assert first == "tray.toml: 3 things to change:"
    assert [line[:9] for line in lines] == ["  line 5,", "  line 17", "  line 24"]
    again = pickle.loads(pickle.dumps(error))
    assert str(again) == str(error)
    assert again.data == error.data


def test_a_thousand_problems_do_not_fill_the_screen() -> None:
    error = refused("".join(f"k{n} = 1\n" for n in range(1000)) + BASE)
    assert len(error.data["problems"]) == 1000
    assert len(str(error).splitlines()) == 22
    assert "and 980 more" in str(error)


@pytest.mark.parametrize(
    ("line", "place"),
    [
        ("length = 3 1/8 in", "line 5, column 12"),
        ("length = 1,250", "line 5, column 11"),
        ("length 232", "line 5, column 8"),
        ("length = 1\nlength = 2", "line 6"),
        ('length = "3', "line 5"),
        ("[inside]", "line 5"),
    ],
)
def test_what_is_not_toml_is_refused_with_its_place(line: str, place: str) -> None:
    error = refused(with_line("length", line))
    assert error.what.startswith("not valid TOML: ")
    assert error.where.startswith(f"tray.toml, {place}")
    assert "quotes" in error.limit


def test_numbers_and_lists_without_end_are_refused() -> None:
    refused(f"a = {'[' * 100_000}")
    refused(f"a = {'9' * 100_000}\n{BASE}")
    refused(with_line("length", f"length = 0.{'9' * 100_000}"))
    refused(with_line("length", f'length = "{"9" * 100_000}"'))


# Files


def file_error(path: object) -> JobError:
    with pytest.raises(JobError) as caught:
        read_job(path)  # type: ignore[arg-type]
    assert caught.value.exit_code == 2
    assert str(path)[:40] in str(caught.value)
    return caught.value


def test_files_that_are_no_jobs(tmp_path: Path) -> None:
    assert "no such file" in str(file_error(tmp_path / "gone.toml"))
    assert "folder" in str(file_error(""))
    assert "folder" in str(file_error(tmp_path))
    assert "cannot be read" in str(file_error(tmp_path / ("x" * 300)))
    file_error(str(tmp_path / "a\0b"))
    file = tmp_path / "job.toml"
    for content, message in (
        (b"", "empty"),
        (b"\xef\xbb\xbf \n", "empty"),
        (b"unit = 1\n\x89PNG\r\n\x1a\n\xff\x00", "not UTF-8 text"),
        (b"PK\0\0\0", "not text"),
        (BASE.encode("utf-16"), "not UTF-8 text"),
        (b"# " + b"x" * 1_000_000, "too large for a job: 1.0 MB; at most 1 MB"),
    ):
        file.write_bytes(content)
        assert message in str(file_error(file))
    file.write_bytes(b"unit = 1\n\n\xff")
    assert "job.toml, line 3: " in str(file_error(file))


def test_a_file_of_100_mb_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "large.toml"
    with file.open("wb") as handle:
        handle.truncate(100_000_000)  # sparse: takes no space
    start = time.perf_counter()
    assert "100.0 MB" in str(file_error(file))
    assert time.perf_counter() - start < 0.5


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "tray.toml"
    file.write_text(BASE, encoding="utf-8")
    file.chmod(0)
    if os.access(file, os.R_OK):  # the superuser reads everything

        def denied(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", denied)
    assert "may not be read" in str(file_error(file))


# Places


@settings(max_examples=80, deadline=None)
@given(toml_tables(), st.booleans())
def test_places_agree_with_the_reference_readers(tables: dict[str, Any], crlf: bool) -> None:
    # written by tomlkit and read by the standard library: two readers that are not ours
    text = tomlkit.dumps(tables)
    if crlf and "\n" in text and "'''" not in text and '"""' not in text:
        text = text.replace("\n", "\r\n")
    data = tomllib.loads(text)
    found = places(text)
    lines = text.split("\n")
    assert found or not data or all(v in ({}, []) for v in data.values())
    for keys, place in found.items():
        value: Any = data
        for key in keys:
            value = value[key]
        if place.raw:
            assert tomllib.loads(f"v = {place.raw}") == {"v": value}
            assert place.raw.splitlines()[0] in lines[place.line - 1]


def test_places_in_every_form_of_toml() -> None:
    text = BASE.replace(
        "[cut]\nkerf = 0.18\n",
        '[ cut . "kerf" ] # own table\nx = 0.16\n"y" = 0.20\n',
    ).replace("[panels.bottom]\nthickness = 6.1\n", 'panels.top.thickness = """\n3 mm"""\n')
    text = text.replace("[stock]", "[stock]\n# ] } ' \" = odd").replace(
        "panels.top", "# moved\n#panels.top"
    )
    text = text.replace('3 mm"""\n', "")
    found = places(text)
    lines = text.splitlines()
    for keys, place in found.items():
        if keys and isinstance(keys[-1], str):
            assert keys[-1] in lines[place.line - 1]
    assert found["cut", "kerf", "y"].raw == "0.20"
    assert lines[found["cut", "kerf", "y"].line - 1] == '"y" = 0.20'


def test_no_place_is_better_than_a_wrong_one() -> None:
    assert places("a = 1\na = 2\n") == {}
    assert places("[a\n") == {}
    assert ("a",) in places("[[a]]\nb = 1\n[[a]]\nb = 2\n[a.c]\nd = 3\n")
    assert ("a", "b") not in places("[[a]]\nb = 1\n")


# Questions


@pytest.mark.parametrize(
    ("key", "line", "where", "words"),
    [
        ("kerf", "kerf = 0.049", "[cut] kerf", ("0.049 mm (1.9 thou)", "half", "decimal point")),
        ("kerf", "kerf = 0.401", "[cut] kerf", ("0.401 mm (15.8 thou)", "full width")),
        ("kerf", "kerf = { x = 0.2, y = 0.6 }", "[cut] kerf.y", ("0.600 mm (23.6 thou)",)),
        ("kerf", "scale = 0.979", "[cut] scale", ("size cut over size drawn",)),
        ("kerf", "scale = { x = 1, y = 1.021 }", "[cut] scale.y", ("size cut over size drawn",)),
        ("clearance", "clearance = -0.151", "[joint] clearance", ("positive is loose",)),
        ("clearance", "clearance = 0.301", "[joint] clearance", ("0.301 mm (11.9 thou)",)),
        ("clearance", "proud = 2.01", "[joint] proud", ("shy",)),
        ("clearance", "proud = -2.01", "[joint] proud", ("shy",)),
        ("thickness", "thickness = 0.99", "[panels.bottom] thickness", ("0.99 mm (0.039 in)",)),
        ("thickness", "thickness = 20.1", "[panels.bottom] thickness", ("20.10 mm",)),
        ("thickness", "thickness = 32.1", "[panels.bottom] thickness", ("usually",)),
        ("length", "length = 4.9", "[inside] length", ("check the unit",)),
        ("length", "length = 2501", "[inside] length", ("check the unit",)),
    ],
)
def test_the_unusual_is_questioned(key: str, line: str, where: str, words: tuple[str, ...]) -> None:
    questions = question_job(parse_job(with_line(key, line)))
    assert questions[0].where == where
    for word in words:
        assert word in str(questions[0])


@pytest.mark.parametrize(
    "line", ["kerf = 0.05", "kerf = 0.4", "scale = 0.98", "scale = { x = 1.02, y = 0.98 }"]
)
def test_the_bounds_of_the_usual_are_usual(line: str) -> None:
    assert question_job(parse_job(with_line("kerf", line))) == ()


def test_thick_stock_and_an_unused_top_are_questions() -> None:
    text = with_line("height", "height = 6").replace(
        "[cut]", "[panels.top]\nthickness = 5\n\n[cut]"
    )
    thick, unused = question_job(parse_job(text))
    assert thick.where == "[panels.bottom] thickness"
    assert "height, 6.00 mm (0.236 in)" in thick.text
    assert unused.where == "[panels.top]"
    closed = parse_job(text.replace('"open"', '"closed"'))
    assert [q.where for q in question_job(closed)] == ["[panels.bottom] thickness"]


def test_overrides_are_refused_and_questioned_like_the_file() -> None:
    job = parse_job(BASE)

    def cut(x: float, y: float) -> Job:
        return dataclasses.replace(job, cut=Cut(kerf=PerAxis(x=x, y=y)))

    refuse_job(cut(0.6, 0.6))
    assert [q.where for q in question_job(cut(0.6, 0.6))] == ["[cut] kerf"]
    for kerf in (0.0, -1.0, 1.6, float("nan"), float("inf")):
        with pytest.raises(JobError, match=r"\[cut\] kerf"):
            refuse_job(cut(kerf, 0.2))
    spread = Thickness(readings=(3_000_000, 4_000_000), measured=True)
    stock = dataclasses.replace(job.stock, thickness=spread)
    with pytest.raises(JobError, match="disagree"):
        refuse_job(dataclasses.replace(job, stock=stock))
    with pytest.raises(JobError, match=r"(?s)Use 5 or 7.*no such panel"):
        dataclasses.replace(job.joint, tab_width=None, segments={"width": 6}, rank=("lid",))


# Writing


@settings(max_examples=60, deadline=None)
@given(jobs())
def test_a_job_written_and_read_is_the_same(job: Job) -> None:
    refuse_job(job)
    text = job_to_toml(job)
    again = parse_job(text)
    assert again == job
    assert tomlkit.parse(text).unwrap() == tomllib.loads(text)
    jsonschema.validate(tomllib.loads(text), job_schema())


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
def test_fixtures_are_jobs_and_survive_writing(path: Path) -> None:
    job = read_job(path)
    assert parse_job(job_to_toml(job), str(path)) == job  # files lie beside it
    assert question_job(job) == ()
    jsonschema.validate(tomllib.loads(job.text), job_schema())


def test_fixtures_cover_the_orders_of_the_workshop() -> None:
    done = {path.stem: read_job(path) for path in FIXTURES}
    assert len(done) >= 8
    assert {job.unit for job in done.values()} == {"mm", "in"}
    assert {job.top.kind for job in done.values()} >= {"open", "closed", "lift-off", "sliding"}
    assert done["cube-20"].inside.xyz == (20_000_000,) * 3
    assert done["case-1200"].inside.length == 1_200_000_000
    assert len({done["specimen-drawer"].thickness(p).nm for p in PANELS}) == 6
    assert done["thick-stock-18"].cut.tool == 3_000_000
    assert done["outer-ends"].joint.ends == "outer"
    assert done["tabs-by-count"].joint.segments == {"length": 9, "width": 5, "height": 3}


def test_the_notebook_box_takes_an_a5_notebook() -> None:
    # ISO 216, A5, with its tolerance: fixtures/published/iso216_269_paper_sizes.csv
    with (ROOT / "fixtures/published/iso216_269_paper_sizes.csv").open(encoding="utf-8") as file:
        a5 = next(row for row in csv.DictReader(file) if row["name"] == "A5")
    inside = read_job(ROOT / "fixtures/jobs/notebook-box-a5.toml").inside
    largest = float(a5["height_mm"]) + float(a5["tol_h_pm_mm"])
    assert largest < inside.length / 1e6 < largest + 3
    largest = float(a5["width_mm"]) + float(a5["tol_w_pm_mm"])
    assert largest < inside.width / 1e6 < largest + 3


@pytest.mark.parametrize(
    ("nm", "unit", "written"),
    [
        (3_020_000, "mm", Decimal("3.02")),
        (8_000_000, "mm", Decimal("8")),
        (-50_000, "mm", Decimal("-0.05")),
        (0, "mm", Decimal("0")),
        (79_375_000, "mm", Decimal("79.375")),
        (79_375_000, "in", Decimal("3.125")),
        (396_875, "mm", "1/64 in"),
        (-396_875, "in", "-1/64 in"),
        (3_016_667, "mm", "3.016667 mm"),
        (3_020_000, "in", "3.02 mm"),
        (5_000_000_000, "mm", Decimal("5000")),
    ],
)
def test_lengths_are_written_as_one_would(nm: int, unit: Any, written: Decimal | str) -> None:
    assert written_length(nm, unit) == written
    assert "E" not in str(written_length(nm, unit))


def test_editing_keeps_every_other_byte() -> None:
    text = (ROOT / "fixtures/jobs/slide-tray.toml").read_text(encoding="utf-8")
    changed = edit_job_text(
        text,
        {
            ("stock", "thickness"): [Decimal("3.30"), "1/8 in"],
            ("panels", "bottom", "thickness"): Decimal("6.10"),
            ("joint", "tab_width"): None,
            ("joint", "segments"): {"length": 9, "width": 5},
            ("joint", "fit"): None,
        },
    )
    old, new = text.splitlines(), changed.splitlines()
    assert [line for line in old if line not in new] == [
        "thickness = [3.02, 3.05, 2.98]     # caliper readings; the mean is used, the spread reported",
        "tab_width = 8",
    ]
    assert [line for line in new if line not in old] == [
        'thickness = [3.3, "1/8 in"]     # caliper readings; the mean is used, the spread reported',
        "segments = { length = 9, width = 5 }",
    ]
    job = parse_job(changed)
    assert job.stock.thickness.readings == (3_300_000, 3_175_000)
    assert job.joint.segments == {"length": 9, "width": 5}


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("last", ["", "\n"])
def test_editing_adds_tables_in_the_manner_of_the_text(ends: str, mark: str, last: str) -> None:
    text = mark + BASE.rstrip().replace("\n", ends) + last.replace("\n", ends)
    changed = edit_job_text(
        text, {("panels", "left", "thickness"): 3, ("panels", "left", "material"): 'a "b"'}
    )
    added = f'[panels.left]{ends}thickness = 3{ends}material = "a \\"b\\""{ends}{ends}'
    assert changed == text.replace("[cut]", added + "[cut]")


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
def test_editing_nothing_changes_nothing(path: Path) -> None:
    text = path.read_bytes().decode()
    assert edit_job_text(text, {}) == text
    assert edit_job_text(text, {("joint", "no"): None, ("no", "such", "key"): None}) == text


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([*FIXTURES]),
    st.dictionaries(
        st.sampled_from(
            [
                ("stock", "thickness"),
                ("joint", "proud"),
                *(("panels", p, "thickness") for p in PANELS),
            ]
        ),
        st.none() | st.decimals("1", "20", places=3) | st.lists(st.decimals("3", "3.2", places=2)),
        max_size=4,
    ),
)
def test_editing_sets_what_it_is_told_and_keeps_the_notes(path: Path, changes: Any) -> None:
    text = path.read_text(encoding="utf-8")
    changed = edit_job_text(text, changes)
    want = tomllib.loads(text)
    for keys, value in changes.items():
        table: Any = want
        for key in keys[:-1]:
            table = table.setdefault(key, {}) if value is not None else table.get(key, {})
        table.pop(keys[-1], None)
        if value is not None:
            numbers = [float(v) for v in value] if isinstance(value, list) else float(value)
            table[keys[-1]] = numbers
    assert tomllib.loads(changed) == want
    removed = [key[-1] for key, value in changes.items() if value is None]
    for note in re.findall(r"^#.*$", text, re.MULTILINE):
        assert note in changed
    if not removed:
        assert changed.count("#") == text.count("#")


def test_what_cannot_be_set_is_refused() -> None:
    for text, keys in ((BASE, ("title", "a")), (BASE, ("inside", "length", "x"))):
        with pytest.raises(JobError, match="by hand"):
            edit_job_text(text, {keys: 3})
    with pytest.raises(JobError, match="not valid TOML"):
        edit_job_text("a = = 3", {("title",): "x"})


def test_the_starter_is_a_job_and_shows_every_key() -> None:
    text = starter_text(full=True)
    job = parse_job(text)
    assert question_job(job) == ()
    jsonschema.validate(tomllib.loads(text), job_schema())
    for keys in all_keys():
        assert re.search(rf"\b{keys[-1]} = ", text), keys
    assert parse_job(job_to_toml(job)) == job


@pytest.mark.parametrize(
    "line",
    [line for line in starter_text(full=True).splitlines() if re.match(r"# (\w+ = |\[)", line)],
)
def test_every_value_of_the_starter_can_be_switched_on(line: str) -> None:
    text = starter_text(full=True)
    on = line.removeprefix("# ")
    start = text.index("# [sheets.birch]")
    if text.index(line) >= start and text.index(line) < text.index("[nest]"):
        for needed in ("# [sheets.birch]", "# size"):
            text = text.replace(needed, needed[2:])
        line = line.removeprefix("# ") if line.startswith(("# [sheets", "# size")) else line
    if on.startswith("["):
        parse_job(text.replace(line, on))
        return
    key = on.split(" = ")[0]
    if key in ("thickness", "material", "layers", "seam") and line in text:
        start = text.index("# [panels.bottom]")
        text = text[:start] + text[start:].replace("# [panels", "[panels", 1)
        if text.index(line) < start:
            text = text.replace("thickness = 3.0 ", "# ")
    assert parse_job(text.replace(line, on)) is not None


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_short_starter_is_a_job_whose_values_can_be_switched_on(unit: Unit) -> None:
    text = starter_text(unit)
    assert len(text.splitlines()) < 40
    job = parse_job(text)
    assert job.unit == unit
    assert question_job(job) == ()
    jsonschema.validate(tomllib.loads(text), job_schema())
    lines = [line for line in text.splitlines() if re.match(r"# \w+ = ", line)]
    assert len(lines) == 4
    for line in lines:
        on = text.replace(line, line[2:])
        if "thickness" in line:
            on = re.sub(r"(?m)^thickness = (?!\[).*\n", "", on)
        assert question_job(parse_job(on)) == (), line


@pytest.mark.parametrize(
    ("value", "do"),
    [
        ("2,25", 'Write height = 2.25, or height = "2,25".'),
        ("2.25 mm", 'Write height = "2.25 mm".'),
        ("3 1/8", 'Write height = "3 1/8".'),
        ("1,250", "Write 1.250 or 1250."),
    ],
)
def test_a_length_without_its_quotes_says_how_to_write_it(value: str, do: str) -> None:
    with pytest.raises(JobError, match="not valid TOML") as raised:
        parse_job(f'unit = "mm"\n[inside]\nheight = {value}  # of the tray\n')
    assert str(raised.value).endswith(do)
    assert "line 3" in str(raised.value)


# Schema and document


def schema_keys(schema: dict[str, Any], at: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    """Every key that holds a value in a schema, references followed."""
    while "$ref" in schema:
        name = schema["$ref"].removeprefix("#/$defs/")
        schema = job_schema()["$defs"][name]
    found: set[tuple[str, ...]] = set()
    listed = schema.get("items", {}).get("$ref", "").removeprefix("#/$defs/")
    if listed and job_schema()["$defs"][listed].get("type") == "object":  # a list of tables
        return schema_keys(schema["items"], (*at, "*"))
    for part in (schema, *schema.get("anyOf", ())):
        for name, inner in part.get("properties", {}).items():
            found |= schema_keys(inner, (*at, "*" if at == ("panels",) else name))
        named = [*part.get("patternProperties", {}).values(), part.get("additionalProperties")]
        for inner in named:
            if inner:
                found |= schema_keys(inner, (*at, "*"))
    inline = (("joint", "segments"), ("items", "*", "rows"), ("contents", "finger_room"))
    plain_table = schema.get("type") == "object" and at not in inline
    return found if plain_table else found | {at}


def test_schema_and_reader_know_the_same_keys() -> None:
    jsonschema.Draft202012Validator.check_schema(job_schema())
    assert job_schema()["$schema"].endswith("2020-12/schema")
    assert schema_keys(job_schema()) == set(all_keys())


def test_every_value_of_the_schema_is_described() -> None:
    def walk(node: Any) -> None:
        if isinstance(node, dict):
            for name, inner in node.get("properties", {}).items():
                if name not in PANELS:
                    assert inner["description"][-1] == "."
            for inner in node.values():
                walk(inner)

    walk(job_schema())


@pytest.mark.parametrize(
    "line",
    [
        "titel = 'x'",
        "length = 0",
        "length = true",
        "kerf = -1",
        "kerf = 0.2\ntool = 3",
        "kerf = { x = 0.2 }",
        "scale = 2",
        'clearance = 0\nfit = "snug"',
        "tab_width = 3\nsegments = { length = 7 }",
        "segments = { length = 8 }",
        "segments = { length = 1 }",
        'rank = ["lid"]',
        'rank = ["top", "top"]',
        'kind = "opne"',
        "thickness = []",
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(line: str) -> None:
    key = line.split(" = ")[0]
    home = {"titel": "title", "scale": "kerf", "segments": "tab_width", "rank": "tab_width"}
    text = with_line(home.get(key, key), line)
    refused(text)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(text), job_schema())


def test_the_document_and_the_reader_know_the_same_keys() -> None:
    found = set()
    for section in re.split(r"^## ", DOC, flags=re.MULTILINE)[1:]:
        title = section.splitlines()[0]
        tables = re.findall(r"\[([a-zA-Z_.]+)\]", title)
        if not tables and title != "Keys at the top":
            continue
        head = tuple(tables[0].split(".")) if tables else ()
        if head[:1] == ("panels",):
            assert {t.split(".")[1] for t in tables} == set(PANELS)
            head = ("panels", "*")
        head = tuple("*" if name == "NAME" else name for name in head)
        if title.startswith("[["):
            head = (*head, "*")
        for key in re.findall(r"^\| `([a-z_.]+)` \|", section, re.MULTILINE):
            found.add((*head, *key.split(".")))
    assert found == set(all_keys())


def test_the_values_in_the_document_are_read() -> None:
    job, *_ = re.findall(r"```toml\n(unit.*?)```", DOC, re.DOTALL)
    assert parse_job(job).inside.xyz == (232_000_000, 79_375_000, 32_000_000)
    shown = re.search(r"```text\n(slide-tray.toml, line 12, .*)\n```", DOC)
    assert shown is not None
    bad = job + "\n[panels.bottom]\nthickness = 0\n"
    with pytest.raises(JobError) as caught:
        parse_job(bad, "slide-tray.toml")
    # the same but for the line, which is that of a longer file
    assert re.sub("line [0-9]+", "line 12", str(caught.value)) == shown[1]
    table = DOC[DOC.index("| written |") : DOC.index("- Fractions, units")]
    written = re.findall(r"`([^`]+)`", " ".join(re.findall(r"^\| (.*?) \|", table, re.MULTILINE)))
    assert len(written) > 10
    for value in written:
        text = job.replace("length = 232", f"length = {value}")
        try:
            parse_job(text)
        except JobError as error:
            (problem,) = error.data["problems"]
            assert "too small" in problem.what or "too large" in problem.what, value


def test_key_names_for_people() -> None:
    assert key_name(("panels", "bottom", "thickness")) == "[panels.bottom] thickness"
    assert key_name(("cut", "kerf", "x")) == "[cut] kerf.x"
    assert key_name(("title",)) == "title"
    assert key_name(("panels", "lid"), table=True) == "[panels.lid]"
    assert set(TABLES[("joint",)]) >= {"fit", "clearance"}


# Cost


def test_reading_loads_nothing_heavy() -> None:
    code = (
        "import sys; from boxjoint.job.read import read_job; from boxjoint.job.write import *; "
        f"job_to_toml(read_job({str(FIXTURES[0])!r})); "
        "print([m for m in ('tomlkit', 'pint', 'numpy', 'shapely', 'jsonschema') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout.strip() == "[]"


def test_the_place_of_the_schema_is_printed() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "boxjoint.job.schema"],
        capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    assert Path(done.stdout.strip()) == SCHEMA_PATH
    assert json.loads(SCHEMA_PATH.read_text(encoding="utf-8")) == job_schema()


def test_a_megabyte_of_problems_is_read_in_time() -> None:
    text = BASE + "# " + "x" * 900_000 + "\nfoo = 3\n"
    start = time.perf_counter()
    assert only(text).keys == ("top", "foo")
    assert time.perf_counter() - start < 2
    with pytest.raises(InputError):
        parse_job(BASE + "".join(f"k{n} = 1\n" for n in range(20_000)))
    assert time.perf_counter() - start < 8
