"""Edits of blocks, as every page makes them: one action of the core, with its undo.

Undo puts the block back exactly as it was, under its own number.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from desktop.jobs import Done, Failed
from desktop.models.keys import key_words, named_error
from desktop.session import Session
from desktop.wording import say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import Block

if TYPE_CHECKING:
    from waterbudget.store import FarmFile

BLOCKS = ("blocks",)


def block_of(session: Session, block_id: int) -> Block | None:
    """Return a block as it is stored now; None where it is gone."""
    if session.data is None:
        return None
    return next((b for b in session.data.orchard.blocks if b.id == block_id), None)


def set_keys(
    session: Session, block: Block, pairs: Mapping[str, str], *, done: Done | None = None,
    failed: Failed | None = None,
) -> None:  # fmt: skip
    """Set settings of a block from text as typed; empty text clears."""
    names = ", ".join(key_words(k).label for k in pairs)
    name = block.name

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.set_block(file, name, pairs, now=now)

    def told(result: Any) -> None:
        for note in result[1]:
            session.told.emit(say(note))
        if done is not None:
            done(result[0])

    session.act(
        tr("{0} of {1}").format(names, name), do, _put_back(block), BLOCKS, done=told,
        failed=_named(session, failed),
    )  # fmt: skip


def _put_back(before: Block) -> Callable[..., Any]:
    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return actions.restore_block(file, before, now=now)

    return undo


def _named(session: Session, failed: Failed | None) -> Failed:
    def tell(error: WaterBudgetError) -> None:
        (failed or session.refused.emit)(named_error(error))

    return tell


def add_block(
    session: Session, name: str, hectares: str, *, done: Done | None = None,
    failed: Failed | None = None,
) -> None:  # fmt: skip
    """Begin a block with a name and, where they are known, its hectares."""
    pairs = {"area_ha": hectares} if hectares.strip() else {}

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.set_block(file, name, pairs, new=True, now=now)

    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return actions.delete_block(file, result[0].name, now=now)

    def told(result: Any) -> None:
        if done is not None:
            done(result[0])

    session.act(tr("new block {0}").format(name), do, undo, BLOCKS, done=told,
                failed=_named(session, failed))  # fmt: skip


def rename_block(
    session: Session, block: Block, new_name: str, *, failed: Failed | None = None
) -> None:  # fmt: skip
    """Give a block another name."""
    old = block.name

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.rename_block(file, old, new_name, now=now)

    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return actions.rename_block(file, result.name, old, now=now)

    session.act(tr("name of {0}").format(old), do, undo, BLOCKS, failed=_named(session, failed))


def delete_blocks(session: Session, blocks: list[Block], *, done: Done | None = None) -> None:
    """Take blocks off the farm; one undo brings them all back."""
    names = [b.name for b in blocks]

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return [actions.delete_block(file, name, now=now) for name in names]

    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return [actions.restore_block(file, block, now=now) for block in result]

    label = tr("delete {0}").format(", ".join(names[:3]) + (" …" if len(names) > 3 else ""))
    session.act(label, do, undo, ("blocks", "outlines"), done=done)


def drop_outline(session: Session, block: Block, *, failed: Failed | None = None) -> None:
    """Take a block's outline away; its hectares stay, typed."""
    name = block.name

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.set_outline(file, name, None, now=now)

    session.act(
        tr("outline of {0}").format(name), do, _put_back(block), ("blocks", "outlines"),
        failed=_named(session, failed),
    )  # fmt: skip
