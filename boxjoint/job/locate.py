"""Where in a job file a value stands, and how it was written there.

The standard TOML reader keeps no places, so this is a light scan of the same text: enough to name a
line in a message. It runs only when there is something to say. A wrong line would be worse than none:
the scan's keys are compared with the reader's, and where they differ no place is given at all.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from dataclasses import dataclass, field
from typing import Any

from boxjoint.job.keys import Keys

__all__ = ["Place", "places"]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'  # up to two quotes may stand before the closing three
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\r\n]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a value stands.

    Parameters
    ----------
    line
        Line of the key (of the value, in a list), counted from 1.
    raw
        The value as written; empty for a table.
    """

    line: int
    raw: str


class _Lost(Exception):
    """The scan met something that it does not know."""


@dataclass(slots=True)
class _Scan:
    text: str
    at: int = 0
    found: dict[Keys, Place] = field(default_factory=dict)
    leaves: set[Keys] = field(default_factory=set)
    arrays: dict[Keys, int] = field(default_factory=dict)
    ends: list[int] = field(default_factory=list)

    def run(self) -> None:
        self.ends = [m.start() for m in re.finditer("\n", self.text)]
        base: Keys = ()
        self.skip(_BLANK)
        while self.at < len(self.text):
            if self.text.startswith("[", self.at):
                base = self.header()
            else:
                self.pair(base)
            self.skip(_BLANK)

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise _Lost
        self.at = match.end()
        return match.group()

    def expect(self, mark: str) -> None:
        if not self.text.startswith(mark, self.at):
            raise _Lost
        self.at += len(mark)

    def line(self, position: int) -> int:
        return bisect_left(self.ends, position) + 1

    def key(self) -> tuple[str, ...]:
        names = []
        while True:
            self.skip(_SPACE)
            name = self.skip(_KEY)
            if name[0] in "\"'":
                (name,) = tomllib.loads(f"{name} = 0")
            names.append(name)
            self.skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return tuple(names)
            self.at += 1

    def note(self, keys: Keys, base: int, line: int, raw: str = "") -> None:
        """Record a place, and the same line for the tables that its dotted key opens."""
        for depth in range(base + 1, len(keys)):
            self.found.setdefault(keys[:depth], Place(line=line, raw=""))
        self.found.setdefault(keys, Place(line=line, raw=raw))

    def header(self) -> Keys:
        line = self.line(self.at)
        double = self.text.startswith("[[", self.at)
        self.expect("[[" if double else "[")
        names = self.key()
        self.expect("]]" if double else "]")
        keys: Keys = ()
        for depth, name in enumerate(names, 1):
            keys = (*keys, name)
            if double and depth == len(names):
                self.found.setdefault(keys, Place(line=line, raw=""))
                self.arrays[keys] = self.arrays.get(keys, -1) + 1
            if keys in self.arrays:  # what follows belongs to the last table of the list
                keys = (*keys, self.arrays[keys])
        self.note(keys, 0, line)
        return keys

    def pair(self, base: Keys) -> None:
        line = self.line(self.at)
        keys = self.key()
        self.expect("=")
        self.skip(_SPACE)
        start = self.at
        whole = (*base, *keys)
        self.note(whole, len(base), line)
        self.value(whole)
        self.found[whole] = Place(line=line, raw=self.text[start : self.at].rstrip())

    def value(self, keys: Keys) -> None:
        first = self.text[self.at : self.at + 1]
        if first == "[":
            self.array(keys)
        elif first == "{":
            self.inline(keys)
        else:
            self.skip(_STRING if first in ("'", '"') else _SCALAR)
            self.leaves.add(keys)

    def array(self, keys: Keys) -> None:
        self.expect("[")
        number = 0
        self.skip(_BLANK)
        while not self.text.startswith("]", self.at):
            item = (*keys, number)
            start = self.at
            self.value(item)
            raw = self.text[start : self.at].rstrip()
            self.found[item] = Place(line=self.line(start), raw=raw)
            number += 1
            self.skip(_BLANK)
            if self.text.startswith(",", self.at):
                self.at += 1
            self.skip(_BLANK)
        self.at += 1

    def inline(self, keys: Keys) -> None:
        self.expect("{")
        self.skip(_BLANK)
        while not self.text.startswith("}", self.at):
            self.pair(keys)
            self.skip(_BLANK)
            if self.text.startswith(",", self.at):
                self.at += 1
            self.skip(_BLANK)
        self.at += 1


def _leaves(value: Any, keys: Keys) -> set[Keys]:
    if isinstance(value, dict):
        return set().union(*(_leaves(v, (*keys, k)) for k, v in value.items()))
    if isinstance(value, list):
        return set().union(*(_leaves(v, (*keys, n)) for n, v in enumerate(value)))
    return {keys}


def places(text: str) -> dict[Keys, Place]:
    """Find the place of every key, list item and table of a TOML document.

    Parameters
    ----------
    text
        A document that the standard reader accepts.

    Returns
    -------
    dict
        By the way to the value, from the top of the document; tables of a list go by their place in
        it, from 0. Tables carry the line where they are first named. Empty when the scan and the
        reader disagree about the keys of the document.
    """
    scan = _Scan(text)
    try:
        scan.run()
        data = tomllib.loads(text)
    except (_Lost, ValueError, RecursionError):
        return {}
    return scan.found if scan.leaves == _leaves(data, ()) else {}
