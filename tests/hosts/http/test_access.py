"""The token's file, and the keys of links."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from dampcell.functions.errors import InputError
from dampcell.functions.hosts.http.access import TOKEN_FILE, Keys, config_folder, own_token, same


def test_the_first_start_makes_a_token_that_only_the_user_may_read(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "dampcell"
    before = os.umask(0)
    try:
        token = own_token(folder)
    finally:
        os.umask(before)
    assert len(token) == 43
    assert stat.S_IMODE((folder / TOKEN_FILE).stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_later_starts_keep_the_token_and_other_users_have_another(tmp_path: Path) -> None:
    assert own_token(tmp_path / "a") == own_token(tmp_path / "a")
    assert own_token(tmp_path / "a") != own_token(tmp_path / "b")


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o620, 0o602, 0o666])
def test_a_token_that_others_may_have_read_is_refused(tmp_path: Path, mode: int) -> None:
    own_token(tmp_path)
    (tmp_path / TOKEN_FILE).chmod(mode)
    with pytest.raises(
        InputError, match=r"other users of this machine may have read the token; allowed: deleting"
    ):
        own_token(tmp_path)


@pytest.mark.parametrize("content", ["", "x", "t" * 42, "t" * 44, "ü" * 43, "t" * 20 + "\n" + "t" * 22])
def test_a_damaged_token_file_is_named(tmp_path: Path, content: str) -> None:
    own_token(tmp_path)
    (tmp_path / TOKEN_FILE).write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=r"token: does not hold a token; allowed: deleting the file"):
        own_token(tmp_path)


def test_a_link_in_place_of_the_token_is_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.write_text("t" * 43, encoding="utf-8")
    other.chmod(0o600)
    (tmp_path / TOKEN_FILE).symlink_to(other)
    with pytest.raises(InputError, match="cannot be used"):
        own_token(tmp_path)


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(
        InputError, match=r"file/token: cannot be used .* allowed: a file that only you may read"
    ):
        own_token(tmp_path / "file")


def test_the_config_folder_is_the_users_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert config_folder().name == "dampcell"


def test_a_key_works_once(tmp_path: Path) -> None:
    keys = Keys()
    key = keys.new()
    assert not keys.redeem(key + "x")
    assert keys.redeem(key)
    assert not keys.redeem(key)


def test_old_keys_are_forgotten_when_many_are_made() -> None:
    keys = Keys()
    made = [keys.new() for _ in range(9)]
    assert not keys.redeem(made[0])
    assert all(keys.redeem(key) for key in made[1:])


def test_an_empty_secret_is_like_nothing() -> None:
    assert not same("", "")
    assert same("a", "a")
    assert not same("a", "b")
