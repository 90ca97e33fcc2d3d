"""The command line as a maker meets it: results, messages, exit codes, and nothing lost on the way.

Most commands run in this process through the real entry point; what needs a process of its own (pipes,
kills, terminals, full devices) gets one.
"""

from __future__ import annotations

import errno
import io
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import textwrap
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from boxjoint import __version__
from boxjoint.cli.main import COMMANDS, run
from boxjoint.job.read import read_job
from boxjoint.shop.book import Book
from boxjoint.shop.records import Sheet
from boxjoint.solve.cases import job_arrangement

ROOT = Path(__file__).parents[1]
FIXTURES = sorted((ROOT / "fixtures" / "jobs").glob("*.toml"))
TRAY = ROOT / "fixtures" / "jobs" / "slide-tray.toml"
CUBE = ROOT / "fixtures" / "jobs" / "cube-20.toml"


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str

    def json(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


Cli = Callable[..., Result]


@pytest.fixture
def cli(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Cli:
    """Run the entry point with some words; no shop book of this machine is ever opened."""
    monkeypatch.setenv("BOXJOINT_BOOK", str(tmp_path / "no book"))

    def call(*words: object) -> Result:
        monkeypatch.setattr(sys, "argv", ["boxjoint", *(os.fspath(w) for w in words)])  # type: ignore[call-overload]
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
        monkeypatch.setattr(sys, "stdout", out)
        monkeypatch.setattr(sys, "stderr", err)
        with pytest.raises(SystemExit) as end:
            run()
        out.flush()
        err.flush()
        texts = [s.buffer.getvalue().decode() for s in (out, err)]
        assert isinstance(end.value.code, int)
        assert "Traceback" not in texts[1]
        return Result(end.value.code, texts[0], texts[1])

    return call


def job_file(tmp_path: Path, **changes: str) -> Path:
    """A small job with some values changed: ``inside__length="0"``; a value of "" leaves it out."""
    tables = {
        "": {"title": '"Notebook box"', "unit": '"mm"'},
        "inside": {"length": "60", "width": "40", "height": "30"},
        "stock": {"material": '"birch plywood"', "thickness": "3"},
        "cut": {"kerf": "0.18"},
        "joint": {"clearance": "0.02"},
        "top": {"kind": '"closed"'},
    }
    for name, value in changes.items():
        table, _, key = name.rpartition("__")
        tables.setdefault(table.replace("__", "."), {})[key] = value
    blocks = []
    for table, values in tables.items():
        lines = [f"[{table}]"] if table else []
        lines += [f"{key} = {value}" for key, value in values.items() if value]
        blocks.append("\n".join(lines))
    path = tmp_path / "job.toml"
    path.write_text("\n\n".join(blocks) + "\n", encoding="utf-8")
    return path


def found(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


# help ---------------------------------------------------------------------------------------------


def test_version_and_help(cli: Cli) -> None:
    assert cli("--version").out == f"boxjoint, version {__version__}\n"
    shown = cli("--help")
    assert (shown.code, shown.err) == (0, "")
    for name in COMMANDS:
        assert re.search(rf"^  {name} ", shown.out, re.MULTILINE)
    assert "Examples:" in shown.out
    assert "_BOXJOINT_COMPLETE" in shown.out
    assert cli("-h").out == shown.out


@pytest.mark.parametrize("name", ["new", "check", "build", "restock", "recut"])
def test_every_command_has_help_with_an_example(cli: Cli, name: str) -> None:
    shown = cli(name, "--help")
    assert (shown.code, shown.err) == (0, "")
    assert re.search(rf"Examples?:\n +boxjoint {name} ", shown.out)


def test_no_command_at_all_shows_the_help_as_an_error(cli: Cli) -> None:
    shown = cli()
    assert (shown.code, shown.out) == (2, "")
    assert "Commands:" in shown.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["chek", "x"], "Did you mean 'check'?"),
        (["restok"], "Did you mean 'restock'?"),
        (["glue"], "no command 'glue'"),
        (["check", "--jsn", "x"], "'--json'"),
        (["check", "--thicknes", "3", "x"], "--thickness"),
        (["build", "x"], "Missing option '--out'"),
        (["check"], "Missing argument 'JOB'"),
        (["recut", "x", "--out", "y"], "Missing option '--panel'"),
        (["build", "x", "--out", "y", "--dxf", "R14"], "'R14'"),
        (["restock", "x", "--hold", "corner"], "'corner'"),
        (["check", "x", "y"], "unexpected extra argument"),
    ],
)
def test_wrong_words_are_exit_2_with_a_suggestion(cli: Cli, words: list[str], said: str) -> None:
    shown = cli(*words)
    assert (shown.code, shown.out) == (2, "")
    assert said in shown.err


# new ----------------------------------------------------------------------------------------------


def test_new_writes_a_job_that_builds_at_once(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "school" / "tray.toml"
    shown = cli("new", path)
    assert (shown.code, shown.out) == (0, "")
    assert f"boxjoint check {path}" in shown.err
    assert cli("build", path, "--out", tmp_path / "tray").code == 0
    # every line that is switched off is commented, and the same text goes to stdout
    assert cli("new").out.encode() == path.read_bytes()
    assert "# kerf = 0.18" in cli("new").out


def test_new_in_inches_builds_at_once_and_shows_inches_first(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "my tray.toml"
    done = cli("new", path, "--unit", "in")
    assert done.code == 0
    hint = shlex.split(done.err.partition("then: ")[2])  # what it says can be run as printed
    assert hint == ["boxjoint", "check", str(path)]
    shown = cli(*hint[1:])
    assert shown.code == 0
    assert "2.375 in (60.325 mm)" in shown.out
    assert re.search(r"kerf x +7\.1 thou \(0\.180 mm\) +ASSUMED", shown.out)
    assert "edge_sd" in cli("new", "--full").out  # every key
    refused = cli("new", "--full", "--unit", "in")
    assert refused.code == 2 and "in mm" in refused.err


def test_new_never_writes_over_a_file(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "tray.toml"
    path.write_text("mine")
    for taken in (path, tmp_path, ""):
        shown = cli("new", taken)
        assert shown.code == 2
        assert "already" in shown.err
    assert path.read_text() == "mine"


# check and build ----------------------------------------------------------------------------------


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
def test_every_fixture_builds(cli: Cli, path: Path, tmp_path: Path) -> None:
    job = read_job(path)
    shown = cli("build", path, "--out", tmp_path / "out")
    assert shown.code == 0
    files = found(tmp_path / "out")
    names = [slab.name for slab in job_arrangement(job).slabs]
    if job.seams.allowed:  # longer than the bed: two pieces each
        long = ("bottom", "front", "back")
        names = [n for n in names if n not in long] + [f"{n}-{k}" for n in long for k in (1, 2)]
    drawings = {f"panels/{n}.{end}" for n in names for end in ("dxf", "svg")}
    sheets = {n for n in files if n.startswith("sheets/")}
    assert set(files) - sheets == drawings | {
        "panels.dxf",
        "panels.svg",
        "report.json",
        "report.md",
    }
    assert ("sheets/sheet-01.dxf" in sheets) == bool(job.sheets) == bool(sheets)
    assert "exact proof: holds" in shown.out
    assert f"wrote {len(files)} files" in shown.err
    assert "Never leave a running laser" in shown.err
    assert job.title in shown.out
    # what the report says is what --json prints
    again = cli("build", path, "--out", tmp_path / "again", "--json")
    assert again.out.encode() == files["report.json"]
    assert found(tmp_path / "again") == files


def test_check_writes_nothing_and_shows_both_units(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    shown = cli("check", TRAY)
    assert shown.code == 0
    assert "232.00 mm (9.134 in)" in shown.out
    assert "79.375 mm" in shown.out
    assert "measured, 3 readings" in shown.out
    assert not list(tmp_path.iterdir())
    # plain text in a pipe: no colours, no frames
    assert re.fullmatch(r"[\x20-\x7e\n]*", shown.out)
    inch = cli("check", ROOT / "fixtures" / "jobs" / "pencil-tray-inch.toml")
    assert re.search(r"\d in \(\d+\.\d\d mm\)", inch.out)


def test_assumed_figures_are_in_capitals_with_what_would_measure_them(
    cli: Cli, tmp_path: Path
) -> None:
    shown = cli("check", job_file(tmp_path, cut__kerf=""))
    assert re.search(r"kerf x +0\.180 mm \(7\.1 thou\) +ASSUMED", shown.out)
    assert "boxjoint gauge draw kerf" in shown.out


def test_json_prints_the_report_and_nothing_else(cli: Cli, tmp_path: Path) -> None:
    path = job_file(tmp_path, joint__segments="{ length = 3 }", inside__length="150")
    shown = cli("check", path, "--json")
    assert shown.code == 0
    report = shown.json()
    assert report["inside"]["length"]["asked"] == 150.0  # mm
    assert report["inside"]["length"]["nominal"] == 150.0
    as_cut = report["inside"]["length"]["as_cut"]
    assert as_cut["least"] == pytest.approx(150, abs=2e-6)
    assert as_cut["greatest"] == pytest.approx(150, abs=2e-6)
    assert report["proofs"]["passed"] is True
    # warnings are for people, and on stderr
    assert "look at: " in shown.err
    assert report["warnings"]
    inch = cli("check", ROOT / "fixtures" / "jobs" / "pencil-tray-inch.toml", "--json").json()
    job = read_job(ROOT / "fixtures" / "jobs" / "pencil-tray-inch.toml")
    assert inch["inside"]["width"]["asked"] == pytest.approx(job.inside.width / 1e6)


def test_a_failed_proof_is_exit_1_and_writes_nothing(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import boxjoint.make as make
    from boxjoint.fit.compensate import Beam, compensate
    from boxjoint.job.records import PerAxis

    def wrong(rings: Any, beam: Beam, *rest: Any, **more: Any) -> Any:
        kerf = PerAxis(x=beam.kerf.x + 0.001, y=beam.kerf.y + 0.001)
        return compensate(rings, Beam(kerf=kerf, scale=beam.scale), *rest, **more)

    monkeypatch.setattr(make, "compensate", wrong)
    out = tmp_path / "out"
    for words in (
        ["check", TRAY],
        ["build", TRAY, "--out", out],
        ["build", TRAY, "--out", out, "--json"],
    ):
        shown = cli(*words)
        assert shown.code == 1
        assert "a proof on the parts as cut failed" in shown.err
        assert "wanted -0.050000 mm" in shown.err
    assert json.loads(shown.out)["proofs"]["passed"] is False
    assert not out.exists()
    assert cli("restock", TRAY, "--thickness", "3.2", "--out", out).code == 1
    assert cli("recut", TRAY, "--panel", "front", "--out", out).code == 1
    assert not out.exists()


def test_no_such_box_is_exit_1(cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No job file of a plain box was found that has no box, so one with two floors is put in."""
    import boxjoint.make as make
    from boxjoint.solve.arrangement import Arrangement
    from boxjoint.solve.box import box_arrangement

    def two_floors(job: Any) -> Arrangement:
        slabs = box_arrangement(job).slabs
        return Arrangement(slabs=(*slabs, replace(slabs[0], name="second bottom")))

    monkeypatch.setattr(make, "job_arrangement", two_floors)
    shown = cli("build", CUBE, "--out", tmp_path / "out")
    assert (shown.code, shown.out) == (1, "")
    assert "the parallel slabs bottom and second bottom overlap" in shown.err
    assert not (tmp_path / "out").exists()


def test_dxf_release_and_picture(cli: Cli, tmp_path: Path) -> None:
    cli("build", CUBE, "--out", tmp_path / "a", "--dxf", "r12", "--picture")
    files = found(tmp_path / "a")
    assert b"AC1009" in files["panels.dxf"]
    assert files["box.svg"].startswith(b"<?xml") or b"<svg" in files["box.svg"][:200]
    cli("build", CUBE, "--out", tmp_path / "b")
    assert b"AC1015" in found(tmp_path / "b")["panels.dxf"]


def test_kerf_by_controller(cli: Cli, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shown = cli("build", CUBE, "--out", out, "--kerf-by-controller")
    assert shown.code == 0
    report = json.loads((out / "report.json").read_text())
    assert report["kerf_applied"] is False
    text = (out / "panels" / "front.svg").read_text()
    assert "full kerf 0.150 mm" in text
    assert "half kerf 0.075 mm" in text
    two = ["--kerf-x", "0.15", "--kerf-y", "0.2"]
    shown = cli("build", CUBE, "--out", tmp_path / "two", "--kerf-by-controller", *two)
    assert shown.code == 2
    assert "confirm with --yes" in shown.err
    assert not (tmp_path / "two").exists()
    shown = cli("build", CUBE, "--out", tmp_path / "two", "--kerf-by-controller", *two, "--yes")
    assert shown.code == 0


# overrides ----------------------------------------------------------------------------------------


def figures(shown: Result) -> dict[str, tuple[float, str]]:
    return {k: (f["value"], f["source"]) for k, f in shown.json()["figures"].items()}


def test_overrides_take_the_place_of_the_jobs_values(cli: Cli) -> None:
    words = ["check", TRAY, "--json"]
    kerf = figures(cli(*words, "--kerf", "8 thou"))
    assert kerf["kerf_x"] == kerf["kerf_y"] == (0.2032, "asked")
    only_x = figures(cli(*words, "--kerf-x", "0.2 mm"))
    assert (only_x["kerf_x"], only_x["kerf_y"]) == ((0.2, "asked"), (0.18, "asked"))
    both = figures(cli(*words, "--kerf-x", "0.2", "--kerf-y", "0.21"))
    assert (both["kerf_x"][0], both["kerf_y"][0]) == (0.2, 0.21)
    assert figures(cli(*words, "--clearance", "-0.07"))["clearance"] == (-0.07, "asked")
    fit = cli(*words, "--fit", "slip").json()
    assert (fit["fit"], fit["figures"]["clearance"]["source"]) == ("slip", "assumed")
    assert fit["figures"]["clearance"]["value"] == 0.12
    thick = cli(*words, "--thickness", "3.1", "--thickness", "3.14").json()["panels"]
    assert thick["front"]["thickness"]["readings"] == [3.1, 3.14]
    assert thick["front"]["thickness"]["value"] == 3.12
    assert thick["bottom"]["thickness"]["value"] == 6.1  # its own


def test_the_report_has_the_job_that_was_built(cli: Cli) -> None:
    report = cli("check", TRAY, "--json", "--kerf", "0.2", "--fit", "slip").json()
    assert report["job"]["text"] == TRAY.read_text()
    assert report["job"]["path"] == str(TRAY)
    built = tomllib.loads(report["job"]["built"])
    assert built["cut"]["kerf"] == 0.2
    assert built["joint"]["fit"] == "slip"
    assert "clearance" not in built["joint"]


def test_bare_numbers_on_the_command_line_take_the_jobs_unit(cli: Cli) -> None:
    inch = ROOT / "fixtures" / "jobs" / "pencil-tray-inch.toml"
    found_ = figures(cli("check", inch, "--json", "--kerf", "0.007"))
    assert found_["kerf_x"][0] == pytest.approx(0.1778)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--kerf", "0.2", "--kerf-x", "0.2"], "exclude each other"),
        (["--clearance", "0.1", "--fit", "snug"], "exclude each other"),
        (["--fit", "snugg"], "Did you mean 'snug'?"),
        (["--fit", ""], "no fit of that name"),
        (["--kerf", ""], "--kerf"),
        (["--kerf", "nan"], "--kerf"),
        (["--kerf", "-0.1"], "--kerf"),
        (["--kerf-x", "wide"], "--kerf-x"),
        (["--kerf", "1,250"], "1,250"),
        (["--kerf", "3"], "kerf"),
        (["--kerf", "0.2 kg"], "0.2 kg"),
        (["--clearance", "2"], "clearance"),
        (["--clearance", "inf"], "inf"),
        (["--thickness", "0"], "thickness"),
        (["--thickness", "-3"], "--thickness"),
        (["--thickness", "300"], "thickness"),
        (["--thickness", "3", "--thickness", "4"], "15"),
    ],
)
def test_wrong_overrides_are_exit_2(cli: Cli, words: list[str], said: str) -> None:
    shown = cli("check", TRAY, *words)
    assert (shown.code, shown.out) == (2, "")
    assert said in shown.err


def test_one_kerf_of_two_needs_the_other(cli: Cli, tmp_path: Path) -> None:
    shown = cli("check", job_file(tmp_path, cut__kerf=""), "--kerf-x", "0.2")
    assert shown.code == 2
    assert "give both --kerf-x and --kerf-y" in shown.err
    router = job_file(tmp_path, cut__kerf="", cut__tool="3", joint__tab_width="9")
    assert "router" in cli("check", router, "--kerf", "0.2").err


def test_a_kerf_outside_the_plausible_is_taken_with_yes(cli: Cli) -> None:
    shown = cli("check", TRAY, "--kerf", "1.6")
    assert shown.code == 2
    assert "mm" in shown.err
    assert "thou" in shown.err
    assert cli("check", TRAY, "--kerf", "1.6", "--yes").code == 0
    # inside the window but unusual: a question, not a refusal
    odd = cli("check", TRAY, "--kerf", "0.034")
    assert odd.code == 0
    assert "0.034 mm (1.3 thou)" in odd.err


# restock and recut --------------------------------------------------------------------------------


def test_restock_shows_and_writes_what_changed(cli: Cli, tmp_path: Path) -> None:
    out = tmp_path / "tray-3.2"
    shown = cli("restock", TRAY, "--thickness", "3.2", "--out", out)
    assert shown.code == 0
    assert re.search(r"outside length +238\.03 mm .* +238\.40 mm .* +computed\n", shown.out)
    # what did not change is one line, and no line of the table is wider than a usual window
    assert (
        "did not change: inside length, inside width, inside height, outside height;" in shown.out
    )
    assert "segments of 8 joints" in shown.out
    assert "segment counts: kept along x, y, z\n" in shown.out
    table = [x for x in shown.out.splitlines() if x.startswith("  ")]
    assert max(map(len, table)) <= 100
    assert "232.00" not in "".join(table)
    assert "note: the kerf in use was given for a sheet of 3.02 mm" in shown.err
    files = found(out)
    assert "job.toml" in files
    # the written job builds the very same drawings
    assert cli("build", out / "job.toml", "--out", tmp_path / "again").code == 0
    again = found(tmp_path / "again")
    assert {n for n in again if again[n] != files[n]} <= {"report.json", "report.md"}
    # the written job asks for the counts that were kept; nothing else differs
    kept = files["report.md"].decode().replace("kept: ", "asked: ")
    assert again["report.md"].decode() == kept
    assert not found(tmp_path).keys() & {"restock"}


def test_restock_without_out_writes_nothing(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    shown = cli(
        "restock", TRAY, "--panel", "bottom=6.3", "--panel", "left=4", "--panel", "left=4.1"
    )
    assert shown.code == 0
    assert re.search(r"bottom thickness +6\.10 mm .* 6\.30 mm .* asked", shown.out)
    assert re.search(r"left thickness +3\.02 mm .* 4\.05 mm .* measured", shown.out)
    assert not list(tmp_path.iterdir())


def test_restock_recount_and_hold_outside(cli: Cli, tmp_path: Path) -> None:
    path = job_file(tmp_path, inside__length="150")
    kept = cli("restock", path, "--thickness", "5")
    again = cli("restock", path, "--thickness", "5", "--recount")

    def segments(shown: Result) -> list[str]:
        whole = re.sub(r"\s+", " ", shown.out)  # long cells go on in the next line
        return re.findall(r"bottom-front, bottom-back,", whole)

    assert not segments(kept)
    assert "kept along" in kept.out
    assert segments(again)
    assert "kept" not in again.out
    held = cli("restock", path, "--thickness", "5", "--hold", "outside", "--json").json()
    assert held["inside"]["length"]["asked"] == 146.0
    assert held["outside"]["length"]["value"] == 156.0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "needs a new thickness"),
        (["--thickness", "0"], "thickness"),
        (["--thickness", "thick"], "thick"),
        (["--panel", "bottom"], "NAME=T"),
        (["--panel", "bottom="], "NAME=T"),
        (["--panel", "=3"], "no panel of that name"),
        (["--panel", "botom=3"], "Did you mean 'bottom'?"),
        (["--panel", "top=3"], "no panel of that name"),  # the tray is open
        (["--panel", "bottom=x"], "--panel bottom"),
        (["--thickness", "60", "--yes"], "thickness"),
    ],
)
def test_restock_refusals(cli: Cli, tmp_path: Path, words: list[str], said: str) -> None:
    shown = cli("restock", TRAY, *words, "--out", tmp_path / "out")
    assert (shown.code, shown.out) == (2, "")
    assert said in shown.err
    assert not (tmp_path / "out").exists()


def test_restock_json_prints_only_the_new_report(cli: Cli) -> None:
    shown = cli("restock", TRAY, "--thickness", "3.2", "--json")
    report = shown.json()
    assert report["panels"]["front"]["thickness"]["value"] == 3.2
    assert tomllib.loads(report["job"]["text"])["stock"]["thickness"] == 3.2
    assert "note: " in shown.err


def test_recut_writes_one_panel(cli: Cli, tmp_path: Path) -> None:
    out = tmp_path / "again"
    shown = cli("recut", TRAY, "--panel", "front", "--kerf", "0.21", "--out", out)
    assert (shown.code, shown.out) == (0, "")
    assert set(found(out)) == {"panels/front.dxf", "panels/front.svg"}
    assert "kerf x 0.210 mm (8.3 thou) (asked): full width; half of it, 0.105 mm" in shown.err
    assert "full kerf 0.210 mm" in (out / "panels" / "front.svg").read_text()
    thick = cli("recut", TRAY, "--panel", "front", "--thickness", "3.4", "--out", out)
    assert thick.code == 0
    assert "shy of the new front's face" in thick.err
    wrong = cli("recut", TRAY, "--panel", "frnt", "--out", out)
    assert wrong.code == 2
    assert "Did you mean 'front'?" in wrong.err


# the shop book ------------------------------------------------------------------------------------


def test_a_machine_that_no_book_knows_is_exit_2(cli: Cli) -> None:
    shown = cli("check", TRAY, "--machine", "laser by the window")
    assert shown.code == 2
    assert shown.err.startswith("boxjoint: ")


def test_a_sheet_of_the_book_gives_the_new_thickness(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    sheet = Sheet(
        at=datetime(2026, 3, 2, tzinfo=UTC),
        material="birch plywood",
        thickness_mm=(3.21, 3.25, 3.23),
        batch="spring",
    )
    with Book.open(path) as book:
        book.append(sheet)
    words = ["--sheet", "spring", "--book", path]
    report = cli("check", TRAY, *words, "--json").json()
    assert report["panels"]["front"]["thickness"]["value"] == 3.23
    shown = cli("restock", TRAY, *words)
    assert shown.code == 0
    assert re.search(r"front, back.* +3\.02 mm .* +3\.23 mm .* +measured\n", shown.out)
    assert cli("recut", TRAY, "--panel", "front", *words, "--out", tmp_path / "o").code == 0


# bad input: a message, exit 2, nothing half written ------------------------------------------------

BAD_VALUES = [
    ({"inside__length": "0"}, "length"),
    ({"inside__length": "-10"}, "-10"),
    ({"inside__width": "nan"}, "nan"),
    ({"inside__width": "inf"}, "inf"),
    ({"inside__height": "5001"}, "5001"),
    ({"inside__height": '"6 m"'}, "6 m"),
    ({"inside__height": "1e400"}, "height"),
    ({"inside__lenght": "10"}, "Did you mean"),
    ({"inside__length": ""}, "length"),
    ({"inside__length": "true"}, "length"),
    ({"inside__length": '"12 kg"'}, "12 kg"),
    ({"inside__length": '"1,250"'}, "1,250"),
    ({"inside__length": "[1, 2]"}, "length"),
    ({"stock__thickness": "[3.0, 3.6]"}, "15"),
    ({"stock__thickness": "[]"}, "thickness"),
    ({"stock__thickness": "0"}, "thickness"),
    ({"stock__material": "3"}, "material"),
    ({"cut__kerf": "1.6"}, "kerf"),
    ({"cut__kerf": "0.004"}, "kerf"),
    ({"cut__kerf": '"0.18 s"'}, "0.18 s"),
    ({"cut__tool": "3"}, "tool"),
    ({"joint__fit": '"snug"'}, "clearance"),
    ({"joint__segments": "{ length = 4 }"}, "3 or 5"),
    ({"joint__segments": "{ length = 3 }", "joint__tab_width": "8"}, "tab_width"),
    ({"joint__tab_width": "100"}, "tab_width 100"),
    ({"joint__rank": '["bottom", "lid"]'}, "lid"),
    ({"joint__ends": '"round"'}, "ends"),
    ({"top__kind": '"half"'}, "half"),
    ({"unit": '"cm"'}, "cm"),
    ({"lid__kind": '"hinged"'}, "lid"),
]


@pytest.mark.parametrize(("changes", "said"), BAD_VALUES, ids=lambda v: str(v)[:40])
def test_bad_values_are_exit_2_and_say_where(
    cli: Cli, tmp_path: Path, changes: dict[str, str], said: str
) -> None:
    path = job_file(tmp_path, **changes)
    out = tmp_path / "out"
    shown = cli("build", path, "--out", out)
    assert (shown.code, shown.out) == (2, "")
    assert said in shown.err
    assert not out.exists()


def test_stock_thicker_than_the_inside_is_a_warning(cli: Cli, tmp_path: Path) -> None:
    shown = cli("check", job_file(tmp_path, inside__height="15", stock__thickness="18"))
    assert shown.code == 0
    assert "thicker than the inside's height" in shown.err


def test_files_that_are_no_job(cli: Cli, tmp_path: Path) -> None:
    empty, binary, huge, deep = (tmp_path / n for n in ("empty", "binary", "huge", "deep"))
    empty.touch()
    binary.write_bytes(bytes(range(256)) * 20)
    with huge.open("wb") as file:  # 100 MB that take no room on the disk
        file.truncate(100_000_000)
    deep.write_text("a = " + "[" * 100_000)
    for path, said in [
        (empty, "the file is empty"),
        (binary, "not"),
        (huge, "100.0 MB"),
        (deep, "TOML"),
        (tmp_path / "gone.toml", "no such file"),
        (tmp_path, "this is a folder"),
        (empty / "job.toml", "cannot be read"),
        (tmp_path / ("x" * 300), "cannot be read"),
        ("", "folder"),
    ]:
        for words in (["check", path], ["build", path, "--out", tmp_path / "out"]):
            shown = cli(*words)
            assert (shown.code, shown.out) == (2, ""), path
            if path is deep:
                continue  # refused either as TOML or as lists without end
            assert said in shown.err, path
    assert not (tmp_path / "out").exists()


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that any user may enter, unlike pytest's own."""
    folder = Path(tempfile.mkdtemp(prefix="boxjoint-test-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


def run_alone(*words: object, code: str = "", **more: Any) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own; ``code`` is run before it."""
    argv = ["boxjoint", *(os.fspath(w) for w in words)]  # type: ignore[call-overload]
    program = f"{code}\nimport sys; sys.argv = {argv!r}\nfrom boxjoint.cli.main import run\nrun()"
    given = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True} | more
    env = os.environ | {"BOXJOINT_BOOK": "/nowhere/book"} | more.pop("env", {})
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", program],
        cwd=ROOT,
        timeout=60,
        check=False,
        **(given | {"env": env}),
    )


def as_somebody(warm: Path) -> str:
    """Code that loads everything by a first build, then becomes a user without rights if it is root."""
    return textwrap.dedent(f"""
        import os, sys
        from boxjoint.cli.main import run
        if os.geteuid() == 0:
            sys.argv = ["boxjoint", "build", {str(CUBE)!r}, "--out", {str(warm)!r}]
            try:
                run()
            except SystemExit:
                os.setuid(65534)
    """)


def test_files_and_folders_without_rights(open_folder: Path) -> None:
    job = open_folder / "job.toml"
    shutil.copy(CUBE, job)
    shut = open_folder / "shut"
    shut.mkdir()
    shut.chmod(0o500)
    if os.geteuid() == 0:
        os.chown(shut, 0, 0)
    become = as_somebody(open_folder / "warm")
    done = run_alone("build", job, "--out", shut / "out", code=become)
    assert done.returncode == 2
    assert "Choose a folder that you may write to" in done.stderr
    assert "Traceback" not in done.stderr
    job.chmod(0)
    done = run_alone("check", job, code=become)
    assert done.returncode == 2
    assert "may not be read" in done.stderr
    shut.chmod(0o700)


# output: whole or not at all ----------------------------------------------------------------------


@pytest.mark.parametrize("call", [1, 5, 14])
def test_a_full_disk_keeps_the_earlier_output(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: int
) -> None:
    out = tmp_path / "out"
    assert cli("build", CUBE, "--out", out).code == 0
    earlier = found(out)
    calls = 0
    real = os.fsync

    def full(file: int) -> None:
        nonlocal calls
        calls += 1
        if calls == call:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(file)

    monkeypatch.setattr(os, "fsync", full)
    shown = cli("build", CUBE, "--out", out, "--kerf", "0.25")
    assert (shown.code, shown.out) == (2, "")
    assert "no space left on device" in shown.err
    assert "nothing was changed" in shown.err
    assert found(out) == earlier
    monkeypatch.undo()


def test_a_kill_in_mid_write_loses_nothing(tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run_alone("build", CUBE, "--out", out).returncode == 0
    earlier = found(out)
    kill = textwrap.dedent("""
        import os, signal
        calls, real = 0, os.fsync
        def fsync(file):
            global calls
            calls += 1
            if calls == 6:
                os.kill(os.getpid(), signal.SIGKILL)
            real(file)
        os.fsync = fsync
    """)
    done = run_alone("build", CUBE, "--out", out, "--kerf", "0.25", code=kill)
    assert done.returncode == -signal.SIGKILL
    kept = {n: data for n, data in found(out).items() if not n.startswith(".boxjoint-")}
    assert kept == earlier
    # the next run ends it and leaves nothing of the killed one
    assert run_alone("build", CUBE, "--out", out, "--kerf", "0.25").returncode == 0
    assert set(found(out)) == set(earlier)
    assert found(out)["panels.dxf"] != earlier["panels.dxf"]


def test_an_interruption_is_exit_130_without_a_traceback(tmp_path: Path) -> None:
    stop = textwrap.dedent("""
        import os
        def fsync(file):
            raise KeyboardInterrupt
        os.fsync = fsync
    """)
    done = run_alone("build", CUBE, "--out", tmp_path / "out", code=stop)
    assert done.returncode == 130
    assert "nothing was written" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", ["file", "file/below"])
def test_an_output_folder_that_is_a_file(cli: Cli, tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("mine")
    shown = cli("build", CUBE, "--out", tmp_path / name)
    assert (shown.code, shown.out) == (2, "")
    assert str(tmp_path / "file") in shown.err
    assert (tmp_path / "file").read_text() == "mine"


def test_two_runs_are_the_same_byte_for_byte(tmp_path: Path) -> None:
    for k, name in enumerate(("a", "b")):
        env = {"PYTHONHASHSEED": str(k), "TZ": ("UTC", "Asia/Tokyo")[k]}
        done = run_alone(
            "build", TRAY, "--out", tmp_path / name, "--picture", env=env, stdout=subprocess.DEVNULL
        )
        assert done.returncode == 0
    assert found(tmp_path / "a") == found(tmp_path / "b")
    assert b"2026" not in found(tmp_path / "a")["panels.dxf"]


# streams ------------------------------------------------------------------------------------------


def test_a_reader_that_goes_away_costs_neither_files_nor_a_traceback(tmp_path: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    done = run_alone("build", TRAY, "--out", tmp_path / "out", stdout=write)
    os.close(write)
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
    assert done.returncode in (0, 1)
    assert (tmp_path / "out" / "report.json").exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("more", [[], ["--json"]])
def test_a_full_standard_output_is_exit_2(more: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = run_alone("check", CUBE, *more, stdout=full)
        assert done.returncode == 2
        assert "the output cannot be written, no space left on device" in done.stderr
        assert "Traceback" not in done.stderr
        assert "Exception" not in done.stderr


def test_closed_streams_are_no_reason_to_fail(tmp_path: Path) -> None:
    argv = [sys.executable, "-m", "boxjoint", "build", str(CUBE), "--out", str(tmp_path / "out")]
    done = subprocess.run(
        ["sh", "-c", 'exec "$@" >&- 2>&-', "sh", *argv], cwd=ROOT, check=False, timeout=60
    )
    assert done.returncode == 0
    assert (tmp_path / "out" / "report.json").exists()


def test_titles_that_no_pipe_and_names_that_no_text_can_hold(cli: Cli, tmp_path: Path) -> None:
    path = job_file(tmp_path, title='"Lösungen ✓ \\u0000"'.replace("\\u0000", "×"))
    assert "Lösungen ✓ ×" in cli("check", path).out
    done = run_alone("check", path, env={"PYTHONIOENCODING": "ascii", "LC_ALL": "C"})
    assert done.returncode == 0
    odd = Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff\xfe.toml"))
    try:
        odd.write_text(job_file(tmp_path, title="").read_text())
    except OSError:
        pytest.skip("this file system takes only text as names")
    assert cli("build", odd, "--out", tmp_path / "out").code == 0
    json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))


def test_a_terminal_gets_a_framed_table() -> None:
    pty = pytest.importorskip("pty")
    main, side = pty.openpty()
    done = run_alone("check", CUBE, stdout=side, env={"COLUMNS": "160", "TERM": "xterm-256color"})
    os.close(side)
    text = b""
    try:
        while chunk := os.read(main, 65536):
            text += chunk
    except OSError:  # the other side is closed
        pass
    os.close(main)
    assert done.returncode == 0
    shown = text.decode()
    assert "\x1b[" in shown
    assert "━" in shown or "─" in shown
    assert "20.00 mm (0.787 in)" in shown


def test_completion_knows_the_commands(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "boxjoint"],
        cwd=ROOT,
        env=os.environ
        | {"_BOXJOINT_COMPLETE": "bash_complete", "COMP_WORDS": "boxjoint re", "COMP_CWORD": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert "plain,restock" in done.stdout
    assert "plain,recut" in done.stdout


# the solid kernel ---------------------------------------------------------------------------------


def test_without_the_solid_kernel_it_says_how_to_get_it(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [m for m in sys.modules if m.split(".")[0] in ("cadquery", "OCP")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "cadquery", None)
    monkeypatch.setitem(sys.modules, "OCP", None)
    out = tmp_path / "out"
    for words in (["check", CUBE, "--solid"], ["build", CUBE, "--out", out, "--solid"]):
        shown = cli(*words)
        assert shown.code == 2
        assert "solid" in shown.err
        assert "pip install" in shown.err
    assert not out.exists()
    assert cli("build", CUBE, "--out", out).code == 0


@pytest.mark.solid
def test_with_the_solid_kernel_the_box_is_written_as_step(cli: Cli, tmp_path: Path) -> None:
    pytest.importorskip("cadquery")
    out = tmp_path / "out"
    path = job_file(tmp_path, inside__length="30", inside__width="25", inside__height="15")
    shown = cli("build", path, "--out", out, "--solid", "--json")
    assert shown.code == 0
    assert shown.json()["proofs"]["solid"]["passed"] is True
    assert (out / "box.step").read_bytes().startswith(b"ISO-10303-21;")
