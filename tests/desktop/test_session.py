"""The open farm: opening, edits with undo, days, what is told."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from pathlib import Path

from small_farm import NOW, small_farm

from desktop.session import Session
from waterbudget.errors import Refused, WaterBudgetError

Settle = Callable[[Session], None]


def set_soil(session: Session, soil: str) -> None:
    """Set the soil of Kiln, with its undo."""
    from waterbudget import actions

    assert session.data is not None
    before = session.data.orchard.block("Kiln")
    session.act(
        "soil of Kiln",
        lambda file, now: actions.set_block(file, "Kiln", {"soil": soil}, now=now),
        lambda file, now, _: actions.restore_block(file, before, now=now),
        kinds={"blocks"},
    )


def soil(session: Session) -> str | None:
    """Return the soil of Kiln as the session sees it."""
    assert session.data is not None
    return session.data.orchard.block("Kiln").soil


def test_opens_with_data_and_season_of_today(session: Session) -> None:
    assert session.day == session.today == NOW.date()
    assert session.at_today
    assert session.season is not None and session.season.on == NOW.date()
    assert [b.block.name for b in session.season.blocks] == [
        "Kiln", "Upper ridge", "Gully", "Far gate",
    ]  # fmt: skip


def test_edit_is_stored_told_and_undone(session: Session, settle: Settle) -> None:
    told: list[frozenset[str]] = []
    session.changed.connect(told.append)
    version = session.data.version  # type: ignore[union-attr]
    taw = session.season.block("Kiln").soil  # type: ignore[union-attr]
    set_soil(session, "clay")
    settle(session)
    assert soil(session) == "clay"
    assert told == [frozenset({"blocks"})]
    assert session.data.version == version + 1  # type: ignore[union-attr]
    assert session.season.block("Kiln").soil != taw  # type: ignore[union-attr]
    assert session.saved_at == NOW

    session.undo_last()
    settle(session)
    assert soil(session) == "sandy-loam"
    session.redo_next()
    settle(session)
    assert soil(session) == "clay"
    assert session.undo.index() == 1


def test_a_chosen_block_that_an_undo_takes_away_is_chosen_no_more(
    session: Session, settle: Settle
) -> None:
    from waterbudget import actions

    session.act(
        "a new block",
        lambda file, now: actions.set_block(file, "Shed", {"area_ha": "1"}, new=True, now=now)[0],
        lambda file, now, block: actions.delete_block(file, block.name, now=now),
        kinds={"blocks"},
        done=lambda block: session.select(block.id),
    )
    settle(session)
    assert session.selected is not None
    session.undo_last()
    settle(session)
    assert session.selected is None


def test_undo_waits_for_an_edit_on_its_way(session: Session, settle: Settle) -> None:
    set_soil(session, "clay")
    settle(session)
    set_soil(session, "loam")
    session.undo_last()  # must take back "loam", which is not stored yet
    settle(session)
    assert soil(session) == "clay"
    assert session.undo.undoText() == "soil of Kiln" and session.undo.index() == 1


def test_refused_edit_changes_nothing(session: Session, settle: Settle) -> None:
    from waterbudget import actions

    heard: list[WaterBudgetError] = []
    session.refused.connect(heard.append)
    session.act("pump", lambda f, now: actions.set_farm(f, {"pump_hours": "99"}, now=now),
                lambda f, now, _: None, kinds={"farm"})  # fmt: skip
    settle(session)
    assert [e.code for e in heard] == ["key.out_of_bounds"]
    assert session.undo.count() == 0
    assert session.data.orchard.pump_hours == 10.0  # type: ignore[union-attr]


def test_failed_undo_leaves_stack_where_the_file_is(session: Session, settle: Settle) -> None:
    def fail(*_: object) -> None:
        raise Refused("farmfile.disk_full")

    heard: list[WaterBudgetError] = []
    session.refused.connect(heard.append)
    session.act("a thing", lambda file, now: 1, fail, kinds={"plan"})
    settle(session)
    session.undo_last()
    settle(session)
    assert [e.code for e in heard] == ["farmfile.disk_full"]
    assert session.undo.index() == 1 and session.undo.canUndo()


def test_unexpected_fault_is_logged_and_the_thread_lives_on(
    session: Session, settle: Settle
) -> None:
    heard: list[WaterBudgetError] = []
    session.refused.connect(heard.append)

    def fault(*_: object) -> None:
        raise ZeroDivisionError("a slip of ours")

    session.act("a slip", fault)
    settle(session)
    assert heard[0].code == "desktop.unexpected"
    assert "a slip of ours" in Path(heard[0].fields["log"]).read_text()
    set_soil(session, "clay")
    settle(session)
    assert soil(session) == "clay"


def test_newest_day_wins(session: Session, settle: Settle) -> None:
    seen: list[dt.date] = []
    session.season_changed.connect(lambda season: seen.append(season.on))
    today = session.today
    for back in range(1, 12):
        session.set_day(today - dt.timedelta(days=back))
    settle(session)
    assert session.day == session.season.on == today - dt.timedelta(days=11)  # type: ignore[union-attr]
    assert seen == [today - dt.timedelta(days=11)]
    assert not session.at_today


def test_a_window_open_over_midnight_goes_on_to_the_new_day(
    qapp: object, farm_path: Path, settle: Settle
) -> None:
    clock = [NOW]
    session = Session(clock=lambda: clock[0])
    session.open(farm_path)
    settle(session)
    seen: list[dt.date] = []
    session.season_changed.connect(lambda season: seen.append(season.on))
    clock[0] = NOW + dt.timedelta(days=1)
    session.look_at_clock()
    session.look_at_clock()
    settle(session)
    tomorrow = NOW.date() + dt.timedelta(days=1)
    assert seen == [tomorrow] and session.at_today and session.today == session.day == tomorrow

    clock[0] += dt.timedelta(days=1)  # an edit before anybody looked at the clock
    set_soil(session, "clay")
    settle(session)
    assert session.season is not None
    assert session.at_today and session.season.on == clock[0].date()

    back = tomorrow - dt.timedelta(days=3)
    session.set_day(back)
    settle(session)
    clock[0] += dt.timedelta(days=1)
    session.look_at_clock()
    settle(session)
    assert session.day == session.season.on == back, "who looks back stays there"
    session.go_to_today()
    settle(session)
    assert session.season.on == clock[0].date()
    session.stop()


def test_work_is_done_in_one_thread_and_answers_come_back_to_this_one(
    session: Session, settle: Settle
) -> None:
    there: set[str] = set()
    here: set[str] = set()
    for _ in range(3):
        session.query(lambda file: there.add(threading.current_thread().name),
                      lambda _: here.add(threading.current_thread().name))  # fmt: skip
    settle(session)
    assert there == {"waterbudget-worker"} and here == {threading.current_thread().name}


def test_file_that_is_no_farm_keeps_the_open_one(
    session: Session, settle: Settle, tmp_path: Path
) -> None:
    heard: list[WaterBudgetError] = []
    other = tmp_path / "letter.gpkg"
    other.write_text("Dear all,")
    session.open(other, failed=heard.append)
    settle(session)
    assert heard[0].code == "farmfile.not_a_farm"
    set_soil(session, "clay")
    settle(session)
    assert soil(session) == "clay"


def test_opens_another_farm_and_closes_the_first(
    session: Session, settle: Settle, tmp_path: Path
) -> None:
    closed: list[bool] = []
    session.closed.connect(lambda: closed.append(True))
    first = session.path
    set_soil(session, "clay")
    settle(session)
    other = small_farm(tmp_path / "other.gpkg", with_weather=False)
    session.open(other)
    settle(session)
    assert closed == [True] and session.path == other and session.path != first
    assert session.undo.count() == 0
    assert session.season is not None


def test_reopening_the_same_farm_is_no_quarrel(
    session: Session, settle: Settle, farm_path: Path
) -> None:
    heard: list[WaterBudgetError] = []
    session.open(farm_path, failed=heard.append)
    settle(session)
    assert heard == [] and session.is_open


def test_second_window_on_one_farm_is_told_that_it_is_in_use(
    session: Session, settle: Settle, farm_path: Path
) -> None:
    heard: list[WaterBudgetError] = []
    second = Session(clock=lambda: NOW)
    try:
        second.open(farm_path, failed=heard.append)
        settle(second)
        assert [e.code for e in heard] == ["farmfile.in_use"]
        assert not second.is_open
    finally:
        second.stop()
    set_soil(session, "clay")
    settle(session)
    assert soil(session) == "clay"
