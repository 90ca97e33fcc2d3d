"""The assembly sequence on solids, in words and in pictures: what is right passes, planted faults do not.

The judge of moves is the solid kernel (OCP), which shares no code with the search.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from importlib.util import find_spec
from itertools import combinations
from pathlib import Path

import pytest
from strategies import box_slabs, slab

from boxjoint.check import kernel
from boxjoint.check.crop import Croppable, common
from boxjoint.check.kernel import Extent
from boxjoint.check.replay import replay
from boxjoint.check.sequence import assembly_sequence
from boxjoint.errors import ArrangementError
from boxjoint.export.report import report_json, report_text
from boxjoint.export.stages import stages
from boxjoint.export.steps import step_pages, step_pictures
from boxjoint.job.read import read_job
from boxjoint.make import build, solid
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.solution import solve

MM = 1_000_000
JOBS = sorted((Path(__file__).parents[1] / "fixtures" / "jobs").glob("*.toml"))
OPEN = dict.fromkeys(("bottom", "front", "back", "left", "right"), 3 * MM)
needs_kernel = pytest.mark.skipif(find_spec("OCP") is None, reason="the extra 'solid'")


@pytest.mark.solid
@needs_kernel
@pytest.mark.parametrize("name", ["cube-20", "sliding-pencil-box", "cell-tray-loose"])
def test_sequences_found_are_replayed(name: str) -> None:
    built = build(read_job(JOBS[0].parent / f"{name}.toml"))
    told: list[tuple[str, int, int]] = []
    found = replay(built.solution.panels, built.assembly.steps, lambda *a: told.append(a))
    assert found.faults == ()
    assert found.moves == sum(s.direction is not None for s in built.assembly.steps)
    assert found.positions > found.moves
    assert told[-1][1:] == (len(built.assembly.steps),) * 2


@pytest.mark.solid
@needs_kernel
@pytest.mark.parametrize("name", ["specimen-tray-raised", "slide-tray"])
def test_cropping_changes_nothing_of_what_two_panels_share(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    panels = build(read_job(JOBS[0].parent / f"{name}.toml")).solution.panels
    parts = [Croppable.of(p, p.rings, kernel.panel_solid(p, p.rings)) for p in panels]
    striking = 0
    for a, b in combinations(parts, 2):
        for by in ((0.0, 0.0, 0.0), (0.0, 0.0, 7.3), (2.9, -3.1, 1.7)):
            lo, hi = (
                [v + d for v, d in zip(e, by, strict=True)] for e in (a.extent.lo, a.extent.hi)
            )
            here = Extent((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))
            if not here.shares_volume(b.extent):
                continue
            sizes = []
            for sides in (0, 10**9):  # cropped, whole
                monkeypatch.setattr("boxjoint.check.crop._MANY_SIDES", sides)
                sizes.append(kernel.volume(common(a, b, by)))
            assert sizes[0] == pytest.approx(sizes[1], abs=1e-6)
            striking += sizes[1] > 1
    assert striking > 5  # some that share much, or nothing would have been tried


@pytest.mark.solid
@needs_kernel
@pytest.mark.parametrize("sides", [0, 60])
def test_a_wrong_direction_strikes(sides: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("boxjoint.check.crop._MANY_SIDES", sides)
    panels = solve(Arrangement(slabs=tuple(box_slabs((50 * MM, 40 * MM, 30 * MM), OPEN)))).panels
    steps = assembly_sequence(panels).steps
    for k, step in enumerate(steps):
        if step.direction is None:
            continue
        axis, sense = step.direction
        wrong = [*steps[:k], replace(step, direction=(axis, -sense)), *steps[k + 1 :]]
        found = replay(panels, wrong)
        assert [f.kind for f in found.faults] == ["strike"]
        assert found.faults[0].panels[0] == step.parts[0]


@pytest.mark.solid
@needs_kernel
def test_a_step_out_of_turn_and_a_part_left_out_are_faults() -> None:
    panels = solve(Arrangement(slabs=tuple(box_slabs((50 * MM, 40 * MM, 30 * MM), OPEN)))).panels
    steps = list(assembly_sequence(panels).steps)
    swapped = [steps[0], steps[2], steps[1], *steps[3:]]
    assert [f.kind for f in replay(panels, swapped).faults] == ["sequence"]
    assert [f.kind for f in replay(panels, steps[:-1]).faults] == ["sequence"]
    hidden = [*steps[:-1], replace(steps[-1], there=steps[-1].there[:1])]
    assert [f.kind for f in replay(panels, hidden).faults] == ["sequence"]


@pytest.mark.parametrize("path", JOBS, ids=lambda p: p.stem)
def test_every_step_is_told_once_and_every_stage_has_its_picture(path: Path) -> None:
    built = build(read_job(path))
    told = stages(built)
    numbers = sorted(n for s in told for n in s.steps)
    assert numbers == list(range(1, len(built.assembly.steps) + 1))
    assert [s.number for s in told] == list(range(1, len(told) + 1))
    text = report_text(built)
    assert all(f"\n{s.number}. {s.text}\n" in text for s in told)
    if len(built.parts) > 12:
        return
    pages = step_pages(built)
    assert step_pages(built) == pages
    for page in pages.values():
        root = ET.fromstring(page)
        assert (root.attrib["width"], root.attrib["height"]) == ("210mm", "297mm")  # ISO 216, A4
    for one in step_pictures(built, width_mm=80, height_mm=60):
        for shape in one.picture.shapes:
            for ring in shape.rings:
                assert ring.min() >= -1e-6
                assert ring[:, 0].max() <= 80 + 1e-6
                assert ring[:, 1].max() <= 60 + 1e-6


def test_loose_parts_with_nothing_below_fall() -> None:
    walls = box_slabs((50 * MM, 40 * MM, 30 * MM), {n: OPEN[n] for n in OPEN if n != "bottom"})
    for low, aloft in ((10 * MM, True), (0, False)):
        plate = slab("plate", 2, (MM, MM, low), (49 * MM, 39 * MM, low + 3 * MM))
        found = assembly_sequence(solve(Arrangement(slabs=(*walls, plate))).panels)
        assert [(f.name, f.aloft) for f in found.falls] == [("plate", aloft)]
        assert found.passed is not aloft
        if aloft:
            with pytest.raises(ArrangementError, match="plate falls down") as caught:
                found.require()
            assert caught.value.exit_code == 1
        else:
            assert "stays behind when the rest is lifted" in found.warnings[0]
    floor = slab("floor", 2, (-9 * MM, -9 * MM, -3 * MM), (59 * MM, 49 * MM, 0))
    plate = slab("plate", 2, (MM, MM, 10 * MM), (49 * MM, 39 * MM, 13 * MM))
    assert assembly_sequence(solve(Arrangement(slabs=(floor, plate))).panels).falls == ()


def test_a_fault_of_the_sequence_fails_the_build_and_is_reported() -> None:
    job = read_job(JOBS[0].parent / "cube-20.toml")
    walls = box_slabs((50 * MM, 40 * MM, 30 * MM), OPEN)
    plate = slab("plate", 2, (80 * MM, MM, 10 * MM), (99 * MM, 39 * MM, 13 * MM))
    built = build(build_job(job), arrangement=Arrangement(slabs=(*walls, plate)))
    assert not built.passed
    with pytest.raises(ArrangementError, match="plate falls down"):
        built.require()
    assert '"falls": [\n   [\n    "plate"' in report_json(built)
    assert "assembly sequence FAILED" in report_text(built)


def build_job(job):  # type: ignore[no-untyped-def]
    return replace(job, text="", path="")


@pytest.mark.solid
@needs_kernel
def test_the_report_says_at_how_many_positions_it_looked() -> None:
    built = build(read_job(next(p for p in JOBS if p.stem == "cube-20")))
    proved, _ = solid(built)
    moves = sum(s.direction is not None for s in built.assembly.steps)
    assert proved.solid is not None and proved.solid.positions > moves
    text = f"{moves} moves replayed at {proved.solid.positions} positions"
    assert text in report_text(proved) and "not every position" not in report_text(proved)
    some = replace(proved, solid=replace(proved.solid, sampled=("front",)))
    assert "faces come level was tried of front\n" in report_text(some)
