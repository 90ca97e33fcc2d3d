"""The report: its schema, its document, and what it says against what was built."""

from __future__ import annotations

import importlib.resources
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import shapely
from strategies import tray_slabs

from boxjoint.check.built import Built
from boxjoint.export.panels import notes_of
from boxjoint.export.report import (
    CAUTIONS,
    SCHEMA_PATH,
    report,
    report_json,
    report_schema,
    report_text,
)
from boxjoint.export.said import names_together
from boxjoint.fit.plan import Measured
from boxjoint.job.figures import Figure
from boxjoint.job.read import parse_job, read_job
from boxjoint.job.records import Cut, Inside, JointAsk, PerAxis, Source, Top
from boxjoint.make import build, solid
from boxjoint.solve.arrangement import Arrangement

ROOT = Path(__file__).parents[1]
FIXTURES = sorted((ROOT / "fixtures" / "jobs").glob("*.toml"))
DOCUMENT = ROOT / "docs" / "report.md"
MM = 1_000_000


@pytest.fixture(scope="module")
def all_built() -> dict[str, Built]:
    return {path.stem: build(read_job(path)) for path in FIXTURES}


@pytest.fixture(scope="module")
def tray() -> Built:
    """A tray with dividers: mortises, half-laps and guests, all of which a plain box has not."""
    walls = dict.fromkeys(("bottom", "front", "back", "left", "right", "divider"), 3 * MM)
    slabs = tuple(tray_slabs(3, 2, (40 * MM, 35 * MM, 25 * MM), walls))
    job = read_job(ROOT / "fixtures" / "jobs" / "cube-20.toml")
    job = replace(job, joint=replace(job.joint, web=0), text="", path="")
    return build(job, arrangement=Arrangement(slabs=slabs))


def valid(data: Any) -> None:
    jsonschema.Draft202012Validator(report_schema()).validate(data)


# the schema ---------------------------------------------------------------------------------------


def test_the_schema_is_one_and_is_installed_with_the_package() -> None:
    schema = report_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    packaged = importlib.resources.files("boxjoint.export") / "report.schema.json"
    assert json.loads(packaged.read_text(encoding="utf-8")) == schema
    assert SCHEMA_PATH.name == "report.schema.json"


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    if isinstance(schema, dict):
        if schema.get("type") == "object":
            yield schema
        for value in schema.values():
            yield from objects(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from objects(value)


def test_the_schema_lets_nothing_unknown_through_and_explains_everything() -> None:
    for found in objects(report_schema()):
        extra = found["additionalProperties"]
        assert extra is False or "properties" not in found
        for name, value in found.get("properties", {}).items():
            assert value.get("description"), name


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
def test_reports_of_all_fixtures_are_valid(all_built: dict[str, Built], path: Path) -> None:
    built = all_built[path.stem]
    text = report_json(built)
    data = json.loads(text)
    valid(data)
    assert data == report(built)
    # every ring on one line, and no number that JSON does not have
    long = [line.split('"')[1] for line in text.split("\n") if len(line) > 300]
    assert set(long) <= {"text", "built", "nominal_rings", "drawn_rings", "as_cut_rings"}
    json.loads(text, parse_constant=lambda name: pytest.fail(name))
    without = report(built, rings=False)
    valid(without)
    assert "nominal_rings" not in json.dumps(without)


def test_the_report_of_a_tray_is_valid(tray: Built) -> None:
    data = json.loads(report_json(tray))
    valid(data)
    assert {j["kind"] for j in data["joints"]} == {"finger", "mortise", "halflap"}
    assert data["inside"]["length"]["nominal"] is None  # no space was asked for
    assert data["sheets_in_slots"]
    for slot in data["sheets_in_slots"]:
        assert slot["clearance"] == pytest.approx(0.1, abs=2e-6)
    assert data["panels"]["front"]["least_web"] > 0


def test_reports_of_a_controller_and_of_a_router_are_valid() -> None:
    job = read_job(ROOT / "fixtures" / "jobs" / "notebook-box-a5.toml")
    one = replace(job, cut=Cut(kerf=PerAxis(x=0.2, y=0.2)))
    by_controller = report(build(one, kerf_by_controller=True))
    router = report(build(replace(job, cut=Cut(tool=MM))))
    for data in (by_controller, router):
        valid(data)
        assert data["kerf_applied"] is False
    assert by_controller["figures"]["kerf_x"]["value"] == 0.2
    assert router["figures"]["tool"] == {"value": 1.0, "source": "asked", "unit": "mm"}
    assert router["figures"]["corner_relief"]["source"] == "computed"


def test_a_failed_report_is_valid(all_built: dict[str, Built]) -> None:
    failed = replace(all_built["cube-20"], faults=("front: web of 1.000 mm",))
    data = report(failed)
    valid(data)
    assert data["proofs"]["passed"] is False
    assert data["proofs"]["as_cut"] == {"passed": False, "faults": ["front: web of 1.000 mm"]}
    assert "A PROOF FAILED: do not cut" in report_text(failed)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("inside", "length", "asked"), "20"),
        (("inside", "length", "unit"), "in"),
        (("figures", "kerf_x", "source"), "guessed"),
        (("proofs", "exact", "volume_nm3"), 12),
        (("joints", 0, "clearance", "wanted"), None),
        (("joints", 0, "kind"), "dovetail"),
        (("panels", "front", "drawn_rings", 0, 0), [1.0]),
        (("panels", "front", "color"), "red"),
        (("date",), "today"),
    ],
)
def test_the_schema_refuses_what_is_no_report(
    all_built: dict[str, Built], path: tuple[str | int, ...], value: object
) -> None:
    data = json.loads(report_json(all_built["cube-20"]))
    place: Any = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        valid(data)


# the document -------------------------------------------------------------------------------------


def keys_of(schema: dict[str, Any], at: str = "") -> Iterator[str]:
    """Every key that holds a value, as the document writes it."""
    defs = report_schema()["$defs"]
    if "$ref" in schema:
        name = schema["$ref"].removeprefix("#/$defs/")
        if name in ("figure", "rings") and at:
            yield at
            return
        schema = defs[name]
    for choice in schema.get("oneOf", []):
        if choice.get("type") == "null":
            yield at
        else:
            yield from keys_of(choice, at)
    if "oneOf" in schema:
        return
    if schema.get("type") == "object":
        names = schema.get("properties", {})
        if set(names) == {"length", "width", "height"}:
            names = {"DIRECTION": names["length"]}
        if isinstance(schema.get("additionalProperties"), dict):
            names = {**names, "PANEL": schema["additionalProperties"]}
        for name, inner in names.items():
            yield from keys_of(inner, f"{at}.{name}" if at else name)
    elif schema.get("type") == "array":
        yield from keys_of(schema["items"], f"{at}[]")
    else:
        yield at


def test_every_key_is_documented_and_every_documented_key_is_there() -> None:
    wanted = set(keys_of(report_schema()))
    wanted |= set(keys_of(report_schema()["$defs"]["figure"], "figure"))
    text = DOCUMENT.read_text(encoding="utf-8")
    written = re.findall(r"^\| `([^`]+)` \| \S", text, re.MULTILINE)
    assert sorted(written) == sorted(wanted)


def test_the_document_says_which_keys_may_be_missing() -> None:
    schema = report_schema()
    lines = {
        m[1]: m[2]
        for m in re.finditer(
            r"^\| `([^`]+)` \| (.*) \|$", DOCUMENT.read_text(encoding="utf-8"), re.MULTILINE
        )
    }
    for at, part in [
        ("figures", schema["properties"]["figures"]),
        ("figure", schema["$defs"]["figure"]),
    ]:
        for name in part["properties"]:
            optional = name not in part["required"]
            said = "may be missing" in lines[f"{at}.{name}"] or "only for" in lines[f"{at}.{name}"]
            assert said == optional, name


def test_the_program_in_the_document_runs() -> None:
    (code,) = re.findall(r"```python\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    code = code.replace('["boxjoint", ', f'[{sys.executable!r}, "-m", "boxjoint", ')
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "length 232.0 232.0\nwidth 79.375 79.375\nheight 32.0 32.0\n"


# what it says -------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
def test_what_it_says_agrees_with_its_own_rings(all_built: dict[str, Built], path: Path) -> None:
    """Areas and lengths by shapely, from the rings in the report alone."""
    data = json.loads(report_json(all_built[path.stem]))
    kerf, scale = (
        [data["figures"][f"{name}_{axis}"]["value"] for axis in "xy"] for name in ("kerf", "scale")
    )
    for panel in data["panels"].values():
        nominal, drawn, as_cut = (
            shapely.Polygon(panel[f"{k}_rings"][0], panel[f"{k}_rings"][1:])
            for k in ("nominal", "drawn", "as_cut")
        )
        for shape in (nominal, drawn, as_cut):
            assert shape.is_valid
            assert shape.exterior.is_ccw
        gone = sum(cutout_area(c, "from", "to") for c in panel["cutouts"])
        assert nominal.area - gone == pytest.approx(panel["area"], abs=1e-5 + 1e-5 * gone)
        gone = sum(cutout_area(c, "as_cut_from", "as_cut_to") for c in panel["cutouts"])
        assert as_cut.area - gone == pytest.approx(panel["area_as_cut"], abs=1e-5 + 1e-5 * gone)
        if panel["cutouts"]:  # tests/test_cutouts.py holds these against the files
            assert drawn.length < panel["cut_length"]
        else:
            assert drawn.length == pytest.approx(panel["cut_length"], abs=1e-3)
        assert list(nominal.bounds) == pytest.approx([0, 0, *panel["size"]])
        x0, y0, x1, y1 = drawn.bounds
        assert [x1 - x0, y1 - y0] == pytest.approx(panel["drawn_size"])
        assert len(panel["drawn_rings"]) - 1 == panel["holes"]
        # a part as drawn, times the scale, is wider than as cut by a kerf
        u0, v0, u1, v1 = as_cut.bounds
        wider = [scale[0] * (x1 - x0) - (u1 - u0), scale[1] * (y1 - y0) - (v1 - v0)]
        assert wider == pytest.approx(kerf, abs=3e-6)
    volume = sum(
        (p["area"] + sum(cutout_area(c, "from", "to") for c in p["cutouts"]))
        * p["thickness"]["value"]
        for p in data["panels"].values()
    )
    assert int(data["proofs"]["exact"]["volume_nm3"]) / 1e18 == pytest.approx(volume, rel=1e-6)
    if data["bodies"]:
        return  # around lids, trays and drawers there is air
    outside = [data["outside"][d]["value"] for d in ("length", "width", "height")]
    if not data["compartments"] and not all_built[path.stem].job.bottom.raised:
        sizes = [data["inside"][d]["nominal"] for d in ("length", "width", "height")]
        hollow = sizes[0] * sizes[1] * sizes[2]
        assert outside[0] * outside[1] * outside[2] - hollow == pytest.approx(volume, rel=1e-7)


def cutout_area(cutout: dict[str, Any], low: str, high: str) -> float:
    """Area by shapely: a rectangle grown by its corners' radius, and the mouth of a notch."""
    (x0, y0), (x1, y1), r = cutout[low], cutout[high], cutout["corner_radius"]
    whole = shapely.box(x0, y0, x1, y1)
    far = {"top": (0, 0, 0, 9e3), "bottom": (0, -9e3, 0, 0), "left": (-9e3, 0, 0, 0)} | {
        "right": (0, 0, 9e3, 0),
        None: (0, 0, 0, 0),
    }
    a, b, c, d = far[cutout["open"]]
    core = shapely.box(x0 + a + r, y0 + b + r, x1 + c - r, y1 + d - r)
    grown = core.buffer(r, quad_segs=512) if r else core
    return float(whole.intersection(grown).area)


def test_glue_is_counted_by_hand() -> None:
    """60 x 40 x 30 of 3 and 6 mm, 5 segments along the length: bottom keeps three, front two."""
    text = (
        'unit = "mm"\n[inside]\nlength = 60\nwidth = 40\nheight = 30\n'
        '[stock]\nmaterial = "birch plywood"\nthickness = 3\n[panels.bottom]\nthickness = 6\n'
        "[joint]\nsegments = { length = 5 }\n"
    )
    data = report(build(parse_job(text)))
    joint = next(j for j in data["joints"] if j["name"] == "bottom-front")
    assert joint["ends_owned_by"] == "bottom"
    assert joint["runs"] == [
        {"from": 0.0, "to": 60.0, "count": 5, "width": 12.0, "why": "asked: 5 along length"}
    ]
    assert joint["flanks"] == 4
    assert joint["length"] == 66.0
    # 36 mm of bottom on the front's 3 mm shoulders, 24 of front on the bottom's 6, four 3 x 6 flanks
    assert joint["glue_area"] == pytest.approx(36 * 3 + 24 * 6 + 4 * 3 * 6)
    assert joint["glue_line"] == pytest.approx(60 + 4 * 6)


def test_job_texts_build_the_same_box(all_built: dict[str, Built]) -> None:
    for name, built in all_built.items():
        data = report(built, rings=False)
        assert data["job"]["text"] == (ROOT / "fixtures" / "jobs" / f"{name}.toml").read_text()
        again = parse_job(data["job"]["built"], built.job.path)  # files lie beside it
        assert replace(again, title=built.job.title) == built.job


def test_no_title_breaks_the_report(all_built: dict[str, Built]) -> None:
    """Rings are folded into lines by marks in the text, and a title may look like one."""
    built = all_built["cube-20"]
    for title in ("@0", "@ring 0@", "@@1", '"@0"', "\\", "€ \u2028 ]]>"):
        named = replace(built, job=replace(built.job, title=title))
        data = json.loads(report_json(named))
        assert data["title"] == title
        assert data == report(named)


@pytest.mark.solid
def test_the_solid_proof_is_in_the_report() -> None:
    pytest.importorskip("cadquery")
    job = read_job(ROOT / "fixtures" / "jobs" / "cube-20.toml")
    small = replace(
        job, inside=Inside(length=40 * MM, width=30 * MM, height=20 * MM), top=Top(kind="open")
    )
    built, _ = solid(build(small))
    data = json.loads(report_json(built))
    valid(data)
    proof = data["proofs"]["solid"]
    assert proof["passed"] is True
    # snug plywood presses, so every joint shares what was predicted
    assert len(proof["shared"]) == len(data["joints"])
    for shared in proof["shared"]:
        assert shared["found_mm3"] == pytest.approx(shared["predicted_mm3"], abs=1e-3)
        assert shared["found_mm3"] > 0
    assert {i["direction"] for i in proof["insides"]} == {"length", "width"}
    assert proof["volumes_mm3"].keys() == data["panels"].keys()
    assert sum(proof["volumes_mm3"].values()) == pytest.approx(proof["union_mm3"])
    assert "solid proof holds" in report_text(built)


# for people ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", FIXTURES, ids=lambda p: p.stem)
def test_the_report_for_people_has_every_panel_joint_figure_and_warning(
    all_built: dict[str, Built], path: Path
) -> None:
    built = all_built[path.stem]
    text = report_text(built)
    assert text.startswith(f"# {built.job.title}\n")
    assert "all proofs hold" in text
    for part in built.cut_parts:
        assert f"\n| {part.panel.name} | " in text
    for i in range(len(built.joints)):
        assert f"\n| {built.solution.joint_name(i)} | " in text
    for name, figure in built.figures.items():
        assert f"\n| {name.replace('_', ' ')} | " in text
        assert figure.standing in text
    assert all(f"- {w}" in text for w in (*built.warnings, *CAUTIONS))
    # whoever reads it sees what nobody measured
    assumed = [f for f in built.figures.values() if f.source == "assumed"]
    assert text.count("| ASSUMED |") == len(assumed)
    # tables are tables: as many cells a row as there are heads
    for block in re.findall(r"(?:^\|.*\|\n)+", text, re.MULTILINE):
        rows = block.splitlines()
        assert len({row.count("|") for row in rows}) == 1, rows[0]


def test_an_inch_report_has_inches_first_everywhere() -> None:
    text = report_text(build(read_job(ROOT / "fixtures" / "jobs" / "pencil-tray-inch.toml")))
    tables = [line for line in text.splitlines() if line.startswith("|")]
    assert tables
    for line in tables:
        for cell in line.split("|"):
            if re.search(r"\d mm\b", cell):  # mm only beside, in brackets
                first = re.search(r"\d (in|in2|thou|mm)\b", cell)
                assert first is not None and first[1] != "mm", line
    assert "| 1.140625 in (28.97 mm) | asked |" in text  # 1 9/64 in
    # seated, each end may stand off by the gap: 200.025 to 200.203 mm; kerf (asked, +- 0.03), scale
    # (asked, +- 0.6 in 1000) and edges (+- 0.04) may make it 0.130 mm less or more, the root of the squares
    assert "- length may be 7.8699 to 7.8871 in (199.895 to 200.333 mm) (computed)" in text


def test_names_that_differ_by_a_number_stand_together() -> None:
    names = [f"drawer-{n}-{side}" for n in (1, 2, 3) for side in ("left", "right")]
    assert names_together(["back", *names]) == "back, drawer-1...3-left, drawer-1...3-right"
    assert names_together(["shelf-1", "shelf-2"]) == "shelf-1, shelf-2"
    assert names_together(["shelf-1", "shelf-3", "shelf-4"]) == "shelf-1, shelf-3, shelf-4"


def test_the_report_of_a_tray_lists_its_slots(tray: Built) -> None:
    text = report_text(tray)
    assert "## Slots that take a sheet" in text
    assert re.search(
        r"^\| front \| across 1 \| 3\.100 mm \| \+0\.100 to \+0\.100 mm \|$", text, re.M
    )


def test_drawings_and_report_say_what_joints_of_many_tabs_got_from_a_comb() -> None:
    comb = Figure(value=-0.041, source=Source.MEASURED, uncertainty=0.01, readings=9)
    asked = replace(
        read_job(ROOT / "fixtures" / "jobs" / "slide-tray.toml"),
        joint=JointAsk(fit="snug", segments={"length": 3, "width": 3, "height": 11}),
    )
    built = build(asked, measured=Measured(clearance=comb))
    notes = notes_of(built)
    # 11 segments: 5 flanks a way, sqrt(2) 0.02 x 2 x 1.16296 (expected greatest of 5 normals)
    at = next(i for i, line in enumerate(notes) if line.startswith("clearance"))
    span = "-0.041 mm (-1.6 thou) to +0.025 mm (+1.0 thou) over the joints"
    assert notes[at] == f"clearance {span} (fit snug, computed"
    # the standard uncertainty of 0.01 mm is said expanded, 95 %
    assert notes[at + 1].startswith("from -0.041 mm (-1.6 thou) (measured, 9 readings, +-0.02")
    assert notes[at + 2] == "and edge sd 0.020 mm (0.8 thou) (ASSUMED))"
    assert f"Clearance {span}" in report_text(built)
    data = report(built)
    assert {j["clearance"]["source"] for j in data["joints"]} == {"computed"}
    assert data["figures"]["clearance"]["source"] == "measured"
    assert data["figures"]["edge_sd"]["source"] == "assumed"
    valid(data)
