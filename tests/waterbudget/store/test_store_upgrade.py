"""An older file is brought up step by step, and never at the risk of what it holds.

The steps of the formats so far are seen by the frozen files; here next ones are faked, and the
files made here are older than those.
"""

from __future__ import annotations

import dataclasses
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from store_samples import NOW, fill, plain, said, three_blocks

from waterbudget.errors import FarmFileError
from waterbudget.orchard import Block
from waterbudget.store import FarmFile, upgrade


def rename_valves(db: sqlite3.Connection) -> None:
    db.execute("UPDATE blocks SET valve = 'V' || fid")
    db.execute("CREATE TABLE new_table (id INTEGER PRIMARY KEY)")


def add_note(db: sqlite3.Connection) -> None:
    db.execute("UPDATE blocks SET note = 'third format' WHERE EXISTS (SELECT 1 FROM new_table) = 0")


def fails(db: sqlite3.Connection) -> None:
    db.execute("DELETE FROM blocks")
    db.execute("UPDATE no_such_table SET x = 1")


def leaves_dangling_rows(db: sqlite3.Connection) -> None:
    db.execute("DELETE FROM stations")


NOW_FORMAT = upgrade.current_format()
STEPS = tuple(upgrade.STEPS)


def never(db: sqlite3.Connection) -> None:
    raise AssertionError("a step was run on a file that is up to date")


@pytest.fixture
def older(path: Path) -> Path:
    with FarmFile.create(path, three_blocks(), now=NOW) as farm:
        fill(farm)
    return path


def format_in(path: Path) -> str:
    with closing(sqlite3.connect(path)) as db:
        return str(db.execute("SELECT value FROM farm WHERE key = 'format_version'").fetchone()[0])


def test_an_older_file_is_brought_up_and_a_copy_of_the_old_one_stays(
    older: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = FarmFile.open(older, read_only=True).read()
    monkeypatch.setattr(upgrade, "STEPS", [*STEPS, rename_valves, add_note])
    with FarmFile.open(older) as farm:
        (note,) = farm.notes
        assert "farm" not in said(FarmFileError(note.code, **note.fields)).split()[0]
        after = farm.read()
        assert farm.history(1)[0][1:] == (
            "farm.upgraded", {"found": NOW_FORMAT, "format": NOW_FORMAT + 2})  # fmt: skip
        assert farm.check() == []
    assert format_in(older) == str(NOW_FORMAT + 2)
    assert after.version == before.version + 1
    assert [b.valve for b in after.orchard.blocks] == ["V1", "V2", "V3"]
    assert [b.note for b in after.orchard.blocks] == ["third format"] * 3
    undone = [dataclasses.replace(b, valve=None, note=None) for b in after.orchard.blocks]
    assert tuple(undone) == before.orchard.blocks

    copy = older.with_name(note.fields["copy"])
    assert format_in(copy) == str(NOW_FORMAT)
    monkeypatch.setattr(upgrade, "STEPS", [*STEPS, never, never])
    with FarmFile.open(older) as farm:
        assert farm.notes == []
    monkeypatch.setattr(upgrade, "STEPS", list(STEPS))
    with FarmFile.open(copy) as farm:
        assert plain(farm.read()) == plain(before)
    with pytest.raises(FarmFileError, match="newer_version"):
        FarmFile.open(older)


def test_an_older_file_can_be_read_without_changing_it(
    older: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = older.read_bytes()
    monkeypatch.setattr(upgrade, "STEPS", [*STEPS, rename_valves])
    with FarmFile.open(older, read_only=True) as farm:
        assert [b.valve for b in farm.read().orchard.blocks] == ["V1", "V2", "V3"]
        with pytest.raises(FarmFileError, match="read_only"), farm.transaction("x", now=NOW):
            farm.save_block(Block(name="A"))
    assert older.read_bytes() == before
    assert list(older.parent.iterdir()) == [older]


@pytest.mark.parametrize("step", [fails, leaves_dangling_rows])
@pytest.mark.parametrize("read_only", [False, True])
def test_a_step_that_fails_leaves_the_file_as_it_was(
    older: Path,
    step: Callable[[sqlite3.Connection], None],
    read_only: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = older.read_bytes()
    monkeypatch.setattr(upgrade, "STEPS", [*STEPS, rename_valves, step])
    with pytest.raises(FarmFileError) as caught:
        FarmFile.open(older, read_only=read_only)
    assert caught.value.code == "farmfile.upgrade_failed"
    assert said(caught.value)
    assert older.read_bytes() == before
    assert list(older.parent.iterdir()) == [older]


def test_a_second_upgrade_does_not_overwrite_the_first_copy(
    older: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = older.with_name(f"{older.stem}.format-{NOW_FORMAT}.gpkg")
    first.write_text("kept")
    monkeypatch.setattr(upgrade, "STEPS", [*STEPS, rename_valves])
    FarmFile.open(older).close()
    assert first.read_text() == "kept"
    assert format_in(older.with_name(f"{older.stem}.format-{NOW_FORMAT}-2.gpkg")) == str(NOW_FORMAT)


def test_a_setting_newer_than_the_file_gets_its_column(older: Path) -> None:
    """As if the file had been made before two settings and one weather quantity were thought of."""
    with closing(sqlite3.connect(older)) as db, db:
        db.execute("ALTER TABLE blocks DROP COLUMN valve_person")
        db.execute("ALTER TABLE blocks DROP COLUMN trees")
        db.execute("ALTER TABLE days DROP COLUMN sun_h")
    with FarmFile.open(older, read_only=True) as farm:
        data = farm.read()
        assert [b.trees for b in data.orchard.blocks] == [None] * 3
        assert data.records["Ridge"].values["sun_h"].shape == (5,)
        assert farm.check() == []
    with FarmFile.open(older) as farm:
        assert farm.notes == []
        block = dataclasses.replace(farm.read().orchard.blocks[0], trees=7, valve_person="Invented")
        with farm.transaction("x", now=NOW):
            farm.save_block(block)
    with FarmFile.open(older) as farm:
        assert farm.read().orchard.blocks[0] == block
