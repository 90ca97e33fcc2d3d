"""How figures are put into words, alike on a screen, in the report and on drawings.

Every line says what its numbers are: asked, measured (with how many readings, and their range or
+- 95 %), ASSUMED or computed. An inch job shows inches, or thou, first and mm beside.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from boxjoint.check.built import Built
from boxjoint.job.records import Source, Thickness, Unit
from boxjoint.units import own_first, small_size

__all__ = [
    "area_words",
    "cut_length_words",
    "figure_rows",
    "half_kerf",
    "layer_words",
    "names_together",
    "panel_thickness",
    "thickness_words",
    "why_words",
]

_KERFS = ("kerf_x", "kerf_y")


def half_kerf(kerf_mm: float, unit: Unit) -> str:
    """Say that a kerf is the full width, and how far it moves each edge."""
    return f"full width; half of it, {small_size(kerf_mm / 2, unit)}, is what each edge moves"


def figure_rows(built: Built) -> list[tuple[str, str, str, str]]:
    """Return (name, value, what it is, note) of every figure that the outlines were drawn with."""
    unit, rows = built.job.unit, []
    for name, f in built.figures.items():
        note = f.note
        if name in _KERFS and built.plan.tool is None:
            half = half_kerf(f.value, unit)
            note = f"{half}; {note}" if note else half
        if name in ("clearance", "sheet_clearance"):
            value = small_size(f.value, unit, sign=True)
        else:
            value = f.shown(unit)
        rows.append((name.replace("_", " "), value, f.stands(unit), note))
    return rows


def thickness_words(t: Thickness, unit: Unit) -> str:
    """What a thickness is: asked, or measured with its readings and their range."""
    if t.source is not Source.MEASURED:
        return "asked"
    n = len(t.readings)
    text = f"measured, {n} reading{'s' if n > 1 else ''}"
    if t.least != t.greatest:
        low, high = (own_first(v, unit).split(" (")[0] for v in (t.least, t.greatest))
        text += f": {low.split()[0]} to {high}"
    return text


def panel_thickness(built: Built, name: str) -> str:
    """What the thickness of a built panel is; an arrangement of its own may have slabs of its own."""
    t = built.job.thickness(name)
    if t.nm != built.part(name).panel.slab.thickness:
        return "computed"
    return thickness_words(t, built.job.unit)


def layer_words(built: Built, name: str) -> str:
    """Say that a panel is laminated, where it is; ``""`` else."""
    layers = built.job.layers(name)
    return f"{layers} layers" if layers > 1 else ""


def names_together(names: Sequence[str]) -> str:
    """Names in one line; three or more that differ by a number alone as ``shelf-1...5``.

    >>> names_together(["left", "drawer-1-back", "drawer-2-back", "drawer-3-back"])
    'left, drawer-1...3-back'
    """
    groups: dict[tuple[str, str], list[int]] = {}
    for name in names:
        m = re.fullmatch(r"(.*?)(\d+)(\D*)", name)
        before, number, after = m.groups() if m else (name, "-1", "")
        groups.setdefault((before, after), []).append(int(number))
    said = []
    for (before, after), found in groups.items():
        found = sorted(found)
        if len(found) > 2 and found == list(range(found[0], found[-1] + 1)):
            said.append(f"{before}{found[0]}...{found[-1]}{after}")
        else:
            said += [f"{before}{'' if n < 0 else n}{after}" for n in found]
    return ", ".join(said)


def why_words(built: Built, why: str, axis: int) -> str:
    """Why a run has its count, with lengths in the job's own unit, and a kept count called kept."""
    unit = built.job.unit
    if axis in built.kept:
        why = re.sub(r"^asked(?=: \d)", "kept", why)
    if unit == "mm":
        return why
    return re.sub(r"(\d+(?:\.\d+)?) mm", lambda m: own_first(round(float(m[1]) * 1e6), unit), why)


def cut_length_words(mm: float, unit: Unit) -> str:
    """A length of cut lines, to the mm or to a tenth of an inch."""
    return f"{mm:.0f} mm" if unit == "mm" else f"{mm / 25.4:.1f} in ({mm:.0f} mm)"


def area_words(mm2: float, unit: Unit) -> str:
    """An area of stock."""
    cm2 = f"{mm2 / 100:.1f} cm2"
    return cm2 if unit == "mm" else f"{mm2 / 645.16:.1f} in2 ({cm2})"
