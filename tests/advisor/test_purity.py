"""What computes must not need a database, nor know that there is one."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("stock/advisor", "stock/estimators", "stock/marks")
FILES = [
    ROOT / "ponds/units.py",
    *(path for folder in FOLDERS for path in sorted((ROOT / folder).glob("*.py"))),
]
MODULES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts) for path in FILES if path.stem != "__init__"
]
# One interpreter imports them one after another and says which brought Django in; nothing after it can be judged.
IMPORT_ALL = """
import importlib, sys
for module in sys.argv[1:]:
    importlib.import_module(module)
    if "django" in sys.modules:
        sys.exit(f"{module} imports Django")
print(len(sys.argv) - 1)
"""


def import_all(modules):
    return subprocess.run(
        [sys.executable, "-c", IMPORT_ALL, *modules], cwd=ROOT, check=False, capture_output=True, text=True
    )


def test_what_computes_imports_without_django():
    assert "stock.advisor.allocation" in MODULES
    answer = import_all(MODULES)
    assert (answer.returncode, answer.stderr, answer.stdout) == (0, "", f"{len(MODULES)}\n")


def test_a_module_that_imports_django_is_named():
    answer = import_all(["stock.advisor.share", "ponds.apps", "stock.advisor.ratio"])
    assert answer.returncode == 1
    assert answer.stderr == "ponds.apps imports Django\n"
