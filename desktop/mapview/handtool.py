"""What every hand tool of the map is, and how handles and words are painted.

A tool gets mouse and keys before the map does and paints itself on top.  It stores nothing: it
hands what was made to the canvas, or to whoever took it up, who ask the core.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QKeyEvent, QMouseEvent, QPainter, QPen

from desktop import theme
from desktop.mapview.snapping import Snap, snap
from desktop.wording import fixed, tr
from waterbudget.outlines.sides import Size

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas

HIT_PX = 14.0
"""How near a click must come to a corner or an edge to mean it."""
HANDLE_PX = 9.0
CLOSE_PX = 13.0

Place = tuple[float, float]


class Tool:
    """Base of the hand tools."""

    cursor = Qt.CursorShape.CrossCursor
    hides_chosen = False
    boxes = False
    """Whether Shift and a drag choose blocks by a box while this tool is in hand."""

    def __init__(self, canvas: MapCanvas) -> None:
        self.canvas = canvas

    def hint(self) -> str:
        """Return what to do next."""
        return ""

    def press(self, event: QMouseEvent) -> bool:
        """Take a press of the left button; True where it is used up."""
        return False

    def move(self, event: QMouseEvent) -> bool:
        """Follow the mouse; True where the map must not be dragged."""
        return False

    def release(self, event: QMouseEvent) -> bool:
        """Take a click or the end of a drag; True where it is used up."""
        return False

    def double(self, event: QMouseEvent) -> bool:
        """Take a double click."""
        return False

    def key(self, event: QKeyEvent) -> bool:
        """Take a key; True where it is used up."""
        return False

    def wants_undo(self) -> bool:
        """Return whether undo and redo mean the tool's own last step now."""
        return False

    def paint(self, painter: QPainter) -> None:
        """Paint what is live."""

    def selected(self, block_id: int | None) -> None:
        """Hear that another block was chosen."""

    def leave(self) -> None:
        """Hear that the tool is put down."""

    def caught(
        self, at: QPointF, event: QMouseEvent, leave: Collection[int] = ()
    ) -> tuple[Place, Snap | None]:
        """Return the point of the ground meant, and what pulled it there; Alt holds that off."""
        ground = self.canvas.camera.to_ground(at)
        if event.modifiers() & Qt.KeyboardModifier.AltModifier:
            return ground, None
        found = snap(self.canvas, ground, leave=leave)
        return (ground, None) if found is None else (found.at, found)


def size_words(size: Size) -> str:
    """Return area and girth: ``1.08 ha, 420 m round``."""
    return tr("{0} ha, {1} m round").format(fixed(size.hectares, 2), fixed(size.perimeter_m, 0))


def side_words(length_m: float, bearing_deg: float) -> str:
    """Return a side: ``120.0 m, 90.0°``."""
    return tr("{0} m, {1}°", "length and bearing of a side").format(
        fixed(length_m, 1), fixed(bearing_deg % 360, 1)
    )


def paint_handle(
    painter: QPainter, at: QPointF, *, first: bool = False, current: bool = False
) -> None:
    """Paint the square by which a corner is held."""
    colours = theme.colours()
    half = HANDLE_PX / 2 + (2.0 if first or current else 0)
    painter.setPen(QPen(QColor(colours.link), 1.5))
    painter.setBrush(QColor(colours.link if current else colours.paper))
    painter.drawRect(QRectF(at.x() - half, at.y() - half, 2 * half, 2 * half))


def paint_words(painter: QPainter, at: QPointF, words: str, bounds: QRectF) -> None:
    """Paint a few words on a plate beside a point, inside the map."""
    colours = theme.colours()
    font = theme.font(theme.SMALL)
    metrics = QFontMetricsF(font)
    box = QRectF(at.x() + 16, at.y() - 26, metrics.horizontalAdvance(words) + 12, 20)
    if box.right() > bounds.right() - 2:
        box.moveRight(at.x() - 16)
    if box.top() < bounds.top() + 2:
        box.moveTop(at.y() + 14)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(colours.plate))
    painter.drawRoundedRect(box, 3, 3)
    painter.setPen(QColor(colours.ink))
    painter.setFont(font)
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
