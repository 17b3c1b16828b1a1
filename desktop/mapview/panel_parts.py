"""What stands on and above a map: zoom links, the strip of tools, the plate of an empty map."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QLineEdit, QVBoxLayout, QWidget

from desktop import theme
from desktop.mapview.canvas import MapCanvas
from desktop.mapview.tools import DrawTool
from desktop.widgets import Link, restyle, text
from desktop.wording import tr

if TYPE_CHECKING:
    from desktop.mapview.panel import MapPanel

Navigate = Callable[..., None]
MOST_NAMES = 2


class ToolStrip(Protocol):
    """Where the map says what its tools want, and asks for names."""

    def hint(self, words: str, wrong: bool = False) -> None:
        """Say what the tool wants next, or what was refused."""

    def ask_names(self, wanted: Sequence[tuple[str, str]], keep: Callable[..., Any]) -> None:
        """Ask for names: a question and what is proposed, each."""

    def show_tools(self) -> None:
        """Show the tools instead of the names."""

    def refresh(self) -> None:
        """Offer only what can be done now."""

    def show_editing(self, on: bool) -> None:
        """Hear that outlines are edited, or no longer."""


class Names(QWidget):
    """One or two names to be typed, with Keep and Give up; Enter keeps, Esc gives up."""

    def __init__(self, give_up: Callable[[], object], *, upright: bool = False) -> None:
        super().__init__()
        self._keep: Callable[..., Any] | None = None
        self._give_up = give_up
        outer = QVBoxLayout(self) if upright else QHBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(4 if upright else 8)
        self.lines: list[QLineEdit] = []
        self._questions: list[QLabel] = []
        for _ in range(MOST_NAMES):
            question, line = text(), QLineEdit()
            line.setFont(theme.font())
            line.setMaxLength(60)
            line.returnPressed.connect(self.keep)
            outer.addWidget(question)
            outer.addWidget(line, 0 if upright else 1)
            self._questions.append(question)
            self.lines.append(line)
        foot = QHBoxLayout()
        foot.setSpacing(8)
        foot.addWidget(Link(tr("Keep"), self.keep))
        foot.addWidget(Link(tr("Give up"), give_up))
        foot.addStretch(1)
        outer.addLayout(foot)
        self.hide()

    def ask(self, wanted: Sequence[tuple[str, str]], keep: Callable[..., Any]) -> None:
        """Ask; ``keep`` gets the names in order."""
        self._keep = keep
        for k, (question, line) in enumerate(zip(self._questions, self.lines, strict=True)):
            shown = k < len(wanted)
            question.setVisible(shown)
            line.setVisible(shown)
            if shown:
                question.setText(wanted[k][0])
                line.setAccessibleName(wanted[k][0])
                line.setText(wanted[k][1])
        self.show()
        last = self.lines[len(wanted) - 1]
        last.selectAll()
        last.setFocus()

    def keep(self) -> None:
        """Hand the names on where all are there."""
        names = [" ".join(line.text().split()) for line in self.lines if line.isVisibleTo(self)]
        if self.isVisible() and all(names) and self._keep is not None:
            self._keep(*names)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc gives up."""
        if event.key() == Qt.Key.Key_Escape:
            self._give_up()
        else:
            super().keyPressEvent(event)


class Corner(QWidget):
    """Over the map's corner: zoom, everything, edit outlines."""

    def __init__(self, canvas: MapCanvas, panel: MapPanel) -> None:
        super().__init__(canvas)
        self._panel = panel
        row = QHBoxLayout(self)
        row.setContentsMargins(6, 2, 6, 2)
        row.setSpacing(4)
        self.edit = Link(tr("Edit outlines"), lambda: panel.set_editing(True))
        row.addWidget(self.edit)
        self.more = Link(tr("More on Land"), lambda: panel.navigate("land"))
        self.more.setToolTip(tr("Split, join, cut out, measure, and a table of the corners"))
        row.addWidget(self.more)
        for words, name, do in (
            ("+", tr("Nearer"), lambda: canvas.zoom(1.5)),
            ("−", tr("Further away"), lambda: canvas.zoom(1 / 1.5)),
            (tr("all", "show the whole farm"), tr("Show every block"), canvas.fit),
        ):
            link = Link(words, do)
            link.setAccessibleName(name)
            link.setToolTip(name)
            row.addWidget(link)

    def refresh(self) -> None:
        """Leave the edit link out while editing, and where there is nothing to edit."""
        panel = self._panel
        self.setVisible(not panel.empty.isVisibleTo(panel.canvas))
        self.edit.setVisible(panel.own_strip and not panel.editing)
        self.more.setVisible(panel.own_strip and panel.editing)
        self.edit.setEnabled(panel.session.at_today)
        self.place()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A plate, so that the words stay readable on any ground."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.colours().plate))
        painter.drawRoundedRect(self.rect(), 3, 3)

    def place(self) -> None:
        """Stand in the upper right corner."""
        self.adjustSize()
        parent = self.parentWidget()
        if parent is not None:
            self.move(parent.width() - self.width() - 6, 6)


class Strip(QFrame):
    """Above the map while editing: what can be done, and what the tool wants next."""

    def __init__(self, panel: MapPanel) -> None:
        super().__init__()
        self._panel = panel
        column = QVBoxLayout(self)
        column.setContentsMargins(10, 4, 10, 4)
        column.setSpacing(2)
        self.tools = QWidget()
        row = QHBoxLayout(self.tools)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(10)
        self.draw = Link(tr("Draw a block"), panel.draw)
        self.corners = Link(tr("Move corners"), panel.correct)
        self.rename = Link(tr("Rename"), panel.rename)
        self.delete = Link(tr("Delete block"), panel.delete)
        self.heights = Link(tr("Height file"), lambda: panel.choose_ground("heights"))
        self.picture = Link(tr("Picture"), lambda: panel.choose_ground("picture"))
        self.done = Link(tr("Done", "editing outlines is over"), lambda: panel.set_editing(False))
        for link in (self.draw, self.corners, self.rename, self.delete, self.heights,
                     self.picture):  # fmt: skip
            row.addWidget(link)
        row.addStretch(1)
        row.addWidget(self.done)
        self.naming = Names(self._give_up)
        self.name = self.naming.lines[0]
        self.words = text(size=theme.SMALL, quiet=True, wrap=True)
        self.words.setMinimumHeight(32)
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        column.addWidget(self.tools)
        column.addWidget(self.naming)
        column.addWidget(self.words)
        self.naming.hide()

    def show_tools(self) -> None:
        """Show the tools instead of the name."""
        self.naming.hide()
        self.tools.show()
        self.refresh()

    def refresh(self) -> None:
        """Offer only what can be done now."""
        drawing = isinstance(self._panel.canvas.tool, DrawTool)
        chosen = self._panel.session.selected is not None and not drawing
        self.draw.setVisible(not drawing)
        self.corners.setVisible(drawing)
        self.rename.setEnabled(chosen)
        self.delete.setEnabled(chosen)

    def hint(self, words: str, wrong: bool = False) -> None:
        """Say what the tool wants next, or what was refused."""
        if not words:
            return
        self.words.setText(words)
        self.words.setProperty("role", "wrong" if wrong else "quiet")
        restyle(self.words)

    def ask_names(self, wanted: Sequence[tuple[str, str]], keep: Callable[..., Any]) -> None:
        """Ask for names: a question and what is proposed, each."""
        self.tools.hide()
        self.naming.ask(wanted, keep)

    def show_editing(self, on: bool) -> None:
        """Stand above the map only while outlines are edited."""
        self.setVisible(on)

    def _give_up(self) -> None:
        self._panel.give_up()


class EmptyPlate(QFrame):
    """On a map without outlines: three ways on, none of which asks to draw out of nothing."""

    def __init__(self, canvas: MapCanvas, navigate: Navigate, picture: Callable[[], None]) -> None:
        super().__init__(canvas)
        self.setProperty("role", "plate")
        column = QVBoxLayout(self)
        column.setContentsMargins(20, 12, 20, 8)
        column.setSpacing(0)
        title = text(tr("No outlines yet"), theme.LARGE, bold=True)
        title.setContentsMargins(3, 0, 0, 8)
        column.addWidget(title)
        for words, below, do in (
            (tr("Import a walk"), tr("a track walked round the blocks, or outlines from any map"),
             lambda: navigate("import", kind="outlines")),
            (tr("Type hectares"), tr("hours stand without a map; outlines can come later"),
             lambda: navigate("blocks", columns="overview", new=True)),
            (tr("Draw on a picture"), tr("a map or air picture that knows its place"), picture),
        ):  # fmt: skip
            column.addWidget(Link(words, do))
            under = text(below, theme.SMALL, quiet=True)
            under.setContentsMargins(3, 0, 0, 8)
            column.addWidget(under)
        self.hide()

    def place(self) -> None:
        """Stand in the middle of the map."""
        self.adjustSize()
        parent = self.parentWidget()
        if parent is not None:
            self.move((parent.width() - self.width()) // 2, (parent.height() - self.height()) // 3)
