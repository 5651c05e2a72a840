"""What the documents name exists, and tracked files name nothing they should not."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from django.core.management import get_commands
from django.urls import get_resolver

from tests.test_addresses import patterns

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
# Patterns whose first letter stands in brackets, so that this file does not name them itself.
REGISTRY_HOSTS = (r"[p]ypi\.org", r"[p]ythonhosted\.org", r"[n]pmjs\.(?:org|com)")
MACHINE_PATHS = (r"/[w]ork/", r"/[r]oot/", r"/[h]ome/", r"/[f]arm/in\b")
WORKPLACE_WORDS = (
    r"\b[s]eed[ -]document",
    r"\b[t]ranscripts?\b",
    r"\b[s]hared/",
    r"\b(?:design|handbook|statistics|marking|style|field|brief)[.]md\b",
    r"\b[l]anguage model",
    r"\b[L]LMs?\b",
    r"\b[A]I (?:assistant|agent)",
    r"\b[c]o-authored-by",
)
BINARY = {".png", ".jpg", ".ico", ".xlsx", ".woff2", ".gz"}


def text_of(document: str) -> str:
    return (ROOT / document).read_text(encoding="utf-8")


def tracked_files() -> list[Path]:
    """Return what git tracks; in a copy without git, every file that is not left out by name."""
    if not (ROOT / ".git").exists():
        found = (path for path in ROOT.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
        kept_out = (".venv", ".data", ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis")
        return [path for path in found if path.relative_to(ROOT).parts[0] not in kept_out]
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]


def tracked_text() -> dict[str, str]:
    return {
        str(path.relative_to(ROOT)): path.read_text(encoding="utf-8")
        for path in tracked_files()
        if path.suffix not in BINARY
    }


@pytest.fixture(scope="module")
def texts() -> dict[str, str]:
    return tracked_text()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_named_exists(document):
    named = set(re.findall(r"manage\.py ([a-z_]+)", text_of(document)))
    assert named, f"{document} names no command."
    assert named - set(get_commands()) == set()


def test_every_setting_named_is_read_and_every_setting_read_is_documented(texts):
    named = {
        name for document in DOCUMENTS for name in re.findall(r"\bSCUTEBOOK_[A-Z_]+\b", text_of(document))
    }
    read = {
        name
        for path, text in texts.items()
        if path.endswith((".py", ".ci/run", ".ci/postgres")) and path != "tests/test_documents.py"
        for name in re.findall(r"\bSCUTEBOOK_[A-Z]+(?:_[A-Z]+)*\b", text)
    }
    assert named == read


def test_every_address_named_is_in_the_site_map():
    def plain(route: str) -> str:
        return re.sub(r"<[^>]*>", "<>", route.strip("/^$"))

    routes = {plain(route) for _, route in patterns(get_resolver())}
    named = {address for document in DOCUMENTS for address in re.findall(r"`(/[^`\s]*/)`", text_of(document))}
    assert {address for address in named if plain(address) not in routes} == set()


def test_every_file_named_exists():
    named = {
        name
        for document in DOCUMENTS
        for name in re.findall(
            r"`((?:stock|ponds|config|tests|fixtures_demo|\.ci)/[\w./-]+)`", text_of(document)
        )
    }
    assert {name for name in named if not (ROOT / name).exists()} == set()


@pytest.mark.parametrize("heading", ["Run the demo farm", "Run the tests"])
def test_each_of_the_two_pasted_lines_is_one_line(heading):
    block = re.search(rf"^## {heading}\n+```\w*\n(.*?)\n```", text_of("README.md"), re.DOTALL | re.MULTILINE)
    assert block, f"README.md has no code block right after {heading!r}."
    line = block.group(1)
    assert "\n" not in line
    assert line.startswith("python3 -m venv .venv && ")
    for lock in re.findall(r"-r (\S+)", line):
        assert (ROOT / lock).is_file()


@pytest.mark.parametrize("lock", ["config/requirements.lock", "config/requirements-test.lock"])
def test_every_pinned_package_has_its_hashes(lock):
    pinned = re.findall(
        r"^([\w.-]+)(?:\[[\w,]+\])?==(\S+)((?: ;[^\\]*)?)(.*?)(?=^\S|\Z)", text_of(lock), re.M | re.S
    )
    assert len(pinned) > 10
    assert [name for name, _, _, rest in pinned if "--hash=sha256:" not in rest] == []


def test_no_tracked_file_names_a_package_registry(texts):
    found = {(path, host) for path, text in texts.items() for host in REGISTRY_HOSTS if re.search(host, text)}
    assert found == set()


def test_no_tracked_file_names_a_path_of_some_machine(texts):
    found = {(path, part) for path, text in texts.items() for part in MACHINE_PATHS if re.search(part, text)}
    assert found == set()


def test_no_tracked_file_speaks_of_where_it_was_written(texts):
    found = {
        (path, match.group())
        for path, text in texts.items()
        for words in WORKPLACE_WORDS
        if (match := re.search(words, text, re.IGNORECASE))
    }
    assert found == set()


def test_no_secret_is_tracked():
    names = {path.name for path in tracked_files()}
    assert not names & {"secret_key", "register.sqlite3", ".env"}


def test_the_top_level_holds_only_what_was_agreed():
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "manage.py",
        "pyproject.toml",
        "stock",
        "ponds",
        "config",
        "tests",
        "fixtures_demo",
    }
    top = {path.relative_to(ROOT).parts[0] for path in tracked_files()}
    assert {name for name in top if not name.startswith(".")} <= allowed
