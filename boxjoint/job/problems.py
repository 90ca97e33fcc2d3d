"""What is wrong in a job file: one record a problem, and the error that lists them all.

A maker who has made three slips wants to hear of all three at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from boxjoint.errors import JobError
from boxjoint.job.keys import Keys, key_name

__all__ = ["Problem", "job_error", "quoted"]

# a file of nonsense would otherwise fill the screen
_LISTED = 20
_SHOWN = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing to change in a job.

    Parameters
    ----------
    keys
        The way to the value; empty for the file as a whole.
    what, value, limit, do
        As in :class:`boxjoint.errors.BoxjointError`.
    read
        What the value was read as, in both systems, where that helps.
    written
        True where ``value`` is the value at ``keys`` itself, and not a remark about it.
    table
        True where ``keys`` names a table.
    line
        Line in the file, counted from 1; 0 when it is not known.
    """

    keys: Keys
    what: str
    value: str = ""
    limit: str = ""
    do: str = ""
    read: str = ""
    written: bool = False
    table: bool = False
    line: int = 0

    def where(self, path: str = "") -> str:
        """Return the place for people: file, line and key, as far as each is known."""
        line = f"line {self.line}" if self.line else ""
        name = key_name(self.keys, table=self.table) if self.keys else ""
        return ", ".join(part for part in (path, line, name) if part)

    def error(self, path: str = "") -> JobError:
        """Return this problem alone as an error."""
        again = self.read and self.read != self.value
        return JobError(
            self.what,
            where=self.where(path),
            value=f"{self.value} = {self.read}" if again else self.value,
            limit=self.limit,
            do=self.do,
            problems=(self,),
        )


def quoted(raw: str) -> str:
    """Return a value as written, on one line and cut short when it is long."""
    line = " ".join(raw.split())
    return line if len(line) <= _SHOWN else f"{line[: _SHOWN - 3]}..."


def job_error(problems: Sequence[Problem], path: str = "") -> JobError:
    """Return one error for all problems, in the sequence of the file.

    Parameters
    ----------
    problems
        At least one.
    path
        Name of the file, for the message.

    Returns
    -------
    JobError
        ``data["problems"]`` is the tuple of all of them. A single problem gives its own where,
        value, limit and do; of several, each stands on a line of the text.
    """
    ranked = tuple(sorted(problems, key=lambda p: p.line or float("inf")))
    if len(ranked) == 1:
        return ranked[0].error(path)
    lines = [f"  {problem.error()}" for problem in ranked[:_LISTED]]
    if len(ranked) > _LISTED:
        lines.append(f"  and {len(ranked) - _LISTED} more.")
    text = "\n".join([f"{len(ranked)} things to change:", *lines])
    return JobError(text, where=path, problems=ranked)
