"""The table of one day: Enter takes the planned hours, typing begins a figure, arrows move."""

from __future__ import annotations

from PySide6.QtCore import (
    QAbstractItemModel,
    QModelIndex,
    QPersistentModelIndex,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QColor, QFontMetrics, QKeyEvent, QPainter, QPen
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLineEdit,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from desktop import theme
from desktop.models.ran import (
    DIAL,
    IN_FILL,
    NAME,
    PENDING,
    PLANNED,
    RAN,
    STAGE,
    STATE,
    TYPED,
    RanModel,
)
from desktop.wording import tr

Index = QModelIndex | QPersistentModelIndex
ROW, PAD = 30, 8


class RanDelegate(QStyledItemDelegate):
    """Paints the states: ran plain, not confirmed hollow, did not run crossed, planned boxed."""

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """As wide as its words."""
        wide = QFontMetrics(theme.font(bold=True)).horizontalAdvance(str(index.data() or ""))
        return QSize(wide + 2 * PAD + 6, ROW)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Paint one cell."""
        c, rect = theme.colours(), QRectF(option.rect)
        view = option.widget
        assert isinstance(view, QTableView)
        chosen = view.currentIndex().row() == index.row()
        ground = c.chosen if chosen else (c.row if index.row() % 2 else c.paper)
        painter.save()
        painter.fillRect(rect, QColor(ground))
        if index.column() in TYPED:
            self._field(painter, rect, index, bool(option.state & QStyle.StateFlag.State_HasFocus))
        else:
            self._plain(painter, rect, index)
        painter.restore()

    @staticmethod
    def _plain(painter: QPainter, rect: QRectF, index: Index) -> None:
        c, column, fill = theme.colours(), index.column(), bool(index.data(IN_FILL))
        bold = column == NAME or (column == STAGE and fill)
        painter.setFont(theme.font(bold=bold))
        quiet = (column == STAGE and not fill) or (
            index.data(STATE) == "not_confirmed" and column > DIAL
        )
        painter.setPen(QColor(c.quiet if quiet else c.ink))
        room = rect.adjusted(PAD, 0, -PAD, 0)
        words = QFontMetrics(painter.font()).elidedText(
            str(index.data() or ""), Qt.TextElideMode.ElideRight, int(room.width())
        )
        painter.drawText(room, _flags(index), words)
        if (
            column == PLANNED
            and words
            and index.data(STATE) in ("planned", "not_confirmed", "missed")
        ):
            wide = QFontMetrics(painter.font()).horizontalAdvance(words)
            box = QRectF(room.right() - wide - 5, rect.top() + 5, wide + 10, rect.height() - 10)
            if index.data(STATE) == "missed":
                theme.paint_cross(painter, box.adjusted(0, 3, 0, -3))
            else:
                hollow = index.data(STATE) == "not_confirmed"
                pen = QPen(QColor(c.quiet if hollow else c.planned_edge), 1)
                if hollow:
                    pen.setDashPattern([2, 2])
                painter.setPen(pen)
                painter.drawRoundedRect(box.adjusted(0.5, 0.5, -0.5, -0.5), 3, 3)

    @staticmethod
    def _field(painter: QPainter, rect: QRectF, index: Index, focus: bool) -> None:
        c = theme.colours()
        box = rect.adjusted(6.5, 3.5, -6.5, -3.5)
        painter.setBrush(QColor(c.card))
        painter.setPen(QPen(QColor(c.link if focus else c.line), 2 if focus else 1))
        painter.drawRoundedRect(box, 3, 3)
        pending = bool(index.data(PENDING))
        words = str(index.data() or "")
        painter.setFont(theme.font(bold=pending))
        painter.setPen(QColor(c.link if pending else c.ink))
        room = box.adjusted(7, 0, -7, 0)
        if not words:
            painter.setFont(theme.font(theme.SMALL))
            painter.setPen(QColor(c.quiet))
            hints = {
                "not_confirmed": tr("not confirmed"), "planned": tr("Enter = as planned"),
                "ran": tr("by its meter"), "missed": tr("0 by its meter"),
            }  # fmt: skip
            words = hints.get(str(index.data(STATE)), "") if not (pending) else tr("taken out")
            words = words if index.column() == RAN or pending else ""
        elif index.data(STATE) == "missed" and index.column() == RAN:
            words = tr("0, did not run")
        painter.drawText(room, _flags(index), words)


def _flags(index: Index) -> Qt.AlignmentFlag:
    return Qt.AlignmentFlag(int(index.data(Qt.ItemDataRole.TextAlignmentRole)))


class FigureDelegate(RanDelegate):
    """Adds the line to type a figure in."""

    def createEditor(self, parent: QWidget, option: QStyleOptionViewItem, index: Index) -> QWidget:
        """Return a line for hours or cubic metres."""
        edit = QLineEdit(parent)
        edit.setFont(theme.font())
        edit.setAlignment(Qt.AlignmentFlag.AlignRight)
        edit.setStyleSheet("min-height: 18px;")
        edit.setAccessibleName(
            tr("What the meter showed after the watering, cubic metres")
            if index.column() == DIAL
            else tr("What ran: hours, or cubic metres with m3 behind")
        )
        return edit

    def setEditorData(self, editor: QWidget, index: Index) -> None:
        """Begin with what stands there."""
        if isinstance(editor, QLineEdit):
            editor.setText(str(index.data(Qt.ItemDataRole.EditRole) or ""))
            editor.selectAll()

    def setModelData(self, editor: QWidget, model: QAbstractItemModel, index: Index) -> None:
        """Hand on what was typed."""
        if isinstance(editor, QLineEdit):
            model.setData(index, editor.text())

    def updateEditorGeometry(
        self, editor: QWidget, option: QStyleOptionViewItem, index: Index
    ) -> None:  # fmt: skip
        """Lay the line over the painted field."""
        editor.setGeometry(option.rect.adjusted(6, 3, -6, -3))


class RanTable(QTableView):
    """One day.

    Signals
    -------
    past_end()
        Enter on the last row.
    day_step(int), store_wanted(), block_opened(int)
    """

    past_end = Signal()
    day_step = Signal(int)
    store_wanted = Signal()

    def __init__(self, model: RanModel) -> None:
        super().__init__()
        self.ran = model
        self.setModel(model)
        self.setItemDelegate(FigureDelegate(self))
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
        self.setAccessibleName(tr("What ran, block by block"))
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setSectionsClickable(False)
        header.setMinimumHeight(ROW)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        for column, width in enumerate((180, 64, 112, 62, 92, 168, 128, 64, 64, 58)):
            header.resizeSection(column, width)
        header.setSectionResizeMode(NAME, QHeaderView.ResizeMode.Stretch)
        model.modelReset.connect(self.first_open)
        self.clicked.connect(self._clicked)

    def first_open(self) -> None:
        """Put the cursor on the first row that is not entered."""
        rows = range(self.ran.rowCount())
        wanted = [r for r in rows if self.ran.rows[r].state in ("not_confirmed", "planned")]
        row = wanted[0] if wanted else 0
        if self.ran.rowCount():
            self.setCurrentIndex(self.ran.index(row, RAN))

    def _clicked(self, index: QModelIndex) -> None:
        if index.column() not in TYPED:
            self.setCurrentIndex(self.ran.index(index.row(), RAN))
        else:
            self.edit(index)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter = as planned and on; Del empties; Page and Alt+arrows step through the days."""
        if self.state() == QAbstractItemView.State.EditingState:
            event.ignore()  # an Enter in the line comes by here too; the line has dealt with it
            return
        key, mods = event.key(), event.modifiers()
        ctrl = bool(mods & Qt.KeyboardModifier.ControlModifier)
        alt = bool(mods & Qt.KeyboardModifier.AltModifier)
        index = self.currentIndex()
        steps = {Qt.Key.Key_PageUp: -1, Qt.Key.Key_PageDown: 1}
        if alt:
            steps |= {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}
        if key in steps:
            self.day_step.emit(steps[Qt.Key(key)])
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if ctrl:
                self.store_wanted.emit()
            else:
                self._enter(index)
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and index.isValid():
            self.ran.setData(self.ran.index(index.row(), self._column()), "")
        elif key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            self._sideways(index, DIAL if key == Qt.Key.Key_Right else RAN, event)
        else:
            super().keyPressEvent(event)

    def _enter(self, index: Index) -> None:
        if index.isValid():
            if index.column() != DIAL:
                self.ran.as_planned(index.row())
            self.down()

    def _column(self) -> int:
        column = self.currentIndex().column()
        return column if column in TYPED else RAN

    def _sideways(self, index: Index, column: int, event: QKeyEvent) -> None:
        """Between what ran and what the meter showed; past them the key is not ours."""
        if not index.isValid() or index.column() == column:
            event.ignore()
        else:
            self.setCurrentIndex(self.ran.index(index.row(), column))

    def down(self) -> None:
        """Go to the next row; past the last one the day is done."""
        row = self.currentIndex().row()
        if row + 1 < self.ran.rowCount():
            self.setCurrentIndex(self.ran.index(row + 1, self._column()))
        else:
            self.past_end.emit()

    def closeEditor(self, editor: QWidget, hint: QStyledItemDelegate.EndEditHint) -> None:
        """After Enter in the line, go on to the next row."""
        super().closeEditor(editor, hint)
        if hint == QStyledItemDelegate.EndEditHint.SubmitModelCache:
            self.setFocus()
            self.down()
