"""What the week's edits store."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from desktop.pages import home_edits
from desktop.session import Session


def test_a_quick_plan_is_never_handed_out(
    session: Session, settle: Callable[[Session], None]
) -> None:
    settle(session)
    solved = session.season
    assert solved is not None
    planned = sorted(
        (b.block.id, s.day, s.hours) for b in solved.blocks for s in b.plan.sets if s.hours
    )
    assert planned
    emptied = tuple(replace(b, plan=replace(b.plan, sets=())) for b in solved.blocks)
    session.season = replace(solved, provisional=True, blocks=emptied)
    given: list[object] = []
    home_edits.hand_out(session, given.append)
    settle(session)
    (week,) = session.data.given  # type: ignore[union-attr]
    stored = sorted((s.block_id, (s.date - solved.on).days, s.hours) for s in week.sets)
    assert stored == planned
