"""The same box again: from a sheet of another thickness, or one panel of it.

Restock rebuilds every panel from parameters with the inside (or the outside) held and the segment
counts kept; recut makes one panel again with today's kerf so that it mates with those already cut.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Literal

from boxjoint.check.built import Built
from boxjoint.errors import BoxjointError, CannotBeCut, InputError, nearest_name
from boxjoint.export.said import area_words, cut_length_words
from boxjoint.fit.plan import Measured
from boxjoint.job.hints import gauge_command
from boxjoint.job.limits import WINDOWS
from boxjoint.job.measures import refuse_job
from boxjoint.job.read import parse_job
from boxjoint.job.records import DIRECTIONS, Inside, Job, PanelAsk, Thickness
from boxjoint.job.write import edit_job_text, job_to_toml, written_length
from boxjoint.make import build
from boxjoint.solve.box import outside_of
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.inside import find_inside
from boxjoint.units import both, both_sizes, own_first, small_size

__all__ = ["Change", "Restocked", "kept_counts", "recut", "restock"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One quantity, old and new as text, changed or not.

    Parameters
    ----------
    name, kind
        Whose it is and what it is: ``front`` and ``thickness``. The name is ``""`` of the whole box.
    old, new
        In the job's own unit first.
    source
        What the new value is: asked, measured, computed, or kept for a count of segments.
    axis
        Along which the joint runs, of what belongs to a joint.
    """

    name: str
    kind: str
    old: str
    new: str
    source: str
    axis: str = ""

    @property
    def what(self) -> str:
        """Name and kind in one."""
        return f"{self.name} {self.kind}".strip()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Restocked:
    """The box before and after, and what changed.

    ``job_text`` is the file of the new job, with the old one's comments; building it gives ``new``.
    """

    old: Built
    new: Built
    job_text: str
    changes: tuple[Change, ...]
    notes: tuple[str, ...]


def kept_counts(built: Built) -> dict[str, int]:
    """Counts by direction that a built box has, for asking for the same again.

    Directions where nothing interlocks are left out: a count of one cannot be asked for. So are
    those where joints differ, as those of a case and its drawers do: a job asks for one count.
    """
    found: dict[str, set[int]] = {}
    for joint, tabs in zip(built.solution.joints, built.solution.tabs, strict=True):
        if joint.kind == "finger":
            n = max(r.count for r in tabs.runs)
            if n >= 3:
                found.setdefault(DIRECTIONS[joint.axis], set()).add(n)
    return {d: min(found[d]) for d in DIRECTIONS if len(found.get(d, ())) == 1}


def _counts_changed(old: Built, new: Built) -> list[str]:
    """Finger joints whose counts are no longer what they were, with both."""
    changed = []
    for joint, was, now in zip(
        new.solution.joints, old.solution.tabs, new.solution.tabs, strict=True
    ):
        before, behind = (", ".join(str(r.count) for r in t.runs) for t in (was, now))
        if joint.kind == "finger" and before != behind and was.interlocks:
            name = new.solution.joint_name(joint.index)
            changed.append(f"{name} had {before} segments and has {behind}")
    return changed


def _with_thickness(
    job: Job, stock: Thickness | None, panels: Mapping[str, Thickness]
) -> tuple[Job, dict[tuple[str, ...], Any]]:
    """Put new thicknesses into a job; also what to change in its file."""
    edits: dict[tuple[str, ...], Any] = {}
    new = job
    if stock is not None:
        new = replace(new, stock=replace(new.stock, thickness=stock))
        edits["stock", "thickness"] = _written(stock, job)
    for name, thickness in panels.items():
        if name not in job.panel_names:
            raise InputError(
                "no panel of that name",
                where="--panel",
                value=name,
                limit="one of " + ", ".join(job.panel_names),
                do=nearest_name(name, job.panel_names),
            )
        own = new.panels.get(name) or PanelAsk()
        new = replace(new, panels={**new.panels, name: replace(own, thickness=thickness)})
        edits["panels", name, "thickness"] = _written(thickness, job)
    return new, edits


def _written(thickness: Thickness, job: Job) -> Any:
    values = [written_length(r, job.unit) for r in thickness.readings]
    return values if thickness.measured else values[0]


def restock(
    job: Job,
    *,
    thickness: Thickness | None = None,
    panels: Mapping[str, Thickness] | None = None,
    recount: bool = False,
    hold: Literal["inside", "outside"] = "inside",
    measured: Measured | None = None,
    **options: Any,
) -> Restocked:
    """Make the same box from other stock.

    Parameters
    ----------
    thickness
        Replaces ``[stock]`` only; panels with a thickness of their own keep it.
    panels
        Thickness by panel.
    recount
        Let the rule choose the counts again instead of keeping them.
    hold
        ``inside`` keeps the inside as asked; ``outside`` keeps the outside, and the inside follows.
    options
        Passed on to :func:`boxjoint.make.build`.

    Raises
    ------
    InputError
        When nothing is left of the inside, or a panel's name is wrong.
    CannotBeCut
        When tabs would vanish.
    """
    if thickness is None and not panels:
        raise InputError("restock needs a new thickness", do="give --thickness or --panel NAME=T")
    old = build(job, measured=measured, **options)
    new_job, edits = _with_thickness(job, thickness, panels or {})
    notes: list[str] = []
    if hold == "outside":
        new_job, more = _hold_outside(old, new_job)
        edits |= more
    refuse_job(new_job, proceed=bool(options.get("confirmed")))
    if not recount:
        new_job, more = _keep_counts(old, new_job, notes, measured, options)
        edits |= more
    if job.text:
        text = edit_job_text(job.text, _given(job) | edits)
    else:
        text = job_to_toml(new_job)
    kept: frozenset[int] = frozenset()
    if not recount:
        kept = frozenset(
            DIRECTIONS.index(d)
            for d, n in new_job.joint.segments.items()
            if job.joint.segments.get(d) != n
        )
    new = build(replace(new_job, text=text), measured=measured, kept=kept, **options)
    if not recount:
        notes += _now_interlocking(old, new)
        notes += _other_mortises(old, new)
        if changed := _counts_changed(old, new):
            notes.append(f"counts that could not be kept: {'; '.join(changed)}")
    notes += _kerf_notes(old, new)
    return Restocked(
        old=old, new=new, job_text=text, changes=tuple(_changes(old, new)), notes=tuple(notes)
    )


#: Keys that options of a command set over those of the file.
_GIVEN = (
    ("cut", "kerf"),
    ("joint", "clearance"),
    ("joint", "fit"),
    ("stock", "material"),
    ("shop", "machine"),
    ("shop", "sheet"),
    ("shop", "settings"),
)


def _given(job: Job) -> dict[tuple[str, ...], Any]:
    """Values that a command's options put over those of the job's file, for writing them there."""
    own, now = (
        tomllib.loads(job_to_toml(j), parse_float=Decimal)
        for j in (parse_job(job.text, job.path, proceed=True), job)
    )
    edits: dict[tuple[str, ...], Any] = {}
    for table, key in _GIVEN:
        value = now.get(table, {}).get(key)
        if own.get(table, {}).get(key) != value:
            edits[table, key] = value
    return edits


def _hold_outside(old: Built, job: Job) -> tuple[Job, dict[tuple[str, ...], Any]]:
    """Give what the new thickness adds to the outside back from the inside."""
    was = outside_of(old.solution.arrangement).size
    now = outside_of(job_arrangement(job)).size
    sizes = []
    edits: dict[tuple[str, ...], Any] = {}
    for d, inside, before, after in zip(DIRECTIONS, job.inside.xyz, was, now, strict=True):
        left = inside + before - after
        if left <= 0:
            raise InputError(
                f"nothing is left of the inside {d}",
                where="--hold outside",
                value=both(left, job.unit),
                limit=f"the outside is {both(before, job.unit)}",
                do="take thinner stock, or hold the inside",
            )
        sizes.append(left)
        edits["inside", d] = written_length(left, job.unit)
    inside_new = Inside(length=sizes[0], width=sizes[1], height=sizes[2])
    held = replace(job, inside=inside_new)
    found = outside_of(job_arrangement(held)).size
    if found != was:
        raise InputError(
            "the outside of this kind of box cannot be held by its inside alone",
            where="--hold outside",
            value=both_sizes(found, job.unit),
            limit=f"the outside is {both_sizes(was, job.unit)}",
            do="hold the inside, or change the job by hand",
        )
    return held, edits


def _keep_counts(
    old: Built, job: Job, notes: list[str], measured: Measured | None, options: dict[str, Any]
) -> tuple[Job, dict[tuple[str, ...], Any]]:
    """Ask for the old counts; where one cannot be had, say so and let the rule choose that one."""
    counts = kept_counts(old)
    edits: dict[tuple[str, ...], Any] = {("joint", "tab_width"): None}
    asked = _asking(job, counts)
    try:
        build(asked, measured=measured, **options)
    except CannotBeCut:
        raise  # tabs would vanish
    except BoxjointError:
        for d in list(counts):  # find which direction is in the way
            try:
                build(_asking(job, {d: counts[d]}), measured=measured, **options)
            except BoxjointError as why:
                notes.append(f"{counts[d]} segments along {d} cannot be kept: {why}")
                del counts[d]
        asked = _asking(job, counts)
    if job.joint.tab_width is None:
        del edits["joint", "tab_width"]
    if counts:
        edits["joint", "segments"] = dict(counts)
    elif job.joint.segments:
        edits["joint", "segments"] = None
    return asked, edits


def _now_interlocking(old: Built, new: Built) -> list[str]:
    """A joint of one segment is no count to keep; say where the rule now finds room for tabs."""
    names: dict[str, list[str]] = {}
    for joint, was, now in zip(
        new.solution.joints, old.solution.tabs, new.solution.tabs, strict=True
    ):
        if was.interlocks != now.interlocks:
            name = new.solution.joint_name(joint.index)
            names.setdefault(DIRECTIONS[joint.axis], []).append(name)
    return [
        f"along {d} nothing interlocked before; now there is room for tabs: {', '.join(found)}"
        for d, found in names.items()
    ]


def _other_mortises(old: Built, new: Built) -> list[str]:
    """A count by direction is for finger joints; say where tabs in mortises follow the new sheet."""
    names = [
        new.solution.joint_name(joint.index)
        for joint, was, now in zip(
            new.solution.joints, old.solution.tabs, new.solution.tabs, strict=True
        )
        if joint.kind == "mortise" and [r.count for r in was.runs] != [r.count for r in now.runs]
    ]
    if not names:
        return []
    return [f"tabs in mortises follow the new sheet, so cut both mates again: {', '.join(names)}"]


def _held(built: Built) -> dict[tuple[str, str], tuple[tuple[int, ...], ...]]:
    """The divisions of every joint, for a panel that has to go with mates that are cut already."""
    names = [p.name for p in built.solution.panels]
    found = {}
    for joint, tabs in zip(built.solution.joints, built.solution.tabs, strict=True):
        if joint.kind == "halflap":
            continue
        runs, at = [], 0
        for r in tabs.runs:
            walls = tabs.lo[at + 1 : at + r.count] - r.run.lo
            runs.append(tuple(walls.tolist()))
            at += r.count
        found[names[joint.a], names[joint.b]] = tuple(runs)
    return found


def _refuse_other_slots(old: Built, panel: str, thickness: Thickness) -> None:
    """Refuse a panel of another thickness where mates have slots or mortises for its sheet."""
    solution = old.solution
    index = next(i for i, p in enumerate(solution.panels) if p.name == panel)
    was = solution.panels[index].slab.thickness
    mates = [
        solution.panels[j.mate(index)].name
        for j in solution.joints
        if index in (j.a, j.b) and not j.at_edge(j.mate(index))
    ]
    if mates and thickness.nm != was:
        raise InputError(
            "a sheet of another thickness does not go with slots that are cut already",
            where=f"--panel {panel}",
            value=both(thickness.nm, old.job.unit),
            limit=f"the slots in {', '.join(mates)} are for {both(was, old.job.unit)}",
            do="cut the whole box again with restock",
        )


def _asking(job: Job, counts: dict[str, int]) -> Job:
    return replace(job, joint=replace(job.joint, segments=dict(counts), tab_width=None))


def _kerf_notes(old: Built, new: Built) -> list[str]:
    """A kerf belongs to a thickness; say when it is now used for another."""
    apart = [
        p.panel.name
        for p in new.parts
        if p.panel.slab.thickness != old.part(p.panel.name).panel.slab.thickness
    ]
    if not apart or new.plan.kerf_x.source == "assumed" or new.plan.tool is not None:
        return []
    was, now = (b.part(apart[0]).panel.slab.thickness for b in (old, new))
    unit = new.job.unit
    asked = f"{now / 25_400_000:.6g} in" if unit == "in" else f"{now / 1e6:.6g} mm"
    hint = gauge_command(new.job, "kerf", "--thickness", asked)
    return [
        f"the kerf in use was given for a sheet of {own_first(was, unit)}; this one is "
        f"{own_first(now, unit)}: kerf changes with thickness, so cut a gauge from the new sheet: "
        f"{hint}"
    ]


def _changes(old: Built, new: Built) -> list[Change]:
    unit = new.job.unit
    rows = []
    sides = zip(
        DIRECTIONS,
        outside_of(old.solution.arrangement).size,
        outside_of(new.solution.arrangement).size,
        strict=True,
    )

    def row(
        name: str, kind: str, was: str, now: str, source: str = "computed", axis: str = ""
    ) -> None:
        rows.append(Change(name=name, kind=kind, old=was, new=now, source=source, axis=axis))

    for k, (d, a, b) in enumerate(sides):
        was, now = (find_inside(built.job).along[k] for built in (old, new))
        row("inside", d, both(was.nm, unit), both(now.nm, unit), str(now.source))
        row("outside", d, both(a, unit), both(b, unit))
    for p in new.parts:
        q, name = old.part(p.panel.name), p.panel.name
        t, u = q.panel.slab.thickness, p.panel.slab.thickness
        row(name, "thickness", both(t, unit), both(u, unit), str(new.job.thickness(name).source))
        row(name, "size", both_sizes(q.panel.size, unit), both_sizes(p.panel.size, unit))
    for i, joint in enumerate(new.solution.joints):
        runs = [b.solution.tabs[i].runs[0] for b in (old, new)]
        source = "computed"
        if joint.axis in new.kept:
            source = "kept"
        elif joint.kind == "finger" and DIRECTIONS[joint.axis] in new.job.joint.segments:
            source = "asked"
        name, axis = new.solution.joint_name(i), "xyz"[joint.axis]
        row(name, "segments", str(runs[0].count), str(runs[1].count), source, axis)
        widths = [own_first(r.width, unit) for r in runs]
        row(name, "segment width", widths[0], widths[1], axis=axis)
    cut = [sum(p.cut_length_mm for p in b.cut_parts) for b in (old, new)]
    row("", "cut length", cut_length_words(cut[0], unit), cut_length_words(cut[1], unit))
    area = [sum(p.panel.rings.area for p in b.parts) / 1e12 for b in (old, new)]
    row("", "area", area_words(area[0], unit), area_words(area[1], unit))
    return rows


def recut(
    job: Job,
    panel: str,
    *,
    thickness: Thickness | None = None,
    measured: Measured | None = None,
    measured_of_mates: Measured | None = None,
    **options: Any,
) -> tuple[Built, tuple[str, ...]]:
    """Make one panel again with today's kerf and the same segments.

    Parameters
    ----------
    panel
        Its name.
    thickness
        Of the sheet it is cut from today, where that differs from the job's.
    measured_of_mates
        What the shop book has for the fit of the job's file, where the job now names another; the
        mates were cut with that one.

    Returns
    -------
    built
        The box with that panel; the other panels are as the job has them.
    notes
        What the maker should know, such as tips of the mates that no longer come flush.
    """
    made = [slab.name for slab in job_arrangement(job).slabs]  # of a case also drawer-3-front
    home = next(
        (n for n in made if panel == n or re.fullmatch(f"{re.escape(n)}-[0-9]+", panel)), ""
    )
    if not home:
        raise InputError(
            "no panel of that name",
            where="--panel",
            value=panel,
            limit="one of " + ", ".join(made),
            do=nearest_name(panel, made),
        )
    piece, panel = panel, home
    notes: list[str] = []
    today, held = job, None
    if thickness is not None:
        old = build(job, measured=measured, **options)
        _refuse_other_slots(old, panel, thickness)
        changed, _ = _with_thickness(job, None, {panel: thickness})
        refuse_job(changed, proceed=bool(options.get("confirmed")))
        today, held = changed, _held(old)  # the mates that are cut keep their segments
        off = thickness.nm - job.thickness(panel).nm
        if off:
            stand = "shy of" if off > 0 else "proud of"
            notes.append(
                f"the mates were cut for {own_first(job.thickness(panel).nm, job.unit)}: their tips "
                f"will stand {own_first(abs(off), job.unit)} {stand} the new {panel}'s face"
            )
    built = build(today, measured=measured, held=held, **options)
    if job.text:
        own = parse_job(job.text, job.path, proceed=True).joint
        asked = replace(today.joint, clearance=own.clearance, fit=own.fit)
        if asked != today.joint:
            mates = measured_of_mates or measured
            was = build(replace(today, joint=asked), measured=mates, held=held, **options)
            notes += _half_reaches(was, built, panel)
    cut = [p.panel.name for p in built.cut_parts]
    if piece not in (panel, *cut):
        raise InputError(
            "no panel or piece of that name",
            where="--panel",
            value=piece,
            limit="one of " + ", ".join(cut),
            do=nearest_name(piece, cut),
        )
    if piece != panel:
        if thickness is not None:
            _refuse_other_seam(old, built, panel, piece)
        notes.append(f"{piece} is glued to the other pieces of {panel} as they were cut")
    return built, tuple(notes)


def _refuse_other_seam(old: Built, new: Built, panel: str, piece: str) -> None:
    """Refuse a piece whose seam is no longer that of the pieces that are cut already."""
    was, now = ([s for s in b.seams if s.panel == panel] for b in (old, new))
    if [(s.place, s.steps, s.depth) for s in was] == [(s.place, s.steps, s.depth) for s in now]:
        return
    unit = new.job.unit
    first = was[0]
    raise InputError(
        "the seam moves with the thickness, and the other pieces are cut already",
        where=f"--panel {piece}",
        value=f"steps {own_first(now[0].depth, unit)} deep, {now[0].steps} of them"
        if now
        else "no seam",
        limit=f"{own_first(first.depth, unit)} deep, {first.steps} of them, middle at "
        f"{own_first(first.place, unit)}",
        do=f"cut the whole of {panel} again, or state these as [seams] depth and steps and as "
        f"[panels.{panel}] seam",
    )


def _half_reaches(was: Built, now: Built, panel: str) -> list[str]:
    """Say what clearance a panel gets with mates that were cut for another: each takes a half."""
    index = next(i for i, p in enumerate(now.solution.panels) if p.name == panel)
    own = [
        j.index for j in now.solution.joints if index in (j.a, j.b) and now.joints[j.index].flanks
    ]
    pairs = sorted({(was.plan.clearances[i], now.plan.clearances[i]) for i in own})
    pairs = [(a, b) for a, b in pairs if abs(a - b) > 1e-6]
    if not pairs:
        return []

    def span(values: list[float]) -> str:
        texts = [small_size(v, now.job.unit, sign=True) for v in (min(values), max(values))]
        return texts[0] if texts[0] == texts[1] else " to ".join(texts)

    old, new = [a for a, _ in pairs], [b for _, b in pairs]
    got = [(a + b) / 2 for a, b in pairs]
    full = [2 * b - a for a, b in pairs]
    most = now.job.joint.clearance is not None or len(pairs) == 1
    text = (
        f"the mates are cut for a clearance of {span(old)} and only {panel} changes, so half of the "
        f"change reaches the joints: with the mates already cut they get {span(got)} (computed), not "
        f"{span(new)}"
    )
    low, high = WINDOWS["clearance"].least, WINDOWS["clearance"].most
    if most and all(low <= v <= high for v in full):
        value = round(full[0], 6)
        text += f"; for {span(new)} in the joints give --clearance {_option(value, now.job.unit)}"
    return [text]


def _option(mm: float, unit: str) -> str:
    """A clearance as it can be typed after an option, in one word."""
    return f"{mm:.3f}mm" if unit == "mm" else f"{mm / 0.0254:.1f}thou"
