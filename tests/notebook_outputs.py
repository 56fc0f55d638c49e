"""Run the notebooks and keep the outputs of their checked cells: after a figure moved for a reason.

    python tests/notebook_outputs.py [NOTEBOOK ...]

Only cells that begin with ``# NBVAL_CHECK_OUTPUT`` keep an output; what changed is printed. Say why
in the README's list of changes.
"""

from __future__ import annotations

import difflib
import json
import sys
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[1] / "notebooks"


def refresh(path: Path) -> list[str]:
    """Run a notebook, write it back, and return the lines of output that changed."""
    import nbformat
    from nbclient import NotebookClient

    notebook = nbformat.read(path, as_version=4)
    before = [_text(c) for c in notebook.cells]
    NotebookClient(notebook, timeout=600, resources={"metadata": {"path": str(FOLDER)}}).execute()
    changed: list[str] = []
    for cell, old in zip(notebook.cells, before, strict=True):
        if cell.cell_type != "code":
            continue
        cell.metadata.pop("execution", None)
        if not cell.source.startswith("# NBVAL_CHECK_OUTPUT"):
            cell.execution_count, cell.outputs = None, []
            continue
        for output in cell.outputs:
            output.pop("execution_count", None)
        changed += list(difflib.unified_diff(old, _text(cell), lineterm="", n=0))
    notebook.metadata = {
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    text = json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True)
    path.write_text(text + "\n", "utf-8")
    return changed


def _text(cell: Any) -> list[str]:
    return "".join(o.get("text", "") for o in cell.get("outputs", [])).splitlines()


if __name__ == "__main__":
    chosen = [Path(a) for a in sys.argv[1:]] or sorted(FOLDER.glob("*.ipynb"))
    for each in chosen:
        lines = refresh(each)
        sys.stdout.write("\n".join([f"{each.name}: {len(lines)} lines changed", *lines]) + "\n")
