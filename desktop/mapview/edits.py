"""Edits of outlines by hand: each one action of the core, one undo step.

Renaming and deleting are the same on every page: :mod:`desktop.block_edits`.
"""

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


def _block(session: Session, name: str) -> Any:
    assert session.data is not None
    return session.data.orchard.block(name)
