"""Single values of a job file: lengths, names and choices, each checked against its window.

Nothing is guessed and nothing stops at the first slip: what is wrong is noted, and the value is then
``None``. The tables that hold the values are read in ``tables.py`` and ``filling_tables.py``.
"""

from __future__ import annotations

import dataclasses
import unicodedata
from decimal import Decimal
from fractions import Fraction
from typing import Any

from boxjoint.errors import UnitError, nearest_name
from boxjoint.job.keys import Keys, is_known, known_keys, suggest_key
from boxjoint.job.limits import (
    MOST_READINGS,
    WINDOWS,
    Window,
    outside,
    thickness_problem,
)
from boxjoint.job.problems import Problem, quoted
from boxjoint.job.records import Thickness, Unit
from boxjoint.units import read_length, to_nm

__all__ = ["MOST_NAME", "ValueReader", "plain_value"]

#: Characters of a name.
MOST_NAME = 200
_LENGTH_WANTED = 'a number, or a text with its unit such as "6.35 mm" or "3 1/8 in"'


def plain_value(value: object) -> str:
    """Return a value as TOML would have it, as far as a message needs it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(f'"{value}"')
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, int) and abs(value) > 10**30:
        return "a number of many digits"
    return quoted(str(value))


class ValueReader:
    """Reads the tables of one document and gathers what is wrong on the way in ``problems``.

    Parameters
    ----------
    data
        The document, its floats as ``Decimal``.
    path
        Name of the file; without its ending it is the title when there is none.
    proceed
        True accepts a kerf outside the window of plausible kerfs.

    Notes
    -----
    Every method returns ``None`` for what is left out and for what it has found wrong; the caller
    builds a job only when nothing was.
    """

    def __init__(self, data: dict[str, Any], path: str, proceed: bool) -> None:
        self.data = data
        self.path = path
        self.proceed = proceed
        self.unit: Unit | None = None
        self.problems: list[Problem] = []

    def _wrong(
        self, keys: Keys, what: str, value: object, *, limit: str = "", do: str = ""
    ) -> None:
        """Note that the value at ``keys`` cannot stay."""
        self.problems.append(
            Problem(
                keys=keys, what=what, value=plain_value(value), written=True, limit=limit, do=do
            )
        )

    def _missing(self, keys: Keys, example: str) -> None:
        """Note that a key has to be written; the place named is its table."""
        *table, name = keys
        self.problems.append(
            Problem(keys=tuple(table), table=True, what=f"{name} is missing", do=f"write {example}")
        )

    def _table(self, keys: Keys) -> dict[str, Any]:
        """The table at ``keys``, empty where it is left out or not a table; refuses unknown keys."""
        value: Any = self.data
        for key in keys:
            if not isinstance(value, dict):  # noted where the table above was read
                return {}
            value = value.get(key, {})
        if not isinstance(value, dict):
            self._wrong(keys, f"{keys[-1]} must be a table", value)
            return {}
        known = known_keys(keys) or ()
        for name, inner in value.items():
            whole = (*keys, name)
            if not is_known(whole):
                self.problems.append(
                    Problem(
                        keys=whole,
                        what="no such table" if isinstance(inner, dict) else "no such key",
                        table=isinstance(inner, dict),
                        limit=f"known here: {', '.join(known)}",
                        do=suggest_key(whole),
                    )
                )
        return value

    def _length(
        self, keys: Keys, value: object, window: Window, *, signed: bool = False
    ) -> Fraction | None:
        """A length inside its window, mm, exact."""
        if isinstance(value, bool) or not isinstance(value, int | Decimal | str):
            self._wrong(keys, f"{window.name} is not a length", value, limit=_LENGTH_WANTED)
            return None
        if self.unit is None and not isinstance(value, str):
            return None  # the missing unit is the problem
        try:
            mm = read_length(value, unit=self.unit or "mm", what=window.name, signed=signed)
        except UnitError as error:
            self._wrong(keys, error.what, value, limit=error.limit, do=error.do)
            return None
        return self._inside_window(keys, value, window, mm)

    def _inside_window(
        self, keys: Keys, value: object, window: Window, read: Fraction
    ) -> Fraction | None:
        """The value as read, or ``None`` where its window refuses it."""
        problem = outside(window, keys, read, unit=self.unit or "mm", proceed=self.proceed)
        if problem is None:
            return read
        shown = "" if window.form == "ratio" else problem.value
        self.problems.append(
            dataclasses.replace(problem, value=plain_value(value), read=shown, written=True)
        )
        return None

    def _length_nm(self, keys: Keys, value: object, *, signed: bool = False) -> int | None:
        """A length with the window of its key, rounded once to nm; ``None`` where it is left out."""
        if value is None:
            return None
        mm = self._length(keys, value, WINDOWS[str(keys[-1])], signed=signed)
        return None if mm is None else to_nm(mm)

    def _choice(self, keys: Keys, value: object, names: tuple[str, ...]) -> str | None:
        """One of the names."""
        if value is None or (isinstance(value, str) and value in names):
            return value
        near = nearest_name(value.lower(), names) if isinstance(value, str) else ""
        quoted_names = ", ".join(f'"{name}"' for name in names)
        self._wrong(keys, f"{keys[-1]} is none of the known", value, limit=quoted_names, do=near)
        return None

    def _name(self, keys: Keys, value: object) -> str | None:
        """A line of text."""
        if value is None:
            return None
        if not isinstance(value, str):
            self._wrong(keys, f"{keys[-1]} must be text", value, limit="a text in quotes")
        elif len(value) > MOST_NAME:
            self._wrong(keys, f"{keys[-1]} is too long", value, limit=f"{MOST_NAME} characters")
        elif any(unicodedata.category(char) in ("Cc", "Zl", "Zp") for char in value):
            self._wrong(keys, f"{keys[-1]} must be one line of plain text", value)
        else:
            return value
        return None

    def _thickness(self, keys: Keys, value: object) -> Thickness | None:
        """One number, or a list of readings."""
        if value is None:
            return None
        window = WINDOWS["thickness"]
        if not isinstance(value, list):
            mm = self._length(keys, value, window)
            return None if mm is None else Thickness(readings=(to_nm(mm),), measured=False)
        if not value:
            self._wrong(keys, "no thickness readings in the list", value, limit="at least one")
            return None
        if len(value) > MOST_READINGS:
            self._wrong(
                keys, f"{len(value)} thickness readings", value, limit=f"at most {MOST_READINGS}"
            )
            return None
        read = [self._length((*keys, n), item, window) for n, item in enumerate(value)]
        readings = [mm for mm in read if mm is not None]
        if len(readings) < len(value):
            return None
        problem = thickness_problem(keys, readings, unit=self.unit or "mm")
        if problem is not None:
            self.problems.append(problem)
            return None
        return Thickness(readings=tuple(map(to_nm, readings)), measured=True)
