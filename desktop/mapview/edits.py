"""Edits of outlines: each one action of the core, one undo step."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from shapely.geometry.base import BaseGeometry

from desktop.session import Session
from desktop.wording import tr
from waterbudget.errors import WaterBudgetError

KINDS = ("blocks", "outlines")
Failed = Callable[[WaterBudgetError], None]
Done = Callable[[Any], None]


def draw(session: Session, name: str, outline: BaseGeometry, done: Done, failed: Failed) -> None:
    """Begin a block from a drawn outline."""

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.draw_block(file, name, outline, now=now)

    def undo(file: Any, now: dt.datetime, block: Any) -> None:
        from waterbudget import actions

        actions.delete_block(file, block.name, now=now)

    session.act(tr("drawing of {0}").format(name), do, undo, KINDS, done=done, failed=failed)


def reshape(session: Session, name: str, outline: BaseGeometry, failed: Failed) -> None:
    """Give a block another outline."""
    before = _block(session, name)

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.set_outline(file, name, outline, now=now)

    def undo(file: Any, now: dt.datetime, block: Any) -> None:
        from waterbudget import actions

        actions.restore_block(file, before, now=now)

    session.act(tr("corners of {0}").format(name), do, undo, KINDS, failed=failed)


def rename(session: Session, name: str, new: str, done: Done, failed: Failed) -> None:
    """Give a block another name."""

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.rename_block(file, name, new, now=now)

    def undo(file: Any, now: dt.datetime, block: Any) -> None:
        from waterbudget import actions

        actions.rename_block(file, block.name, name, now=now)

    session.act(tr("name of {0}").format(name), do, undo, ("blocks",), done=done, failed=failed)


def delete(session: Session, name: str) -> None:
    """Take a block off the farm."""

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.delete_block(file, name, now=now)

    def undo(file: Any, now: dt.datetime, block: Any) -> None:
        from waterbudget import actions

        actions.restore_block(file, block, now=now)

    session.act(tr("deletion of {0}").format(name), do, undo, KINDS)


def _block(session: Session, name: str) -> Any:
    assert session.data is not None
    return session.data.orchard.block(name)
