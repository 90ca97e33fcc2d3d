"""STEP files hold the panels as cut, named, in mm, and are the same bytes for the same panels."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from dataclasses import replace
from importlib.util import find_spec

import pytest
from shapely import Polygon
from strategies import tray_slabs

from boxjoint.errors import FileProblem, InputError, MissingExtra, ProofFailed
from boxjoint.export import step
from boxjoint.export.step import panels_to_step, read_step
from boxjoint.fit.compensate import Allowance, Beam, compensate, virtual_cut
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import PerAxis
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.solution import Solution, solve

MM = 1_000_000

needs_kernel = pytest.mark.skipif(
    find_spec("OCP") is None,
    reason='the solid kernel is not installed: pip install "boxjoint[solid]"',
)
pytestmark = [pytest.mark.solid]


def tray() -> Solution:
    """Four compartments of 25 x 20 x 18 mm, dividers that cross above a raised base."""
    t = {"bottom": 3 * MM, "front": 4 * MM, "back": 4 * MM, "left": 3 * MM, "right": 3 * MM}
    slabs = tray_slabs(2, 2, (25 * MM, 20 * MM, 18 * MM), t | {"divider": 2_987_654}, raised=6 * MM)
    return solve(Arrangement(slabs=tuple(slabs)))


def cut_of(solution: Solution) -> dict[str, Rings]:
    allowance = Allowance(clearance=[-0.04] * len(solution.joints))
    beam = Beam(kerf=PerAxis(x=0.143, y=0.217), scale=PerAxis(x=1.0011, y=0.9992))
    return {
        p.name: virtual_cut(compensate(p.rings, beam, allowance).rings, beam)
        for p in solution.panels
    }


@pytest.fixture(scope="module")
def solution() -> Solution:
    return tray()


@pytest.fixture(scope="module")
def written(solution: Solution) -> bytes:
    return panels_to_step(solution.panels, cut_of(solution), title="Slide tray")


@needs_kernel
def test_the_file_is_ap214_in_mm(written: bytes) -> None:
    # ISO 10303-21 and the name of the AP214 schema, from memory
    text = written.decode("ascii")
    assert text.startswith("ISO-10303-21;\nHEADER;")
    assert text.rstrip().endswith("END-ISO-10303-21;")
    at = [text.index(e) for e in ("FILE_DESCRIPTION", "FILE_NAME", "FILE_SCHEMA", "DATA;")]
    assert at == sorted(at)
    assert "FILE_SCHEMA(('AUTOMOTIVE_DESIGN" in text
    units = re.findall(r"\(\s*LENGTH_UNIT\(\).*?\)\s*\);", text)
    assert units
    assert all("SI_UNIT(.MILLI.,.METRE.)" in unit for unit in units)


@needs_kernel
def test_read_back_it_holds_one_named_solid_a_panel_as_cut(
    solution: Solution, written: bytes
) -> None:
    found = read_step(written)
    assert [s.name for s in found] == [p.name for p in solution.panels]
    cut = cut_of(solution)
    for panel, solid in zip(solution.panels, found, strict=True):
        rings = cut[panel.name]
        # shapely's area of the rings as cut, times the thickness
        flat = Polygon(rings.ring(0), [rings.ring(k) for k in range(1, rings.count)])
        assert solid.volume == pytest.approx(flat.area * panel.slab.thickness / 1e18, rel=1e-6)
        normal = panel.slab.normal
        assert (solid.extent.lo[normal], solid.extent.hi[normal]) == pytest.approx(
            [v / MM for v in panel.slab.box.span(normal)], abs=1e-9
        )
        box = flat.bounds
        for k, axis in enumerate(panel.frame.axes):
            ends = sorted(
                (panel.frame.origin[k] + panel.frame.senses[k] * box[i]) / MM for i in (k, k + 2)
            )
            assert (solid.extent.lo[axis], solid.extent.hi[axis]) == pytest.approx(ends, abs=1e-9)


@needs_kernel
def test_the_same_panels_give_the_same_bytes(solution: Solution, written: bytes) -> None:
    panels_to_step(solution.panels[:2], cut_of(solution), title="something between")
    assert panels_to_step(solution.panels, cut_of(solution), title="Slide tray") == written
    assert step.NO_TIME.encode() in written
    assert len(re.findall(rb"\d{4}-\d\d-\d\dT", written)) == 1
    # and in another process, at another time
    code = (
        "import hashlib; from test_step import *; s = tray();"
        "d = panels_to_step(s.panels, cut_of(s), title='Slide tray');"
        "print(hashlib.sha256(d).hexdigest())"
    )
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code],
        check=True,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": ":".join(p for p in sys.path if p)},
    )
    assert done.stdout.strip() == hashlib.sha256(written).hexdigest()


@needs_kernel
@pytest.mark.parametrize(
    "name", ["left 1-2", "Fachböden 'groß'", "a \\ b", "棚", "𝄞", "x" * 120, "'"]
)
def test_names_come_back_as_they_were(solution: Solution, name: str) -> None:
    panel = solution.panels[0]
    named = replace(panel, slab=replace(panel.slab, name=name))
    data = panels_to_step([named], {name: panel.rings}, title=f"{name}\nnext line")
    assert data.isascii()
    assert [s.name for s in read_step(data)] == [name]


@needs_kernel
def test_it_prints_nothing_and_leaves_the_kernel_as_it_was(
    solution: Solution, capfd: pytest.CaptureFixture[str]
) -> None:
    from OCP.Interface import Interface_Static

    before = {key: Interface_Static.CVal_s(key) for key in step._SETTINGS}
    panels_to_step(solution.panels[:1], cut_of(solution))
    assert {key: Interface_Static.CVal_s(key) for key in step._SETTINGS} == before
    assert capfd.readouterr() == ("", "")


@needs_kernel
@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"SI_UNIT(.MILLI.,.METRE.)", b"SI_UNIT(.CENTI.,.METRE.)", "instead of"),
        (b"PRODUCT('front','front'", b"PRODUCT('frond','frond'", "names"),
    ],
    ids=["another unit", "another name"],
)
def test_a_file_that_reads_back_otherwise_is_not_handed_over(
    solution: Solution, monkeypatch: pytest.MonkeyPatch, old: bytes, new: bytes, said: str
) -> None:
    fixed = step._fixed

    def spoiled(data: bytes, title: str) -> bytes:
        good = fixed(data, title)
        assert old in good
        return good.replace(old, new)

    monkeypatch.setattr(step, "_fixed", spoiled)
    with pytest.raises(ProofFailed, match=said):
        panels_to_step(solution.panels, cut_of(solution))


@needs_kernel
@pytest.mark.parametrize("data", [b"", b"not a STEP file", b"ISO-10303-21;\nHEADER;\n"])
def test_what_is_no_step_file_is_refused(data: bytes, capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(FileProblem, match="cannot read"):
        read_step(data)
    assert capfd.readouterr().out == ""


@needs_kernel
def test_a_panel_without_an_outline_is_refused(solution: Solution) -> None:
    with pytest.raises(InputError, match="front"):
        panels_to_step([solution.panel("front")], {})


def test_without_the_kernel_it_says_how_to_get_it(
    solution: Solution, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "OCP.BOPAlgo", None)
    monkeypatch.setitem(sys.modules, "OCP", None)
    with pytest.raises(MissingExtra, match=r'STEP needs.*pip install "boxjoint\[solid\]"'):
        panels_to_step(solution.panels, cut_of(solution))
