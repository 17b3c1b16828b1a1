"""What ran as rows and sums: by block, month, source, meter, and the water right used."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any

from waterbudget.errors import Note
from waterbudget.orchard import Block
from waterbudget.records import FarmData
from waterbudget.season import BlockSeason, PastSet, metering
from waterbudget.season.blocks import past_waterings
from waterbudget.season.source import rights_used

RAN_COLUMNS = (
    "date", "block", "state", "planned_hours", "hours", "m3", "mm", "how", "dial_m3",
)  # fmt: skip
"""Columns of the list of what ran, in order."""


def flow_note(b: BlockSeason) -> Note | None:
    """Return what the meter says of a block's flow; None within 8 % or without a meter."""
    found = b.drift
    if found is None or found.verdict == "even":
        return None
    pct = found.pct if found.verdict == "look" else abs(found.pct)
    return Note.of(
        f"flow.{found.verdict}", block=b.block.name, metered=round(found.metered_m3_h, 1),
        planned=round(found.planned_m3_h, 1), pct=round(pct), count=found.count,
    )  # fmt: skip


def ran_list(
    data: FarmData, on: dt.date, start: dt.date | None = None, end: dt.date | None = None,
    block: str | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Return every watering that counts before ``on``, and its sums.

    Parameters
    ----------
    start, end : datetime.date, optional
        First and last day listed.
    block : str, optional
        Only this one; meters and rights stay those of the whole farm.

    Returns
    -------
    dict
        ``rows`` (see :data:`RAN_COLUMNS`), sums ``by_block``, ``by_month``, ``by_source``,
        ``total``, what ``meters`` measured, and ``rights`` with the share used.
    """
    known = metering.with_meters(data, on)
    blocks = data.orchard.blocks
    past = [past_waterings(b, known, on, on, 0)[0] for b in blocks]
    wanted = data.orchard.block(block).id if block is not None else None

    def inside(day: dt.date) -> bool:
        return (start is None or day >= start) and (end is None or day <= end)

    kept = [
        (b, s) for b, own in zip(blocks, past, strict=True) for s in own
        if inside(s.date) and wanted in (None, b.id)
    ]  # fmt: skip
    kept.sort(key=lambda item: item[1].date)
    sources = _sources(data, on)
    dials = {(m.block_id, m.date): m.m3 for m in data.meter_readings}
    rows = [
        {
            "date": s.date, "block": b.name, "state": s.state, "planned_hours": s.planned_hours,
            "hours": s.hours, "m3": s.m3, "mm": s.gross_mm,
            "how": sources.get((b.id, s.date), "handed_out"),
            "dial_m3": dials.get((b.id, s.date)),
        }
        for b, s in kept
    ]  # fmt: skip
    return {
        "on": on, "from": start, "to": end, "rows": rows,
        "by_block": _sums(kept, lambda b, _: b.name, "block"),
        "by_month": _sums(kept, lambda _, s: f"{s.date:%Y-%m}", "month"),
        "by_source": _sums(kept, lambda b, _: data.orchard.pump_of(b).name or "farm", "source"),
        "total": _sums(kept, lambda *_: "all", "total")[:1],
        "meters": _meters(data, on, inside),
        "rights": _rights(data, on, end, past),
    }  # fmt: skip


def _sources(data: FarmData, on: dt.date) -> dict[tuple[int, dt.date], str]:
    """Return where the water of each day entered or metered comes from."""
    found: dict[tuple[int, dt.date], str] = {}
    for r in data.ran:
        place = (r.block_id, r.date)
        found[place] = "m3" if r.m3 is not None else found.get(place, "hours")
    for step in metering.steps(data, on):
        found.update({(s.block_id, s.date): "meter" for s in step.shares})
        if not step.shares:
            found[step.reading.block_id, step.reading.date] = "meter"
    return found


Named = Callable[[Block, PastSet], str]


def _sums(kept: Sequence[tuple[Block, PastSet]], name: Named, key: str) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for b, s in kept:
        row = found.setdefault(name(b, s), {"waterings": 0, "hours": 0.0, "m3": 0.0, "unknown": 0})
        if s.state == "missed":
            continue
        row["waterings"] += 1
        row["hours"] += s.hours or 0.0
        row["m3"] += s.m3 or 0.0
        row["unknown"] += s.m3 is None
    return [{key: n, **row} for n, row in sorted(found.items())]


def _meters(data: FarmData, on: dt.date, inside: Callable[[dt.date], bool]) -> list[dict[str, Any]]:
    """Return what each meter measured between its readings of the span, and their days."""
    names = {b.id: b for b in data.orchard.blocks}
    found: dict[str, dict[str, Any]] = {}
    for step in metering.steps(data, on):
        if not inside(step.reading.date):
            continue
        block = names[step.reading.block_id]
        shared = metering.meter_blocks(data, block)
        row = found.setdefault(metering.meter_key(block), {
            "meter": block.meter or block.name, "blocks": [b.name for b in shared],
            "from": step.before.date, "to": step.reading.date, "m3": 0.0,
        })  # fmt: skip
        row["to"] = max(row["to"], step.reading.date)
        row["from"] = min(row["from"], step.before.date)
        row["m3"] += step.m3
    return sorted(found.values(), key=lambda r: str(r["meter"]))


def _rights(
    data: FarmData, on: dt.date, end: dt.date | None, past: Sequence[Sequence[PastSet]]
) -> list[dict[str, Any]]:
    """Return the rights that hold on the last day listed, and how much of each is used."""
    last = min(end, on - dt.timedelta(days=1)) if end is not None else on - dt.timedelta(days=1)
    found = []
    for r in rights_used(data, last, past):
        used = sum(s.m3 or 0.0 for own in past for s in own if r.first <= s.date <= last)
        found.append({
            "right": r.kind, "from": r.first, "to": r.last, "m3": r.m3, "used_m3": used,
            "used_pct": 100.0 * used / r.m3 if r.m3 else None,
        })  # fmt: skip
    return found
