"""What a shared week says: who gave what, what it costs in dry mornings, how good the plan is."""

from __future__ import annotations

import datetime as dt
from typing import Any

from waterbudget.errors import Note
from waterbudget.season import GaveUp, Season
from waterbudget.share import Break

NAMED = 5
"""Blocks that are named in the sentence of the whole week; each has its own beside its hours."""


def shared_values(season: Season) -> dict[str, Any]:
    """Return what the ``week`` answer tells of a shared week; None values where none was."""
    shared = season.shared
    if shared is None:
        return {"bound_gap": None, "avoidable_stress_avoided": None, "gave": [], "breaks": []}
    return {
        "bound_gap": shared.bound_gap,
        "avoidable_stress_avoided": shared.avoidable_stress_avoided,
        "gave": [
            {"block": g.block, "given_up_mm": g.given_up_mm, "given_up_m3": g.given_up_m3,
             "limit": g.limit, "dry_days": g.dry_days, "dry_days_free": g.dry_days_free}
            for g in shared.gave
        ],
        "breaks": [
            {"limit": b.code, "amount": b.amount, "date": _date(season, b), "pinned": b.pinned}
            for b in shared.breaks
        ],
    }  # fmt: skip


def shared_notes(season: Season) -> list[Note]:
    """Return the sentences of a shared week; none where the free choice fits."""
    shared = season.shared
    if shared is None:
        return []
    found = []
    if any(g.given_up_mm > 0 for g in shared.gave):
        named = [gave_note(g) for g in shared.gave[:NAMED]]
        rest = shared.gave[NAMED:]
        if rest:
            m3 = round(sum(g.given_up_m3 for g in rest))
            named.append(Note.of("share.others", count=len(rest), m3=m3))
        found.append(Note.of("share.gave", gave=named))
    else:
        found.append(Note.of("share.moved"))
    gap, avoided = 100 * shared.bound_gap, 100 * shared.avoidable_stress_avoided
    found.append(Note.of("share.quality", gap=f"{gap:.0f}", avoided=f"{avoided:.0f}"))
    for b in shared.breaks:
        kind = "pinned" if b.pinned else "lacks"
        amount = round(b.amount, 1) if b.amount < 100 else round(b.amount)
        found.append(Note.of(f"share.{kind}_{b.code}", amount=amount, date=_date(season, b)))
    return found


def gave_note(g: GaveUp) -> Note:
    """Return what one block gave and what it costs it."""
    if g.limit is None:
        return Note.of("share.waits", block=g.block, days=g.dry_days, free=g.dry_days_free)
    return Note.of(
        f"share.gives_{g.limit}", block=g.block, mm=round(g.given_up_mm, 1),
        m3=round(g.given_up_m3), days=g.dry_days, free=g.dry_days_free,
    )  # fmt: skip


def block_note(season: Season, name: str) -> Note | None:
    """Return the same for one block; None where it gave nothing."""
    gave = season.shared.gave if season.shared is not None else ()
    return next((gave_note(g) for g in gave if g.block == name), None)


def _date(season: Season, b: Break) -> dt.date | None:
    return None if b.day is None else season.on + dt.timedelta(days=b.day)
