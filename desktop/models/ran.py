"""What ran on one day: one row a block, with what was planned, what is entered, what is typed.

Nothing is stored here: what is typed stays *pending* until the page stores the whole day in one
transaction.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, Signal

from desktop.models.week import week_given
from desktop.wording import fixed, hours, number, say, thousands, tr, word
from waterbudget.errors import Note
from waterbudget.orchard import ALL_STAGES, Block, walk_key
from waterbudget.records import FarmData

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

Index = QModelIndex | QPersistentModelIndex
ROOT = QModelIndex()
Entry = tuple[float | None, float | None]
"""Hours, cubic metres; one of the two."""

STATE = Qt.ItemDataRole.UserRole + 1
PENDING = Qt.ItemDataRole.UserRole + 2
BLOCK_ID = Qt.ItemDataRole.UserRole + 3
IN_FILL = Qt.ItemDataRole.UserRole + 4
NAME, VALVE, STAGE, START, PLANNED, RAN, DIAL, HOURS, M3, MM = range(10)
TYPED = (RAN, DIAL)
"""Columns that can be typed in."""

_NUMBER = r"(\d+(?:[.,]\d*)?|[.,]\d+)"
_FIGURE = re.compile(rf"^{_NUMBER}\s*(h|m3|m³|m)?$")
_BOTH = re.compile(rf"^{_NUMBER}\s*h?\s*=\s*{_NUMBER}\s*(?:m3|m³|m)?$")
DAYS_BACK = 28


class NotAFigure(ValueError):
    """What was typed is no figure of hours or cubic metres."""


def read_figures(text: str) -> list[Entry]:
    """Read what ran: ``4.25``, ``212 m3``, ``3 + 2.5`` (two waterings), ``0`` (did not run).

    ``7 h = 212 m3`` are hours and water of one watering.

    Raises
    ------
    NotAFigure
    """
    clean = text.strip().casefold()
    if not clean:
        return []
    if clean in ("n", "no", tr("no").casefold()):
        return [(0.0, None)]
    found: list[Entry] = []
    for part in clean.split("+"):
        both = _BOTH.match(part.strip())
        if both is not None:
            found.append((_number(both[1]), _number(both[2])))
            continue
        match = _FIGURE.match(part.strip())
        if match is None:
            raise NotAFigure(text)
        value = _number(match[1])
        found.append((None, value) if match[2] in ("m3", "m³", "m") else (value, None))
    if len(found) > 1 and any((h if h is not None else v) == 0 for h, v in found):
        raise NotAFigure(text)
    return found


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def read_dial(text: str) -> float | None:
    """Read what a meter showed; None where nothing is typed.

    Raises
    ------
    NotAFigure
    """
    clean = text.strip().casefold().removesuffix("m³").removesuffix("m3").replace(" ", "")
    if not clean:
        return None
    if re.fullmatch(_NUMBER, clean) is None:
        raise NotAFigure(text)
    return _number(clean)


def write_dial(m3: float | None) -> str:
    """Return what a meter showed as it stands on its dial."""
    return "" if m3 is None else f"{m3:.15g}"


def write_figures(entries: Sequence[Entry]) -> str:
    """Return entries as they are typed."""
    return " + ".join(
        hours(h) if m3 is None
        else f"{number(m3)} m³" if h is None else f"{hours(h)} h = {number(m3)} m³"
        for h, m3 in entries
    )  # fmt: skip


@dataclass(frozen=True)
class RanRow:
    """One block on one day.

    Attributes
    ----------
    planned : float or None
        Hours handed out for that day, or planned for today where nothing was handed out.
    handed_out : bool
    entered : tuple of Entry
        As stored; empty where nothing is.
    dial : float or None
        What its meter showed that day [m3].
    dial_before : float or None
        What it showed at the reading before [m3].
    metered_m3 : float or None
        Water of the day as its meter measured it, where that counts.
    """

    block: Block
    stage: str
    planned: float | None
    start: dt.time | None
    handed_out: bool
    entered: tuple[Entry, ...]
    flow_m3_h: float | None
    hectares: float | None
    dial: float | None = None
    dial_before: float | None = None
    metered_m3: float | None = None

    @property
    def state(self) -> str:
        """``ran``, ``missed``, ``not_confirmed``, ``planned`` or ``none``."""
        if self.metered_m3 is not None:
            return "ran" if self.metered_m3 > 0 else "missed"
        if self.entered:
            return "missed" if _nothing(self.entered) else "ran"
        if self.planned is None:
            return "none"
        return "not_confirmed" if self.handed_out else "planned"


def _nothing(entries: Sequence[Entry]) -> bool:
    return all((m3 if m3 is not None else h) == 0 for h, m3 in entries)


def ran_rows(data: FarmData, season: Season | None, date: dt.date) -> list[RanRow]:
    """Return every block of the farm on a day in the order of the sheet for the valves."""
    given = week_given(data, date)
    handed = {s.block_id: s for s in given.sets if s.date == date} if given is not None else {}
    entered: dict[int, list[Entry]] = {}
    for entry in data.ran:
        if entry.date == date:
            entered.setdefault(entry.block_id, []).append((entry.hours, entry.m3))
    of = {b.block.id: b for b in season.blocks} if season is not None else {}
    dials = _dials(data, date)
    rows = []
    for block in data.orchard.blocks:
        found = of.get(block.id)
        item = handed.get(block.id)
        planned, start = (item.hours, item.start) if item is not None else (None, None)
        if given is None and item is None and season is not None and found is not None:
            planned, start = _proposed(season, found, date)
        rows.append(RanRow(
            block, _stage(season, found, date), planned, start, item is not None,
            tuple(entered.get(block.id, ())), found.flow.m3_h if found is not None else None,
            block.hectares, *dials.get(block.id, (None, None)),
            _metered(found, entered.get(block.id, []), date),
        ))  # fmt: skip
    return sorted(rows, key=_as_on_paper)


def _as_on_paper(row: RanRow) -> tuple[Any, ...]:
    """Sort key of the sheet for the valves, so that a ticked one is typed in from top to bottom.

    What is planned or entered comes first, person by person, each in walking order.
    """
    idle = row.planned is None and not row.entered
    return idle, row.block.valve_person or "", *walk_key(row.block)


def _dials(data: FarmData, date: dt.date) -> dict[int, tuple[float | None, float | None]]:
    """Return what the meters showed on a day and at the reading before, by block."""
    found: dict[int, tuple[float | None, float | None]] = {}
    for m in sorted(data.meter_readings, key=lambda m: m.date):
        now, before = found.get(m.block_id, (None, None))
        if m.date < date:
            found[m.block_id] = (now, m.m3)
        elif m.date == date:
            found[m.block_id] = (m.m3, before)
    return found


def _metered(block: BlockSeason | None, entered: Sequence[Entry], date: dt.date) -> float | None:
    """Return the water of a past day where a meter measured it."""
    if block is None or any(m3 is not None for _, m3 in entered):
        return None
    sets = [s for s in block.past if s.date == date]
    timed = any(s.timed for s in sets)
    unentered = not entered and any(s.state != "not_confirmed" for s in sets)
    return sum(s.m3 or 0.0 for s in sets) if timed or unentered else None


def _proposed(
    season: Season, block: BlockSeason, date: dt.date
) -> tuple[float | None, dt.time | None]:  # fmt: skip
    day = (date - season.on).days
    found = [s for s in block.plan.sets if s.day == day and s.hours is not None]
    return (found[0].hours, found[0].start) if found else (None, None)


def _stage(season: Season | None, block: BlockSeason | None, date: dt.date) -> str:
    if season is None or block is None:
        return ""
    i = (date - season.first).days
    return ALL_STAGES[block.clock.stage[i]] if 0 <= i < len(block.clock.stage) else ""


@dataclass(frozen=True)
class DayCount:
    """One day at a glance: how many blocks ran, did not run, and were not confirmed."""

    date: dt.date
    ran: int
    missed: int
    open: int


def day_counts(
    data: FarmData, today: dt.date, days: int = DAYS_BACK, season: Season | None = None
) -> list[DayCount]:
    """Return the last days, newest first, today included.

    Parameters
    ----------
    season : Season, optional
        Of today: it knows which waterings the meters confirm.
    """
    ran = data.ran
    if season is not None and season.on == today:
        ran = (*season.data.ran, *(r for r in data.ran if r.date >= today))
    entered: dict[dt.date, dict[int, list[Entry]]] = {}
    for entry in ran:
        of_day = entered.setdefault(entry.date, {})
        of_day.setdefault(entry.block_id, []).append((entry.hours, entry.m3))
    found = []
    for back in range(days):
        date = today - dt.timedelta(days=back)
        of_day = entered.get(date, {})
        missed = sum(_nothing(e) for e in of_day.values())
        given = week_given(data, date)
        handed = {s.block_id for s in given.sets if s.date == date} if given is not None else set()
        unconfirmed = len(handed - set(of_day)) if date < today else 0
        found.append(DayCount(date, len(of_day) - missed, missed, unconfirmed))
    return found


class RanModel(QAbstractTableModel):
    """One day's table.

    Signals
    -------
    pending_changed()
    not_a_figure(str, str)
        Name of the block and the text typed.
    """

    pending_changed = Signal()
    not_a_figure = Signal(str, str)

    def __init__(self) -> None:
        super().__init__()
        self.date: dt.date | None = None
        self.rows: list[RanRow] = []
        self.pending: dict[int, tuple[Entry, ...]] = {}
        self.dials: dict[int, float | None] = {}

    def set_day(self, data: FarmData | None, season: Season | None, date: dt.date) -> None:
        """Show a day; what is typed and not stored stays only on the same day."""
        other = date != self.date
        self.beginResetModel()
        self.date = date
        self.rows = ran_rows(data, season, date) if data is not None else []
        ids = {r.block.id for r in self.rows}
        self.pending = {} if other else {k: v for k, v in self.pending.items() if k in ids}
        self.dials = {} if other else {k: v for k, v in self.dials.items() if k in ids}
        self.endResetModel()
        self.pending_changed.emit()

    # -- what is typed ------------------------------------------------------------------------

    def as_planned(self, row: int) -> bool:
        """Take the planned hours of a row; False where nothing is planned or it is entered."""
        item = self.rows[row]
        if item.planned is None or item.entered or item.block.id in self.pending:
            return False
        self._set(row, ((item.planned, None),))
        return True

    def rest_as_planned(self) -> int:
        """Take the planned hours wherever nothing is entered; return how many."""
        return sum(self.as_planned(row) for row in range(len(self.rows)))

    def _set(self, row: int, entries: tuple[Entry, ...]) -> None:
        item = self.rows[row]
        if entries == item.entered:
            self.pending.pop(item.block.id, None)
        else:
            self.pending[item.block.id] = entries
        self.dataChanged.emit(self.index(row, 0), self.index(row, self.columnCount() - 1))
        self.pending_changed.emit()

    def set_dial(self, row: int, m3: float | None) -> None:
        """Take what a meter showed; None takes a stored reading away."""
        item = self.rows[row]
        if m3 == item.dial:
            self.dials.pop(item.block.id, None)
        else:
            self.dials[item.block.id] = m3
        self.dataChanged.emit(self.index(row, 0), self.index(row, self.columnCount() - 1))
        self.pending_changed.emit()

    @property
    def typed(self) -> int:
        """How many blocks have something typed that is not stored."""
        return len({*self.pending, *self.dials})

    def forget(self) -> None:
        """Take back what is typed and not stored."""
        self.pending = {}
        self.dials = {}
        if self.rows:
            last = self.index(len(self.rows) - 1, self.columnCount() - 1)
            self.dataChanged.emit(self.index(0, 0), last)
        self.pending_changed.emit()

    def to_store(self) -> dict[str, tuple[Entry, ...]]:
        """Return what is typed, by the name of the block."""
        names = {r.block.id: r.block.name for r in self.rows}
        return {names[k]: v for k, v in self.pending.items()}

    def dials_to_store(self) -> dict[str, float | None]:
        """Return the readings typed, by the name of the block."""
        names = {r.block.id: r.block.name for r in self.rows}
        return {names[k]: v for k, v in self.dials.items()}

    def shown_row(self, row: int) -> RanRow:
        """Return a row with what is typed in the place of what is stored."""
        item = self.rows[row]
        number = item.block.id
        pending = self.pending.get(number)
        if pending is not None:
            item = replace(item, entered=pending, metered_m3=None)
        if number in self.dials:
            dial, before = self.dials[number], item.dial_before
            m3 = dial - before if dial is not None and before is not None else None
            item = replace(item, dial=dial, metered_m3=m3 if m3 is not None and m3 >= 0 else None)
        return item

    def totals(self) -> Mapping[str, float]:
        """Return the sums of the day: blocks, hours, m3."""
        sums = {"blocks": 0.0, "hours": 0.0, "m3": 0.0}
        for row in range(len(self.rows)):
            h, m3, _ = counted(self.shown_row(row))
            sums["blocks"] += bool(h or m3)
            sums["hours"] += h or 0.0
            sums["m3"] += m3 or 0.0
        return sums

    # -- Qt's side ------------------------------------------------------------------------------

    def rowCount(self, parent: Index = ROOT) -> int:
        """Return the number of blocks."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = ROOT) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() else MM + 1

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:  # fmt: skip
        """Return the head of a column."""
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(_align(section) | Qt.AlignmentFlag.AlignVCenter)
        if role == Qt.ItemDataRole.DisplayRole:
            return (
                tr("Block"), tr("Valve"), tr("Stage"), tr("Start"), tr("Planned, h"),
                tr("Ran: h or m³"), tr("Meter shows, m³"), tr("Hours"), tr("m³"), tr("mm"),
            )[section]  # fmt: skip
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Only what ran and what the meter showed can be typed."""
        base = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        return base | Qt.ItemFlag.ItemIsEditable if index.column() in TYPED else base

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell in one of its roles."""
        if not index.isValid():
            return None
        item = self.shown_row(index.row())
        own = {
            STATE: item.state, BLOCK_ID: item.block.id,
            PENDING: item.block.id in (self.dials if index.column() == DIAL else self.pending),
            IN_FILL: item.stage == "fill",
        }  # fmt: skip
        if role in own:
            return own[role]
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole):
            return self._text(item, index.column())
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(_align(index.column()) | Qt.AlignmentFlag.AlignVCenter)
        if role == Qt.ItemDataRole.AccessibleDescriptionRole:
            return state_word(item.state)
        return None

    @staticmethod
    def _text(item: RanRow, column: int) -> str:
        if column in (HOURS, M3, MM):
            h, m3, mm = counted(item)
            return {HOURS: fixed(h, 2), M3: thousands(m3), MM: fixed(mm)}[column].replace("–", "")
        return {
            NAME: item.block.name, VALVE: item.block.valve or "",
            STAGE: word(f"stage.{item.stage}") if item.stage else "",
            START: f"{item.start:%H:%M}" if item.start is not None else "",
            PLANNED: hours(item.planned) if item.planned is not None else "",
            RAN: write_figures(item.entered),
            DIAL: write_dial(item.dial),
        }[column]  # fmt: skip

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:
        """Take what was typed; it is stored with the day."""
        if role != Qt.ItemDataRole.EditRole or index.column() not in TYPED:
            return False
        try:
            if index.column() == DIAL:
                self.set_dial(index.row(), read_dial(str(value)))
                return True
            entries = tuple(read_figures(str(value)))
        except NotAFigure:
            self.not_a_figure.emit(self.rows[index.row()].block.name, str(value))
            return False
        self._set(index.row(), entries)
        return True


def counted(item: RanRow) -> tuple[float | None, float | None, float | None]:
    """Return hours, m3 and mm at the meter as the account counts a row; None where unknown."""
    entries = item.entered
    if not entries:
        if item.metered_m3 is not None and (item.planned is None or not item.handed_out):
            entries = ((None, item.metered_m3),)
        elif item.planned is None or not item.handed_out:
            return None, None, None
        else:
            entries = ((item.planned, None),)
    rate = item.flow_m3_h
    all_h = [h if h is not None else (v / rate if v is not None and rate else None)
             for h, v in entries]  # fmt: skip
    all_m3 = [v if v is not None else (h * rate if h is not None and rate is not None else None)
              for h, v in entries]  # fmt: skip
    total_h = None if any(h is None for h in all_h) else sum(h or 0.0 for h in all_h)
    total_m3 = None if any(v is None for v in all_m3) else sum(v or 0.0 for v in all_m3)
    if item.metered_m3 is not None:
        total_m3 = item.metered_m3
    mm = total_m3 / (item.hectares * 10) if total_m3 is not None and item.hectares else None
    return total_h, total_m3, mm


def state_word(state: str) -> str:
    """Return what a state is called."""
    return {
        "ran": tr("ran"), "missed": tr("did not run"), "not_confirmed": tr("not confirmed"),
        "planned": tr("planned"), "none": tr("nothing planned"),
    }[state]  # fmt: skip


def _align(column: int) -> Qt.AlignmentFlag:
    numbers = (START, PLANNED, RAN, DIAL, HOURS, M3, MM)
    return Qt.AlignmentFlag.AlignRight if column in numbers else Qt.AlignmentFlag.AlignLeft


def drift_words(block: BlockSeason) -> str:
    """Return what a block's meter says of its flow, in one sentence."""
    found = block.drift
    assert found is not None
    fields = {
        "block": block.block.name, "metered": round(found.metered_m3_h, 1),
        "planned": round(found.planned_m3_h, 1), "count": found.count,
        "pct": round(found.pct if found.verdict == "look" else abs(found.pct)),
    }  # fmt: skip
    return say(Note(f"flow.{found.verdict}", fields))
