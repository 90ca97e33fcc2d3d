"""The list of tables ``[[cutouts]]``: every kind takes its own keys, and any other is refused."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast

from boxjoint.errors import InputError, nearest_name
from boxjoint.job.cutouts import (
    CUTOUTS,
    EDGES,
    KEYS_OF,
    MOST_CUTOUTS,
    MOST_VENTS,
    REFERENCES,
    TO,
    Cutout,
    CutoutKind,
    Edge,
    Place,
    Reference,
    To,
)
from boxjoint.job.filling import DIVIDER_NAME
from boxjoint.job.keys import Keys, is_known, known_keys, suggest_key
from boxjoint.job.limits import CUTOUT_WINDOWS
from boxjoint.job.problems import Problem
from boxjoint.job.records import PANELS
from boxjoint.job.sheet_tables import SheetReader
from boxjoint.job.tops import FURTHER_PANELS, is_further_panel
from boxjoint.units import to_nm

__all__ = ["CutoutReader"]

_SIDES = ("from_left", "from_right", "from_bottom", "from_top")


class CutoutReader(SheetReader):
    """Reads what is cut out of panels."""

    def _listed(self, name: str) -> Iterator[tuple[Keys, dict[str, Any]]]:
        """Each table of a list of tables with the way to it; refuses unknown keys."""
        found = self.data.get(name, [])
        if not isinstance(found, list) or not all(isinstance(t, dict) for t in found):
            self._wrong(
                (name,), f"{name} must be tables", found, do=f"write [[{name}]] above each of them"
            )
            return
        if len(found) > MOST_CUTOUTS:
            self._wrong(
                (name,), f"{len(found)} tables of {name}", found, limit=f"at most {MOST_CUTOUTS}"
            )
            return
        for n, table in enumerate(found):
            keys: Keys = (name, n)
            for key in table:
                if not is_known((*keys, key)):
                    self.problems.append(
                        Problem(
                            keys=(*keys, key),
                            what="no such key",
                            limit=f"known here: {', '.join(known_keys(keys) or ())}",
                            do=suggest_key((*keys, key)),
                        )
                    )
            yield keys, table

    def cutouts(self) -> tuple[Cutout, ...]:
        """Every table, as far as it could be read."""
        read = [self._read_cutout(keys, table) for keys, table in self._listed("cutouts")]
        return tuple(c for c in read if c is not None)

    def _read_cutout(self, keys: Keys, table: dict[str, Any]) -> Cutout | None:
        before = len(self.problems)
        panels = self._panels((*keys, "panel"), table)
        kind = cast("CutoutKind | None", self._choice((*keys, "kind"), table.get("kind"), CUTOUTS))
        if "kind" not in table:
            self._missing((*keys, "kind"), f'kind = "round hole", or one of {", ".join(CUTOUTS)}')
        if kind is not None:
            takes, needs = KEYS_OF[kind]
            for key in table:
                if key not in ("panel", "kind", *takes) and is_known((*keys, key)):
                    self._wrong(
                        (*keys, key), f"a cut-out of the kind {kind!r} has no {key}", table[key],
                        limit=f"it takes {', '.join(takes)}",
                    )  # fmt: skip
            for key in needs:
                if key not in table:
                    self._missing((*keys, key), f"{key} = ... in mm or inches")
        lengths = {
            k: self._cutout_nm((*keys, k), table.get(k), k)
            for k in ("diameter", "clearance", "radius", "gap")
        }
        size = self._size(keys, table)
        rows, columns = (
            self._whole((*keys, k), table.get(k, 1), MOST_VENTS) or 1 for k in ("rows", "columns")
        )
        edge = cast("Edge | None", self._choice((*keys, "edge"), table.get("edge"), EDGES))
        place = self._place(keys, table)
        if kind == "finger notch":
            self._along_notch(keys, table, edge or "top")
        radius = lengths["radius"]
        if size is not None and radius is not None:
            most = min(size) // 2 if kind == "window" else min(size[0] // 2, size[1])
            if radius > most:
                self._wrong(
                    (*keys, "radius"), "the radius is too large for the size", table["radius"],
                    limit=f"at most {most / 1e6:g} mm",
                )  # fmt: skip
        if len(self.problems) > before or kind is None or place is None:
            return None
        return Cutout(
            panels=panels,
            kind=kind,
            place=place,
            size=size,
            rows=rows,
            columns=columns,
            edge=edge or "top",
            **lengths,
        )

    def _cutout_nm(self, keys: Keys, value: object, window: str) -> int | None:
        if value is None:
            return None
        signed = window == "clearance"
        mm = self._length(keys, value, CUTOUT_WINDOWS[window], signed=signed)
        return None if mm is None else to_nm(mm)

    def _panels(self, keys: Keys, table: dict[str, Any]) -> tuple[str, ...]:
        """One name of a panel, or a list of them."""
        if "panel" not in table:
            self._missing(keys, 'panel = "front", or a list of panels')
            return ()
        value = table["panel"]
        names = value if isinstance(value, list) and value else [value]
        for n, name in enumerate(names):
            at = (*keys, n) if isinstance(value, list) else keys
            if not isinstance(name, str):
                self._wrong(at, "panel is not a name", name, limit="a text in quotes")
            elif not (name in PANELS or DIVIDER_NAME.fullmatch(name) or is_further_panel(name)):
                self._wrong(
                    at, "no such panel", name,
                    limit=f"{', '.join(PANELS)}, lid, drawer-front, divider-x1 and so on",
                    do=nearest_name(name.lower(), (*PANELS, *FURTHER_PANELS)),
                )  # fmt: skip
            elif name in names[:n]:
                self._wrong(at, "a panel stands twice in the list", name)
        return tuple(name for name in names if isinstance(name, str))

    def _size(self, keys: Keys, table: dict[str, Any]) -> tuple[int, int] | None:
        """[left to right, bottom to top]."""
        if "size" not in table:
            return None
        value, at = table["size"], (*keys, "size")
        if not isinstance(value, list) or len(value) != 2:
            self._wrong(
                at, "size must be two lengths", value,
                limit="[left to right, bottom to top], such as [100, 25]",
            )  # fmt: skip
            return None
        x, y = (self._cutout_nm((*at, n), v, "size") for n, v in enumerate(value))
        return None if x is None or y is None else (x, y)

    def _place(self, keys: Keys, table: dict[str, Any]) -> Place | None:
        """The keys that say where."""
        sides = {s: self._cutout_nm((*keys, s), table.get(s), "from") for s in _SIDES}
        edges = self._choice((*keys, "edges"), table.get("edges"), REFERENCES)
        to = self._choice((*keys, "to"), table.get("to"), TO)
        try:
            return Place(
                **sides,
                edges=cast("Reference", edges or "panel"),
                to=cast("To | None", to),
            )
        except InputError as error:
            one = next(s for s in _SIDES[1::2] if s in table and sides[s] is not None)
            self._wrong((*keys, one), error.what, table[one], do=error.do)
            return None

    def _along_notch(self, keys: Keys, table: dict[str, Any], edge: Edge) -> None:
        """A notch starts at its edge: it is placed along that edge only."""
        wrong = _SIDES[2:] if edge in ("top", "bottom") else _SIDES[:2]
        for side in wrong:
            if side in table:
                self._wrong(
                    (*keys, side), f"a notch that is open to the {edge} starts at that edge",
                    table[side], limit="it is placed along its edge only; its depth is in size",
                )  # fmt: skip
