"""All days of a station, and the forecasts that are kept, as tables."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetrics, QKeyEvent, QPainter
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QTableWidget,
    QTableWidgetItem,
)

from desktop import theme
from desktop.models.weather import DATE, MARK, DaysTable, ForecastRow
from desktop.wording import day_named, day_year, fixed, tr

Index = QModelIndex | QPersistentModelIndex
ROW, PAD = 24, 8


class DaysDelegate(QStyledItemDelegate):
    """Paints how certain a figure is: dotted where missing, struck through where not used."""

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """As wide as its words."""
        wide = QFontMetrics(theme.font()).horizontalAdvance(str(index.data() or ""))
        return QSize(wide + 2 * PAD + 8, ROW)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Paint one cell."""
        c, rect, mark = theme.colours(), QRectF(option.rect), index.data(MARK)
        view = option.widget
        assert isinstance(view, QTableView)
        chosen = view.currentIndex().row() == index.row()
        painter.save()
        ground = c.chosen if chosen else (c.row if index.row() % 2 else c.paper)
        painter.fillRect(rect, QColor(ground))
        words = str(index.data() or "")
        if mark == "missing" and not words:
            painter.fillRect(rect.adjusted(6, 5, -6, -5), theme.hatch("missing"))
        font = theme.font(bold=index.column() == 0)
        font.setStrikeOut(mark == "cross")
        painter.setFont(font)
        quiet = mark in ("other", "default", "missing", "cross")
        painter.setPen(QColor(c.quiet if quiet else c.ink))
        room = rect.adjusted(PAD, 0, -PAD, 0)
        align = Qt.AlignmentFlag(int(index.data(Qt.ItemDataRole.TextAlignmentRole)))
        shown = QFontMetrics(font).elidedText(words, Qt.TextElideMode.ElideRight, int(room.width()))
        painter.drawText(room, align, shown)
        if option.state & QStyle.StateFlag.State_HasFocus:
            painter.setPen(QColor(c.link))
            painter.drawRect(rect.adjusted(0.5, 0.5, -0.5, -0.5))
        painter.restore()


class DaysView(QTableView):
    """All days, newest first.

    Signals
    -------
    day_moved(date)
        The cursor stands on another day.
    """

    day_moved = Signal(object)

    def __init__(self, model: DaysTable) -> None:
        super().__init__()
        self.setModel(model)
        self.setItemDelegate(DaysDelegate(self))
        self.setShowGrid(False)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(ROW)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(
            QAbstractItemView.EditTrigger.EditKeyPressed
            | QAbstractItemView.EditTrigger.AnyKeyPressed
            | QAbstractItemView.EditTrigger.DoubleClicked
        )
        self.horizontalHeader().setHighlightSections(False)
        self.horizontalHeader().setSectionsClickable(False)
        self.setAccessibleName(tr("All days of the station"))
        self.setToolTip(
            tr("Type over a figure to correct it; what came is kept. Del goes back to it.")
        )
        model.modelReset.connect(self.lay_out)

    def lay_out(self) -> None:
        """Fit the columns to their words."""
        model = self.model()
        assert isinstance(model, DaysTable)
        widths = {"date": 132, "et0": 72, "made": 190, "remarks": 130}
        font = QFontMetrics(theme.font(bold=True))
        for at, name in enumerate(model.columns):
            head = str(model.headerData(at, Qt.Orientation.Horizontal))
            width = widths.get(name, max(74, font.horizontalAdvance(head) + 22))
            self.horizontalHeader().resizeSection(at, width)
        self.horizontalHeader().setSectionResizeMode(
            model.columns.index("remarks"), QHeaderView.ResizeMode.Stretch
        )

    def currentChanged(self, current: Index, previous: Index) -> None:
        """Tell on which day the cursor stands."""
        super().currentChanged(current, previous)
        self.viewport().update()
        if current.isValid() and current.row() != previous.row():
            self.day_moved.emit(current.data(DATE))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Del goes back to what came."""
        index = self.currentIndex()
        delete = event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace)
        if delete and index.isValid() and self.state() != QAbstractItemView.State.EditingState:
            if index.flags() & Qt.ItemFlag.ItemIsEditable:
                self.model().setData(index, "")
        else:
            super().keyPressEvent(event)


class ForecastTable(QTableWidget):
    """The forecasts kept, newest issue first."""

    def __init__(self) -> None:
        super().__init__(0, 7)
        self.setHorizontalHeaderLabels([
            tr("issued"), tr("for"), tr("low °C"), tr("high °C"), tr("rain mm"), tr("ET0 mm"), "",
        ])  # fmt: skip
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(ROW)
        self.setShowGrid(False)
        self.setAlternatingRowColors(True)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.horizontalHeader().setStretchLastSection(True)
        self.horizontalHeader().setHighlightSections(False)
        self.setAccessibleName(tr("Forecasts kept"))
        for column, width in enumerate((140, 120, 80, 80, 80, 80)):
            self.setColumnWidth(column, width)
            side = Qt.AlignmentFlag.AlignLeft if column < 2 else Qt.AlignmentFlag.AlignRight
            head = self.horizontalHeaderItem(column)
            if head is not None:
                head.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)

    def fill(self, rows: Sequence[ForecastRow]) -> None:
        """Show the forecasts."""
        self.setRowCount(len(rows))
        for at, row in enumerate(rows):
            use = tr("used for the coming days") if row.in_use else tr("kept, replaced since")
            cells = (
                day_year(row.issued), day_named(row.date), _figure(row.low_c), _figure(row.high_c),
                _figure(row.rain_mm), _figure(row.et0_mm), use,
            )  # fmt: skip
            for column, words in enumerate(cells):
                item = QTableWidgetItem(words)
                item.setFont(theme.font())
                if 2 <= column <= 5:
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
                if not row.in_use:
                    item.setForeground(QColor(theme.colours().quiet))
                self.setItem(at, column, item)


def _figure(value: float | None) -> str:
    return "" if value is None else fixed(value)
