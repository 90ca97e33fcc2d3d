"""The report of one job: a documented JSON, and the same for people.

Lengths are mm. Every figure says whether it was asked, measured, assumed or computed. The schema is
``boxjoint/export/report.schema.json``; ``docs/report.md`` explains it.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from boxjoint import __version__
from boxjoint.check.built import Built, Part
from boxjoint.export.panels import clearance_lines, kerf_text
from boxjoint.export.report_bodies import bodies, bodies_lines, insides
from boxjoint.export.report_inside import compartments, inside, inside_lines
from boxjoint.export.report_seams import seams, seams_lines
from boxjoint.export.report_steps import assembly, assembly_lines
from boxjoint.export.said import (
    area_words,
    cut_length_words,
    figure_rows,
    layer_words,
    panel_thickness,
    why_words,
)
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import DIRECTIONS, Thickness, Unit
from boxjoint.job.write import job_to_toml
from boxjoint.solve.box import outside_of
from boxjoint.solve.panels import Frame
from boxjoint.units import both, both_sizes, own_first, small_size

__all__ = [
    "CAUTIONS",
    "CAUTION_SHORT",
    "SCHEMA_PATH",
    "report",
    "report_json",
    "report_schema",
    "report_text",
]

#: Where the schema of the report stands: JSON Schema, draft 2020-12.
SCHEMA_PATH = Path(__file__).with_name("report.schema.json")
REPORT_VERSION = 1
_MM = 1_000_000


def _mm(nm: int | float) -> float:
    return round(float(nm) / _MM, 6)


def _rings(rings: Rings) -> list[list[list[float]]]:
    return [(r / 1e6).round(6).tolist() for r in rings.corners_only()]


def _thickness(t: Thickness) -> dict[str, Any]:
    out: dict[str, Any] = {"value": _mm(t.nm), "unit": "mm", "source": str(t.source)}
    if t.measured:
        out |= {
            "readings": [_mm(r) for r in t.readings],
            "least": _mm(t.least),
            "greatest": _mm(t.greatest),
            "spread": _mm(t.greatest - t.least),
        }
    return out


def report_schema() -> dict[str, Any]:
    """Return the schema of the report as read from its file."""
    schema: dict[str, Any] = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    return schema


def report(built: Built, *, rings: bool = True) -> dict[str, Any]:
    """Return the report as plain data, ready for JSON.

    Parameters
    ----------
    rings
        Whether to include every panel's nominal and cut rings.
    """
    job, solution = built.job, built.solution
    outside = outside_of(solution.arrangement).size
    return {
        "report": REPORT_VERSION,
        "program": f"boxjoint {__version__}",
        "title": job.title,
        "unit": job.unit,
        # the file as it was read, and the job that was built, with the command's options in it
        "job": {"path": job.path, "text": job.text, "built": job_to_toml(job)},
        "inside": inside(built),
        "compartments": compartments(built),
        "insides": insides(built),
        "bodies": bodies(built),
        "outside": {
            d: {"value": _mm(s), "unit": "mm", "source": "computed"}
            for d, s in zip(DIRECTIONS, outside, strict=True)
        },
        "figures": {k: f.as_json() for k, f in built.figures.items()},
        "fit": built.plan.fit,
        "kerf_applied": not (built.kerf_by_controller or built.plan.tool is not None),
        "seat_gap": {"value": round(built.seat_gap_mm, 6), "unit": "mm", "source": "computed"},
        "joints": [_joint(built, i) for i in range(len(solution.joints))],
        "panels": {p.panel.name: _panel(built, p, rings) for p in built.parts},
        "sheets_in_slots": _slots(built),
        "seams": seams(built),
        "assembly": assembly(built),
        "hinge": _hinge(built),
        "proofs": _proofs(built),
        "warnings": list(built.warnings),
    }


def _cutouts(part: Part) -> list[dict[str, Any]]:
    if not part.holes:
        return []
    from boxjoint.export.report_cutouts import cutout

    return [cutout(h) for h in part.holes]


def _hinge(built: Built) -> dict[str, Any] | None:
    if built.turn is None:
        return None
    from boxjoint.export.report_turn import turn

    return turn(built)


def _marks(part: Part) -> list[dict[str, Any]]:
    if not part.marks:
        return []
    from boxjoint.export.report_marks import mark

    return [mark(m) for m in part.marks]


def _joint(built: Built, i: int) -> dict[str, Any]:
    solution = built.solution
    joint, tabs = solution.joints[i], solution.tabs[i]
    a, b = solution.panels[joint.a], solution.panels[joint.b]
    ta, tb = a.slab.thickness, b.slab.thickness
    kept = tabs.hi - tabs.lo
    by_a = int(kept[tabs.owner == joint.a].sum())
    by_b = int(kept[tabs.owner == joint.b].sum())
    cut = built.joints[i]
    u = built.plan.joint_u_mm(*(Frame.of(p.slab).axes.index(joint.axis) for p in (a, b)))
    # glue: each segment on the mate's shoulder (as wide as the mate is thick), and every flank
    area = by_a * tb + by_b * ta + tabs.flanks * ta * tb
    return {
        "name": solution.joint_name(i),
        "source": "computed",
        "panels": [a.name, b.name],
        "ends_owned_by": solution.panels[joint.first].name,
        "kind": joint.kind,
        "axis": "xyz"[joint.axis],
        "length": _mm(joint.length),
        "runs": [
            {
                "from": _mm(r.run.lo),
                "to": _mm(r.run.hi),
                "count": r.count,
                "width": _mm(r.width),
                "why": re.sub(r"^asked(?=: \d)", "kept", r.why)
                if joint.axis in built.kept
                else r.why,
            }
            for r in tabs.runs
        ],
        "flanks": tabs.flanks,
        "glue_line": _mm(by_a + by_b + tabs.flanks * max(ta, tb)),
        "glue_area": round(area / _MM**2, 3),
        "clearance": {
            "wanted": built.plan.clearances[i],
            "source": str(built.plan.joint_source),
            **({} if u is None else {"uncertainty": round(u, 6)}),
            "least": _mm(cut.least) if cut.flanks else None,
            "greatest": _mm(cut.greatest) if cut.flanks else None,
        },
    }


def _panel(built: Built, part: Part, rings: bool) -> dict[str, Any]:
    job, panel = built.job, part.panel
    x0, y0, x1, y1 = part.drawn.rings.extent
    nominal = panel.rings
    out: dict[str, Any] = {
        "material": job.material(part.home),
        "thickness": _thickness(job.thickness(part.home)),
        "layers": job.layers(part.home),
        "source": "computed",
        "size": [_mm(s) for s in panel.size],
        "drawn_size": [_mm(x1 - x0), _mm(y1 - y0)],
        "area": round(part.area_nm2 / _MM**2, 6),
        "area_as_cut": round(
            (part.as_cut.area - sum(h.as_cut.area for h in part.holes)) / _MM**2, 6
        ),
        "cut_length": round(part.cut_length_mm, 3),
        "holes": nominal.count - 1,
        "cutouts": _cutouts(part),
        "marks": _marks(part),
        "relieved_corners": part.relieved.corners,
        "least_web": _mm(part.web.width) if part.web else None,
        "least_neck": _mm(part.neck.width) if part.neck else None,
    }
    if part.pieces:
        out["pieces"] = {p.panel.name: _panel(built, p, rings) for p in part.pieces}
    if rings:
        out["nominal_rings"] = _rings(nominal)
        out["drawn_rings"] = _rings(part.drawn.rings)
        out["as_cut_rings"] = _rings(part.as_cut)
    return out


def _slots(built: Built) -> list[dict[str, Any]]:
    """Slots that take a sheet: clearance at the mean, the thickest and the thinnest reading."""
    out = []
    for s in built.sheets:
        t = built.job.thickness(s.sheet)
        nominal = built.solution.panel(s.sheet).slab.thickness
        own = t.nm == nominal  # an arrangement that is not the job's may have slabs of its own
        thick, thin = (t.greatest, t.least) if own else (nominal, nominal)
        out.append(
            {
                "panel": s.panel,
                "sheet": s.sheet,
                "source": "computed",
                "width": _mm(s.least),
                "clearance": _mm(s.least - nominal),
                "clearance_thickest": _mm(s.least - thick),
                "clearance_thinnest": _mm(s.greatest - thin),
            }
        )
    return out


def _proofs(built: Built) -> dict[str, Any]:
    exact, solid = built.exact, built.solid
    return {
        "passed": built.passed,
        "exact": {
            "passed": exact.passed,
            "bars": exact.bars,
            "corners": exact.corners,
            # nm3 as a string: JSON readers would round it
            "volume_nm3": str(exact.volume),
            "union_nm3": str(exact.union),
            "faults": [str(f) for f in exact.faults],
        },
        "as_cut": {"passed": not built.faults, "faults": list(built.faults)},
        "assembly": {"passed": built.assembly.passed, "faults": list(built.assembly.faults)},
        "solid": None
        if solid is None
        else {
            "passed": solid.passed,
            "pairs": solid.pairs,
            "volumes_mm3": {n: round(v, 6) for n, v in solid.volumes},
            "union_mm3": round(solid.union, 6),
            "moves": solid.moves,
            "positions": solid.positions,
            "sampled": list(solid.sampled),
            "shared": [
                {
                    "panels": list(s.panels),
                    "predicted_mm3": round(s.predicted, 6),
                    "found_mm3": round(s.found, 6),
                }
                for s in solid.shared
            ],
            "insides": [
                {
                    "inside": i.inside,
                    "direction": DIRECTIONS[i.axis],
                    "asked": round(i.asked, 6),
                    "face_to_face": round(i.face_to_face, 6),
                    "held": {h.panel: round(h.distance, 6) for h in i.held},
                }
                for i in solid.insides
            ],
            "faults": [str(f) for f in solid.faults],
        },
    }


def report_json(built: Built) -> str:
    """Return the report as JSON text: indented, but every ring on one line."""
    plain = report(built, rings=False)
    mark = "@"
    bare = json.dumps(plain, ensure_ascii=False)
    while f'"{mark}' in bare:
        mark += "@"
    # rings go in as text of their own: as plain data they would be most of the memory
    rings: list[str] = []
    homes = [
        (c, panel["pieces"][c.panel.name] if c.of else panel)
        for part in built.parts
        for panel in (plain["panels"][part.panel.name],)
        for c in (*part.pieces, part)  # in the sequence in which they stand in the text
    ]
    for part, home in homes:
        for key, found in (
            ("nominal_rings", part.panel.rings),
            ("drawn_rings", part.drawn.rings),
            ("as_cut_rings", part.as_cut),
        ):
            home[key] = f"{mark}{len(rings)}"
            rings.append(json.dumps(_rings(found), separators=(",", ":")))
    pieces: list[str] = []
    rest = _writable(json.dumps(plain, indent=1, ensure_ascii=False) + "\n")
    for k, ring in enumerate(rings):
        before, rest = rest.split(f'"{mark}{k}"', 1)
        pieces += [before, ring]
    return "".join([*pieces, rest])


def _writable(text: str) -> str:
    """Text that UTF-8 can hold: the name of a file need not be text at all."""
    return text.encode("utf-8", "replace").decode()


def _clearances(least: int, greatest: int, unit: Unit) -> str:
    """A range of clearances, nm, with signs: mm, or thou with mm beside."""
    mm = f"{least / _MM:+.3f} to {greatest / _MM:+.3f} mm"
    if unit == "mm":
        return mm
    return f"{least / 25_400:+.1f} to {greatest / 25_400:+.1f} thou ({mm})"


def report_text(built: Built) -> str:
    """Return the report for people, as Markdown."""
    unit = built.job.unit
    lines = [f"# {built.job.title}", ""]
    verdict = "all proofs hold" if built.passed else "A PROOF FAILED: do not cut"
    lines += [f"boxjoint {__version__}: **{verdict}**.", "", *inside_lines(built)]
    lines += [*bodies_lines(built), "", "## Cut with", ""]
    lines += ["| figure | value | what it is | |", "|---|---|---|---|"]
    for row in figure_rows(built):
        lines.append(f"| {' | '.join(row)} |")
    lines += ["", "+- is the expanded uncertainty everywhere: 95 %."]
    joints = " ".join(clearance_lines(built.plan, unit))
    lines += ["", f"{joints[0].upper()}{joints[1:]}."]
    lines += ["", f"**{kerf_text(built)}.**"]
    if built.seat_gap_mm:
        lines += [
            "",
            f"A round beam leaves fillets: corners may stand off their shoulders by up to "
            f"{small_size(built.seat_gap_mm, unit)} (computed), which adds to the inside size.",
        ]
    lines += ["", "## Panels", ""]
    lines += [
        "| panel | size, computed | thickness | what it is | area, computed | cut, computed |",
        "|---|---|---|---|---|---|",
    ]
    for p in built.cut_parts:
        name, home = p.panel.name, p.home
        how = ", ".join(filter(None, (panel_thickness(built, home), layer_words(built, home))))
        lines.append(
            f"| {name} | {both_sizes(p.panel.size, unit)} | {both(p.panel.slab.thickness, unit)} | "
            f"{how} | {area_words(p.area_nm2 / _MM**2, unit)} | "
            f"{cut_length_words(p.cut_length_mm, unit)} |"
        )
    if built.job.cuts_out:
        from boxjoint.export.report_cutouts import cutout_lines

        lines += cutout_lines(built)
    if built.turn is not None:
        from boxjoint.export.report_turn import turn_lines

        lines += turn_lines(built)
    if built.job.marks:
        from boxjoint.export.report_marks import mark_lines

        lines += mark_lines(built)
    lines += ["", "## Joints", ""]
    lines += [
        "| joint | along | kind | segments | width, computed | clearance as cut, computed | why |",
        "|---|---|---|---|---|---|---|",
    ]
    for i, joint in enumerate(built.solution.joints):
        tabs, cut = built.solution.tabs[i], built.joints[i]
        runs = tabs.runs
        counts = ", ".join(str(r.count) for r in runs[:6]) + (" ..." if len(runs) > 6 else "")
        clear = _clearances(cut.least, cut.greatest, unit) if cut.flanks else "-"
        lines.append(
            f"| {built.solution.joint_name(i)} | {'xyz'[joint.axis]} | {joint.kind} | {counts} | "
            f"{own_first(runs[0].width, unit)} | {clear} | "
            f"{why_words(built, runs[0].why, joint.axis)} |"
        )
    if built.sheets:
        lines += ["", "## Slots that take a sheet", "", "Clearance at the thickest and at the"]
        lines[-1] += " thinnest reading of the sheet."
        lines += ["", "| slot in | sheet | width as cut, computed | clearance, computed |"]
        lines += ["|---|---|---|---|"]
        for s in _slots(built):
            thick, thin = (round(s[f"clearance_{k}"] * _MM) for k in ("thickest", "thinnest"))
            lines.append(
                f"| {s['panel']} | {s['sheet']} | {own_first(round(s['width'] * _MM), unit, places=3)} | "
                f"{_clearances(thick, thin, unit)} |"
            )
    lines += seams_lines(built)
    lines += assembly_lines(built)
    lines += ["", "## Proofs", ""]
    e = built.exact
    state = "holds" if e.passed else "FAILED"
    lines.append(
        f"- exact proof {state}: {e.bars} bars and {e.corners} corners, every place owned once; "
        f"volume {e.volume / 1e18:.3f} mm3"
    )
    lines += [f"  - {f}" for f in e.faults]
    lines.append(f"- virtual cut {'holds' if not built.faults else 'FAILED'}")
    lines += [f"  - {f}" for f in built.faults]
    lines.append(f"- assembly sequence {'holds' if built.assembly.passed else 'FAILED'}")
    lines += [f"  - {f}" for f in built.assembly.faults]
    if built.solid is not None:
        lines.append(
            f"- solid proof {'holds' if built.solid.passed else 'FAILED'}: {built.solid.pairs} pairs, "
            f"union {built.solid.union:.3f} mm3; {built.solid.moves} moves replayed at "
            f"{built.solid.positions} positions"
        )
        if built.solid.sampled:
            lines.append(
                "  - not every position at which faces come level was tried of "
                + ", ".join(built.solid.sampled)
            )
        lines += [f"  - {f}" for f in built.solid.faults]
    if built.warnings:
        lines += ["", "## Look at", ""]
        lines += [f"- {w}" for w in built.warnings]
    lines += ["", "## Before cutting", ""]
    lines += [f"- {c}" for c in CAUTIONS]
    return _writable("\n".join(lines) + "\n")


#: The cautions in one line, for a screen; the report has them in full.
CAUTION_SHORT = (
    "Never leave a running laser; a flame that stays is a stop; never cut PVC, vinyl, ABS or unknown "
    "plastics."
)
#: The usual cautions (common practice, no source). No setting is ever called safe.
CAUTIONS = (
    "Never leave a running laser; a flame that stays is a stop. Keep an extinguisher within reach.",
    "Air and extraction on, bed clean, eye protection for this wavelength.",
    "Never cut PVC, vinyl, ABS, PTFE, foams, chrome leather or unknown plastics.",
    "Local rules and licensed practice come first.",
)
