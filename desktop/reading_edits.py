"""Edits of soil readings and of the factor they speak for: one transaction each, with its undo."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from desktop.jobs import Done, Failed
from desktop.session import Session
from desktop.wording import day_named, number, tr
from waterbudget.orchard import Block
from waterbudget.records import Reading

if TYPE_CHECKING:
    from waterbudget.store import FarmFile

READ = ("ran",)


def held_on(session: Session, block: Block, date: dt.date) -> list[Reading]:
    """Return the readings stored of a block's day."""
    if session.data is None:
        return []
    return [r for r in session.data.readings if r.block_id == block.id and r.date == date]


def enter_reading(
    session: Session, block: Block, reading: Reading, *, done: Done | None = None,
    failed: Failed | None = None,
) -> None:  # fmt: skip
    """Enter a reading; one of the same sensor and day gives way to it."""
    name, before = block.name, held_on(session, block, reading.date)

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.enter_reading(
            file, name, reading.date, reading.kind, reading.value, depth_cm=reading.depth_cm,
            sensor=reading.sensor, before_water=reading.before_water, now=now,
        )  # fmt: skip

    _act(session, block, reading, do, before, done, failed)


def remove_reading(
    session: Session, block: Block, reading: Reading, *, failed: Failed | None = None
) -> None:
    """Take one reading away."""
    name, before = block.name, held_on(session, block, reading.date)
    left = [r for r in before if r.id != reading.id]

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.put_readings(file, name, reading.date, left, now=now)

    _act(session, block, reading, do, before, None, failed)


def _act(
    session: Session, block: Block, reading: Reading, do: Any, before: list[Reading],
    done: Done | None, failed: Failed | None,
) -> None:  # fmt: skip
    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return actions.put_readings(file, block.name, reading.date, before, now=now)

    label = tr("reading of {0}, {1}").format(block.name, day_named(reading.date))
    session.act(label, do, undo, READ, done=done, failed=failed)


def accept_factor(
    session: Session, block: Block, factor: float, why: str, *, failed: Failed | None = None
) -> None:
    """Give a block the factor its readings speak for, from today on."""
    name, since = block.name, session.today

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.accept_factor(file, name, factor, since=since, why=why, now=now)

    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return actions.restore_block(file, block, now=now)

    label = tr("Kc, times {0}, of {1}").format(number(factor, 2), name)
    session.act(label, do, undo, ("blocks",), failed=failed)
