"""The table of blocks: names stand still at the left, the other columns scroll beside them."""

from __future__ import annotations

from PySide6.QtCore import (
    QAbstractItemModel,
    QEvent,
    QItemSelectionModel,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    QRect,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import (
    QColor,
    QFontMetrics,
    QGuiApplication,
    QKeyEvent,
    QPainter,
    QResizeEvent,
)
from PySide6.QtWidgets import (
    QAbstractItemDelegate,
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from desktop import theme
from desktop.editors import DayEdit, LineEdit, PickEdit, editor_text, make_editor, set_editor_text
from desktop.mapview import paint_bar
from desktop.models.blocks import BLOCK_ID, COLUMN, MARK, STANDING, BlockFilter, BlockTable
from desktop.models.standing import Look
from desktop.session import Session
from desktop.wording import tr
from waterbudget.orchard import BLOCK_KEYS

Index = QModelIndex | QPersistentModelIndex
ROW, PAD, NAME_WIDTH, SPREAD = 28, 8, 190, 60


class BlockDelegate(QStyledItemDelegate):
    """Paints cells in the grammar of certainty and brings the right editor."""

    def __init__(self, session: Session, parent: QWidget) -> None:
        super().__init__(parent)
        self.session = session

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """As wide as its words."""
        column = index.data(COLUMN)
        wide = QFontMetrics(theme.font()).horizontalAdvance(str(index.data() or "")) + 2 * PAD
        return QSize(max(wide + (66 if column == "easy" else 14), 40), ROW)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Ground, then text; missing is dotted, default quiet with an open mark."""
        c, rect, mark = theme.colours(), QRectF(option.rect), index.data(MARK)
        painter.save()
        view = option.widget
        assert isinstance(view, QTableView)
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        chosen = chosen or view.currentIndex().row() == index.row()
        ground = c.chosen if chosen else (c.row if index.row() % 2 else c.paper)
        painter.fillRect(rect, QColor(ground))
        if mark == "missing":
            self._missing(painter, rect, index)
        if index.data(COLUMN) == "easy":
            rect = self._easy(painter, rect, index)
        self._text(painter, rect, index, mark)
        if option.state & QStyle.StateFlag.State_HasFocus:
            painter.setPen(QColor(c.link))
            painter.drawRect(QRectF(option.rect).adjusted(0.5, 0.5, -0.5, -0.5))
        painter.restore()

    @staticmethod
    def _missing(painter: QPainter, rect: QRectF, index: Index) -> None:
        if not index.data():
            painter.fillRect(rect.adjusted(3, 5, -3, -5), theme.hatch("missing"))

    @staticmethod
    def _easy(painter: QPainter, rect: QRectF, index: Index) -> QRectF:
        stand = index.data(STANDING)
        if stand is None or stand.look is Look.NO_DATA:
            return rect
        bar = QRectF(rect.left() + PAD, rect.top() + 8, 48, rect.height() - 16)
        paint_bar(painter, bar, stand, painter.device().devicePixelRatioF())
        return rect.adjusted(48 + PAD, 0, 0, 0)

    @staticmethod
    def _text(painter: QPainter, rect: QRectF, index: Index, mark: str) -> None:
        c, column = theme.colours(), index.data(COLUMN)
        stand = index.data(STANDING)
        in_fill = stand is not None and stand.in_fill
        bold = column == "name" or (column == "stage" and in_fill)
        wrong = column == "days_left" and stand is not None and stand.look is Look.PAST
        painter.setFont(theme.font(bold=bold or wrong))
        quiet = mark == "default" or (column == "stage" and not in_fill)
        painter.setPen(QColor(c.quiet if quiet else c.ink))
        room = rect.adjusted(PAD, 0, -PAD, 0)
        align = Qt.AlignmentFlag(int(index.data(Qt.ItemDataRole.TextAlignmentRole)))
        words = QFontMetrics(painter.font()).elidedText(
            str(index.data() or ""), Qt.TextElideMode.ElideRight, int(room.width())
        )
        painter.drawText(room, align, words)
        if mark == "default" and words:
            wide = QFontMetrics(painter.font()).horizontalAdvance(words)
            right = align & Qt.AlignmentFlag.AlignRight
            x = room.right() - wide - 12 if right else room.left() + wide + 5
            if rect.left() < x < rect.right() - 8:
                painter.setPen(QColor(c.quiet))
                painter.drawRect(QRectF(x, room.center().y() - 3, 6, 6))

    # -- editing ---------------------------------------------------------------------------

    def createEditor(self, parent: QWidget, option: QStyleOptionViewItem, index: Index) -> QWidget:
        """Return the editor that suits the column."""
        column = index.data(COLUMN)
        column = "area_ha" if column == "hectares" else column
        assert self.session.data is not None
        if column not in BLOCK_KEYS:
            edit = QLineEdit(parent)
            edit.setFont(theme.font(bold=True))
            edit.setAccessibleName(tr("Name of the block"))
            return edit
        made = make_editor(column, self.session.data.orchard, self.session.today, parent)
        if isinstance(made, PickEdit) and not made.isEditable():
            made.activated.connect(lambda _: self._pick(made))
        made.setStyleSheet("min-height: 20px; border-radius: 0;")
        return made

    def _pick(self, editor: QWidget) -> None:
        self.commitData.emit(editor)
        self.closeEditor.emit(editor, QAbstractItemDelegate.EndEditHint.NoHint)

    def setEditorData(self, editor: QWidget, index: Index) -> None:
        """Begin with what is stored."""
        text = str(index.data(Qt.ItemDataRole.EditRole) or "")
        if isinstance(editor, DayEdit | PickEdit | LineEdit):
            set_editor_text(editor, text)
        elif isinstance(editor, QLineEdit):
            editor.setText(text)
        if isinstance(editor, QLineEdit):
            editor.selectAll()

    def setModelData(self, editor: QWidget, model: QAbstractItemModel, index: Index) -> None:
        """Hand on what was typed."""
        text = editor.text() if type(editor) is QLineEdit else editor_text(editor)
        model.setData(index, text)

    def updateEditorGeometry(
        self, editor: QWidget, option: QStyleOptionViewItem, index: Index
    ) -> None:  # fmt: skip
        """Give a date or a choice the room it needs."""
        rect = QRect(option.rect)
        least = 150 if isinstance(editor, DayEdit | PickEdit) else 70
        if rect.width() < least:
            rect.setWidth(least)
        editor.setGeometry(rect)

    def eventFilter(self, editor: QObject, event: QEvent) -> bool:
        """Leave an editor open while its calendar is."""
        if (
            event.type() == QEvent.Type.FocusOut and isinstance(editor, DayEdit)
            and editor.calendar_open()
        ):  # fmt: skip
            return False
        return super().eventFilter(editor, event)


class View(QTableView):
    """One of the two halves.

    Signals
    -------
    opened(int), deleted(), left(), right()
    """

    opened = Signal(int)
    wants_delete = Signal()
    over_edge = Signal(int)

    def __init__(self, model: BlockFilter, delegate: BlockDelegate) -> None:
        super().__init__()
        self.setModel(model)
        self.setItemDelegate(delegate)
        self.setShowGrid(False)
        self.setSortingEnabled(True)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(ROW)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setEditTriggers(
            QAbstractItemView.EditTrigger.EditKeyPressed
            | QAbstractItemView.EditTrigger.AnyKeyPressed
            | QAbstractItemView.EditTrigger.DoubleClicked
        )
        self.horizontalHeader().setHighlightSections(False)
        self.horizontalHeader().setMinimumHeight(ROW + 2)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter opens the block, Del empties the cell, Ctrl+Del deletes, Ctrl+C copies."""
        index = self.currentIndex()
        key, ctrl = event.key(), bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        if self.state() == QAbstractItemView.State.EditingState or not index.isValid():
            super().keyPressEvent(event)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.opened.emit(int(index.data(BLOCK_ID)))
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            if ctrl:
                self.wants_delete.emit()
            elif index.data(COLUMN) != "name" and index.flags() & Qt.ItemFlag.ItemIsEditable:
                self.model().setData(index, "")
        elif ctrl and key == Qt.Key.Key_C:
            self.copy()
        elif key == Qt.Key.Key_Left and self._at_edge(-1):
            self.over_edge.emit(-1)
        elif key == Qt.Key.Key_Right and self._at_edge(1):
            self.over_edge.emit(1)
        else:
            super().keyPressEvent(event)

    def closeEditor(self, editor: QWidget, hint: QStyledItemDelegate.EndEditHint) -> None:
        """After Enter in a cell, go on to the one below: a column is typed in one go."""
        super().closeEditor(editor, hint)
        if hint == QStyledItemDelegate.EndEditHint.SubmitModelCache:
            self.setFocus()
            at = self.currentIndex()
            if at.row() + 1 < self.model().rowCount():
                self.setCurrentIndex(self.model().index(at.row() + 1, at.column()))

    def _at_edge(self, way: int) -> bool:
        shown = [c for c in range(self.model().columnCount()) if not self.isColumnHidden(c)]
        at = self.currentIndex().column()
        return bool(shown) and at == (shown[0] if way < 0 else shown[-1])

    def copy(self) -> None:
        """Put the chosen cells on the clipboard."""
        cells = self.selectionModel().selectedIndexes()
        rows = sorted({i.row() for i in cells})
        lines = []
        for row in rows:
            line = sorted((i for i in cells if i.row() == row), key=lambda i: i.column())
            lines.append("\t".join(str(i.data() or "") for i in line))
        QGuiApplication.clipboard().setText("\n".join(lines))


class BlockTableView(QWidget):
    """Two halves over one model: names, and the other columns.

    Signals
    -------
    opened(int)
        Enter on a row, or a double click on a name that cannot be typed over.
    wants_delete()
    chosen_changed(object)
        Id of the block the cursor is on, or None.
    """

    opened = Signal(int)
    wants_delete = Signal()
    chosen_changed = Signal(object)

    def __init__(self, session: Session, source: BlockTable) -> None:
        super().__init__()
        self.source = source
        self.filter = BlockFilter()
        self.filter.setSourceModel(source)
        # one delegate each: an editor must belong to the view that opened it
        self.names, self.cells = (View(self.filter, BlockDelegate(session, self)) for _ in range(2))
        selection = QItemSelectionModel(self.filter, self)
        for view in (self.names, self.cells):
            view.setSelectionModel(selection)
            view.opened.connect(self.opened)
            view.wants_delete.connect(self.wants_delete)
        self.names.setFixedWidth(NAME_WIDTH)
        self.names.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.names.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.names.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        self.names.setAccessibleName(tr("Names of the blocks"))
        self.cells.setAccessibleName(tr("Settings of the blocks"))
        self.names.verticalScrollBar().valueChanged.connect(self.cells.verticalScrollBar().setValue)
        self.cells.verticalScrollBar().valueChanged.connect(self.names.verticalScrollBar().setValue)
        self.names.over_edge.connect(self._cross)
        self.cells.over_edge.connect(self._cross)
        selection.currentChanged.connect(self._moved)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(self.names)
        row.addWidget(self.cells, 1)
        source.modelReset.connect(self.lay_out)
        source.dataChanged.connect(self._widen)
        self.names.sortByColumn(-1, Qt.SortOrder.AscendingOrder)
        self.cells.horizontalHeader().setSortIndicatorClearable(True)
        self.names.horizontalHeader().setSortIndicatorClearable(True)
        self.lay_out()

    def lay_out(self) -> None:
        """Hide in each half what the other shows, and fit the columns to their words."""
        for column in range(self.filter.columnCount()):
            self.names.setColumnHidden(column, column != 0)
            self.cells.setColumnHidden(column, column == 0)
        header = self.cells.horizontalHeader()
        font = QFontMetrics(theme.font(bold=True))
        for column in range(1, self.filter.columnCount()):
            head = str(self.filter.headerData(column, Qt.Orientation.Horizontal))
            wide = max(self.cells.sizeHintForColumn(column), font.horizontalAdvance(head) + 26, 56)
            header.resizeSection(column, min(wide, 230))
        self._spread()

    def _widen(self) -> None:
        """Give a column more room where something longer was typed."""
        header = self.cells.horizontalHeader()
        for column in range(1, self.filter.columnCount()):
            wide = min(self.cells.sizeHintForColumn(column), 230)
            if wide > header.sectionSize(column):
                header.resizeSection(column, wide)

    def _spread(self) -> None:
        """Give the columns what room is left over; a last column of text takes all of it."""
        header, count = self.cells.horizontalHeader(), self.filter.columnCount()
        if count < 2:
            return
        index = self.filter.index(0, count - 1)
        align = index.data(Qt.ItemDataRole.TextAlignmentRole) if index.isValid() else 0
        number = bool(int(align or 0) & int(Qt.AlignmentFlag.AlignRight))
        header.setStretchLastSection(not number)
        left = self.cells.viewport().width() - header.length()
        if number and left > 0:
            for column in range(1, count):
                more = min(left // (count - 1), SPREAD)
                header.resizeSection(column, header.sectionSize(column) + more)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Fit the columns to the room there is now."""
        super().resizeEvent(event)
        self.lay_out()

    def _cross(self, way: int) -> None:
        index = self.names.currentIndex()
        if not index.isValid():
            return
        to = self.cells if way > 0 and self.names.hasFocus() else self.names
        if (to is self.names and way > 0) or (to is self.cells and way < 0):
            return
        column = 0
        if to is self.cells:
            shown = list(range(1, self.filter.columnCount()))
            column = shown[0] if shown else 0
        to.setFocus()
        to.setCurrentIndex(self.filter.index(index.row(), column))

    def _moved(self, current: Index, _: Index) -> None:
        self.names.viewport().update()
        self.cells.viewport().update()
        self.chosen_changed.emit(current.data(BLOCK_ID) if current.isValid() else None)

    def choose(self, block_id: int | None) -> None:
        """Put the cursor on a block's row."""
        row = self.source.row_of(block_id) if block_id is not None else None
        if row is None:
            return
        column = max(self.names.currentIndex().column(), 0)
        index = self.filter.mapFromSource(self.source.index(row, column))
        if index.isValid() and index.row() != self.names.currentIndex().row():
            select = QItemSelectionModel.SelectionFlag.ClearAndSelect
            self.names.selectionModel().setCurrentIndex(index, select)
            self.cells.scrollTo(index)

    def chosen_blocks(self) -> list[int]:
        """Return the ids of the rows chosen."""
        found = {i.data(BLOCK_ID) for i in self.names.selectionModel().selectedIndexes()}
        return [b.id for b in self.source.blocks if b.id in found]

    def edit(self, block_id: int, column: str) -> bool:
        """Open the editor of a cell."""
        row = self.source.row_of(block_id)
        if row is None or column not in self.source.columns:
            return False
        at = self.source.columns.index(column)
        index = self.filter.mapFromSource(self.source.index(row, at))
        view = self.names if at == 0 else self.cells
        view.setFocus()
        view.setCurrentIndex(index)
        view.edit(index)
        return True
