"""The week painted: one block a line, one day a column.

Ran = plain figure, not confirmed = dashed and hollow, did not run = crossed, planned = boxed,
pinned = corner tick, over the pump = bold with "+3 h" at the foot, other than handed out = open
corner.  Nothing in here knows the mouse.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPen, QPolygonF

from desktop import theme
from desktop.mapview.looks import days_word, paint_bar
from desktop.models.standing import Look
from desktop.models.week import BACK, AheadCell, BackCell, DayFoot, DayHead, WeekRow, WeekTable
from desktop.pages.home_week_layout import BAR_H, BAR_W, DAYS, Layout, Spot
from desktop.wording import fixed, hours, number, thousands, tr, weekday, word

_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_MIDDLE = Qt.AlignmentFlag.AlignCenter


@dataclass
class Live:
    """What the mouse and the keyboard have to do with the week right now."""

    chosen: int | None = None
    cursor: Spot | None = None
    focus: bool = False
    hover: Spot | None = None
    drag_from: Spot | None = None
    drag_to: Spot | None = None
    editable: bool = True


class WeekPainter:
    """Paints one week into one layout.

    Parameters
    ----------
    painter : QPainter
        Begun on the viewport.
    """

    def __init__(
        self, painter: QPainter, table: WeekTable, layout: Layout, live: Live, dpr: float
    ) -> None:  # fmt: skip
        self.p, self.table, self.layout, self.live, self.dpr = painter, table, layout, live, dpr
        self.c = theme.colours()
        self.body, self.bold = theme.font(), theme.font(bold=True)
        self.small, self.italic = theme.font(theme.SMALL), theme.font(italic=True)
        self.narrow = theme.font(theme.BODY, bold=True, narrow=True)
        self.line = layout.line_h

    def paint(self) -> None:
        """Paint body, head, foot and the line between past and coming days."""
        self.p.fillRect(QRectF(0, 0, self.layout.width, self.layout.height), QColor(self.c.paper))
        self._paint_body()
        self._paint_head()
        self._paint_foot()
        self._paint_today()

    # -- pieces -------------------------------------------------------------------------------

    def _text(
        self, box: QRectF, words: str, align: Qt.AlignmentFlag, font: QFont, ink: str
    ) -> None:
        font = self._fitting(words, font, box.width())
        self.p.setFont(font)
        self.p.setPen(QColor(ink))
        metrics = QFontMetricsF(font)
        if metrics.horizontalAdvance(words) > box.width() + 0.5:
            words = metrics.elidedText(words, Qt.TextElideMode.ElideRight, box.width())
        self.p.drawText(box, align, words)

    def _fitting(self, words: str, font: QFont, width: float) -> QFont:
        """Return the font, or a narrower one where the words would be cut."""
        if QFontMetricsF(font).horizontalAdvance(words) <= width + 0.5:
            return font
        bold = font.weight() > QFont.Weight.Normal
        narrow = theme.font(font.pixelSize(), bold=bold, narrow=True)
        if QFontMetricsF(narrow).horizontalAdvance(words) <= width + 0.5:
            return narrow
        return theme.font(theme.SMALL, bold=bold, narrow=True)

    def _day(self, top: float, day: int, height: float) -> QRectF:
        left, wide = self.layout.column(3 + day)
        return QRectF(left, top, wide, height)

    def _past_ground(self, top: float, height: float, colour: str) -> None:
        left = self.layout.edges[3]
        wide = self.layout.edges[3 + BACK] - left
        self.p.fillRect(QRectF(left, top, wide, height), QColor(colour))

    # -- body ---------------------------------------------------------------------------------

    def _paint_body(self) -> None:
        body = self.layout.body
        self.p.save()
        if not self.table.rows:
            words = QRectF(self.layout.edges[0], self.layout.head_h, self.layout.width, 40)
            self._text(words, tr("No blocks yet."), _LEFT, self.body, self.c.quiet)
        self.p.setClipRect(body)
        fill = self.table.in_fill
        for i, row in enumerate(self.table.rows):
            top = self.layout.row_top(i)
            if top > body.bottom() or top + self.layout.row_h < body.top():
                continue
            self._paint_row(i, row, top)
            if i == fill and fill > 0:
                self.p.fillRect(QRectF(0, top, self.layout.width, 1), QColor(self.c.line))
        self._paint_drag()
        self._paint_cursor()
        self.p.restore()

    def _paint_row(self, i: int, row: WeekRow, top: float) -> None:
        chosen = row.block_id == self.live.chosen
        height, wide = self.layout.row_h, self.layout.width
        odd = i % 2 == 1
        if chosen or odd:
            ground = self.c.chosen if chosen else self.c.row
            self.p.fillRect(QRectF(0, top, wide, height), QColor(ground))
        if not chosen:
            self._past_ground(top, height, self.c.past_row if odd else self.c.past)
        if chosen:
            self.p.fillRect(QRectF(0, top, 4, height), QColor(self.c.ink))
        fill = row.standing.in_fill
        font, ink = (self.bold, self.c.ink) if fill else (self.body, self.c.ink)
        left, width = self.layout.column(0)
        self._text(QRectF(left, top, width - 8, height), row.name, _LEFT, font, ink)
        left, width = self.layout.column(1)
        quiet = self.c.ink if fill else self.c.quiet
        stage, made = word(f"stage.{row.standing.stage}"), font
        if "pruned_on" in row.missing:
            stage, made = tr("not pruned?"), self.italic
        self._text(QRectF(left, top, width - 6, height), stage, _LEFT, made, quiet)
        self._paint_bar(row, top)
        for k, back in enumerate(row.back):
            self._paint_back(back, self._day(top, k, height))
        source = self.live.drag_from
        held = source.day - BACK if source is not None and source.row == i else -1
        for k, ahead in enumerate(row.ahead):
            self._paint_ahead(ahead, self._day(top, BACK + k, height), ghost=k == held)
        self._paint_sum(row, top)

    def _paint_bar(self, row: WeekRow, top: float) -> None:
        left, width = self.layout.column(2)
        box = QRectF(left, top + round((self.layout.row_h - BAR_H) / 2), BAR_W, BAR_H)
        paint_bar(self.p, box, row.standing, self.dpr)
        words = QRectF(box.right() + 6, top, width - BAR_W - 6, self.layout.row_h)
        past = row.standing.look is Look.PAST
        self._text(words, days_word(row.standing), _LEFT, self.bold if past else self.body,
                   self.c.ink)  # fmt: skip

    def _paint_back(self, cell: BackCell, box: QRectF) -> None:
        if cell.state == "none":
            return
        if cell.state == "missed":
            was = hours(cell.planned_hours) if cell.planned_hours else "0"
            self._text(box, was, _MIDDLE, self.body, self.c.quiet)
            middle = box.center()
            cross = QRectF(middle.x() - 11, middle.y() - 6, 22, 12)
            theme.paint_cross(self.p, cross, self.c.ink)
            return
        words = _ran_words(cell)
        if cell.state == "not_confirmed":
            pen = QPen(QColor(self.c.quiet), 1.0)
            pen.setDashPattern([3, 2])
            self.p.setPen(pen)
            self.p.setBrush(Qt.BrushStyle.NoBrush)
            self.p.drawRoundedRect(self._inner(box), 3, 3)
            self._text(box, words, _MIDDLE, self.body, self.c.quiet)
        else:
            self._text(box, words, _MIDDLE, self.body, self.c.ink)

    def _inner(self, box: QRectF) -> QRectF:
        """Return the frame of a watering inside its cell."""
        high = min(box.height() - 3, 19.0)
        wide = min(box.width() - 4, 46.0)
        return QRectF(
            round(box.center().x() - wide / 2) + 0.5, round(box.center().y() - high / 2) + 0.5,
            round(wide) - 1, round(high) - 1,
        )  # fmt: skip

    def _paint_ahead(self, cell: AheadCell, box: QRectF, ghost: bool = False) -> None:
        frame = self._inner(box)
        self.p.setBrush(Qt.BrushStyle.NoBrush)
        if cell.planned and cell.hours is None:
            pen = QPen(QColor(self.c.planned_edge), 1.0)
            pen.setDashPattern([3, 2])
            self.p.setPen(pen)
            self.p.drawRoundedRect(frame, 3, 3)
            narrow = theme.font(theme.SMALL, narrow=True)
            words = tr("{0} mm").format(number(cell.mm, 0))
            self._text(box, words, _MIDDLE, narrow, self.c.quiet)
        elif cell.planned:
            self.p.setPen(QPen(QColor(self.c.planned_edge), 2.0 if cell.over else 1.0))
            if not ghost:
                self.p.setBrush(QColor(self.c.planned))
            edge = frame.adjusted(0.5, 0.5, -0.5, -0.5) if cell.over else frame
            self.p.drawRoundedRect(edge, 3, 3)
            font = self.bold if cell.over else self.body
            self._text(box, hours(cell.hours), _MIDDLE, font, self.c.planned_ink)
        elif cell.pinned:
            self._text(box, "0", _MIDDLE, self.body, self.c.quiet)
        if cell.pinned:
            self._corner(frame, right=True, filled=True)
        if cell.changed:
            self._corner(frame, right=False, filled=False)

    def _corner(self, frame: QRectF, *, right: bool, filled: bool) -> None:
        size = 7.0
        x, turn = (frame.right() + 0.5, -1) if right else (frame.left() - 0.5, 1)
        y = frame.top() - 0.5
        triangle = QPolygonF([QPointF(x, y), QPointF(x + turn * size, y), QPointF(x, y + size)])
        self.p.setPen(Qt.PenStyle.NoPen if filled else QPen(QColor(self.c.ink), 1.0))
        self.p.setBrush(QColor(self.c.planned_edge if filled else self.c.paper))
        self.p.drawPolygon(triangle)
        self.p.setBrush(Qt.BrushStyle.NoBrush)

    def _paint_sum(self, row: WeekRow, top: float) -> None:
        left, width = self.layout.column(3 + DAYS)
        box = QRectF(left, top, width - 8, self.layout.row_h)
        if row.hours is not None:
            font = self.bold if row.standing.in_fill else self.body
            self._text(box, fixed(row.hours, 2), _RIGHT, font, self.c.ink)
            return
        small = theme.font(theme.SMALL, narrow=True)
        if row.m3 is not None:
            self._text(box, tr("{0} m³").format(thousands(row.m3)), _RIGHT, small, self.c.quiet)
        elif row.mm is not None:
            self._text(box, tr("{0} mm").format(number(row.mm, 0)), _RIGHT, small, self.c.quiet)
        else:
            self.p.fillRect(box.adjusted(14, 4, 0, -4), theme.hatch("missing", dpr=self.dpr))

    def _paint_drag(self) -> None:
        source, target = self.live.drag_from, self.live.drag_to
        if source is None or target is None:
            return
        frame = self._inner(self.layout.box(target))
        self.p.setBrush(Qt.BrushStyle.NoBrush)
        self.p.setPen(QPen(QColor(self.c.link), 2.0))
        self.p.drawRoundedRect(frame, 3, 3)
        cell = self.table.rows[source.row].ahead[source.day - BACK]
        self._text(self.layout.box(target), hours(cell.hours), _MIDDLE, self.bold, self.c.link)

    def _paint_cursor(self) -> None:
        spot = self.live.cursor
        if spot is None or not self.live.focus or spot.area != "body":
            return
        box = self.layout.box(spot)
        if spot.part == "name":
            box = box.adjusted(-6, 0, -2, 0)
        self.p.setPen(QPen(QColor(self.c.link), 2.0))
        self.p.setBrush(Qt.BrushStyle.NoBrush)
        self.p.drawRoundedRect(box.adjusted(1, 1, -1, -1), 3, 3)

    # -- head ---------------------------------------------------------------------------------

    def _paint_head(self) -> None:
        self.p.fillRect(QRectF(0, 0, self.layout.width, self.layout.head_h), QColor(self.c.paper))
        self._past_ground(0, self.layout.head_h, self.c.past)
        left = self.layout.edges[0]
        for k, title in enumerate((tr("Block"), tr("Stage"), tr("Easy water"))):
            x, wide = self.layout.column(k)
            self._text(QRectF(x, 0, wide, self.line), title, _LEFT, self.bold, self.c.ink)
        names = ("", tr("The air takes (ET0), mm"), tr("Low / high, °C"), self._rain_title())
        for i, title in enumerate(names[1:], 1):
            box = QRectF(left, i * self.line, self.layout.edges[3] - left - 6, self.line)
            self._text(box, title, _LEFT, self.body, self.c.quiet)
        for k, head in enumerate(self.table.head):
            self._paint_day_head(k, head)
        x, wide = self.layout.column(3 + DAYS)
        self._text(QRectF(x, 0, wide - 8, self.line), tr("Hours"), _RIGHT, self.bold, self.c.ink)
        if self.table.et0_mm is not None:
            box = QRectF(x, self.line, wide - 8, self.line)
            self._text(box, fixed(self.table.et0_mm, 1), _RIGHT, self.body, self.c.quiet)
        bottom = self.layout.head_h - 1
        self.p.fillRect(QRectF(0, bottom, self.layout.width, 1), QColor(self.c.line))

    def _rain_title(self) -> str:
        if len(self.table.gauges) > 1:
            return tr("Rain, mm ({0} gauges)").format(len(self.table.gauges))
        return tr("Rain, mm")

    def _paint_day_head(self, k: int, head: DayHead) -> None:
        title = f"{weekday(head.date)} {head.date.day}"
        self._text(self._day(0, k, self.line), title, _MIDDLE, self.narrow, self.c.ink)
        past = k < BACK
        box = self._day(self.line, k, self.line)
        stand_in = head.et0_from == "stand_in"
        ink = self.c.ink if past and head.et0_from == "record" else self.c.quiet
        if head.et0_mm is None:
            self._missing(box, "?")
        else:
            font = self.italic if stand_in else self.body
            self._text(box, fixed(head.et0_mm, 1), _MIDDLE, font, ink)
        self._paint_heat(k, head)
        self._paint_rain(k, head)

    def _paint_heat(self, k: int, head: DayHead) -> None:
        box = self._day(2 * self.line, k, self.line)
        self._editable(box, k, "heat")
        if head.low_c is None and head.high_c is None:
            if k < BACK:
                self._missing(box, "?")
            else:
                self._text(box, "·", _MIDDLE, self.body, self.c.quiet)
            return
        words = f"{number(head.low_c, 0)}/{number(head.high_c, 0)}"
        ink = self.c.ink if head.heat_from in ("record", "typed") else self.c.quiet
        self._text(box, words, _MIDDLE, theme.font(theme.BODY, narrow=True), ink)

    def _paint_rain(self, k: int, head: DayHead) -> None:
        box = self._day(3 * self.line, k, self.line)
        self._editable(box, k, "rain")
        if head.rain_from == "unknown":
            self._missing(box, "?")
        elif head.rain_mm is None:
            self._text(box, "·", _MIDDLE, self.body, self.c.quiet)
        elif head.rain_from == "forecast":
            words = tr("{0}?", "rain of a forecast").format(number(head.rain_mm)) if (
                head.rain_mm > 0) else "0"  # fmt: skip
            self._text(box, words, _MIDDLE, self.body, self.c.quiet)
        else:
            others = any(g != self.table.gauges[0] for g in head.rain_typed)
            words = number(head.rain_mm) + ("+" if others else "")
            self._text(box, words, _MIDDLE, self.body, self.c.ink)

    def _missing(self, box: QRectF, words: str) -> None:
        plate = QRectF(box.center().x() - 13, box.top() + 2, 26, box.height() - 5)
        self.p.fillRect(plate, theme.hatch("missing", dpr=self.dpr))
        self.p.fillRect(plate.adjusted(8, 0, -8, 0), QColor(self.c.past))
        self._text(box, words, _MIDDLE, self.bold, self.c.ink)

    def _editable(self, box: QRectF, day: int, area: str) -> None:
        """Show that a figure can be typed over: a fine line below, a frame under the cursor."""
        if not self.live.editable or day > BACK:
            return
        hover = self.live.hover
        at = hover is not None and hover.area == area and hover.day == day
        colour = self.c.link if at else self.c.line
        line = QRectF(box.left() + 6, box.bottom() - 2, box.width() - 12, 1)
        self.p.fillRect(line, QColor(colour))
        cursor = self.live.cursor
        if cursor is not None and self.live.focus and (cursor.area, cursor.day) == (area, day):
            self.p.setPen(QPen(QColor(self.c.link), 2.0))
            self.p.setBrush(Qt.BrushStyle.NoBrush)
            self.p.drawRoundedRect(box.adjusted(1, 0, -1, -1), 3, 3)

    # -- foot ---------------------------------------------------------------------------------

    def _paint_foot(self) -> None:
        top = self.layout.foot_top
        rest = QRectF(0, top, self.layout.width, self.layout.height - top)
        self.p.fillRect(rest, QColor(self.c.paper))
        self._past_ground(top, self.layout.foot_h, self.c.past)
        self.p.fillRect(QRectF(0, top, self.layout.width, 1), QColor(self.c.line))
        titles = [self._pump_title(), tr("Valves to open")]
        if self.layout.foot_rows > 2:
            titles.append(tr("Over the pump"))
        left = self.layout.edges[0]
        for i, title in enumerate(titles):
            box = self.layout.box(Spot("foot", "name", i))
            words = QRectF(left, box.top(), self.layout.edges[3] - left - 4, box.height())
            ink = self.c.ink if i == 2 else self.c.quiet
            self._text(words, title, _LEFT, self.bold if i == 2 else self.body, ink)
        for k, foot in enumerate(self.table.foot):
            self._paint_day_foot(k, foot)
        total = self.layout.box(Spot("foot", "sum", 0)).adjusted(0, 0, -8, 0)
        self._text(total, fixed(self._pump_total(), 2), _RIGHT, self.body, self.c.ink)
        valves = self.layout.box(Spot("foot", "sum", 1)).adjusted(0, 0, -8, 0)
        count = sum(f.valves for f in self.table.foot[BACK:])
        self._text(valves, str(count), _RIGHT, self.body, self.c.ink)

    def _pump_title(self) -> str:
        there = sum(row.hours is not None for row in self.table.rows)
        limit = self.table.pump_limit_h
        if there < len(self.table.rows):
            words = tr("Pump hours of {0} blocks").format(there)
        else:
            words = tr("Pump hours")
        return words if limit is None else tr("{0} (of {1})").format(words, hours(limit))

    def _pump_total(self) -> float:
        return sum(f.pump_hours or 0.0 for f in self.table.foot)

    def _paint_day_foot(self, k: int, foot: DayFoot) -> None:
        over = foot.over
        pump = self.layout.box(Spot("foot", "day", 0, k))
        if foot.pump_hours is not None:
            font = self.bold if over else self.body
            self._text(pump, hours(foot.pump_hours), _MIDDLE, font, self.c.ink)
        valves = self.layout.box(Spot("foot", "day", 1, k))
        self._text(valves, str(foot.valves), _MIDDLE, self.body, self.c.ink)
        if over:
            box = self.layout.box(Spot("foot", "day", 2, k))
            self._text(box, over_words(foot), _MIDDLE, self.narrow, self.c.ink)

    def _paint_today(self) -> None:
        x = round(self.layout.edges[3 + BACK]) - 1
        bottom = self.layout.foot_top + self.layout.foot_h
        self.p.fillRect(QRectF(x, 2, 2, bottom - 4), QColor(self.c.ink))


def over_words(foot: DayFoot) -> str:
    """Return by how much a day is over the pump: "+3 h"."""
    if foot.over_hours > 0:
        return tr("+{0} h").format(hours(foot.over_hours))
    if foot.over_flow_m3_h <= 0 and foot.over_m3 > 0:
        return tr("+{0} m³").format(number(foot.over_m3, 0))
    if foot.over_flow_m3_h <= 0 and foot.over_valves > 0:
        return tr("+{0} valves").format(foot.over_valves)
    return tr("+{0} m³/h").format(number(foot.over_flow_m3_h, 0))


def _ran_words(cell: BackCell) -> str:
    """Return what ran in a few figures; metered water without a known flow in m3."""
    if cell.hours is None:
        return tr("{0} m³").format(number(cell.m3, 0)) if cell.m3 is not None else "?"
    quarter = abs(cell.hours * 4 - round(cell.hours * 4)) < 1e-3
    return hours(round(cell.hours * 4) / 4) if quarter else number(cell.hours, 1)
