"""What computes must not need a database, nor know that there is one."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for folder in ("advisor", "estimators")
    for path in (ROOT / "stock" / folder).glob("*.py")
    if path.stem != "__init__"
)


def test_there_are_modules_to_look_at():
    assert "stock.advisor.allocation" in MODULES


@pytest.mark.parametrize("module", MODULES)
def test_it_imports_without_django(module):
    code = f"import sys, {module}; sys.exit('django' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0
