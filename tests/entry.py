"""Run the command line through its real entry point, in this process, with a book of its own."""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from boxjoint.cli.main import run


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str

    def json(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


Cli = Callable[..., Result]


class Terminal(io.TextIOWrapper):
    """A stdin that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def entry(monkeypatch: pytest.MonkeyPatch, book: Path) -> Cli:
    """Return a caller of the entry point; ``typed`` is what somebody types on a terminal."""
    monkeypatch.setenv("BOXJOINT_BOOK", str(book))

    def call(*words: object, typed: str | None = None) -> Result:
        monkeypatch.setattr(sys, "argv", ["boxjoint", *(os.fspath(w) for w in words)])  # type: ignore[call-overload]
        kind = io.TextIOWrapper if typed is None else Terminal
        stdin = kind(io.BytesIO((typed or "").encode()), encoding="utf-8")
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
        monkeypatch.setattr(sys, "stdin", stdin)
        monkeypatch.setattr(sys, "stdout", out)
        monkeypatch.setattr(sys, "stderr", err)
        with pytest.raises(SystemExit) as end:
            run()
        out.flush()
        err.flush()
        texts = [s.buffer.getvalue().decode() for s in (out, err)]
        assert isinstance(end.value.code, int)
        assert "Traceback" not in texts[1]
        return Result(end.value.code, texts[0], texts[1])

    return call
