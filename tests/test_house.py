"""The house: layers, size of rooms, names, no noise, cheap to enter."""

from __future__ import annotations

import ast
import importlib
import json
import subprocess
import sys
from pathlib import Path

import pytest

import seallife

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "seallife"
MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p.name != "__init__.py")
# A data page reads better whole; all other modules keep to the rule.
LONG_BY_RIGHT = {"schema.py"}
MOST_LINES = 400


def _run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("mypy",),
        ("codespell_lib", "seallife", "README.md", "DEVELOPERS.md", "notebooks"),
    ],
    ids=lambda c: " ".join(c[:2]),
)
def test_tools_find_nothing(command: tuple[str, ...]) -> None:
    done = _run(*command)
    assert done.returncode == 0, done.stdout[-4_000:] + done.stderr[-2_000:]


def test_arrows_point_one_way() -> None:
    from importlinter.cli import lint_imports

    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_rooms_are_small_and_say_what_is_public(path: Path) -> None:
    text = path.read_text("utf-8")
    if path.name not in LONG_BY_RIGHT:
        assert text.count("\n") <= MOST_LINES, "split it: a module has one subject"
    tree = ast.parse(text)
    assert ast.get_docstring(tree), "says not what it is for"
    public = [
        n.name
        for n in tree.body
        if isinstance(n, ast.FunctionDef | ast.ClassDef) and not n.name.startswith("_")
    ]
    module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    listed = list(module.__all__)
    assert listed == sorted(listed, key=lambda n: (not n.isupper(), n.swapcase())) or set(listed)
    missing = [n for n in listed if not hasattr(module, n)]
    assert not missing
    assert set(listed) & set(public) or not public or path.name == "cli.py"


def test_most_rooms_keep_to_300_lines() -> None:
    long = [p.name for p in MODULES if p.read_text("utf-8").count("\n") > 300]
    assert len(long) <= len(MODULES) // 10, long


def test_public_names_exist_and_are_lazy() -> None:
    for name in seallife.__all__:
        assert getattr(seallife, name) is not None
    assert set(dir(seallife)) == {*seallife.__all__, "__version__"}
    with pytest.raises(AttributeError, match="no_such"):
        seallife.no_such  # noqa: B018
    loaded = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys, seallife; print([m for m in ('numpy', 'pandas', 'scipy', 'plotly', "
            "'pydantic') if m in sys.modules])",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert loaded.stdout.strip() == "[]"


def test_importing_every_module_loads_no_heavy_library_that_is_not_needed() -> None:
    """lifelines and reliability are for tests; scipy.stats, plotly and pint come when used."""
    code = (
        "import sys, seallife.study, seallife.trace, seallife.intake; "
        "print([m for m in ('lifelines', 'reliability', 'matplotlib', 'scipy.stats', 'plotly', "
        "'pint', 'openpyxl') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("path", sorted((ROOT / "notebooks").glob("*.ipynb")), ids=lambda p: p.name)
def test_notebooks_are_thin_and_keep_checked_outputs_only(path: Path) -> None:
    cells = json.loads(path.read_text("utf-8"))["cells"]
    code = [c for c in cells if c["cell_type"] == "code"]
    text = ["".join(c["source"]) for c in code]
    assert len(code) <= 12
    assert not any(line.startswith("def ") for t in text for line in t.splitlines())
    assert "parameters" in code[0]["metadata"].get("tags", [])
    first = "".join(cells[0]["source"])
    assert "Question." in first
    assert "never a reason to run a pump past a leak limit" in first
    for c, t in zip(code, text, strict=True):
        assert bool(c["outputs"]) == t.startswith("# NBVAL_CHECK_OUTPUT")


def test_package_says_nothing_out_loud() -> None:
    """T20 keeps out print; nothing writes to the standard streams but the command line."""
    for path in MODULES:
        if path.name != "cli.py":
            assert "sys.stdout" not in path.read_text("utf-8"), path
