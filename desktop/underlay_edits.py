"""Edits of what lies under the map: each one action of the core, one undo step."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from desktop.jobs import Failed
from desktop.session import Session
from desktop.wording import say, tr

if TYPE_CHECKING:
    from waterbudget.records import Underlay

KINDS = ("underlays",)


def add(
    session: Session, path: Path, kind: str | None, *, then: Callable[[], None] | None = None,
    failed: Failed | None = None,
) -> None:  # fmt: skip
    """Lay a file under the map."""

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.add_underlay(file, path, kind, now=now)

    def undo(file: Any, now: dt.datetime, result: Any) -> None:
        from waterbudget import actions

        actions.drop_underlay(file, result[0].path, now=now)

    def done(result: Any) -> None:
        for note in result[1]:
            session.told.emit(say(note))
        if then is not None:
            then()

    session.act(tr("{0} laid under the map").format(path.name), do, undo, KINDS, done=done,
                failed=failed)  # fmt: skip


def change(
    session: Session, row: Underlay, *, opacity: float | None = None, shown: bool | None = None
) -> None:
    """Change how one file shows."""

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.change_underlay(file, row.path, opacity=opacity, shown=shown, now=now)

    def undo(file: Any, now: dt.datetime, before: Underlay) -> None:
        from waterbudget import actions

        actions.change_underlay(
            file, row.path, opacity=before.opacity, shown=before.shown, now=now
        )  # fmt: skip

    label = tr("how strongly {0} shows") if opacity is not None else tr("{0} shown or not")
    session.act(label.format(Path(row.path).name), do, undo, KINDS)


def order(session: Session, paths: Sequence[str]) -> None:
    """Lay the files in this order, lowest first."""

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.order_underlays(file, paths, now=now)

    def undo(file: Any, now: dt.datetime, before: list[str]) -> None:
        from waterbudget import actions

        actions.order_underlays(file, before, now=now)

    session.act(tr("order of the pictures"), do, undo, KINDS)


def drop(session: Session, row: Underlay) -> None:
    """Take a file off the map; the file itself stays."""

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.drop_underlay(file, row.path, now=now)

    def undo(file: Any, now: dt.datetime, before: Underlay) -> None:
        from waterbudget import actions

        actions.put_underlay(file, before, now=now)

    session.act(tr("{0} taken off the map").format(Path(row.path).name), do, undo, KINDS)
