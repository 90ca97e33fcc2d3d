"""Read an order: jobs on the command line, each with its quantity, or one order file that names them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, cast

from boxjoint.errors import InputError, JobError, nearest_name
from boxjoint.job.problems import job_error
from boxjoint.job.read import load_toml, located, read_job, read_text
from boxjoint.job.records import Job, Unit
from boxjoint.job.sheet_tables import SheetReader
from boxjoint.order.records import MOST_BOXES, Line, Order

__all__ = ["ORDER_KEYS", "is_order", "lines_of", "read_order", "split_quantity"]

#: What an order file may hold.
ORDER_KEYS = ("title", "unit", "customer", "note", "jobs", "sheets", "nest")
JOB_KEYS = ("path", "quantity")
#: Jobs of one order.
MOST_JOBS = 500


def is_order(path: Path) -> bool:
    """Whether a file is an order and not a job: it has a ``[[jobs]]`` table."""
    text = read_text(path, what="job or order")
    return re.search(r"^[ \t]*\[\[[ \t]*jobs[ \t]*\]\]", text, re.MULTILINE) is not None


def lines_of(jobs: Sequence[tuple[Job, int]]) -> tuple[Line, ...]:
    """Return the lines of an order, each under a name of its own.

    Jobs of one title are numbered: "Slide tray", "Slide tray (2)".
    """
    seen: dict[str, int] = {}
    out = []
    for job, quantity in jobs:
        n = seen[job.title] = seen.get(job.title, 0) + 1
        group = job.title if n == 1 else f"{job.title} ({n})"
        out.append(Line(job=job, quantity=quantity, group=group))
    return tuple(out)


class _OrderReader(SheetReader):
    """Reads an order file; what is wrong is gathered in ``problems``."""

    def read(self) -> tuple[list[tuple[str, int]], dict[str, Any]]:
        data = self.data
        for key in data:
            if key not in ORDER_KEYS:
                self._wrong(
                    (key,), "no such key or table in an order", data[key],
                    limit=f"known here: {', '.join(ORDER_KEYS)}", do=nearest_name(key, ORDER_KEYS),
                )  # fmt: skip
        self.unit = cast("Unit", self._choice(("unit",), data.get("unit", "mm"), ("mm", "in")))
        texts = {k: self._name((k,), data.get(k)) or "" for k in ("title", "customer", "note")}
        jobs = []
        for n, table in enumerate(data.get("jobs", [])[:MOST_JOBS]):
            if not isinstance(table, dict):
                self._wrong(("jobs", n), "not a table", table, limit='path = "tray.toml"')
                continue
            for key in table:
                if key not in JOB_KEYS:
                    self._wrong(
                        ("jobs", n, key), "no such key in a job of an order", table[key],
                        limit=f"known here: {', '.join(JOB_KEYS)}", do=nearest_name(key, JOB_KEYS),
                    )  # fmt: skip
            path = self._name(("jobs", n, "path"), table.get("path"))
            quantity = table.get("quantity", 1)
            if not isinstance(quantity, int) or isinstance(quantity, bool) or not (
                1 <= quantity <= MOST_BOXES
            ):  # fmt: skip
                self._wrong(
                    ("jobs", n, "quantity"), "no such quantity", quantity,
                    limit=f"a whole number from 1 to {MOST_BOXES}",
                )  # fmt: skip
                quantity = 1
            if not path:
                self._wrong(
                    ("jobs", n), "this job has no path", table, do='write path = "tray.toml"'
                )
            else:
                jobs.append((path, quantity))
        if len(data.get("jobs", [])) > MOST_JOBS:
            self._wrong(("jobs",), "too many jobs", data["jobs"], limit=f"at most {MOST_JOBS}")
        nest = self._read_nest() if "nest" in data else None
        return jobs, {**texts, "sheets": self._read_sheets(), "nest": nest}


def read_order(path: Path, *, proceed: bool = False) -> Order:
    """Read an order file and the jobs that it names, their paths taken from its own folder.

    Raises
    ------
    JobError
        With the file, the line and the key of all that is wrong.
    """
    name = str(path)
    text = read_text(path, what="order")
    plain = text.removeprefix("\ufeff")
    reader = _OrderReader(load_toml(plain, name), name, proceed)
    jobs, rest = reader.read()
    if reader.problems:
        from boxjoint.job.locate import places

        found = places(plain)
        raise job_error([located(problem, found) for problem in reader.problems], name)
    if not jobs:
        raise JobError(
            "an order needs a job", where=name, do='write [[jobs]] with path = "tray.toml"'
        )
    read = [(read_job(path.parent / p, proceed=proceed), n) for p, n in jobs]
    unit = reader.unit if "unit" in reader.data else read[0][0].unit
    return Order(
        title=rest.pop("title") or path.stem,
        unit=cast("Unit", unit),
        lines=lines_of(read),
        path=name,
        **rest,
    )


def split_quantity(text: str) -> tuple[Path, int]:
    """Read ``tray.toml`` or ``tray.toml=3``; a file whose name has such an end is taken as it is.

    Raises
    ------
    InputError
        A quantity that is none.
    """
    path, eq, number = text.rpartition("=")
    if not eq or Path(text).exists():
        return Path(text), 1
    if not re.fullmatch(r"[0-9]{1,6}", number) or not 1 <= int(number) <= MOST_BOXES:
        raise InputError(
            "no such quantity",
            where=text,
            value=number,
            limit=f"a whole number from 1 to {MOST_BOXES}, as in tray.toml=3",
        )
    return Path(path), int(number)
