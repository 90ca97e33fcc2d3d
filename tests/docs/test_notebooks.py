"""The notebooks run from top to bottom."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_runs(path: Path) -> None:
    nbformat = pytest.importorskip("nbformat")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the notebook machinery, not of ours
        from nbclient import NotebookClient

        notebook = nbformat.read(path, as_version=4)
        client = NotebookClient(
            notebook, timeout=120, resources={"metadata": {"path": str(path.parent)}}
        )
        client.execute()
    assert any(cell.get("outputs") for cell in notebook.cells)


def test_there_is_one_for_each_use() -> None:
    assert {p.stem[:2] for p in NOTEBOOKS} >= {"01", "02", "03"}
