"""Read a job file: TOML in, one frozen :class:`~boxjoint.job.records.Job` out, or all that is wrong.

Every number is read exactly, as a decimal or a rational, and rounded once to a nanometre. Nothing is
guessed: an unknown key, a bare number without a unit for it, or a value that could be meant in two
ways is refused, with its line and what was expected.
"""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from boxjoint.errors import JobError, UnitError
from boxjoint.job.keys import Keys
from boxjoint.job.problems import Problem, job_error, quoted
from boxjoint.job.records import Job
from boxjoint.job.tables import TableReader

if TYPE_CHECKING:
    from boxjoint.job.locate import Place
from boxjoint.units import read_length

__all__ = ["MOST_BYTES", "load_toml", "located", "parse_job", "read_job", "read_text"]

#: A job file is a page of text; anything longer is another file.
MOST_BYTES = 1_000_000

_BOM = "\ufeff"
_QUOTE_HINT = (
    'text, fractions and numbers with a unit stand in quotes, as in width = "3 1/8 in"; '
    "a decimal point is a point"
)


def read_job(path: str | PathLike[str], *, proceed: bool = False) -> Job:
    """Read a job from a file.

    Parameters
    ----------
    path
        A TOML file of at most 1 MB, UTF-8 with or without a byte order mark.
    proceed
        True accepts a kerf outside the window of plausible kerfs.

    Returns
    -------
    Job
        ``path`` and ``text`` as read. A title that was left out is the name of the file.

    Raises
    ------
    JobError
        The file is not there, a folder, not readable, too large, empty, not text, not TOML, or not
        a job; ``data["problems"]`` lists all that is wrong in it.
    """
    name = str(path) or str(Path())
    return parse_job(read_text(path), name, proceed=proceed)


def read_text(path: str | PathLike[str], *, what: str = "job") -> str:
    """Read the text of a job or order file; ``what`` it should be, for messages.

    Raises
    ------
    JobError
        The file is not there, a folder, not readable, too large, or not UTF-8 text.
    """
    name = str(path) or str(Path())
    try:
        with Path(path).open("rb") as file:
            # one byte more than a job may have tells, without reading a large file whole
            content = file.read(MOST_BYTES + 1)
            size = file.seek(0, 2) if len(content) > MOST_BYTES and file.seekable() else 0
    except FileNotFoundError:
        raise JobError("no such file", where=name, do="check the name and the folder") from None
    except IsADirectoryError:
        raise JobError("this is a folder", where=name, do=f"name the {what} file in it") from None
    except PermissionError:
        raise JobError("the file may not be read", where=name, do="check its permissions") from None
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise JobError(f"the file cannot be read ({reason})", where=name) from None
    if len(content) > MOST_BYTES:
        raise JobError(
            f"the file is too large for a {what}",
            where=name,
            value=f"{size / 1e6:.1f} MB" if size else "",
            limit="at most 1 MB",
            do=f"name a {what} file",
        )
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise JobError(
            "the file is not UTF-8 text",
            where=f"{name}, line {line}",
            do=f"save it as UTF-8, or name a {what} file",
        ) from None
    if "\0" in text:
        raise JobError("the file is not text", where=name, do=f"name a {what} file")
    return text


def parse_job(text: str, path: str = "<text>", *, proceed: bool = False) -> Job:
    """Read a job from the text of its file.

    Parameters
    ----------
    text
        TOML; a byte order mark in front is skipped.
    path
        Name of the file for messages; without its ending it is the title when there is none.
    proceed
        True accepts a kerf outside the window of plausible kerfs.

    Returns
    -------
    Job
        With ``text`` exactly as given.

    Raises
    ------
    JobError
        As :func:`read_job`.
    """
    plain = text.removeprefix(_BOM)
    if not plain.strip():
        raise JobError(
            "the file is empty", where=path, do="write a starter job with: boxjoint new FILE"
        )
    data = load_toml(plain, path)
    reader = TableReader(data, path, proceed)
    job = reader.job()
    if job is None or reader.problems:
        from boxjoint.job.locate import places

        found = places(plain)
        raise job_error([located(problem, found) for problem in reader.problems], path)
    return dataclasses.replace(job, text=text)


def _number(text: str) -> Decimal:
    """A TOML float, exact; what no decimal can hold becomes NaN, which is refused with its place."""
    try:
        return Decimal(text.replace("_", ""))
    except InvalidOperation:
        return Decimal("nan")


def load_toml(text: str, path: str) -> dict[str, Any]:
    """Parse TOML, its floats as ``Decimal``; what is not valid is refused with its place."""
    try:
        return tomllib.loads(text, parse_float=_number)
    except tomllib.TOMLDecodeError as error:
        what, line, column = str(error), text.rstrip().count("\n") + 1, ""
        if match := re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", what, re.DOTALL):
            what, line, column = match[1], int(match[2]), f", column {match[3]}"
        what = what.removesuffix(" (at end of document)")
        lines = text.split("\n")
        raise JobError(
            f"not valid TOML: {what[:1].lower()}{what[1:]}",
            where=f"{path}, line {line}{column}",
            value=quoted(lines[line - 1]) if line <= len(lines) else "",
            limit=_QUOTE_HINT,
            do=_quotes(lines[line - 1]) if line <= len(lines) else "",
        ) from None
    except RecursionError:
        raise JobError("not a job: lists within lists without end", where=path) from None
    except ValueError as error:
        raise JobError(
            f"not valid TOML: {error}", where=path, do="look for a number of very many digits"
        ) from None


def located(problem: Problem, found: Mapping[Keys, Place]) -> Problem:
    """The problem with its line, and with its value exactly as written."""
    place = found.get(problem.keys)
    if place is None:
        return problem
    value = quoted(place.raw) if problem.written and place.raw else problem.value
    return dataclasses.replace(problem, line=place.line, value=value)


def _quotes(line: str) -> str:
    """How to write a length that stands without its quotes: ``2,25``, ``2.25 mm``, ``3 1/8``."""
    match = re.match(r"\s*([\w.-]+)\s*=\s*([^#\"'\[\]{}]+)", line)
    if match is None:
        return ""
    key, value = match[1], match[2].strip()
    if re.fullmatch(r"[+-]?\d+", value):  # a good number: something else is wrong
        return ""
    try:
        read_length(value, unit="mm", signed=True)
    except UnitError as error:
        return error.do  # a comma that may be a thousands mark: both ways out
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        return f'write {key} = {value.replace(",", ".")}, or {key} = "{value}"'
    return f'write {key} = "{value}"'
