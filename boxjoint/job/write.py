"""Write a job back: a record as a whole, or single values into a text that keeps all the rest.

A job file is the maker's own: comments, spacing and line ends outlive every change. Whatever is
written is read again before it is handed out, and compared with what was meant.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from boxjoint.errors import JobError
from boxjoint.job.filling import Item
from boxjoint.job.keys import key_name
from boxjoint.job.records import DIRECTIONS, Drawers, Job, JointAsk, PerAxis, Thickness, Unit
from boxjoint.job.sheets import Nesting
from boxjoint.units import NM_PER_64TH, NM_PER_INCH, NM_PER_MM, format_fraction

if TYPE_CHECKING:
    from boxjoint.job.cutouts import Cutout, Place
    from boxjoint.job.marks import Mark

__all__ = [
    "STARTER_PATH",
    "Value",
    "edit_job_text",
    "job_to_toml",
    "starter_text",
    "written_length",
]

#: A value as it may stand in a job file.
Value = (
    str | int | float | Decimal | bool | Sequence[str | int | float | Decimal] | Mapping[str, Any]
)

#: The commented job that shows every key.
STARTER_PATH = Path(__file__).with_name("starter.toml")

_BOM = "\ufeff"
# decimals that a person would still type
_PLACES = {"mm": 3, "in": 4}
_LENGTHS = (
    "clearance",
    "sheet_clearance",
    "tab_width",
    "web",
    "shoulder_relief",
    "floor_relief",
    "corner_relief",
    "corner_allowance",
)


def starter_text(unit: Unit = "mm", *, full: bool = False) -> str:
    """Return the text of a commented starter job.

    Parameters
    ----------
    unit
        What its bare numbers are in.
    full
        Every key there is, in mm, whatever the unit; else the main ones.
    """
    path = STARTER_PATH if full else STARTER_PATH.with_name(f"starter-{unit}.toml")
    return path.read_text(encoding="utf-8")


# Single values


def written_length(nm: int, unit: Unit) -> Decimal | str:
    """Return a length as a job file of the given unit would have it, exactly.

    Parameters
    ----------
    nm
        The length, nm, of either sign.
    unit
        What a bare number means in the file.

    Returns
    -------
    Decimal or str
        A bare number where a few decimals hold it (3 of a mm, 4 of an inch), else a text: inches and
        sixty-fourths, or mm with all their decimals.

    Examples
    --------
    >>> written_length(3_020_000, "mm"), written_length(3_020_000, "in")
    (Decimal('3.02'), '3.02 mm')
    >>> written_length(396_875, "mm")
    '1/64 in'
    """
    per = NM_PER_MM if unit == "mm" else NM_PER_INCH
    amount = Fraction(nm, per)
    scaled = amount * 10 ** _PLACES[unit]
    if scaled.denominator == 1:
        return _tidy(Decimal(scaled.numerator).scaleb(-_PLACES[unit]))
    if nm % NM_PER_64TH == 0:
        return format_fraction(nm)
    return f"{_plain(Decimal(nm).scaleb(-6))} mm"


def _tidy(number: Decimal) -> Decimal:
    """The same number without zeros at its end, and without a power of ten."""
    return Decimal(_plain(number))


def _plain(number: Decimal) -> str:
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _written_mm(mm: float, unit: Unit) -> Decimal | str:
    """A measured size in mm, such that reading it gives the same float."""
    exact = Decimal(repr(mm))
    if unit == "mm":
        return _tidy(exact)
    inches = Decimal(repr(round(mm / 25.4, _PLACES["in"])))
    if float(Fraction(inches) * Fraction(127, 5)) == mm:
        return _tidy(inches)
    return f"{_plain(exact)} mm"


_ESCAPES = {
    '"': '\\"',
    "\\": "\\\\",
    "\b": "\\b",
    "\t": "\\t",
    "\n": "\\n",
    "\f": "\\f",
    "\r": "\\r",
}


def _toml(value: object) -> str:
    """A value in TOML, on one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        body = "".join(
            _ESCAPES.get(c, c if c >= " " and c != "\x7f" else f"\\u{ord(c):04X}") for c in value
        )
        return f'"{body}"'
    if isinstance(value, Decimal):
        return _plain(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{name} = {_toml(inner)}' for name, inner in value.items())} }}"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(_toml, value))}]"
    raise TypeError(f"no TOML for {type(value).__name__}")


# A record as a whole


def job_to_toml(job: Job) -> str:
    """Write a job record as the text of a job file.

    Parameters
    ----------
    job
        Any job that the reader could have made; its ``text`` and ``path`` play no part.

    Returns
    -------
    str
        Without comments. Reading it gives an equal job, to the nanometre and to the last bit of a
        kerf; what the job left out stays left out.
    """
    inside: dict[str, object] = {
        d: _length(nm, job) for d, nm in zip(DIRECTIONS, job.inside.asked, strict=True)
    }
    tables: list[tuple[str, dict[str, object]]] = [
        ("", {"title": job.title, "unit": job.unit}),
        ("inside", inside),
        (
            "stock",
            {
                "material": job.stock.material,
                "thickness": _thickness(job.stock.thickness, job.unit),
                "film": _length(job.stock.film, job),
            },
        ),
    ]
    for name, panel in job.panels.items():
        thickness = None if panel.thickness is None else _thickness(panel.thickness, job.unit)
        tables.append(
            (
                f"panels.{name}",
                {
                    "thickness": thickness,
                    "material": panel.material,
                    "layers": panel.layers,
                    "grain": panel.grain or None,
                    "turn": panel.turn,
                    "seam": _length(panel.seam, job),
                },
            )
        )
    tables += _filling(job)
    cut = {
        "kerf": _pair(job.cut.kerf, job.unit, length=True),
        "scale": _pair(job.cut.scale, job.unit, length=False),
        "tool": _length(job.cut.tool, job),
        "edge_sd": _length(job.cut.edge_sd, job),
    }
    tables += [("cut", cut), ("joint", _joint(job)), *_tops(job)]
    shop = {k: getattr(job.shop, k) or None for k in ("machine", "sheet", "settings")}
    tables.append(("shop", shop))
    tables += _sheets(job)
    tables += [("[cutouts]", _cutout(c, job)) for c in job.cutouts]
    tables += [("[marks]", _mark(m, job)) for m in job.marks]
    blocks = []
    for name, values in tables:
        if (
            name
            and not name.startswith("panels.")
            and not any(v is not None for v in values.values())
        ):
            continue  # a table that says nothing; a panel's is part of the record
        lines = [f"[{name}]"] if name else []
        lines += [f"{key} = {_toml(value)}" for key, value in values.items() if value is not None]
        blocks.append("\n".join(lines) + "\n")
    return "\n".join(blocks)


def _tops(job: Job) -> list[tuple[str, dict[str, object]]]:
    """The tables of top, stack and drawers; keys that say nothing are ``None``."""
    top, stack, drawers, plain = job.top, job.stack, job.drawers, Drawers()
    return [
        (
            "top",
            {
                "kind": top.kind,
                **{
                    k: _length(getattr(top, k), job)
                    for k in ("clearance", "depth", "lip", "gap", "pin")
                },
                "notch": True if top.notch else None,
            },
        ),
        (
            "till",
            {
                "on": job.till.on,
                **{k: _length(getattr(job.till, k), job) for k in ("height", "clearance")},
                **{k: n if (n := getattr(job.till, k)) != 1 else None for k in ("columns", "rows")},
                "notch": True if job.till.notch else None,
            },
        ),
        (
            "stack",
            {
                "count": stack.count if stack.count != 1 else None,
                "clearance": _length(stack.clearance, job),
            },
        ),
        (
            "drawers",
            {
                "count": drawers.count or None,
                "heights": [_length(nm, job) for nm in drawers.heights] or None,
                "inside_of": drawers.inside_of if drawers.inside_of != plain.inside_of else None,
                **{k: _length(getattr(drawers, k), job) for k in ("clearance", "above", "behind")},
                "stops": None if drawers.stops else False,
                "pull": drawers.pull,
            },
        ),
    ]


def _sheets(job: Job) -> list[tuple[str, dict[str, object]]]:
    """The tables of sheets and nesting; keys that say nothing are ``None``."""
    tables: list[tuple[str, dict[str, object]]] = []
    for name, sheet in job.sheets.items():
        tables.append(
            (
                f"sheets.{_key(name)}",
                {
                    "size": [_length(nm, job) for nm in sheet.size],
                    "count": sheet.count,
                    "material": sheet.material,
                    "thickness": sheet.thickness and _thickness(sheet.thickness, job.unit),
                    "offcut": sheet.offcut or None,
                    "grain": sheet.grain or None,
                    "keep_outs": [[_length(nm, job) for nm in k] for k in sheet.keep_outs] or None,
                },
            )
        )
    nest, plain = job.nest, Nesting()
    values: dict[str, object] = {
        "spacing": _length(nest.spacing, job),
        "margin": _length(nest.margin, job),
        "bed": nest.bed and [_length(nm, job) for nm in nest.bed],
        "keep_outs": [[_length(nm, job) for nm in k] for k in nest.keep_outs] or None,
        "support": _length(nest.support, job),
        "bridges": nest.bridges,
        "bridge_width": _length(nest.bridge_width, job),
        "lead_in": _length(nest.lead_in, job),
    }
    for key in ("turn", "face", "windows", "continuous", "one_axis", "labels", "level"):
        value = getattr(nest, key)
        values[key] = value if value != getattr(plain, key) else None
    seams: dict[str, object] = {
        "allowed": job.seams.allowed or None,
        "steps": job.seams.steps,
        **{k: _length(getattr(job.seams, k), job) for k in ("longest", "depth", "relief")},
    }
    return [*tables, ("nest", values), ("seams", seams)]


def _cutout(cutout: Cutout, job: Job) -> dict[str, object]:
    """One table of ``[[cutouts]]``; keys that say nothing are ``None``."""
    panels = cutout.panels
    return {
        "panel": panels[0] if len(panels) == 1 else list(panels),
        "kind": cutout.kind,
        **{k: _length(getattr(cutout, k), job) for k in ("diameter", "clearance")},
        "size": cutout.size and [_length(nm, job) for nm in cutout.size],
        **{k: _length(getattr(cutout, k), job) for k in ("radius", "gap")},
        **{k: n if (n := getattr(cutout, k)) != 1 else None for k in ("rows", "columns")},
        "edge": cutout.edge if cutout.edge != "top" else None,
        **_place(cutout.place, job),
    }


def _mark(mark: Mark, job: Job) -> dict[str, object]:
    """One table of ``[[marks]]``; keys that say nothing are ``None``."""
    panels = mark.panels
    return {
        "panel": panels[0] if len(panels) == 1 else list(panels),
        **{k: getattr(mark, k) or None for k in ("text", "drawing", "letters", "angle")},
        **{k: _length(getattr(mark, k), job) for k in ("height", "width")},
        **{
            k: v if (v := getattr(mark, k)) != plain else None
            for k, plain in (("align", "middle"), ("work", "score"), ("face", "outside"))
        },
        **_place(mark.place, job),
    }


def _place(place: Place, job: Job) -> dict[str, object]:
    sides = ("from_left", "from_right", "from_bottom", "from_top")
    return {
        **{k: _length(getattr(place, k), job) for k in sides},
        "edges": place.edges if place.edges != "panel" else None,
        "to": place.to,
    }


def _filling(job: Job) -> list[tuple[str, dict[str, object]]]:
    """The tables of what fills the box; keys that say nothing are ``None``."""
    dividers, stock = job.dividers, job.divider_stock
    tables: list[tuple[str, dict[str, object]]] = [
        (
            "bottom",
            {k: _length(getattr(job.bottom, k) or None, job) for k in ("raised", "legs")},
        ),
        (
            "dividers",
            {
                "thickness": stock.thickness and _thickness(stock.thickness, job.unit),
                "material": stock.material,
                "height": _length(dividers.height, job),
                "fixing": None if dividers.fixing == "tabbed" else dividers.fixing,
                "clearance": _length(dividers.clearance, job),
            },
        ),
    ]
    for direction, found in zip(DIRECTIONS, dividers.along, strict=False):
        sizes: list[object] = [s if isinstance(s, str) else _length(s, job) for s in found.sizes]
        count = found.count if found.count != 1 else None
        tables.append((f"dividers.{direction}", {"compartments": sizes or count}))
    plain = Item(of="any")
    for name, item in job.items.items():
        tables.append(
            (
                f"items.{_key(name)}",
                {
                    "of": item.of or None,
                    "size": item.size and [_length(nm, job) for nm in item.size],
                    "thickness": _length(item.thickness, job),
                    "count": item.count if item.count != plain.count else None,
                    "lie": item.lie if item.lie != plain.lie else None,
                    "turned": item.turned or None,
                    "rows": item.rows or None,
                },
            )
        )
    contents = job.contents
    tables.append(
        (
            "contents",
            {
                "clearance": _length(contents.clearance, job),
                "lining": _length(contents.lining or None, job),
                "finger_room": {d: _length(nm, job) for d, nm in contents.finger_room.items()}
                or None,
            },
        )
    )
    tables.append(("fit_into", {d: _length(getattr(job.fit_into, d), job) for d in DIRECTIONS}))
    return tables


def _key(name: str) -> str:
    """A name as a key of TOML: bare where it may be."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _toml(name)


def _length(nm: int | None, job: Job) -> Decimal | str | None:
    return None if nm is None else written_length(nm, job.unit)


def _thickness(thickness: Thickness, unit: Unit) -> object:
    readings = [written_length(nm, unit) for nm in thickness.readings]
    return readings if thickness.measured else readings[0]


def _pair(pair: PerAxis | None, unit: Unit, *, length: bool) -> object:
    if pair is None:
        return None
    x, y = (
        _written_mm(value, unit) if length else _tidy(Decimal(repr(float(value))))
        for value in (pair.x, pair.y)
    )
    return x if pair.x == pair.y else {"x": x, "y": y}


def _joint(job: Job) -> dict[str, object]:
    ask, plain = job.joint, JointAsk()
    lengths = {name: _length(getattr(ask, name), job) for name in _LENGTHS}
    return {
        "clearance": lengths.pop("clearance"),
        "fit": ask.fit,
        "segments": ask.segments or None,
        "ends": ask.ends if ask.ends != plain.ends else None,
        "corner_style": ask.corner_style if ask.corner_style != plain.corner_style else None,
        "rank": list(ask.rank) or None,
        "proud": _length(ask.proud, job) if ask.proud else None,
        **lengths,
    }


# Single values into a text


def edit_job_text(text: str, changes: Mapping[tuple[str, ...], Value | None]) -> str:
    """Set or remove single values in the text of a job; every other byte stays as it is.

    Parameters
    ----------
    text
        The text of a job file, valid TOML.
    changes
        New values by the way to them, as in ``{("stock", "thickness"): Decimal("3.12")}``. ``None``
        removes a key, and is no change where there is none. Missing tables are added at the end.

    Returns
    -------
    str
        The new text, with the line ends and the byte order mark of the old one.

    Raises
    ------
    JobError
        The text is not valid TOML; or a value cannot be set without touching others, as where a way
        leads through a value that is no table.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    mark = _BOM if text.startswith(_BOM) else ""
    plain = text.removeprefix(_BOM)
    try:
        wanted = tomllib.loads(plain)
        document = tomlkit.parse(plain)
    except (tomllib.TOMLDecodeError, TOMLKitError) as error:
        raise JobError(f"not valid TOML: {error}", do="correct the file first") from None
    added: list[Any] = []
    for keys, value in changes.items():
        try:
            _set(document, keys, None if value is None else _item(value), added)
            _set(wanted, keys, None if value is None else tomllib.loads(f"v = {_toml(value)}")["v"])
        except (TOMLKitError, TypeError, AttributeError, KeyError) as error:
            raise _not_set(keys) from error
    for table in added:
        table.add(tomlkit.nl())
    changed: str = tomlkit.dumps(document)
    if added and changed.endswith("\n\n"):
        changed = changed[:-1]
    if "\r\n" in plain and not re.search(r"(?<!\r)\n", plain):
        changed = re.sub(r"(?<!\r)\n", "\r\n", changed)
    try:
        same = tomllib.loads(changed) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise _not_set(*changes)
    return mark + changed


def _not_set(*keys: tuple[str, ...]) -> JobError:
    return JobError(
        "the value cannot be set in this text without touching others",
        where=", ".join(key_name(way) for way in keys),
        do="change it by hand",
    )


def _set(tables: Any, keys: tuple[str, ...], value: object, added: list[Any] | None = None) -> None:
    """Set one value in nested tables, alike for plain dicts and for a document that keeps its text.

    ``added`` takes the tables that the document did not have, for a blank line behind each.
    """
    *way, name = keys
    for depth, key in enumerate(way, 1):
        if key not in tables:
            if value is None:
                return
            tables[key] = {} if added is None else _new_table(tables, last=depth == len(way))
            if added is not None and depth == len(way) and not _is_inline(tables):
                added.append(tables[key])
        tables = tables[key]
    if value is None:
        if name in tables:
            del tables[name]
    else:
        tables[name] = copy.deepcopy(value)


def _is_inline(table: Any) -> bool:
    from tomlkit.items import InlineTable

    return isinstance(table, InlineTable)


def _new_table(above: Any, *, last: bool) -> Any:
    import tomlkit

    if _is_inline(above):
        return tomlkit.inline_table()
    # [panels] itself stays unwritten above [panels.NAME]
    return tomlkit.table(is_super_table=not last)


def _item(value: Value) -> Any:
    """A value as the text keeper takes it, with exactly our decimals."""
    import tomlkit

    return tomlkit.value(_toml(value))
