"""Edits of outlines by hand: each one action of the core, one undo step.

Renaming and deleting are the same on every page: :mod:`desktop.block_edits`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any

from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from desktop.labels import label
from desktop.session import Session
from desktop.wording import say, tr
from waterbudget.errors import Note, WaterBudgetError

KINDS = ("blocks", "outlines")
MOST_KEYS = 5
Failed = Callable[[WaterBudgetError], None]
Done = Callable[[Any], None]
Place = tuple[float, float]


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


def tell(notes: Sequence[Note]) -> str:
    """Return what an edit tells, settings by their names on the screen."""
    said = []
    for note in notes:
        keys = note.fields.get("keys")
        if isinstance(keys, str):
            names = [label(k) for k in keys.split(", ")]
            more = ", …" if len(names) > MOST_KEYS else ""
            note = Note.of(
                note.code, **{**note.fields, "keys": ", ".join(names[:MOST_KEYS]) + more}
            )
        said.append(say(note))
    return " ".join(said)


def _land(
    session: Session, label: str, do: Callable[[Any, Any, dt.datetime], Any], failed: Failed,
    done: Done | None = None,
) -> None:  # fmt: skip
    """Carry out an edit of the land: what it tells is told, undo puts everything back."""

    def carry_out(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return do(actions, file, now)

    def undo(file: Any, now: dt.datetime, result: Any) -> None:
        from waterbudget import actions

        actions.put_back(file, result, now=now)

    def told(result: Any) -> None:
        if result.notes:
            session.told.emit(tell(result.notes))
        if done is not None:
            done(result)

    session.act(label, carry_out, undo, KINDS, done=told, failed=failed)


def move_corners(
    session: Session, name: str, moves: Sequence[tuple[Place, Place]], failed: Failed
) -> None:  # fmt: skip
    """Move corners in every block that touches them."""
    _land(session, tr("corners of {0} and its neighbours").format(name),
          lambda a, file, now: a.move_shared_corners(file, moves, now=now), failed)  # fmt: skip


def split(
    session: Session, name: str, line: LineString, names: tuple[str, str], done: Done,
    failed: Failed,
) -> None:  # fmt: skip
    """Split a block along a line."""
    _land(session, tr("split of {0}").format(name),
          lambda a, file, now: a.split_block(file, name, line, names, now=now),
          failed, done)  # fmt: skip


def join(session: Session, name: str, other: str, done: Done, failed: Failed) -> None:
    """Join two blocks."""
    _land(session, tr("join of {0} and {1}").format(name, other),
          lambda a, file, now: a.merge_blocks(file, name, other, now=now),
          failed, done)  # fmt: skip


def cut_out(session: Session, name: str, piece: Polygon, done: Done, failed: Failed) -> None:
    """Cut a piece out of a block."""
    _land(session, tr("piece cut out of {0}").format(name),
          lambda a, file, now: a.cut_hole(file, name, piece, now=now), failed, done)  # fmt: skip


def close_gaps(session: Session, name: str, reach_m: float, failed: Failed) -> None:
    """Lay a block's edge on its neighbours."""
    _land(session, tr("gaps of {0} closed").format(name),
          lambda a, file, now: a.close_gaps(file, name, reach_m, now=now), failed)  # fmt: skip


def _block(session: Session, name: str) -> Any:
    assert session.data is not None
    return session.data.orchard.block(name)
