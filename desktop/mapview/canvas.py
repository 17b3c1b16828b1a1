"""The map itself: ground, blocks and names, moved with mouse, wheel and keys.

What seldom changes (lines of equal height, blocks) is painted once for a view into one
picture, layer by layer, and laid down whenever the widget is repainted; while the map is dragged
the picture is only shifted.  That picture is the place where tiles painted ahead by a worker go
when farms with many thousands of blocks ask for them.  On top comes what is live: the chosen
block, names, the hand tool, the scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QLineF, QPointF, QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import (
    QColor,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QPixmap,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QToolTip, QWidget
from shapely.geometry.base import BaseGeometry

from desktop import theme
from desktop.mapview import overlay, plates
from desktop.mapview.camera import Bounds, Camera
from desktop.mapview.contours import Contours
from desktop.mapview.ground import Picture
from desktop.mapview.looks import days_word, paint_block
from desktop.mapview.overlay import MapBlock
from desktop.mapview.shapes import Points, Shape
from desktop.mapview.tools import Tool
from desktop.models.standing import Look
from desktop.widgets import paint_focus
from desktop.wording import tr

DRAG_PX = 5.0
SETTLE_MS = 70
"""A view is painted anew that long after the last step of a drag on a farm with many blocks."""
MANY = 300
"""Blocks up to which every step of a drag is painted whole."""


CORNERS_APART_PX = 16.0
"""The map comes nearer for editing where corners lie closer than this on average."""
LEAST_NAMED_PX = 14.0
"""Blocks smaller than this carry no name."""


class MapCanvas(QWidget):
    """The map.

    Signals
    -------
    chosen(int or None), opened(int)
        A block was clicked (or the bare ground), double-clicked.
    drawn(outline)
        A new outline was closed [m].
    reshaped(int, outline)
        A block's corners were changed [m].
    hinted(str)
        What the tool at hand wants next, or has just measured.
    """

    chosen = Signal(object)
    opened = Signal(int)
    drawn = Signal(object)
    reshaped = Signal(int, object)
    hinted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.camera = Camera()
        self.blocks: tuple[MapBlock, ...] = ()
        self.selected: int | None = None
        self.epsg = 0
        self.tool: Tool | None = None
        self.wrong_at: tuple[float, float] | None = None
        self._home: tuple[float, float] | None = None
        self._contours: Contours | None = None
        self._photo: Picture | None = None
        self._shapes: dict[int, Shape] = {}
        self._tree: tuple[shapely.STRtree, list[int]] | None = None
        self._picture: QPixmap | None = None
        self._picture_camera: Camera | None = None
        self._plates: tuple[float, tuple[float, float], list[plates.Plate]] | None = None
        self._known: plates.Known = {}
        self._known_scale = 0.0
        self._sizes = plates.Sizes()
        self._chips: list[tuple[QRectF, int]] = []
        self._press: QPointF | None = None
        self._dragging = False
        self._untouched = True
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(SETTLE_MS)
        self._settle.timeout.connect(self._repaint_all)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setAccessibleName(tr("Map of the blocks"))
        self.setAccessibleDescription(
            tr("Plus and minus zoom, arrows move, 0 shows everything. "
               "The week and the Blocks page hold the same blocks as lists.")
        )  # fmt: skip
        theme.watch().changed.connect(self._look_changed)

    def sizeHint(self) -> QSize:
        """About 500 wide."""
        return QSize(500, 500)

    def minimumSizeHint(self) -> QSize:
        """Small enough for the smallest window."""
        return QSize(240, 180)

    # -- what is shown ------------------------------------------------------------------------

    def show_blocks(
        self, blocks: Sequence[MapBlock], epsg: int, home: tuple[float, float] | None = None
    ) -> None:
        """Show these blocks; the view stays unless nothing was seen before.

        Parameters
        ----------
        home : tuple of float, optional
            Where the farm lies [m], for the view of a map without outlines.
        """
        had = bool(self._shapes)
        same = {b.id: b.outline for b in self.blocks}
        self.blocks, self.epsg = tuple(blocks), epsg
        self._home = home if home is not None else self._home
        kept = {}
        moved = False
        for block in self.blocks:
            if block.outline is None:
                continue
            old = self._shapes.get(block.id)
            if old is not None and _same(old.outline, block.outline):
                kept[block.id] = old
            else:
                kept[block.id] = Shape(block.outline)
                moved = True
        if moved or kept.keys() != self._shapes.keys():
            self._tree, self._known = None, {}
        self._shapes = kept
        self._plates = None
        if not had or not same:
            self.fit()
        self._repaint_all()

    def set_ground(self, contours: Contours | None, picture: Picture | None = None) -> None:
        """Lay a picture and lines of equal height under the blocks."""
        self._contours, self._photo = contours, picture
        if picture is not None and self.empty:
            self.fit()
        self._repaint_all()

    def select(self, block_id: int | None, *, reveal: bool = True) -> None:
        """Mark a block as chosen and, where it is out of sight, move there."""
        if block_id == self.selected:
            return
        self.selected = block_id
        self._plates = None
        if self.tool is not None:
            self.tool.selected(block_id)
        shape = self._shapes.get(block_id) if block_id is not None else None
        if reveal and shape is not None:
            box = self.camera.box(shape.bounds)
            if not QRectF(self.rect()).intersects(box):
                west, south, east, north = shape.bounds
                middle = self.camera.to_screen((west + east) / 2, (south + north) / 2)
                self._look(
                    self.camera.moved(self.width() / 2 - middle.x(), self.height() / 2 - middle.y())
                )
        self._repaint_all()

    def shape(self, block_id: int | None) -> Shape | None:
        """Return a block's shape."""
        return self._shapes.get(block_id) if block_id is not None else None

    @property
    def empty(self) -> bool:
        """True where no block has an outline."""
        return not self._shapes

    def corners(self) -> np.ndarray:
        """Return every corner of every outline, for the tools to catch."""
        found = [shapely.get_coordinates(s.outline) for s in self._shapes.values()]
        return np.vstack(found) if found else np.zeros((0, 2))

    def set_tool(self, tool: Tool | None) -> None:
        """Take a hand tool (None = only choosing and moving)."""
        if self.tool is not None:
            self.tool.leave()
        self.tool = tool
        self.wrong_at = None
        self.setCursor(tool.cursor if tool is not None else Qt.CursorShape.ArrowCursor)
        self.hinted.emit(tool.hint() if tool is not None else "")
        self.update()

    def mark_wrong(self, at: tuple[float, float] | None) -> None:
        """Show where an outline was refused [m]; None takes the mark away."""
        self.wrong_at = at
        self.update()

    # -- looking around -----------------------------------------------------------------------

    def bounds(self) -> Bounds | None:
        """Return the box of all outlines [m]."""
        if not self._shapes:
            return None
        boxes = np.array([s.bounds for s in self._shapes.values()])
        low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def fit(self) -> None:
        """Show every block; where there is none, the picture, else the place of the farm."""
        self._untouched = True
        bounds = self.bounds()
        if bounds is None and self._photo is not None:
            bounds = self._photo.bounds
        if bounds is not None:
            self._look(self.camera.fitted(bounds))
        elif self._home is not None:
            x, y = self._home
            self._look(self.camera.fitted((x - 400, y - 400, x + 400, y + 400)))

    def come_near(self, block_id: int | None) -> None:
        """Look at a block so near that its corners can be told apart."""
        shape = self.shape(block_id)
        if shape is None:
            return
        corners = len(shapely.get_coordinates(shape.outline))
        apart = shape.outline.length / max(corners, 1) * self.camera.scale
        box = self.camera.box(shape.bounds)
        if apart < CORNERS_APART_PX or not QRectF(self.rect()).contains(box.center()):
            self._untouched = False
            self._look(self.camera.fitted(shape.bounds, margin=50))

    def zoom(self, factor: float, at: QPointF | None = None) -> None:
        """Look nearer or from further away."""
        self._untouched = False
        middle = QPointF(self.width() / 2, self.height() / 2)
        self._look(self.camera.zoomed(factor, at if at is not None else middle))

    def pan(self, dx: float, dy: float) -> None:
        """Drag the ground by so many pixels."""
        self._untouched = False
        self._look(self.camera.moved(dx, dy))

    def _look(self, camera: Camera) -> None:
        if camera == self.camera:
            return
        self.camera = camera
        if len(self._shapes) > MANY:
            self._settle.start()
        self.update()

    def _look_changed(self) -> None:
        self._plates, self._known, self._sizes = None, {}, plates.Sizes()
        self._repaint_all()

    def _repaint_all(self) -> None:
        self._picture = None
        self.update()

    def block_at(self, at: QPointF) -> int | None:
        """Return the block under a pixel."""
        for box, block_id in self._chips:
            if box.contains(at):
                return block_id
        if self._tree is None:
            ids = list(self._shapes)
            self._tree = shapely.STRtree([self._shapes[i].outline for i in ids]), ids
        tree, ids = self._tree
        found = tree.query(shapely.Point(*self.camera.to_ground(at)), predicate="intersects")
        if len(found):
            return ids[int(found[-1])]
        for plate in self._placed():
            if plate.box.contains(at):
                return plate.key
        return None

    # -- painting -----------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Lay the picture down, then what is live."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(theme.colours().map))
        picture = self._current_picture()
        if picture is not None and self._picture_camera is not None:
            old = self._picture_camera
            zoom = self.camera.scale / old.scale
            origin = self.camera.to_screen(*old.to_ground(QPointF(0, 0)))
            painter.drawPixmap(
                QRectF(origin.x(), origin.y(), old.width * zoom, old.height * zoom), picture,
                QRectF(picture.rect()),
            )  # fmt: skip
        self._paint_chosen(painter)
        self._paint_plates(painter)
        if self.tool is not None:
            self.tool.paint(painter)
        if self.wrong_at is not None:
            overlay.paint_wrong(painter, self.camera.to_screen(*self.wrong_at))
        waiting = [b for b in self.blocks if b.id not in self._shapes] if self._shapes else []
        self._chips = overlay.paint_chips(painter, self.size(), waiting, self.selected)
        step = self._contours.step_m if self._contours is not None else None
        overlay.paint_scale(painter, self.size(), self.camera.scale, step)
        if self.hasFocus():
            paint_focus(painter, self)

    def _current_picture(self) -> QPixmap | None:
        fresh = self._picture is not None and self._picture_camera == self.camera
        waiting = self._settle.isActive() and self._picture is not None
        if fresh or waiting:
            return self._picture
        dpr = self.devicePixelRatioF()
        picture = QPixmap(self.size() * dpr)
        picture.setDevicePixelRatio(dpr)
        picture.fill(QColor(theme.colours().map))
        painter = QPainter(picture)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for layer in (self._paint_photo, self._paint_contours, self._paint_blocks):
            layer(painter)
        painter.end()
        self._picture, self._picture_camera = picture, self.camera
        return picture

    def _paint_photo(self, painter: QPainter) -> None:
        if self._photo is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            painter.drawImage(self.camera.box(self._photo.bounds), self._photo.image)

    def _paint_contours(self, painter: QPainter) -> None:
        if self._contours is None:
            return
        colour = QColor(theme.colours().contour)
        for pieces, wide in ((self._contours.thin, 1.0), (self._contours.strong, 1.8)):
            if not len(pieces):
                continue
            points = self.camera.many_to_screen(pieces.reshape(-1, 2)).reshape(-1, 4)
            inside = ((points.max(axis=1) > -50) & (points.min(axis=1) < max(
                self.width(), self.height()) + 50))  # fmt: skip
            painter.setPen(QPen(colour, wide, c=Qt.PenCapStyle.RoundCap))
            painter.drawLines([QLineF(*p) for p in points[inside].tolist()])

    def _paint_blocks(self, painter: QPainter) -> None:
        transform, dpr = self.camera.transform, self.devicePixelRatioF()
        view = QRectF(self.rect()).adjusted(-10, -10, 10, 10)
        for block in self._back_to_front():
            shape = self._shapes[block.id]
            box = self.camera.box(shape.bounds)
            if not view.intersects(box):
                continue
            standing = block.standing
            thick = shape.thick * self.camera.scale
            path = transform.map(shape.path)
            paint_block(painter, path, standing.look, standing.in_fill, dpr, thick)

    def _back_to_front(self) -> list[MapBlock]:
        """Blocks with an outline, those in fruit fill last so that their outline stays whole."""
        there = [b for b in self.blocks if b.id in self._shapes]
        return sorted(there, key=lambda b: b.standing.in_fill)

    def _paint_plates(self, painter: QPainter) -> None:
        for plate in self._placed():
            if plate.key == self.selected and self.tool is not None and self.tool.hides_chosen:
                continue
            if QRectF(self.rect()).intersects(plate.box):
                plates.paint(painter, plate, chosen=plate.key == self.selected)

    def _placed(self) -> list[plates.Plate]:
        """Plates for this zoom, moved to this view."""
        origin = self.camera.to_screen(0.0, 0.0)
        if self._plates is None or self._plates[0] != self.camera.scale:
            if self._known_scale != self.camera.scale:
                self._known, self._known_scale = {}, self.camera.scale
            made = plates.place(self._wishes(), self._known, self._sizes)
            self._plates = (self.camera.scale, (origin.x(), origin.y()), made)
            return made
        _, (x, y), made = self._plates
        dx, dy = round(origin.x() - x), round(origin.y() - y)
        return made if not dx and not dy else [p.moved(dx, dy) for p in made]

    def _wishes(self) -> list[plates.Wish]:
        wishes = []
        camera = self.camera
        for block in self.blocks:
            shape = self._shapes.get(block.id)
            if shape is None:
                continue
            box = camera.box(shape.bounds)
            if max(box.width(), box.height()) < LEAST_NAMED_PX:
                continue
            standing = block.standing
            rank = (0 if standing.in_fill else 1) + (0 if standing.look is Look.PAST else 2)
            wishes.append(
                plates.Wish(
                    block.id, block.name, days_word(standing), standing.in_fill,
                    partial(_on_block, shape, camera),
                    camera.many_to_screen(shape.spots), (box.width(), box.height()),
                    shape.thick * camera.scale, rank, block.id == self.selected,
                )
            )  # fmt: skip
        return wishes

    def _paint_chosen(self, painter: QPainter) -> None:
        shape = self.shape(self.selected)
        if shape is None or (self.tool is not None and self.tool.hides_chosen):
            return
        path = self.camera.transform.map(shape.path)
        around = QPainterPath()
        around.addRect(QRectF(self.rect()).adjusted(-10, -10, 10, 10))
        around.addPath(path)
        painter.save()
        painter.setClipPath(around)
        pen = QPen(QColor(theme.colours().link), 8.0)
        pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
        painter.strokePath(path, pen)
        painter.restore()

    # -- mouse, wheel and keys ----------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the middle in the middle; show everything again if nobody has moved the map."""
        untouched = self._untouched
        self.camera = self.camera.sized(self.width(), self.height())
        self._picture = None
        if untouched:
            self._plates = None
            self.fit()
        super().resizeEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin a click or a drag; the tool goes first."""
        self._press, self._dragging = event.position(), False
        if event.button() == Qt.MouseButton.LeftButton and self.tool is not None:
            self.tool.press(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag the ground, or let the tool follow."""
        buttons = event.buttons()
        if self.tool is not None and self.tool.move(event):
            return
        if self._press is None or not buttons & (
            Qt.MouseButton.LeftButton | Qt.MouseButton.MiddleButton
        ):
            return
        step = event.position() - self._press
        if not self._dragging and max(abs(step.x()), abs(step.y())) < DRAG_PX:
            return
        self._dragging = True
        self.setCursor(Qt.CursorShape.ClosedHandCursor)
        self._press = event.position()
        self.pan(step.x(), step.y())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End the drag, or choose what was clicked."""
        dragged, self._dragging = self._dragging, False
        pressed, self._press = self._press, None
        self.setCursor(self.tool.cursor if self.tool is not None else Qt.CursorShape.ArrowCursor)
        if event.button() != Qt.MouseButton.LeftButton or dragged or pressed is None:
            return
        if self.tool is not None and self.tool.release(event):
            return
        self.chosen.emit(self.block_at(event.position()))

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Open a block, or what the tool does with it."""
        if event.button() != Qt.MouseButton.LeftButton:
            return
        if self.tool is not None:
            self.tool.double(event)
            return
        found = self.block_at(event.position())
        if found is not None:
            self.opened.emit(found)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom at the pointer."""
        steps = event.angleDelta().y() / 120
        if steps:
            self.zoom(1.2**steps, event.position())
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Zoom, move, show everything; the tool goes first."""
        if self.tool is not None and self.tool.key(event):
            return
        step = 60.0
        moves = {
            Qt.Key.Key_Left: (step, 0.0), Qt.Key.Key_Right: (-step, 0.0),
            Qt.Key.Key_Up: (0.0, step), Qt.Key.Key_Down: (0.0, -step),
        }  # fmt: skip
        key = Qt.Key(event.key())
        if key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(1.25)
        elif key == Qt.Key.Key_Minus:
            self.zoom(0.8)
        elif key == Qt.Key.Key_0:
            self.fit()
        elif key in moves and not event.modifiers() & Qt.KeyboardModifier.AltModifier:
            self.pan(*moves[key])
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.selected is not None:
            self.opened.emit(self.selected)
        else:
            super().keyPressEvent(event)

    def event(self, event: QEvent) -> bool:
        """Say in a tip what a block is."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            self._tip(event)
            return True
        return super().event(event)

    def _tip(self, event: QHelpEvent) -> None:
        found = self.block_at(QPointF(event.pos()))
        block = next((b for b in self.blocks if b.id == found), None)
        if block is None or self._dragging:
            QToolTip.hideText()
            return
        QToolTip.showText(event.globalPos(), overlay.tip(block), self)


def _on_block(shape: Shape, camera: Camera, pixels: Points) -> NDArray[np.bool_]:
    return shape.holds(camera.many_to_ground(pixels))


def _same(a: BaseGeometry, b: BaseGeometry) -> bool:
    return a is b or bool(shapely.equals_exact(a, b))
