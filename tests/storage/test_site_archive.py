"""An archive that is not as it was written is refused with a sentence."""

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, inspect

from app.storage.audit import in_silence
from app.storage.errors import SchemaTooNew
from app.storage.site_archive import (
    MANIFEST,
    WrongArchive,
    content_hash,
    member,
    opened,
)
from app.storage.site_copy import look_through, site_filled
from tests.storage.copied_site import (
    file_site,
    fill,
    packed,
    repacked,
    retold,
    write_odd,
)


@pytest.fixture(scope="module")
def copy(built_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Odd rows in every table: none of these archives gets as far as the rules."""
    folder = tmp_path_factory.mktemp("copy")
    write_odd(built_file, folder / "site.sqlite", folder / "site.zip")
    return folder / "site.zip"


@pytest.fixture
def new(tmp_path: Path) -> Iterator[Engine]:
    """A place where nothing is yet."""
    with file_site(tmp_path / "new.sqlite") as engine:
        yield engine


def assert_refused(path: Path, target: Engine, says: str) -> None:
    with pytest.raises((WrongArchive, SchemaTooNew), match=says):
        looked_through_and_filled(path, target)
    assert inspect(target).get_table_names() == []


def looked_through_and_filled(path: Path, target: Engine) -> None:
    with opened(path) as archive:
        look_through(archive, in_silence)
        with site_filled(target, archive, in_silence):
            pytest.fail("it was taken in")


class TestDamaged:
    @pytest.mark.parametrize("part", [0, 1, 21, 22, 500, -1, -22, -23, -200])
    def test_part_of_a_file_is_refused(
        self, part: int, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        broken = tmp_path / "broken.zip"
        broken.write_bytes(copy.read_bytes()[:part])

        assert_refused(broken, new, "cut off or altered")

    def test_half_a_file_is_refused(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        held = copy.read_bytes()
        (tmp_path / "half.zip").write_bytes(held[: len(held) // 2])

        assert_refused(tmp_path / "half.zip", new, "cut off or altered")

    def test_one_flipped_byte_is_refused_wherever_rows_lie(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        held = bytearray(copy.read_bytes())
        with zipfile.ZipFile(copy) as archive:
            filled = [i for i in archive.infolist() if i.file_size]
        for info in filled:
            start = info.header_offset + 30 + len(info.filename) + 20
            place = start + (info.compress_size - 20) // 2
            changed = bytearray(held)
            changed[place] ^= 0x10
            (tmp_path / "flip.zip").write_bytes(changed)

            assert_refused(tmp_path / "flip.zip", new, "Nothing was imported")
        assert len(filled) > 40

    def test_no_flipped_byte_anywhere_changes_what_is_read(
        self, copy: Path, tmp_path: Path
    ) -> None:
        """Some bytes of a zip mean nothing; the rest is told, never a traceback."""
        held, told = copy.read_bytes(), 0
        manifest = packed(copy)[MANIFEST]
        places = [*range(0, len(held), 251), *range(len(held) - 400, len(held), 3)]
        for place in places:
            changed = bytearray(held)
            changed[place] ^= 0x08
            (tmp_path / "flip.zip").write_bytes(changed)
            try:
                with opened(tmp_path / "flip.zip") as archive:
                    look_through(archive, in_silence)
                    assert packed(tmp_path / "flip.zip")[MANIFEST] == manifest
            except WrongArchive:
                told += 1

        assert told > len(places) / 2

    def test_line_that_was_changed_and_packed_again_is_refused(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        def change(held: dict[str, bytes]) -> None:
            before, day = held[member("trial")], b"2026-03-29T00"
            assert day in before
            held[member("trial")] = before.replace(day, b"2026-03-28T00", 1)

        assert_refused(repacked(copy, tmp_path, change), new, "trial is not as it was")

    def test_line_too_few_or_too_many_is_refused(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        def fewer(held: dict[str, bytes]) -> None:
            lines = held[member("trial")].splitlines(keepends=True)
            held[member("trial")] = b"".join(lines[:-1])

        def twice(held: dict[str, bytes]) -> None:
            held[member("trial")] *= 2

        for change in (fewer, twice):
            path = repacked(copy, tmp_path, change)
            assert_refused(path, new, "trial is not as it was")

    def test_member_that_is_gone_or_new_is_refused(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        def gone(held: dict[str, bytes]) -> None:
            del held[member("trial")]

        def more(held: dict[str, bytes]) -> None:
            held["tables/more.jsonl"] = b""

        def lost(held: dict[str, bytes]) -> None:
            del held[MANIFEST]

        for change in (gone, more):
            assert_refused(repacked(copy, tmp_path, change), new, "other tables")
        assert_refused(repacked(copy, tmp_path, lost), new, "no archive of a whole")

    @pytest.mark.parametrize(
        ("key", "value", "says"),
        [
            ("kind", "a caseload", "no archive of a whole site"),
            ("format", 2, "newer version"),
            ("format", "x", "cannot be read"),
            ("rows", 7, "does not add up"),
            ("sha256", "0" * 64, "does not add up"),
            ("tables", [], "other tables"),
            ("tables", 5, "cannot be read"),
            ("made_at", "noon", "cannot be read"),
        ],
    )
    def test_other_manifest_is_refused(
        self, key: str, value: Any, says: str, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        def change(told: dict[str, Any]) -> None:
            told[key] = value
            if value == []:
                told["rows"], told["sha256"] = 0, content_hash({})

        assert_refused(retold(copy, tmp_path, change), new, says)

    def test_any_file_is_no_archive(self, new: Engine, tmp_path: Path) -> None:
        for name, held in (("a", b"label,birth_year\n"), ("b", b""), ("c", b"{}")):
            (tmp_path / name).write_bytes(held)

            assert_refused(tmp_path / name, new, "no whole zip file")

    def test_tables_of_another_schema_are_refused(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        def change(told: dict[str, Any]) -> None:
            (trial,) = [t for t in told["tables"] if t["name"] == "trial"]
            trial["columns"]["colour"] = "text"

        path = retold(copy, tmp_path, change)
        with pytest.raises(WrongArchive, match="not those of its own version"):
            fill(new, path)
        assert inspect(new).get_table_names() == []
