"""The secret key's file: made once, for its owner's eyes only."""

from __future__ import annotations

import stat
from concurrent.futures import ThreadPoolExecutor

import pytest

from config.secret import UnsafeSecret, read_or_make_secret


def test_the_key_is_made_at_first_run_and_read_ever_after(tmp_path):
    path = tmp_path / "new" / "secret_key"
    key = read_or_make_secret(path)
    assert len(key) >= 50
    assert read_or_make_secret(path) == key


def test_only_its_owner_may_read_it(tmp_path):
    path = tmp_path / "secret_key"
    read_or_make_secret(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o644, 0o610])
def test_a_key_that_others_can_read_is_refused_with_the_remedy(tmp_path, mode):
    path = tmp_path / "secret_key"
    read_or_make_secret(path)
    path.chmod(mode)
    with pytest.raises(UnsafeSecret, match=f"mode {mode:o}.*chmod 600 {path}"):
        read_or_make_secret(path)


def test_an_empty_or_short_key_is_refused(tmp_path):
    path = tmp_path / "secret_key"
    path.touch(mode=0o600)
    with pytest.raises(UnsafeSecret, match=r"holds 0 characters.*remove it"):
        read_or_make_secret(path)


def test_programs_that_start_at_once_agree_on_one_key(tmp_path):
    path = tmp_path / "secret_key"
    with ThreadPoolExecutor(8) as starting:
        keys = set(starting.map(lambda _: read_or_make_secret(path), range(32)))
    assert len(keys) == 1


def test_two_farms_have_two_keys(tmp_path):
    assert read_or_make_secret(tmp_path / "here") != read_or_make_secret(tmp_path / "there")
