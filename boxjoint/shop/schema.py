"""The SQL of the shop book, by version, and the way from any older version to the newest.

``PRAGMA application_id`` says that a file is a shop book, ``PRAGMA user_version`` of which version.
A new book goes through all the steps like an old one, so that there is one way only to the newest
schema. A step once published is never edited: write the next one.

Every record is one row of ``entry`` (content id, kind, date) and one row of the table of its kind;
readings, verdicts and insides are rows of their own. Columns carry the names of the records' fields
with their units, so that the file can still be read when this program is forgotten. Triggers refuse
every change and every deletion, whichever program tries. ``derived`` is the exception: it remembers
computed results, holds nothing that was measured, and may be emptied at any time.
"""

from __future__ import annotations

import sqlite3
from typing import Final

__all__ = ["APPLICATION_ID", "STEPS", "TABLES", "VERSION", "migrate"]

#: "bxjt" as a big-endian number.
APPLICATION_ID: Final = 0x62786A74

_V1 = """
CREATE TABLE entry (
  seq  INTEGER PRIMARY KEY,
  id   TEXT NOT NULL UNIQUE,
  kind TEXT NOT NULL,
  at   TEXT NOT NULL
) STRICT;
CREATE INDEX entry_by_kind ON entry (kind, at);

CREATE TABLE machine (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  name TEXT NOT NULL, bed_x_mm REAL, bed_y_mm REAL, note TEXT NOT NULL
) STRICT;
CREATE TABLE sheet (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  material TEXT NOT NULL, thickness_mm TEXT NOT NULL, label_mm REAL,
  batch TEXT NOT NULL, note TEXT NOT NULL
) STRICT;
CREATE TABLE settings (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  name TEXT NOT NULL, speed REAL, speed_unit TEXT NOT NULL, power_percent REAL,
  passes INTEGER NOT NULL, air TEXT NOT NULL, focus_mm REAL, lens TEXT NOT NULL,
  note TEXT NOT NULL
) STRICT;

CREATE TABLE gauge (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  machine TEXT NOT NULL,
  sheet TEXT NOT NULL REFERENCES entry (id),
  settings TEXT NOT NULL REFERENCES entry (id),
  caliper_step_mm REAL, source TEXT NOT NULL, cut_hours REAL, note TEXT NOT NULL
) STRICT;
CREATE INDEX gauge_by_machine ON gauge (machine);
CREATE TABLE gauge_readings (
  entry INTEGER NOT NULL REFERENCES gauge,
  row INTEGER NOT NULL CHECK (row >= 1),
  form TEXT NOT NULL, axis TEXT NOT NULL, drawn_mm REAL NOT NULL, values_mm TEXT NOT NULL,
  slices INTEGER NOT NULL, cut_ends INTEGER NOT NULL, contour TEXT NOT NULL,
  jaw TEXT NOT NULL, u_mm REAL, turned INTEGER NOT NULL,
  PRIMARY KEY (entry, row)
) STRICT, WITHOUT ROWID;

CREATE TABLE comb (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  machine TEXT NOT NULL,
  sheet TEXT NOT NULL REFERENCES entry (id),
  settings TEXT NOT NULL REFERENCES entry (id),
  axis TEXT NOT NULL, round INTEGER NOT NULL, own_tab INTEGER NOT NULL, segment_mm REAL,
  source TEXT NOT NULL, note TEXT NOT NULL
) STRICT;
CREATE INDEX comb_by_machine ON comb (machine);
CREATE TABLE comb_verdicts (
  entry INTEGER NOT NULL REFERENCES comb,
  row INTEGER NOT NULL CHECK (row >= 1),
  x_mm REAL NOT NULL, verdict TEXT NOT NULL,
  PRIMARY KEY (entry, row)
) STRICT, WITHOUT ROWID;

CREATE TABLE box (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  machine TEXT NOT NULL,
  sheet TEXT NOT NULL REFERENCES entry (id),
  settings TEXT NOT NULL REFERENCES entry (id),
  kerf_x_mm REAL NOT NULL, kerf_y_mm REAL NOT NULL,
  scale_x REAL NOT NULL, scale_y REAL NOT NULL,
  clearance_mm REAL, fit TEXT NOT NULL, "order" TEXT NOT NULL,
  source TEXT NOT NULL, cut_hours REAL, note TEXT NOT NULL
) STRICT;
CREATE INDEX box_by_machine ON box (machine);
CREATE TABLE box_insides (
  entry INTEGER NOT NULL REFERENCES box,
  row INTEGER NOT NULL CHECK (row >= 1),
  axis TEXT NOT NULL, asked_mm REAL NOT NULL, measured_mm REAL NOT NULL, u_mm REAL,
  PRIMARY KEY (entry, row)
) STRICT, WITHOUT ROWID;

CREATE TABLE service (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  machine TEXT NOT NULL, what TEXT NOT NULL, affects TEXT NOT NULL, cut_hours REAL
) STRICT;

CREATE TABLE strike (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  target TEXT NOT NULL REFERENCES entry (id),
  row INTEGER NOT NULL CHECK (row >= 0), reason TEXT NOT NULL
) STRICT;

CREATE TABLE derived (
  family TEXT NOT NULL, key TEXT NOT NULL, body TEXT NOT NULL,
  PRIMARY KEY (family, key)
) STRICT, WITHOUT ROWID;
"""

_V2 = """
CREATE TABLE offcut (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  sheet TEXT NOT NULL REFERENCES entry (id),
  x_mm REAL NOT NULL, y_mm REAL NOT NULL, count INTEGER NOT NULL,
  "order" TEXT NOT NULL, note TEXT NOT NULL
) STRICT;
CREATE TABLE offcut_use (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  offcut TEXT NOT NULL REFERENCES entry (id),
  count INTEGER NOT NULL, "order" TEXT NOT NULL
) STRICT;
CREATE TABLE rate (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  name TEXT NOT NULL, value REAL NOT NULL, per TEXT NOT NULL, currency TEXT NOT NULL,
  note TEXT NOT NULL
) STRICT;
CREATE TABLE log (
  entry INTEGER PRIMARY KEY REFERENCES entry,
  "order" TEXT NOT NULL, machine TEXT NOT NULL,
  settings TEXT NOT NULL REFERENCES entry (id),
  machine_s REAL, estimate_s REAL, labour_s REAL,
  cut_mm REAL, mark_mm REAL, travel_mm REAL,
  pierces INTEGER, corners INTEGER, sheets INTEGER,
  cut_hours REAL, source TEXT NOT NULL, note TEXT NOT NULL
) STRICT;
CREATE INDEX log_by_machine ON log (machine);
"""

_V3 = """
ALTER TABLE log ADD COLUMN engrave_s REAL;
"""

_V1_TABLES = (
    "entry",
    "machine",
    "sheet",
    "settings",
    "gauge",
    "gauge_readings",
    "comb",
    "comb_verdicts",
    "box",
    "box_insides",
    "service",
    "strike",
)
#: Tables whose rows belong to a record of another table.
_ROW_TABLES = ("gauge_readings", "comb_verdicts", "box_insides")
_V2_TABLES = ("offcut", "offcut_use", "rate", "log")

#: Tables that hold records; all of them are append only.
TABLES: Final = _V1_TABLES + _V2_TABLES


def _append_only(table: str) -> str:
    """Triggers that refuse a change; the third one stops INSERT OR REPLACE, which fires no other."""
    if table == "entry":
        there = "seq = NEW.seq OR id = NEW.id"
    elif table in _ROW_TABLES:
        there = "entry = NEW.entry AND row = NEW.row"
    else:
        there = "entry = NEW.entry"
    say = "RAISE(ABORT, 'the shop book is append only: strike a record out instead')"
    return f"""
CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN SELECT {say}; END;
CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN SELECT {say}; END;
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
  WHEN EXISTS (SELECT 1 FROM {table} WHERE {there}) BEGIN SELECT {say}; END;
"""


#: Step n (from 0) takes a book of version n to version n + 1.
STEPS: Final[tuple[str, ...]] = (
    _V1 + "".join(map(_append_only, _V1_TABLES)),
    _V2 + "".join(map(_append_only, _V2_TABLES)),
    _V3,
)
#: The version that this program writes.
VERSION: Final = len(STEPS)


def _statements(script: str) -> list[str]:
    """Split a script into statements; a trigger's body holds semicolons of its own."""
    out, held = [], ""
    for line in script.splitlines(keepends=True):
        held += line
        if held.strip() and sqlite3.complete_statement(held):
            out.append(held.strip())
            held = ""
    return out


def migrate(db: sqlite3.Connection, steps: tuple[str, ...] = STEPS) -> tuple[int, int]:
    """Take a book to the newest version in one transaction: all of it, or nothing.

    ``db`` must be in autocommit mode. The version is read again inside the transaction, since
    another program may be doing the same. Returns the versions before and after.

    Raises
    ------
    sqlite3.Error
        As SQLite raises it; nothing was changed.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        (before,) = db.execute("PRAGMA user_version").fetchone()
        for step in steps[before:]:
            # not executescript(): that would commit before it starts
            for statement in _statements(step):
                db.execute(statement)
        if before < len(steps):
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute(f"PRAGMA user_version = {len(steps)}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
    return int(before), max(int(before), len(steps))
