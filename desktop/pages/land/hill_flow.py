"""The flow over one block: in five steps on a small map and the large one, and in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QPolygonF,
    QTransform,
)
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from desktop import theme
from desktop.widgets import Mark, text
from desktop.wording import number, say, tr, word

if TYPE_CHECKING:
    from desktop.mapview.panel import MapPanel
    from waterbudget.actions.land import Together
    from waterbudget.pressure import BlockFlow

STEPS = (1.2, 1.1, 0.9, 0.8, 0.0)
"""Least share of the block's mean for each step, from most water to least."""


def swatches() -> tuple[theme.Swatch, ...]:
    """Return the grounds of the five steps, from most water to least."""
    steps = [theme.easy_water(share) for share in (1.0, 0.6, 0.3, 0.1)]
    return (*steps, theme.easy_water(-1.0))


def step_words() -> tuple[str, ...]:
    """Return the words of the five steps."""
    return (tr("over 1.2"), tr("1.1 to 1.2"), tr("0.9 to 1.1"), tr("0.8 to 0.9"), tr("under 0.8"))


class Places:
    """The flow over one block in its five steps, ready to be painted at any scale.

    Parameters
    ----------
    flow : BlockFlow
    outline : Polygon, MultiPolygon or None
        [m].
    """

    def __init__(self, flow: BlockFlow, outline: Any) -> None:
        self.flow = flow
        self.inside = QPainterPath()
        for part in getattr(outline, "geoms", [outline] if outline is not None else []):
            for ring in (part.exterior, *part.interiors):
                corners = [QPointF((x - flow.left_m) / flow.cell_m, (flow.top_m - y) / flow.cell_m)
                           for x, y, *_ in ring.coords]  # fmt: skip
                self.inside.addPolygon(QPolygonF(corners))
                self.inside.closeSubpath()
        found = steps_of(flow)
        if not self.inside.isEmpty():
            found = _carried(found)
        self.paths = [_runs(found == step) for step in range(len(STEPS))]

    def paint(self, painter: QPainter, left: float, top: float, size: float, dpr: float) -> None:
        """Paint the places, then the outline.

        Parameters
        ----------
        left, top : float
            Where the upper left place begins [px].
        size : float
            Side of a place [px].
        """
        to = QTransform(size, 0, 0, size, left, top)
        rows, columns = self.flow.share.shape
        inside = to.map(self.inside)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        if not inside.isEmpty():
            painter.setClipPath(inside, Qt.ClipOperation.IntersectClip)
        theme.fill(painter, QRectF(left, top, columns * size, rows * size),
                   theme.easy_water(None))  # fmt: skip
        for swatch, path in zip(swatches(), self.paths, strict=True):
            if not path.isEmpty():
                theme.fill(painter, to.map(path), swatch, dpr)
        painter.restore()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(theme.colours().edge), 1.4))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPath(inside)


class FlowOnMap:
    """The same places on the large map, over the block they belong to."""

    def __init__(self, panel: MapPanel) -> None:
        self._canvas, self._legend = panel.canvas, panel.legend
        self._places: Places | None = None

    def show_flow(self, flow: BlockFlow | None, outline: Any = None) -> None:
        """Lay a block's places over the map; None takes them away."""
        self._places = None if flow is None else Places(flow, outline)
        self._canvas.lay_over(None if flow is None else self._paint)
        if flow is None:
            self._legend.explain("", ())
            return
        steps = list(zip(swatches(), step_words(), strict=True))
        self._legend.explain(tr("{0} gets").format(flow.block), steps, tr("of the block's mean"))

    def _paint(self, painter: QPainter) -> None:
        if self._places is None:
            return
        camera, flow = self._canvas.camera, self._places.flow
        at = camera.to_screen(flow.left_m, flow.top_m)
        self._places.paint(painter, at.x(), at.y(), flow.cell_m * camera.scale,
                           self._canvas.devicePixelRatioF())  # fmt: skip


class FlowMap(QWidget):
    """The block seen from above, north up; every place in the step of what it gets."""

    def __init__(self) -> None:
        super().__init__()
        self.flow: BlockFlow | None = None
        self.shown: tuple[BlockFlow | None, Any] = None, None
        self._places: Places | None = None
        self.setMinimumSize(220, 180)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        theme.watch().changed.connect(self.update)

    def sizeHint(self) -> QSize:
        """A small map."""
        return QSize(360, 260)

    def show_flow(self, flow: BlockFlow | None, outline: Any = None) -> None:
        """Show a block's flow inside its outline."""
        self.flow = flow
        self.shown = flow, outline
        self._places = None if flow is None else Places(flow, outline)
        name = "" if flow is None else flow.block
        self.setAccessibleName(tr("Flow over {0}").format(name) if name else "")
        self.update()

    def steps(self) -> np.ndarray:
        """Return the step of each place, shape (rows, columns); -1 outside."""
        assert self.flow is not None
        return steps_of(self.flow)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the places as large as there is room."""
        if self.flow is None or self._places is None:
            return
        rows, columns = self.flow.share.shape
        room = QRectF(self.rect()).adjusted(10, 10, -10, -10)
        size = min(room.width() / columns, room.height() / rows)
        self._places.paint(
            QPainter(self), room.center().x() - columns * size / 2,
            room.center().y() - rows * size / 2, size, self.devicePixelRatioF(),
        )  # fmt: skip


def steps_of(flow: BlockFlow) -> np.ndarray:
    """Return the step of each place, shape (rows, columns); -1 outside."""
    share = flow.of_mean
    found = np.full(share.shape, -1)
    for step in range(len(STEPS) - 1, -1, -1):
        found[share >= STEPS[step]] = step
    return found


def _carried(found: np.ndarray) -> np.ndarray:
    """Return the steps with those at the edge carried one place on, up to the outline."""
    padded = np.pad(found, 1, constant_values=-1)
    rows, columns = found.shape
    for y, x in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        beside = padded[1 + y : 1 + y + rows, 1 + x : 1 + x + columns]
        found = np.where(found < 0, beside, found)
    return found


def _runs(mask: np.ndarray) -> QPainterPath:
    """Return the places of a mask as one path of strips, a little over their edges."""
    path = QPainterPath()
    path.setFillRule(Qt.FillRule.WindingFill)
    padded = np.pad(mask, ((0, 0), (1, 1))).astype(np.int8)
    for row, line in enumerate(np.diff(padded, axis=1)):
        starts, ends = np.flatnonzero(line == 1), np.flatnonzero(line == -1)
        for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
            path.addRect(a, row, b - a + 0.05, 1.05)
    return path


class FlowView(QWidget):
    """The map with its legend, the sentence above and what to know below."""

    def __init__(self) -> None:
        super().__init__()
        self.head = text("", theme.LARGE, bold=True, wrap=True)
        self.said = text("", wrap=True)
        self.map = FlowMap()
        self._large: FlowOnMap | None = None
        self.legend = QWidget()
        self._lay_legend()
        self.below = text("", theme.SMALL, wrap=True)
        self.apart = text("", theme.SMALL, wrap=True)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(6)
        box.addWidget(self.head)
        box.addWidget(self.said)
        box.addWidget(self.map, 1)
        for widget in (self.legend, self.apart, self.below):
            box.addWidget(widget)
        self.show_nothing(tr("Choose a block with an outline to see what its places get."))

    def _lay_legend(self) -> None:
        grid = QGridLayout(self.legend)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(12)
        grid.setVerticalSpacing(2)
        for at, (swatch, words) in enumerate(zip(swatches(), step_words(), strict=True)):
            item = QHBoxLayout()
            item.setSpacing(5)
            item.addWidget(Mark(swatch=swatch, width=20))
            item.addWidget(text(words, theme.SMALL))
            item.addStretch()
            grid.addLayout(item, at // 2, at % 2)
        grid.addWidget(text(tr("of the block's mean"), theme.SMALL, quiet=True), 2, 1)

    def use_map(self, panel: MapPanel) -> None:
        """Show the places on the large map and in its legend, in place of the small ones."""
        self._large = FlowOnMap(panel)
        self.legend.hide()
        self.map.hide()

    def show_on_map(self, on: bool) -> None:
        """Lay the places over the large map, or take them away while another section is open."""
        if self._large is not None:
            flow, outline = self.map.shown if on else (None, None)
            self._large.show_flow(flow, outline)

    def show_nothing(self, why: str) -> None:
        """Say why there is no map."""
        self.head.setText("")
        self.said.setText(why)
        self.map.show_flow(None)
        self.show_on_map(False)
        for widget in (self.legend, self.head, self.map, self.below, self.apart):
            widget.hide()

    def show_flow(self, flow: BlockFlow, outline: Any, together: Together) -> None:
        """Show one block's flow."""
        for widget in (self.head, self.below):
            widget.show()
        self.map.setVisible(self._large is None)
        self.legend.setVisible(self._large is None)
        self.head.setText(_head(flow))
        self.said.setText(_said(flow))
        self.map.show_flow(flow, outline)
        self.show_on_map(self.isVisible())
        self.below.setText("\n".join(say(note) for note in flow.notes))
        words = apart_words(flow.block, together)
        self.apart.setText(words)
        self.apart.setVisible(bool(words))


def _head(flow: BlockFlow) -> str:
    even = word(f"pressure.even.{flow.evenness}")
    if flow.flow_m3_h is None:
        return tr("{0}: {1}, flow not known").format(flow.block, even)
    rate, how = number(flow.flow_m3_h), word(f"flow.{flow.flow_from}")
    return tr("{0}: {1}, {2} m³/h ({3})").format(flow.block, even, rate, how)


def _said(flow: BlockFlow) -> str:
    low = number(flow.lowest / flow.mean if flow.mean else 0.0, 2)
    high = number(flow.highest / flow.mean if flow.mean else 0.0, 2)
    said = tr("Its places get {0} to {1} of the mean; the quarter with least gets {2}.").format(
        low, high, number(flow.low_quarter, 2)
    )  # fmt: skip
    if flow.valve_m is None:
        return said
    return said + " " + tr("They lie up to {0} m above the valve and {1} m below it.").format(
        number(flow.above_m), number(flow.below_m)
    )  # fmt: skip


def apart_words(name: str, together: Together) -> str:
    """Return with which blocks one should not share a pump, in one sentence."""
    found = [(p.lower if p.upper == name else p.upper, p.height_m)
             for p in together.apart if name in (p.upper, p.lower)]  # fmt: skip
    if not found:
        return ""
    names = ", ".join(f"{other} ({number(height, 0)} m)" for other, height in found)
    return tr("Not at once with {0} on one pump without a regulator, for the height between: "
              "{1}.").format(name, names)  # fmt: skip
