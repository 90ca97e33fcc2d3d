"""The JSON Schema of a job file, with which an editor completes and checks keys while one types.

The schema knows kinds and names; windows of size depend on the unit and are the reader's. Run
``python -m boxjoint.job.schema`` to print where it is installed.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

__all__ = ["SCHEMA_PATH", "job_schema"]

#: Where the schema stands: JSON Schema, draft 2020-12.
SCHEMA_PATH = Path(__file__).with_name("job.schema.json")


def job_schema() -> dict[str, Any]:
    """Return the schema as read from its file."""
    schema: dict[str, Any] = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    return schema


if __name__ == "__main__":
    print(SCHEMA_PATH)
