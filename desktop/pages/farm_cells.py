"""A cell of the farm page's own tables (pumps, stations)."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLineEdit

from desktop import theme
from desktop.widgets import restyle


class FarmCell(QLineEdit):
    """One number or name, stored when it is left.

    Parameters
    ----------
    stored : str
        What the farm file holds.
    width : int
        [px]
    figure : bool
        A number, which stands at the right.
    """

    def __init__(self, stored: str, width: int, *, figure: bool) -> None:
        super().__init__()
        self.stored = stored
        self.setText(stored)
        self.setProperty("bare", "true")
        self.setFont(theme.font())
        self.setFixedWidth(width)
        self.setAcceptDrops(False)
        if figure:
            self.setAlignment(Qt.AlignmentFlag.AlignRight)

    def refuse(self) -> None:
        """Mark it as refused."""
        self.setProperty("wrong", "true")
        restyle(self)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape puts back what is stored."""
        if event.key() == Qt.Key.Key_Escape and self.text() != self.stored:
            self.setText(self.stored)
        else:
            super().keyPressEvent(event)
