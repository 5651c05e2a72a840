"""Who may import whom, who may write the ledger, and what stays small."""

from __future__ import annotations

import ast
import itertools
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PURE_PACKAGES = ("stock/advisor", "stock/estimators", "stock/marks")
PURE_FILES = ("ponds/units.py", "ponds/names.py", "ponds/incubation.py", "ponds/clutches.py")
# What an import from one part may name: config -> stock -> ponds.
FORBIDDEN = {"ponds": {"stock", "config"}, "stock": {"config"}}
# Tables that only the ledger writes, by model and by table. (The mix of batches is computed, not booked.)
LEDGER_MODELS = {
    "Entry",
    "Move",
    "MonthEnd",
    "MonthClose",
    "Cell",
    "Count",
    "CountHaul",
    "CountReversal",
    "MarkStep",
}
LEDGER_TABLES = {f"stock_{model.lower()}" for model in LEDGER_MODELS}
WRITING_METHODS = {
    "create",
    "bulk_create",
    "get_or_create",
    "update_or_create",
    "update",
    "bulk_update",
    "delete",
    "save",
    "_raw_delete",
}
LONGEST_FILE = 600


def sources(*parts: str) -> list[Path]:
    """Return the Python files of these folders, without migrations."""
    return sorted(
        path
        for part in parts
        for path in (ROOT / part).rglob("*.py")
        if "migrations" not in path.parts and "__pycache__" not in path.parts
    )


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def dotted(path: Path) -> str:
    parts = list(path.relative_to(ROOT).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and module of every import of a file, those inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}:{node.lineno} imports relatively"
            yield node.lineno, node.module or ""


def is_ledger(path: Path) -> bool:
    """Say whether a file is the door or one of its private modules."""
    return path.parent == ROOT / "stock" and (path.name == "ledger.py" or path.name.startswith("ledger_"))


PURE = [dotted(path) for path in sources(*PURE_PACKAGES)] + [dotted(ROOT / name) for name in PURE_FILES]


def test_what_computes_can_be_found():
    assert {"stock.advisor.allocation", "stock.advisor.ratio", "ponds.units", "ponds.names"} <= set(PURE)


def test_what_computes_imports_no_django():
    code = f"""
import importlib, sys
for name in {PURE!r}:
    importlib.import_module(name)
    foreign = sorted({{module.partition(".")[0] for module in sys.modules}} & {{"django", "config"}})
    assert not foreign, f"{{name}} brings in {{foreign}}"
    assert "stock.models" not in sys.modules, name
"""
    done = subprocess.run(
        [sys.executable, "-I", "-c", f"import sys; sys.path.insert(0, {str(ROOT)!r})\n{code}"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("part", FORBIDDEN)
def test_imports_run_from_config_to_stock_to_ponds_only(part):
    wrong = [
        f"{name_of(path)}:{line} imports {module}"
        for path in sources(part)
        for line, module in imports_of(path)
        if module.partition(".")[0] in FORBIDDEN[part]
    ]
    assert wrong == []


def test_nothing_but_tests_imports_tests():
    wrong = [
        f"{name_of(path)}:{line}"
        for path in sources("config", "ponds", "stock")
        for line, module in imports_of(path)
        if module.partition(".")[0] == "tests"
    ]
    assert wrong == []


def ledger_writes(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield line and words of each call that makes, changes or deletes a row of the ledger.

    Seen are `Entry(...)` where that is the model and not a namesake, any chain that starts at `Entry.objects` and
    ends in a writing method, and SQL that names one of the tables.
    """
    models = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("stock.models")
        for alias in node.names
        if alias.name in LEDGER_MODELS
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            words = node.value.replace('"', " ").replace("(", " ").upper().split()
            for verb, table in itertools.pairwise(words):
                is_write = verb in ("INTO", "UPDATE") or (verb == "FROM" and "DELETE" in words)
                if is_write and table.lower() in LEDGER_TABLES:
                    yield node.lineno, f"{verb} {table.lower()}"
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        if called in models or called in {f"models.{model}" for model in LEDGER_MODELS}:
            yield node.lineno, f"{called}(...)"
        elif isinstance(node.func, ast.Attribute) and node.func.attr in WRITING_METHODS:
            start = called.partition(".objects")[0].rpartition(".")[2]
            if ".objects" in called and start in LEDGER_MODELS:
                yield node.lineno, f"{start}.objects ... {node.func.attr}"


@pytest.mark.parametrize(
    ("code", "writes"),
    [
        ("from stock.models import Entry\nEntry(move=move, heads=3).save()", True),
        ("from stock.advisor.mix import Cell\nCell(3)", False),
        ("models.Move(key=key)", True),
        ("Entry.objects.filter(move=move).delete()", True),
        ("MonthEnd.objects.bulk_create(rows)", True),
        ("cursor.execute('UPDATE stock_entry SET heads = 1')", True),
        ("cursor.execute('DELETE FROM stock_move WHERE id = 1')", True),
        ("cursor.execute('INSERT INTO \"stock_monthend\" (cell_id) VALUES (1)')", True),
        ("Entry.objects.filter(move=move).count()", False),
        ("Pond.objects.create(code='A')", False),
        ("cursor.execute('SELECT heads FROM stock_entry')", False),
        ("ledger.record(draft)", False),
    ],
)
def test_the_scan_sees_a_write_where_there_is_one(code, writes):
    assert bool(list(ledger_writes(ast.parse(code)))) is writes


def test_only_the_ledger_writes_the_ledger():
    wrong = [
        f"{name_of(path)}:{line} {words}"
        for path in sources("config", "ponds", "stock")
        if not is_ledger(path) and "models" not in path.parts
        for line, words in ledger_writes(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert wrong == []


def test_pages_and_commands_come_in_by_the_door():
    """A view or a command imports `stock.ledger`, never one of the modules behind it."""
    wrong = [
        f"{name_of(path)}:{line} imports {module}"
        for path in sources("config", "ponds", "stock")
        if "views" in path.parts or "management" in path.parts or path.is_relative_to(ROOT / "config")
        for line, module in imports_of(path)
        if module.startswith("stock.ledger_")
    ]
    assert wrong == []


def test_init_files_hold_nothing_but_a_docstring():
    """The models' package also gathers its own names, so that Django finds them."""
    wrong = []
    for path in sources("config", "ponds", "stock", "tests"):
        if path.name != "__init__.py":
            continue
        body = ast.parse(path.read_text(encoding="utf-8")).body
        if body and isinstance(body[0], ast.Expr) and isinstance(body[0].value, ast.Constant):
            body = body[1:]
        if path.parent.name == "models":
            body = [
                node
                for node in body
                if not isinstance(node, ast.ImportFrom)
                and not (isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__")
            ]
        if body:
            wrong.append(name_of(path))
    assert wrong == []


def test_no_file_has_grown_too_long_to_read():
    long = {
        name_of(path): lines
        for path in sources("config", "ponds", "stock", "tests")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST_FILE
    }
    assert long == {}
