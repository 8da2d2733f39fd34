"""A file that one process holds at a time."""

from pathlib import Path

import pytest

from app.storage.files import Held, held


def test_second_one_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    with held(path), pytest.raises(Held), held(path):
        pass
    with held(path):
        pass

    assert path.exists()


def test_one_that_is_not_kept_goes_whatever_happens(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    with pytest.raises(ValueError, match="wrong"), held(path, keep=False):
        raise ValueError("wrong")

    assert not path.exists()


def test_file_that_was_taken_away_is_no_lock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opened while another held it, locked after that one took it away."""
    path = tmp_path / "lock"

    def late(_file: object) -> None:
        path.unlink()

    monkeypatch.setattr("app.storage.files._lock", late)
    with pytest.raises(Held), held(path):
        pass
