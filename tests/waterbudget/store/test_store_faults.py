"""Whatever is wrong with the file or the disk: one plain sentence, and nothing is damaged."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from store_samples import NOW, fill, orchard, plain, said, three_blocks

from waterbudget.errors import FarmFileError
from waterbudget.orchard import Block
from waterbudget.records import FarmData
from waterbudget.store import FarmFile, is_farm, opening, upgrade


def refusal(code: str, action: Callable[[], Any]) -> str:
    """Run what must fail with ``code``; return its sentence."""
    with pytest.raises(FarmFileError) as caught:
        action()
    assert caught.value.code == f"farmfile.{code}"
    return said(caught.value)


def on_a_small_disk(path: Path, mode: str) -> sqlite3.Connection:
    db = opening.connect(path, mode)
    db.execute("PRAGMA max_page_count = 30")
    return db


def save(farm: FarmFile, name: str = "New") -> None:
    with farm.transaction("block.saved", now=NOW):
        farm.save_block(Block(name=name))


def save_big(farm: FarmFile) -> None:
    with farm.transaction("import", now=NOW):
        farm.save_block(Block(name="New"))
        farm.add_import("weather", "big.csv", os.urandom(400_000))


@pytest.fixture
def closed(path: Path) -> Path:
    """A whole farm file that nobody has open."""
    with FarmFile.create(path, three_blocks(), now=NOW) as farm:
        fill(farm)
    return path


def content(path: Path) -> FarmData:
    with FarmFile.open(path, read_only=True) as farm:
        assert farm.check() == []
        return farm.read()


# ---------------------------------------------------------------------- no farm file there


def test_a_missing_file(tmp_path: Path) -> None:
    for read_only in (False, True):
        text = refusal("missing", lambda: FarmFile.open(tmp_path / "no.gpkg", read_only=read_only))
    assert str(tmp_path / "no.gpkg") in text
    assert list(tmp_path.iterdir()) == []


def test_a_folder(tmp_path: Path) -> None:
    refusal("is_folder", lambda: FarmFile.open(tmp_path))
    refusal("is_folder", lambda: FarmFile.create(tmp_path, orchard(), now=NOW))
    assert not is_farm(tmp_path)


def other_database(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE farm (key TEXT, value TEXT)")


def other_geopackage(path: Path) -> None:
    """A map with a layer that happens to be called "farm"."""
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"PRAGMA application_id = {0x47504B47}")
        db.execute("CREATE TABLE farm (fid INTEGER PRIMARY KEY, geom BLOB, name TEXT)")


@pytest.mark.parametrize("read_only", [False, True])
@pytest.mark.parametrize(
    ("code", "make"),
    [
        ("not_a_farm", lambda p: p.write_text("block,date\nNorth,2026-03-01\n" * 100)),
        ("not_a_farm", lambda p: p.write_bytes(b"")),
        ("not_a_farm", lambda p: p.write_bytes(b"\0" * 5000)),
        ("not_a_farm", lambda p: p.write_bytes(b"SQLite format 3\0")),
        ("not_a_farm", other_database),
        ("other_geopackage", other_geopackage),
    ],
    ids=["text", "empty", "zeros", "stub", "database", "map"],
)
def test_a_file_that_is_no_farm(
    path: Path, code: str, make: Callable[[Path], Any], read_only: bool
) -> None:
    make(path)
    before = path.read_bytes()
    refusal(code, lambda: FarmFile.open(path, read_only=read_only))
    assert not is_farm(path)
    assert path.read_bytes() == before
    assert list(path.parent.iterdir()) == [path]


def test_a_farm_is_known_as_one_whoever_has_it_open(
    closed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "TIMEOUT_S", 0.1)
    assert is_farm(closed)
    with FarmFile.open(closed, hold=True):
        assert is_farm(closed)


def test_a_newer_format(closed: Path) -> None:
    with closing(sqlite3.connect(closed)) as db, db:
        db.execute("UPDATE farm SET value = '99' WHERE key = 'format_version'")
    before = closed.read_bytes()
    for read_only in (False, True):
        text = refusal("newer_version", lambda: FarmFile.open(closed, read_only=read_only))
    assert "99" in text
    assert str(upgrade.current_format()) in text
    assert closed.read_bytes() == before


# ---------------------------------------------------------------------- making a farm


def test_a_file_that_is_there_is_not_overwritten(closed: Path) -> None:
    before = content(closed)
    refusal("exists", lambda: FarmFile.create(closed, orchard(name="Second"), now=NOW))
    assert plain(content(closed)) == plain(before)
    with FarmFile.create(closed, orchard(name="Second"), replace=True, now=NOW) as farm:
        assert farm.read().orchard.name == "Second"
    assert list(closed.parent.iterdir()) == [closed]


def test_only_a_farm_is_replaced(path: Path) -> None:
    path.write_text("my thesis, the only copy\n" * 50)
    refusal("replaces_other", lambda: FarmFile.create(path, orchard(), replace=True, now=NOW))
    assert path.read_text().startswith("my thesis")
    path.write_bytes(b"")
    FarmFile.create(path, orchard(), replace=True, now=NOW).close()
    assert content(path).orchard.name == "Invented farm"


def test_a_farm_in_use_is_not_replaced(closed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "TIMEOUT_S", 0.1)
    with FarmFile.open(closed, hold=True) as farm:
        refusal("in_use", lambda: FarmFile.create(closed, orchard(), replace=True, now=NOW))
        save(farm)
    assert content(closed).orchard.blocks[-1].name == "New"
    assert list(closed.parent.iterdir()) == [closed]


def test_a_farm_that_cannot_be_finished_leaves_nothing(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    refusal("no_folder", lambda: FarmFile.create(path / "in" / "x.gpkg", orchard(), now=NOW))
    twins = orchard(Block(name="A"), Block(name="a"))
    with pytest.raises(Exception, match="block_name_taken"):
        FarmFile.create(path, twins, now=NOW)
    assert list(path.parent.iterdir()) == []

    monkeypatch.setattr("waterbudget.store.farmfile.connect", on_a_small_disk)
    refusal("disk_full", lambda: FarmFile.create(path, three_blocks(), now=NOW))
    assert list(path.parent.iterdir()) == []


def test_a_leftover_journal_of_a_deleted_file_does_no_harm(closed: Path) -> None:
    """SQLite would play it back into a new file of the same name."""
    half_save(closed)
    closed.unlink()
    assert [p.name for p in closed.parent.iterdir()] == [closed.name + "-journal"]
    FarmFile.create(closed, three_blocks(), now=NOW).close()
    assert [b.name for b in content(closed).orchard.blocks] == ["North", "Ñandú 2", "Low"]


# ---------------------------------------------------------------------- in use

HOLD = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute(sys.argv[2])
print("locked", flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def other_program() -> Iterator[Callable[[Path, str], None]]:
    """Start a program that keeps the file locked until the test ends."""
    running: list[subprocess.Popen[str]] = []

    def lock(path: Path, how: str) -> None:
        child = subprocess.Popen([sys.executable, "-c", HOLD, str(path), how], text=True,
                                 stdin=subprocess.PIPE, stdout=subprocess.PIPE)  # fmt: skip
        running.append(child)
        assert child.stdout is not None
        assert child.stdout.readline() == "locked\n"

    yield lock
    for child in running:
        child.communicate("\n", timeout=10)


def test_a_save_while_another_program_saves(
    closed: Path, other_program: Callable[[Path, str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "TIMEOUT_S", 0.1)
    with FarmFile.open(closed) as farm:
        other_program(closed, "BEGIN IMMEDIATE")
        before = plain(farm.read())
        refusal("in_use", lambda: save(farm))
        assert plain(farm.read()) == before
        refusal("in_use", lambda: FarmFile.open(closed))
        assert plain(content(closed)) == before  # looking is possible


def test_a_farm_another_program_is_writing_to_is_not_replaced(
    closed: Path, other_program: Callable[[Path, str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "TIMEOUT_S", 0.1)
    other_program(closed, "BEGIN IMMEDIATE")
    before = closed.stat().st_ino
    refusal("in_use", lambda: FarmFile.create(closed, orchard(), replace=True, now=NOW))
    assert closed.stat().st_ino == before


def test_a_look_while_another_program_writes(
    closed: Path, other_program: Callable[[Path, str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "TIMEOUT_S", 0.1)
    with FarmFile.open(closed) as farm:
        other_program(closed, "BEGIN EXCLUSIVE")
        refusal("in_use", farm.read)
        refusal("in_use", lambda: FarmFile.open(closed, read_only=True))


def test_a_commit_that_a_reader_blocks_is_rolled_back(
    closed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "TIMEOUT_S", 0.1)
    with FarmFile.open(closed) as farm, closing(sqlite3.connect(closed)) as reader:
        reader.isolation_level = None
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM farm").fetchall()
        before = plain(farm.read())
        refusal("in_use", lambda: save(farm))
        reader.execute("COMMIT")
        assert plain(farm.read()) == before
        save(farm)
        assert farm.read().orchard.blocks[-1].name == "New"


def test_a_held_file_is_refused_at_once_in_another_program(closed: Path) -> None:
    """Held from opening on, also between saves, and until it is closed."""
    again = "from waterbudget.store import FarmFile; FarmFile.open({!r}, read_only={})"
    for read_only in (True, False):
        with FarmFile.open(closed, hold=True) as farm:
            other = [sys.executable, "-c", again.format(str(closed), read_only)]
            found = subprocess.run(other, capture_output=True, text=True, timeout=30)
            assert "farmfile.in_use" in found.stderr
            save(farm, f"New {read_only}")
            found = subprocess.run(other, capture_output=True, text=True, timeout=30)
            assert "farmfile.in_use" in found.stderr
        assert subprocess.run(other, timeout=30).returncode == 0


def test_a_file_a_map_program_left_in_another_mode(closed: Path) -> None:
    with closing(sqlite3.connect(closed)) as db:
        assert db.execute("PRAGMA journal_mode = WAL").fetchone() == ("wal",)
    with FarmFile.open(closed) as farm:
        assert farm._db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        save(farm)
    with closing(sqlite3.connect(closed)) as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_the_settings_that_keep_the_file_safe(closed: Path) -> None:
    with FarmFile.open(closed) as farm:
        names = ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        found = [farm._db.execute(f"PRAGMA {name}").fetchone()[0] for name in names]
    assert found == ["delete", 2, 1, 1500]


# ---------------------------------------------------------------------- read-only

needs_users = pytest.mark.skipif(not hasattr(os, "geteuid"), reason="no user ids here")


@pytest.fixture
def locked_folder() -> Iterator[Path]:
    """A folder that may be read and not written, with a farm in it; root steps down meanwhile."""
    folder = Path(tempfile.mkdtemp(prefix="waterbudget-"))
    with FarmFile.create(folder / "farm.gpkg", three_blocks(), now=NOW) as farm:
        fill(farm)
    (folder / "farm.gpkg").chmod(0o444)
    folder.chmod(0o555)
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield folder
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o755)
        shutil.rmtree(folder)


@needs_users
def test_a_read_only_folder_can_be_read_and_not_written(locked_folder: Path) -> None:
    path = locked_folder / "farm.gpkg"
    text = refusal("read_only", lambda: FarmFile.open(path))
    assert str(locked_folder) in text
    refusal("read_only", lambda: FarmFile.open(path, hold=True))
    with FarmFile.open(path, read_only=True) as farm:
        assert farm.read_only
        assert farm.check() == []
        assert len(farm.read().orchard.blocks) == 3
        refusal("read_only", lambda: save(farm))
        refusal("read_only", lambda: farm.backup_to(locked_folder / "copy.gpkg"))
    refusal("read_only", lambda: FarmFile.create(locked_folder / "b.gpkg", orchard(), now=NOW))
    refusal("read_only", lambda: FarmFile.create(path, orchard(), replace=True, now=NOW))
    assert list(locked_folder.iterdir()) == [path]


@needs_users
def test_a_writable_file_in_a_read_only_folder_is_told_when_opened(locked_folder: Path) -> None:
    """Its journal could not be made, so no save would ever succeed."""
    user = os.geteuid()
    path = locked_folder / "farm.gpkg"
    if user == 65534:
        os.seteuid(0)
    path.chmod(0o666)
    os.seteuid(user)
    refusal("read_only", lambda: FarmFile.open(path))
    refusal("read_only", lambda: FarmFile.open(path, hold=True))


@needs_users
def test_a_file_that_may_not_be_read(locked_folder: Path) -> None:
    user = os.geteuid()
    path = locked_folder / "farm.gpkg"
    if user == 65534:
        os.seteuid(0)
    path.chmod(0o000)
    os.seteuid(user)
    refusal("cannot_open", lambda: FarmFile.open(path))
    refusal("cannot_open", lambda: FarmFile.open(path, read_only=True))


def test_reading_only_never_writes(closed: Path) -> None:
    before = closed.read_bytes()
    with FarmFile.open(closed, read_only=True) as farm:
        farm.read()
        refusal("read_only", lambda: save(farm))
        assert farm.read().orchard.blocks[-1].name == "Low"
    assert closed.read_bytes() == before
    assert list(closed.parent.iterdir()) == [closed]


# ---------------------------------------------------------------------- disk


def test_a_full_disk_stores_nothing_and_the_farm_goes_on(closed: Path) -> None:
    with FarmFile.open(closed) as farm:
        before = plain(farm.read())
        (pages,) = farm._db.execute("PRAGMA page_count").fetchone()
        farm._db.execute(f"PRAGMA max_page_count = {pages + 10}")
        refusal("disk_full", lambda: save_big(farm))
        assert plain(farm.read()) == before
        save(farm)
        assert farm.check() == []
        farm._db.execute("PRAGMA max_page_count = 1000000")
        save_big_again = farm.read().version
        with farm.transaction("import", now=NOW):
            farm.add_import("weather", "big.csv", os.urandom(400_000))
        assert farm.read().version == save_big_again + 1


def test_a_copy_that_does_not_fit_leaves_nothing(
    closed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    with FarmFile.open(closed) as farm:
        monkeypatch.setattr("waterbudget.store.copying.connect", on_a_small_disk)
        text = refusal("disk_full", lambda: farm.backup_to(stick / "copy.gpkg"))
        assert str(stick) in text
        monkeypatch.undo()
        counts = iter([[1], [2]])
        monkeypatch.setattr("waterbudget.store.copying._counts", lambda db: next(counts))
        refusal("bad_copy", lambda: farm.backup_to(stick / "copy.gpkg"))
        save(farm)
    assert list(stick.iterdir()) == []


def test_a_copy_is_whole_and_overwrites_nothing(closed: Path, tmp_path: Path) -> None:
    copy = tmp_path / "farm 2026-03-02.gpkg"
    for hold in (False, True):
        with FarmFile.open(closed, hold=hold) as farm:
            farm.backup_to(copy)
            save(farm, f"after the copy {hold}")
            now = plain(farm.read())
        assert plain(content(copy)) != now
        assert len(content(copy).orchard.blocks) == 3 + hold
        with FarmFile.open(closed) as farm:
            refusal("exists", lambda: farm.backup_to(copy))
            refusal("exists", lambda: farm.backup_to(closed))
            refusal("no_folder", lambda: farm.backup_to(tmp_path / "no" / "copy.gpkg"))
        copy.unlink()
    assert list(tmp_path.iterdir()) == [closed]


def test_a_file_that_is_moved_while_open(closed: Path) -> None:
    with FarmFile.open(closed) as farm:
        closed.rename(closed.with_name("elsewhere.gpkg"))
        refusal("moved", lambda: save(farm))
    assert len(content(closed.with_name("elsewhere.gpkg")).orchard.blocks) == 3


# ---------------------------------------------------------------------- damage


@pytest.mark.parametrize("keep", [0.3, 0.6, 0.95])
def test_a_file_that_was_cut_off(closed: Path, keep: float) -> None:
    data = closed.read_bytes()
    closed.write_bytes(data[: int(len(data) * keep) // 4096 * 4096])

    def use() -> None:
        with FarmFile.open(closed, read_only=True) as farm:
            farm.read()
            notes = farm.check()
            assert {n.code for n in notes} & {"farmfile.not_whole", "farmfile.damaged"}
            raise FarmFileError("farmfile.damaged", file="x")

    refusal("damaged", use)


def test_pages_of_rubbish_are_told_and_never_a_traceback(closed: Path) -> None:
    """Whatever page is overwritten: a plain error, a note of the check, or nothing that is used."""
    whole = closed.read_bytes()
    told = 0
    for page in range(1, len(whole) // 4096):
        at = page * 4096
        closed.write_bytes(whole[:at] + b"\xa5" * 4096 + whole[at + 4096 :])
        try:
            with FarmFile.open(closed, read_only=True) as farm:
                notes = farm.check()
                assert notes, page
                told += 1
                farm.read()
        except FarmFileError as error:
            assert error.code in ("farmfile.damaged", "farmfile.unreadable",
                                  "farmfile.other_geopackage")  # fmt: skip
            assert said(error)
    assert told > 10


@pytest.mark.parametrize(
    ("change", "codes"),
    [
        ("DROP TABLE pins", {"table_missing"}),
        ("UPDATE blocks SET geom = x'4750' WHERE fid = 1", {"outline_unreadable", "unreadable"}),
        ("UPDATE blocks SET geom = x'00' || geom WHERE fid = 1",
         {"outline_unreadable", "unreadable"}),
        ("UPDATE blocks SET efficiency = 'good' WHERE fid = 1",
         {"setting_unreadable", "unreadable"}),
        ("UPDATE blocks SET efficiency = 85 WHERE fid = 1", {"setting_unreadable"}),
        ("UPDATE blocks SET system = 'ponds' WHERE fid = 1", {"setting_unreadable"}),
        ("UPDATE blocks SET full_on = '31/02/2026' WHERE fid = 1",
         {"setting_unreadable", "unreadable"}),
        ("UPDATE blocks SET name = 'LOW' WHERE fid = 1", {"name_twice"}),
        ("UPDATE blocks SET station = 'Moon' WHERE fid = 1", {"station_unknown"}),
        ("UPDATE days SET date = 'yesterday' WHERE id = 1", {"unreadable"}),
        ("DELETE FROM stations", {"dangling", "station_unknown"}),
        ("DELETE FROM blocks WHERE fid = 2", {"block_lost"}),
        ("DELETE FROM blocks WHERE fid = 1", {"block_lost", "dangling"}),
        ("UPDATE originals SET packed = x'00'", {"original_damaged"}),
        ("UPDATE farm SET value = 'x' WHERE key = 'epsg'", {"unreadable"}),
    ],
)  # fmt: skip
def test_what_another_program_broke_is_named(closed: Path, change: str, codes: set[str]) -> None:
    with closing(sqlite3.connect(closed)) as db, db:
        db.execute(change)
    with FarmFile.open(closed, read_only=True) as farm:
        notes = farm.check()
        assert {n.code.removeprefix("farmfile.") for n in notes} == codes
        for note in notes:
            assert said(FarmFileError(note.code, **note.fields))
        if "unreadable" in codes:
            refusal("unreadable", farm.read)
        elif "table_missing" not in codes:
            farm.read()


# ---------------------------------------------------------------------- a save cut short

HALF = """
import os, signal, sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute("PRAGMA cache_size = 5")
db.execute("BEGIN IMMEDIATE")
db.execute("UPDATE blocks SET name = 'half a save'")
db.execute("UPDATE days SET rain_mm = 999")
for n in range(400):
    db.execute("INSERT INTO gauges (name) VALUES (?)", ("x" * 999,))
os.kill(os.getpid(), signal.SIGKILL)
"""


def half_save(path: Path) -> None:
    """Kill a program in the middle of a save, when parts of it are in the file already."""
    before = path.read_bytes()
    subprocess.run([sys.executable, "-c", HALF, str(path)], timeout=30)
    assert path.with_name(path.name + "-journal").stat().st_size > 4096
    assert path.read_bytes() != before


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
@pytest.mark.parametrize("how", [{}, {"hold": True}, {"read_only": True}])
def test_half_a_save_is_undone_when_the_file_is_next_opened(
    closed: Path, how: dict[str, bool]
) -> None:
    before = plain(content(closed))
    half_save(closed)
    with FarmFile.open(closed, **how) as farm:
        assert plain(farm.read()) == before
        assert farm.check() == []


@needs_users
def test_half_a_save_where_nothing_can_be_written(locked_folder: Path) -> None:
    user = os.geteuid()
    path = locked_folder / "farm.gpkg"
    if user == 65534:
        os.seteuid(0)
    locked_folder.chmod(0o755)
    path.chmod(0o644)
    half_save(path)
    for made in locked_folder.iterdir():
        made.chmod(0o444)
    locked_folder.chmod(0o555)
    os.seteuid(user)
    refusal("half_saved", lambda: FarmFile.open(path, read_only=True))
