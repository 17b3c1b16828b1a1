"""The coming month through the record's past years, and plans laid side by side."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from desktop import theme
from desktop.charts.ahead import ChanceStrips, MonthFan, percent
from desktop.models.ahead import AheadRow, AheadView, look_ahead, try_changes
from desktop.pages.ahead.trying import TryPlan
from desktop.session import Session
from desktop.widgets import rule, text
from desktop.wording import fixed, say, thousands, tr
from waterbudget.errors import Note, WaterBudgetError

SIDE = 356


class AheadPage(QWidget):
    """Strips of chance left; the chosen block and another plan right.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        self._kept: dict[Any, Any] = {}
        self._stale = True
        self._made_from: Any = None
        self.view: AheadView | None = None
        self.changed: AheadView | None = None
        row = QHBoxLayout(self)
        row.setContentsMargins(16, 10, 16, 10)
        row.setSpacing(18)
        row.addLayout(self._left(), 1)
        row.addWidget(self._right())
        session.season_changed.connect(self._season)
        session.selection_changed.connect(lambda _: self._choose())

    def _left(self) -> QVBoxLayout:
        box = QVBoxLayout()
        box.setSpacing(4)
        self.lead = text(size=theme.LEAD, bold=True, wrap=True)
        self.notes = text("", theme.SMALL, quiet=True, wrap=True)
        self.strips = ChanceStrips()
        self.strips.chosen.connect(self._session.select)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.strips)
        column.addStretch(1)
        scroll.setWidget(inside)
        box.addWidget(self.lead)
        box.addWidget(scroll, 1)
        box.addWidget(self.notes)
        return box

    def _right(self) -> QWidget:
        side = QWidget()
        side.setFixedWidth(SIDE)
        box = QVBoxLayout(side)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(6)
        self.name = text(size=theme.LEAD, bold=True)
        self.fan = MonthFan()
        self.need = text(wrap=True)
        self.farm_need = text(wrap=True)
        self.trying = TryPlan(self._try, self._back)
        for widget in (self.name, self.fan, self.need, rule(), self.farm_need, rule(), self.trying):
            box.addWidget(widget)
        box.addStretch(1)
        return side

    def showEvent(self, event: QShowEvent) -> None:
        """Work the month out when it is looked at, not before."""
        super().showEvent(event)
        self._season()

    def _season(self, _: object = None) -> None:
        if not self.isVisible():
            self._stale = True
            return
        season = self._session.season
        if season is None or (not self._stale and self.view and self.view.on == season.on
                              and self._made_from is season):  # fmt: skip
            return
        self._stale, self._made_from = False, season
        self.changed = None
        self.trying.reset(season.orchard, self._session.selected_block)
        self._session.query(lambda _: look_ahead(season, self._kept), self._show, key="ahead")

    def _show(self, view: AheadView) -> None:
        self.view = view
        if self._session.selected is None and view.rows:
            self._session.select(view.rows[0].id)
        self._lay_out()

    def _lay_out(self) -> None:
        view = self.view
        if view is None:
            return
        self.lead.setText(_lead(view))
        legend = tr("Height of a day: share of the past years past the limit that morning. Thick "
                    "line: fruit fill expected.")  # fmt: skip
        notes = [legend, *map(say, view.notes), say(Note.of("risk.as_it_stands"))]
        self.notes.setText("  ".join(notes))
        self.strips.set_view(view, self.changed)
        self.farm_need.setText(_farm_need(view, self.changed))
        self._choose()

    def _choose(self) -> None:
        view = self.view
        block = self._session.selected
        self.strips.set_block(block)
        self.trying.set_block(self._session.selected_block)
        row = view.row(block) if view is not None else None
        if view is None or row is None:
            return
        other = self.changed.row(block) if self.changed is not None else None
        self.name.setText(row.name)
        self.fan.set_row(view.on, row, other)
        self.need.setText(_need(row, other))

    def _try(self, changes: list[tuple[str, str]]) -> None:
        data, on = self._session.data, self._session.day
        if data is None:
            return

        def done(both: tuple[AheadView, AheadView]) -> None:
            self.view, self.changed = both
            self.trying.accept(both[0], both[1])
            self._lay_out()

        def failed(error: WaterBudgetError) -> None:
            self.trying.refuse(say(error))

        self._session.query(lambda _: try_changes(data, on, changes), done, failed, key="try")

    def _back(self) -> None:
        self.changed = None
        self._lay_out()


def _lead(view: AheadView) -> str:
    at_risk = [r for r in view.rows if (r.chance_in_fill or 0.0) >= 0.2]
    if not view.years:
        return tr("No past year on record knows the coming {0} days.").format(view.days)
    span = tr("{0} past years, {1} to {2}").format(
        len(view.years), view.years[0], view.years[-1]
    )  # fmt: skip
    if not at_risk:
        return tr("The coming {0} days through {1}: no block in fruit fill is likely to run dry.")\
            .format(view.days, span)  # fmt: skip
    worst = max(at_risk, key=lambda r: r.chance_in_fill or 0.0)
    if len(at_risk) == 1:
        words = tr("The coming {0} days through {1}: {2}, in fruit fill, runs dry in {3} of the "
                   "years.")  # fmt: skip
        return words.format(view.days, span, worst.name, percent(worst.chance_in_fill))
    return tr(
        "The coming {0} days through {1}: {2} blocks in fruit fill run dry in one year of five or "
        "more, {3} in {4}."
    ).format(view.days, span, len(at_risk), worst.name, percent(worst.chance_in_fill))


def _need(row: AheadRow, other: AheadRow | None) -> str:
    if row.need_m3 is None:
        return tr("Nothing is known of the water it will need.")
    n = row.need_m3
    words = tr(
        "Kept inside its limit it takes no more than {0} m³ in half of the years, {1} in eight of "
        "ten, {2} in nine of ten."
    ).format(thousands(n[50]), thousands(n[80]), thousands(n[90]))
    if other is not None:
        words += " " + tr("The week: {0} h as it stands, {1} h as tried; dry days {2} and {3}.")\
            .format(fixed(row.hours, 2), fixed(other.hours, 2), fixed(row.dry_days, 1),
                    fixed(other.dry_days, 1))  # fmt: skip
    return words


def _farm_need(view: AheadView, other: AheadView | None) -> str:
    if not view.need_m3:
        return ""
    n, peak = view.need_m3, view.peak_m3
    words = tr(
        "The whole farm: {0} m³ in half of the years, {1} in eight of ten, {2} in nine of ten. "
        "Its largest day: {3} to {4} m³."
    ).format(*(thousands(v) for v in (n[50], n[80], n[90], peak[50], peak[90])))
    if other is not None and other.need_m3:
        o, high = other.need_m3, other.peak_m3
        words += " " + tr("As tried: {0}, {1} and {2} m³; largest day {3} to {4} m³.").format(
            *(thousands(v) for v in (o[50], o[80], o[90], high[50], high[90]))
        )
    return words
