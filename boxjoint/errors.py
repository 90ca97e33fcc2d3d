"""What can go wrong, said so that a maker knows what to change.

One root, :class:`BoxjointError`. Every error keeps its data as attributes and builds its text late,
in one shape: what, where, the value, the limit, what to do. ``exit_code`` is what the command line
leaves with: 2 where a value or a path must change before anything can be proved, 1 where a proof
failed or no such box exists.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

__all__ = [
    "ArrangementError",
    "BookError",
    "BoxjointError",
    "CannotBeCut",
    "FileProblem",
    "InputError",
    "JobError",
    "MissingExtra",
    "ProofFailed",
    "ReadingError",
    "UnitError",
    "nearest_name",
]


class BoxjointError(Exception):
    """Root of all errors that a user can meet.

    Parameters
    ----------
    what
        What is wrong, as a clause without a full stop.
    where
        Where: a file, table and key, a panel, a place in mm.
    value
        The offending value as the user wrote it or with its unit.
    limit
        What would have been accepted.
    do
        What to do about it.
    data
        Further facts, kept as they are for programs that catch the error.
    """

    exit_code = 1

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        value: str = "",
        limit: str = "",
        do: str = "",
        **data: Any,
    ) -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.value = value
        self.limit = limit
        self.do = do
        self.data = data

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        if self.value:
            text += f": {self.value}"
        if self.limit:
            text += f"; {self.limit}"
        if self.do:
            text += f". {self.do[0].upper()}{self.do[1:]}"
        return text if text.endswith((".", "?", "!")) else text + "."

    def __reduce__(self) -> tuple[Any, ...]:
        # keyword-only arguments do not survive the default pickling of exceptions
        state = {k: getattr(self, k) for k in ("where", "value", "limit", "do")}
        return _rebuild, (type(self), self.what, state | self.data)

    def within(self, place: str) -> BoxjointError:
        """Return the same error with ``place`` set in front of where it happened."""
        where = f"{place}: {self.where}" if self.where else place
        return type(self)(
            self.what,
            where=where,
            value=self.value,
            limit=self.limit,
            do=self.do,
            **self.data,
        )


def _rebuild(cls: type[BoxjointError], what: str, state: dict[str, Any]) -> BoxjointError:
    return cls(what, **state)


class InputError(BoxjointError):
    """A value, option or path that the user has to change. Exit code 2."""

    exit_code = 2


class UnitError(InputError):
    """A length, speed or number that cannot be read without guessing."""


class JobError(InputError):
    """A job file that cannot be read: file, table, key, value, what was expected."""


class ReadingError(InputError):
    """A gauge reading or verdict that is refused; names the row."""


class FileProblem(InputError):
    """A file or folder that cannot be read or written as a whole."""


class BookError(InputError):
    """The shop book cannot be read or written as asked; no reading is lost."""


class MissingExtra(InputError):
    """A part of the program that is not installed; says how to get it."""


class CannotBeCut(InputError):
    """Kerf, clearance or relief leaves nothing of a slot, a hole or a tab."""


class ArrangementError(BoxjointError):
    """No such box exists: names the panel and the place. Exit code 1."""


class ProofFailed(BoxjointError):
    """A proof found a fault; ``data['faults']`` lists them. Exit code 1."""


def nearest_name(word: str, known: Iterable[str]) -> str:
    """Return ``'did you mean X?'`` for the nearest known name, or ``''`` when none is near.

    Sorted before matching, so that the suggestion does not depend on the caller's sequence.
    """
    close = difflib.get_close_matches(word, sorted(known), n=1, cutoff=0.6)
    return f"did you mean {str(close[0])!r}?" if close else ""  # an enum's member by its word
