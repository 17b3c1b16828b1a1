"""The map itself: ground, blocks and names, moved with mouse, wheel and keys.

Pictures below, and the blocks of a farm with many, come as tiles painted ahead by a worker thread
(:mod:`desktop.mapview.backdrop`).  The blocks of a small farm are painted here for a view into one
picture, which is laid down whenever the widget is repainted.  On top comes what is live: the
chosen block, names, the hand tool, the scale.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
import shapely
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
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

from desktop import theme
from desktop.mapview import overlay, plates
from desktop.mapview.backdrop import Backdrop, around, covers
from desktop.mapview.camera import Bounds, Camera
from desktop.mapview.layers import Layer
from desktop.mapview.looks import paint_block, paint_edge
from desktop.mapview.names import (
    LEAST_NAMED_PX,
    Name,
    looked_at,
    make_names,
    make_spots,
    named_rows,
    wish_of,
)
from desktop.mapview.overlay import MapBlock
from desktop.mapview.scene import Scene
from desktop.mapview.shapes import Shape
from desktop.mapview.tools import Tool
from desktop.mapview.workshop import Wish
from desktop.widgets import paint_focus
from desktop.wording import tr

DRAG_PX = 5.0
MANY, MANY_CORNERS = 300, 20_000
"""Blocks, and corners of them, up to which every step of a drag is painted whole."""
MOST_MARKED = 400
"""So many chosen blocks carry an edge of their own; beyond that only their number is told."""
CORNERS_APART_PX = 16.0
"""The map comes nearer for editing where corners lie closer than this on average."""


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
        self.layers: tuple[Layer, ...] = ()
        self.scene = Scene()
        self.backdrop = Backdrop(self)
        self.backdrop.changed.connect(self.update)
        self.backdrop.extra = self._name_wishes
        self.backdrop.aside.done.connect(self._names_made)
        self._by_id: dict[int, MapBlock] = {}
        self._waiting: list[MapBlock] = []
        self._corners: np.ndarray | None = None
        self.edges_only = False
        self._over: Callable[[QPainter], None] | None = None
        self._marked: tuple[int, ...] = ()
        self._picture: QPixmap | None = None
        self._picture_camera: Camera | None = None
        self._names: list[Name] = []
        self._names_for: object = None
        self._names_turn = 0
        self._named: Bounds = (0.0, 0.0, 0.0, 0.0)
        self._plates: tuple[float, tuple[float, float], list[plates.Plate]] | None = None
        self._known: plates.Known = {}
        self._known_scale = 0.0
        self._sizes = plates.Sizes()
        self._chips: list[tuple[QRectF, int]] = []
        self._press: QPointF | None = None
        self._dragging = False
        self._untouched = True
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
        """Show these blocks; the view stays unless nothing of the farm was in sight before.

        Parameters
        ----------
        home : tuple of float, optional
            Where the farm lies [m], for the view of a map without outlines.
        """
        had, same = not self.empty, bool(self.epsg) and self.epsg == epsg
        self.epsg = epsg
        self._home = home if home is not None else self._home
        before = self.scene
        self.blocks, self._by_id = tuple(blocks), {b.id: b for b in blocks}
        self._waiting = [b for b in self.blocks if b.outline is None]
        self.scene, changed = before.changed([b for b in self.blocks if b.outline is not None])
        if before.shapes != self.scene.shapes:
            self._corners, self._known = None, {}
        self._plates = None
        self._names_turn += 1
        self.backdrop.show(self.scene, self.layers, self.tiled, changed)
        if not same or (not had and not self._first_in_sight()):
            self.fit()
        self._repaint_all()

    def _first_in_sight(self) -> bool:
        """Tell whether the view of somebody at work on an empty map shows the first blocks."""
        bounds = self.bounds()
        at_work = self.tool is not None or not self._untouched
        return at_work and (bounds is None or covers(self.camera.bounds, bounds))

    def set_edges_only(self, on: bool) -> None:
        """Leave the blocks open, so that the picture below shows, or fill them."""
        if on != self.edges_only:
            self.edges_only = self.backdrop.edges_only = on
            self.backdrop.forget()
            self._repaint_all()

    def lay_over(self, paint: Callable[[QPainter], None] | None) -> None:
        """Paint this over the blocks, below their names; None takes it away."""
        self._over = paint
        self.update()

    def mark(self, ids: Sequence[int]) -> None:
        """Give blocks chosen together a dashed edge."""
        self._marked = tuple(ids)
        self.update()

    def set_layers(self, layers: Sequence[Layer]) -> None:
        """Lay pictures and lines of equal height under the blocks, the lowest first."""
        if tuple(layers) == self.layers:
            return
        first = not self.layers
        self.layers = tuple(layers)
        self.backdrop.show(self.scene, self.layers, self.tiled)
        if first and self.empty:
            self.fit()
        self._repaint_all()

    @property
    def tiled(self) -> bool:
        """True where the blocks are too many to be painted for every step of a drag."""
        return len(self.scene.ids) > MANY or self.scene.corners > MANY_CORNERS

    def select(self, block_id: int | None, *, reveal: bool = True) -> None:
        """Mark a block as chosen and, where it is out of sight, move there."""
        if block_id == self.selected:
            return
        self.selected = block_id
        self._plates = None
        self.backdrop.look(self.camera, self.devicePixelRatioF())
        if self.tool is not None:
            self.tool.selected(block_id)
        shape = self.shape(block_id)
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
        return self.scene.shape(block_id) if block_id is not None else None

    @property
    def empty(self) -> bool:
        """True where no block has an outline."""
        return not self.scene.ids

    def corners(self) -> np.ndarray:
        """Return every corner of every outline, for the tools to catch."""
        if self._corners is None:
            outlines = np.array([s.outline for s in self.scene.shapes], dtype=object)
            self._corners = shapely.get_coordinates(outlines)
        return self._corners

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
        return self.scene.bounds

    def fit(self) -> None:
        """Show every block; where there is none, the picture, else the place of the farm."""
        self._untouched = True
        bounds = self.bounds()
        if bounds is None:
            for layer in self.layers:
                bounds = around(bounds, layer.bounds)
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
        self.backdrop.look(camera, self.devicePixelRatioF())
        self.update()

    def _look_changed(self) -> None:
        self._plates, self._known, self._sizes = None, {}, plates.Sizes()
        self._names_turn += 1
        self.backdrop.forget()
        self._repaint_all()

    def _repaint_all(self) -> None:
        self._picture = None
        self.update()

    def block_at(self, at: QPointF) -> int | None:
        """Return the block under a pixel."""
        for box, block_id in self._chips:
            if box.contains(at):
                return block_id
        found = self.scene.at(*self.camera.to_ground(at))
        if found is not None:
            return found
        if self.tiled:
            boxes = ((name.box(self.camera), name.key) for name in self._names)
        else:
            boxes = ((plate.box, plate.key) for plate in self._placed())
        return next((key for box, key in boxes if box.contains(at)), None)

    # -- painting -----------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Lay the picture down, then what is live."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(theme.colours().map))
        self.backdrop.paint(painter)
        picture = self._current_picture()
        if picture is not None:
            painter.drawPixmap(0, 0, picture)
        if self._over is not None:
            self._over(painter)
        self._paint_chosen(painter)
        self._paint_marked(painter)
        self._paint_plates(painter)
        if self.tool is not None:
            self.tool.paint(painter)
        if self.wrong_at is not None:
            overlay.paint_wrong(painter, self.camera.to_screen(*self.wrong_at))
        waiting = [] if self.empty else self._waiting
        self._chips = overlay.paint_chips(painter, self.size(), waiting, self.selected)
        step = next((la.contours.step_m for la in self.layers if la.contours is not None), None)
        overlay.paint_scale(
            painter, self.size(), self.camera.scale, step, plate=bool(self.layers) or self.tiled
        )  # fmt: skip
        if self.hasFocus():
            paint_focus(painter, self)

    def _current_picture(self) -> QPixmap | None:
        """Return the blocks of a small farm as they look from here."""
        if self.tiled:
            return None
        if self._picture is not None and self._picture_camera == self.camera:
            return self._picture
        dpr = self.devicePixelRatioF()
        picture = QPixmap(self.size() * dpr)
        picture.setDevicePixelRatio(dpr)
        picture.fill(Qt.GlobalColor.transparent)
        painter = QPainter(picture)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_blocks(painter)
        painter.end()
        self._picture, self._picture_camera = picture, self.camera
        return picture

    def _paint_blocks(self, painter: QPainter) -> None:
        transform, dpr = self.camera.transform, self.devicePixelRatioF()
        view = QRectF(self.rect()).adjusted(-10, -10, 10, 10)
        shapes = zip(self.scene.ids, self.scene.shapes, strict=True)
        there = [(self._by_id[key].standing, shape) for key, shape in shapes]
        for standing, shape in sorted(there, key=lambda b: b[0].in_fill):  # its outline stays whole
            if not view.intersects(self.camera.box(shape.bounds)):
                continue
            thick = shape.thick * self.camera.scale
            path = transform.map(shape.path)
            if self.edges_only:
                paint_edge(painter, path, standing.in_fill)
                continue
            paint_block(painter, path, standing.look, standing.in_fill, dpr, thick)

    def _paint_plates(self, painter: QPainter) -> None:
        if self.tiled:
            for name in self._names:
                if name.key != self.selected or self.tool is None or not self.tool.hides_chosen:
                    painter.drawImage(name.box(self.camera).topLeft(), name.image)
            return
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
        for block_id, shape in zip(self.scene.ids, self.scene.shapes, strict=True):
            box = self.camera.box(shape.bounds)
            if max(box.width(), box.height()) >= LEAST_NAMED_PX:
                chosen = block_id == self.selected
                wishes.append(wish_of(self._by_id[block_id], shape, self.camera, chosen))
        return wishes

    def _name_wishes(self) -> list[Wish]:
        """Ask for the names of this view, where they are painted ahead."""
        if not self.tiled:
            return []
        camera, about = self.camera, (self._names_turn, self.selected, self.camera.scale)
        if about == self._names_for and covers(self._named, camera.bounds):
            return []
        scene, blocks, chosen = self.scene, self._by_id, self.selected
        dpr = self.devicePixelRatioF()
        wishes: list[Wish] = []
        rows = [r for r in named_rows(scene, camera, chosen) if not scene.shapes[r].has_spots]
        for k in range(0, len(rows), 16):  # in small pieces, so that tiles need not wait
            some = [scene.shapes[r] for r in rows[k : k + 16]]
            wishes.append((("spots", about, k), partial(make_spots, some)))
        work = partial(make_names, scene, blocks, camera, chosen, dpr)
        return [*wishes, (("names", about, looked_at(camera)), work)]

    def _names_made(self, key: object, found: object) -> None:
        if isinstance(key, tuple) and key[0] == "names" and isinstance(found, list):
            self._names, self._names_for, self._named = found, key[1], key[2]
            self.update()

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

    def _paint_marked(self, painter: QPainter) -> None:
        if not 1 < len(self._marked) <= MOST_MARKED:
            return
        colours = theme.colours()
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for block_id in self._marked:
            shape = self.shape(block_id)
            if shape is None:
                continue
            path = self.camera.transform.map(shape.path)
            painter.setPen(QPen(QColor(colours.paper), 5.0))
            painter.drawPath(path)
            painter.setPen(QPen(QColor(colours.link), 2.5, Qt.PenStyle.DashLine))
            painter.drawPath(path)

    # -- mouse, wheel and keys ----------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the middle in the middle; show everything again if nobody has moved the map."""
        untouched = self._untouched
        self.camera = self.camera.sized(self.width(), self.height())
        self.backdrop.look(self.camera, self.devicePixelRatioF())
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
