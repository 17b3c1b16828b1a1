"""Pointer and fingers on the map, beside what its tool takes.

Pinching zooms; Shift and a drag choose several blocks by a box, Ctrl and a click add one or take
it off; undo and redo mean the tool's own steps while it has any.  The box is painted on a glass
over the map; the chosen ones carry a dashed edge, which the map paints below its names.
"""

from __future__ import annotations

from collections.abc import Iterable

import shapely
from PySide6.QtCore import QEvent, QObject, QPointF, QRect, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFontMetricsF,
    QKeyEvent,
    QKeySequence,
    QMouseEvent,
    QNativeGestureEvent,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QGestureEvent, QPinchGesture, QWidget

from desktop import theme
from desktop.mapview.canvas import MapCanvas
from desktop.wording import fixed, tr
from waterbudget.outlines import sides

_UNDO = (QKeySequence.StandardKey.Undo, QKeySequence.StandardKey.Redo)


class Pointing(QObject):
    """Watches a canvas.

    Attributes
    ----------
    marked : list of int
        Blocks chosen together, in the order they were chosen.

    Signals
    -------
    marked_changed()
    """

    marked_changed = Signal()

    def __init__(self, canvas: MapCanvas) -> None:
        super().__init__(canvas)
        self.canvas = canvas
        self.several = False
        self.marked: list[int] = []
        self.where: Where | None = None
        self._glass: Glass | None = None
        self._from: QPointF | None = None
        self._adds = False
        canvas.grabGesture(Qt.GestureType.PinchGesture)
        canvas.installEventFilter(self)
        face = getattr(canvas, "viewport", None)
        if callable(face):
            face().grabGesture(Qt.GestureType.PinchGesture)
            face().installEventFilter(self)

    def choose_several(self) -> None:
        """Let several blocks be chosen together from here on, and tell the pointer's place."""
        self.several = True
        self.where = Where(self.canvas)
        self._glass = Glass(self)

    def mark(self, ids: Iterable[int]) -> None:
        """Choose these blocks together."""
        there = {b.id for b in self.canvas.blocks}
        new = [i for i in dict.fromkeys(ids) if i in there]
        if new != self.marked:
            self.marked = new
            self.canvas.mark(new)
            self.marked_changed.emit()

    def _show_glass(self) -> None:
        if self._glass is not None:
            self._glass.setVisible(self._from is not None)
            self._glass.setGeometry(self.canvas.rect())
            self._glass.update()

    # -- what happens on the canvas -------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Take what is meant for us."""
        kind = event.type()
        if isinstance(event, QMouseEvent):
            return self._mouse(event)
        if isinstance(event, QNativeGestureEvent):
            return self._native(event)
        if isinstance(event, QGestureEvent):
            return self._pinched(event)
        if kind == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            tool = self.canvas.tool
            if tool is not None and tool.wants_undo() and (
                event.matches(_UNDO[0]) or event.matches(_UNDO[1])
                or (event.key() == Qt.Key.Key_Y
                    and event.modifiers() == Qt.KeyboardModifier.ControlModifier)
            ):  # fmt: skip
                event.accept()
                return True
        if kind == QEvent.Type.Resize:
            self._show_glass()
        if kind == QEvent.Type.Leave and self.where is not None:
            self.where.tell(None)
        return False

    def _mouse(self, event: QMouseEvent) -> bool:
        kind = event.type()
        if kind == QEvent.Type.MouseMove:
            if self.where is not None:
                self.where.tell(self.canvas.camera.to_ground(event.position()))
            if self._from is not None and self._glass is not None:
                self._glass.box = QRectF(self._from, event.position()).normalized()
                self._show_glass()
                return True
        elif kind == QEvent.Type.MouseButtonPress and self._means_several(event):
            self._from = event.position()
            return True
        elif kind == QEvent.Type.MouseButtonRelease and self._from is not None:
            start, self._from = self._from, None
            self._chose(start, event)
            return True
        return False

    def _means_several(self, event: QMouseEvent) -> bool:
        held = event.modifiers()
        self._adds = bool(held & Qt.KeyboardModifier.ControlModifier)
        tool = self.canvas.tool
        return (
            self.several and event.button() == Qt.MouseButton.LeftButton
            and (self._adds or bool(held & Qt.KeyboardModifier.ShiftModifier))
            and (tool is None or tool.boxes)
        )  # fmt: skip

    def _chose(self, start: QPointF, event: QMouseEvent) -> None:
        box = QRectF(start, event.position()).normalized()
        if self._glass is not None:
            self._glass.box = QRectF()
        if max(box.width(), box.height()) < 5:
            one = self.canvas.block_at(event.position())
            found = [] if one is None else [one]
        else:
            west, north = self.canvas.camera.to_ground(box.topLeft())
            east, south = self.canvas.camera.to_ground(box.bottomRight())
            area = shapely.box(west, south, east, north)
            found = [b.id for b in self.canvas.blocks
                     if b.outline is not None and b.outline.intersects(area)]  # fmt: skip
        if self._adds:
            kept = [i for i in self.marked if i not in found]
            found = kept + [i for i in found if i not in self.marked]
        self.mark(found)
        self._show_glass()

    def _native(self, event: QNativeGestureEvent) -> bool:
        if event.gestureType() != Qt.NativeGestureType.ZoomNativeGesture:
            return False
        self.canvas.zoom(max(1 + event.value(), 0.1), event.position())
        return True

    def _pinched(self, event: QGestureEvent) -> bool:
        pinch = event.gesture(Qt.GestureType.PinchGesture)
        if not isinstance(pinch, QPinchGesture):
            return False
        at = QPointF(self.canvas.mapFromGlobal(pinch.centerPoint().toPoint()))
        if pinch.scaleFactor() > 0:
            self.canvas.zoom(pinch.scaleFactor(), at)
        event.accept(pinch)
        return True


class Glass(QWidget):
    """Over the map: the box that is being drawn."""

    def __init__(self, pointing: Pointing) -> None:
        super().__init__(pointing.canvas)
        self.box = QRectF()
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.hide()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint it."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colours = theme.colours()
        if not self.box.isEmpty():
            ground = QColor(colours.link)
            ground.setAlpha(30)
            painter.setBrush(ground)
            painter.setPen(QPen(QColor(colours.link), 1.5))
            painter.drawRect(self.box)


class Where(QWidget):
    """In the map's upper left corner, quiet: latitude and longitude under the pointer."""

    def __init__(self, canvas: MapCanvas) -> None:
        super().__init__(canvas)
        self._canvas = canvas
        self.words = ""
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        metrics = QFontMetricsF(theme.font(theme.SMALL))
        wide = round(metrics.horizontalAdvance("-00.000000, -000.000000")) + 14
        self.setGeometry(QRect(6, 6, wide, 20))
        self.hide()

    def tell(self, at: tuple[float, float] | None) -> None:
        """Show where a point of the ground lies."""
        if at is None or not self._canvas.epsg:
            self.hide()
            return
        lat, lon = sides.position_of(at, self._canvas.epsg)
        self.words = tr("{0}, {1}", "latitude and longitude").format(fixed(lat, 6), fixed(lon, 6))
        self.show()
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Quiet words on a plate."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colours = theme.colours()
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(colours.plate))
        painter.drawRoundedRect(self.rect(), 3, 3)
        painter.setPen(QColor(colours.quiet))
        painter.setFont(theme.font(theme.SMALL))
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, self.words)
