"""The week on paper: one A4 page a valve-person, in walking order, mostly figures.

White ground, black ink, nothing under 12 points, strong lines: it must survive a poor printer, a
phone picture and a wet pocket.  At most 28 rows stand on a page; fruit-fill valves are white on
black, a spraying day is a black row; ``~`` stands before a volume that comes from a catalogue
flow.  The waterings are whole quarter hours and add up to the sums as they stand; volumes are
rounded one after the other so that they do too.
"""

from __future__ import annotations

from collections.abc import Sequence

from waterbudget import fieldwork
from waterbudget.paper.canvas import SMALLEST_PT, Canvas
from waterbudget.paper.layout import Column, Page, Unit, columns, pages
from waterbudget.paper.words import Words, figure, hours_on_paper
from waterbudget.records import GivenWeek
from waterbudget.season import Season
from waterbudget.sheet import Sheet, SheetLine

_LEFT, _TOP, _WIDTH, _BOTTOM = 8.0, 8.0, 194.0, 289.0
_RIGHT = _LEFT + _WIDTH
_HEADS, _SUM, _CALL, _TEXT, _REMARK = 15.6, 7.4, 9.5, 5.3, 8.5
_TALLEST, _SHORTEST, _MARK = 8.6, 5.8, 9.0
_STRONG, _PLAIN, _FINE = 0.8, 0.35, 0.2
_MANY = 20
"""Rows from which a page keeps one line for remarks, else three."""
_BOXES = ("ran_hours", "ran_start", "ran_stop")


def drawn(
    season: Season, sheets: Sequence[Sheet], words: Words, given: GivenWeek | None = None
) -> Canvas:  # fmt: skip
    """Return all sheets drawn, page after page.

    Parameters
    ----------
    given : GivenWeek, optional
        The week handed out they are of; it dates an empty page.
    """
    canvas = Canvas(f"{season.orchard.name} {season.on.isoformat()}", _LEFT)
    kpa = any(x.pressure_kpa is not None for s in sheets for x in s.lines)
    pumps = {p.name: chr(ord("A") + k) for k, p in enumerate(season.orchard.all_pumps())}
    cols = columns(_LEFT, _WIDTH, kpa=kpa, pump=len(pumps) > 1)
    room = _RIGHT - cols["valve"].x - 2
    shown = sheets or (_nothing(season, given),)
    for sheet in shown:
        for page in pages(sheet, words, lambda t: canvas.wrapped(t, room, bold=True)):
            _Drawing(canvas, season, words, page, cols, pumps).draw()
    return canvas


def _nothing(season: Season, given: GivenWeek | None) -> Sheet:
    if given is None:
        return Sheet("", season.on, None, None, ())
    return Sheet("", given.first, given.number, given.given_at, (), given.until)


class _Drawing:
    """One page being drawn."""

    def __init__(
        self, canvas: Canvas, season: Season, words: Words, page: Page, cols: dict[str, Column],
        pumps: dict[str, str],
    ) -> None:  # fmt: skip
        self.canvas, self.season, self.words, self.page = canvas, season, words, page
        self.cols, self.pumps = cols, pumps
        self.corrected = page.sheet.last is not None
        self.high = _TALLEST

    def draw(self) -> None:
        """Draw it: head, rows, sums, what to write, what to mind, whom to call."""
        self.canvas.add_page()
        y = self._head()
        foot = self._foot_lines()
        foot_top = _BOTTOM - _CALL - 1.5 - _TEXT * len(foot)
        if not self.page.units:
            self.canvas.text(_LEFT, y + 8, _WIDTH, 9, self.words("nothing"), 17)
            y += 20
        else:
            y = self._heads(y)
            remarks = _REMARK * (1 if self.page.rows > _MANY else 3)
            room = foot_top - remarks - 1.5 - _SUM - y
            self.high = max(_SHORTEST, min(_TALLEST, room / self.page.rows))
            for units in self.page.days():
                y = self._day(y, units)
            y = self._sum(y)
        self._remarks(y, foot_top)
        self._foot(foot, foot_top)

    # -- head --------------------------------------------------------------------------------

    def _head(self) -> float:
        c, words, sheet = self.canvas, self.words, self.page.sheet
        c.text(_LEFT, _TOP, 78, 11, words("title"), 26, bold=True)
        if sheet.person:
            c.text(_LEFT + 78, _TOP, 84, 11, words("for", person=sheet.person), 22, bold=True)
        of = words("page", page=self.page.number, pages=self.page.of)
        c.box(_RIGHT - 31, _TOP + 1, 31, 9, _STRONG)
        c.text(_RIGHT - 31, _TOP + 1, 31, 9, of, 16, bold=True, align="C")
        week = words("week", number=sheet.first.isocalendar().week)
        span = f"{week} · {words.span(sheet.first, sheet.until)}"
        c.text(_LEFT, _TOP + 12.5, 116, 7, span, 15, bold=True)
        if sheet.number is not None and sheet.given_at is not None:
            at = f"{sheet.given_at:%Y-%m-%d %H:%M}"
            c.text(_LEFT + 116, _TOP + 12.5, 78, 7,
                   words("handed_out", number=sheet.number, at=at), 13, align="R")  # fmt: skip
        else:
            c.text(_LEFT + 116, _TOP + 12.5, 78, 7, words("proposal"), 15, bold=True, align="R")
        self._second_line()
        y = _TOP + 27.5
        if len(self.pumps) > 1:
            named = (f"{k} = {n or words('main_pump')}" for n, k in self.pumps.items())
            c.text(_LEFT, y, _WIDTH, 6, words("key.pumps", list=" · ".join(named)), 13)
            y += 6.8
        if self.corrected:
            since = words.day(sheet.first)
            c.text(_LEFT, y, _WIDTH, 6, words("replaces", since=since), 14, bold=True)
            y += 6.8
        return y + 1

    def _second_line(self) -> None:
        c, words, sheet = self.canvas, self.words, self.page.sheet
        y, name = _TOP + 20, self.season.orchard.name
        if self.season.orchard.invented:
            c.black(_LEFT, y + 0.3, 32, 6.2)
            c.text(_LEFT, y + 0.3, 32, 6.2, words("invented"), 13, bold=True, align="C", white=True)
            c.text(_LEFT + 34, y, 70, 7, name, 13)
        else:
            c.text(_LEFT, y, 104, 7, name, 13)
        hours = hours_on_paper(sum(x.hours for x in sheet.lines))
        m3 = figure(_m3(sheet, self.page.decimals), self.page.decimals)
        text = f"{words.waterings(len(sheet.lines))} · {hours} · {m3} m³"
        c.text(_LEFT + 104, y, 90, 7, text, 15, bold=True, align="R")

    def _heads(self, y: float) -> float:
        """Draw the heads of the columns."""
        c = self.canvas
        c.line(_LEFT, y, _RIGHT, y, _STRONG)
        for code, col in self.cols.items():
            word = self.words(f"col.{code}")
            lines = c.wrapped(word, col.width, bold=True)[:2]
            top = y + _HEADS - 5 * len(lines) - 0.3
            for k, line in enumerate(lines):
                c.text(col.x, top + 5 * k, col.width, 5, line, SMALLEST_PT, bold=True, narrow=True,
                       align="L" if code == "block" else "C")  # fmt: skip
        first = self.cols["ran_hours"].x
        c.text(first, y + 0.3, _RIGHT - first, 5, self.words("col.ran"), SMALLEST_PT, bold=True,
               narrow=True, align="C")  # fmt: skip
        c.line(first, y + 5.3, _RIGHT, y + 5.3, _PLAIN)
        c.rule([first], y, y + _HEADS, _STRONG)
        c.line(_LEFT, y + _HEADS, _RIGHT, y + _HEADS, _STRONG)
        return y + _HEADS

    # -- rows --------------------------------------------------------------------------------

    def _day(self, top: float, units: Sequence[Unit]) -> float:
        """Draw one day and return where the next begins."""
        c, y = self.canvas, top
        for u in units:
            if u.line is None:
                self._mark(y, u)
            else:
                self._watering(y, u, u.line)
            y += self.high * u.rows
            c.line(self.cols["valve"].x, y, _RIGHT, y, _FINE)
        self._day_name(top, y, units[0])
        c.rule([_LEFT, self.cols["valve"].x, _RIGHT], top, y, _STRONG)
        c.line(_LEFT, y, _RIGHT, y, _STRONG)
        return y

    def _day_name(self, top: float, bottom: float, unit: Unit) -> None:
        c, col, name = self.canvas, self.cols["day"], self.words.day(unit.date)
        word, number = name.rsplit(" ", 1)
        if bottom - top < 2 * self.high - 0.01:
            c.text(col.x, top, col.width, self.high, name, 14, bold=True, narrow=True, align="C")
            return
        c.text(col.x, top, col.width, self.high, word, 14, bold=True, narrow=True, align="C")
        c.text(col.x, top + self.high * 0.9, col.width, self.high, number, 17, bold=True, align="C")

    def _mark(self, y: float, u: Unit) -> None:
        """Draw a spraying day black, the others with a strong edge."""
        x = self.cols["valve"].x
        spray = u.kind == fieldwork.SPRAY
        if spray:
            self.canvas.black(x, y, _RIGHT - x, self.high)
        self.canvas.text(x + 1, y, _RIGHT - x - 2, self.high, u.text, 14, bold=True, narrow=True,
                         white=spray)  # fmt: skip

    def _watering(self, y: float, u: Unit, x: SheetLine) -> None:
        cols, high = self.cols, self.high
        bold = x.changed or not self.corrected
        if x.in_fill and x.hours > 0:
            self.canvas.black(cols["valve"].x, y + 0.35, cols["valve"].width, high - 0.7)
        valve = x.valve or "–"
        self._cell("valve", y, valve, 16, bold=True, white=x.in_fill and x.hours > 0, narrow=True)
        self._cell("block", y, f"* {x.block}" if x.changed else x.block, 13, bold=x.changed,
                   narrow=True, align="L")  # fmt: skip
        self._boxes(y, u.rows, whole=x.hours > 0)
        if x.hours == 0:
            self._taken_away(y, x)
            return
        self._cell("start", y, f"{x.start:%H:%M}", 15, bold=bold)
        self._cell("hours", y, hours_on_paper(x.hours), 15, bold=bold)
        about = "~" if x.from_catalogue else ""
        if u.m3 is not None:
            self._cell("m3", y, about + figure(u.m3, self.page.decimals), 14, align="R")
        self._cell("stop", y, self._stop(u, x), 15, bold=x.stop.m3 is not None and bold, align="R")
        if x.pressure_kpa is not None and "kpa" in cols:
            self._cell("kpa", y, f"{x.pressure_kpa:.0f}", 13, align="C")
        if "pump" in cols:
            self._cell("pump", y, self.pumps.get(x.pump, ""), 14, bold=True)
        if u.old:
            self._old(y + high, x)
        if x.pulses > 1:
            left, below = cols["block"].x, y + high * (u.rows - 1)
            text = "= " + self.words.pulses(x)
            self.canvas.text(left, below, cols["ran_hours"].x - left, high, text, 14, bold=True,
                             narrow=True)  # fmt: skip

    def _stop(self, u: Unit, x: SheetLine) -> str:
        if x.stop.shared:
            return self.words("by_clock")
        if x.stop.m3 is not None:
            return f"{x.stop.m3:.{self.page.decimals}f}"
        return "" if u.m3 is None else f"+{figure(u.m3, self.page.decimals)}"

    def _taken_away(self, y: float, x: SheetLine) -> None:
        """Draw a watering that falls away: its old hours struck out."""
        was = x.was_start or x.start
        self._cell("start", y, f"{was:%H:%M}", 14, struck=True)
        self._cell("hours", y, hours_on_paper(x.was_hours or 0.0), 14, struck=True)
        first, last = self.cols["m3"], self.cols["ran_hours"].x
        self.canvas.text(first.x, y, last - first.x, self.high, self.words("not_now").upper(), 14,
                         bold=True, narrow=True, align="C")  # fmt: skip

    def _old(self, y: float, x: SheetLine) -> None:
        """Draw under a changed watering what it was, as far as that is other."""
        self._cell("block", y, self.words("was"), 13, narrow=True, align="R")
        if x.was_start is not None and x.was_start != x.start:
            self._cell("start", y, f"{x.was_start:%H:%M}", 13, struck=True)
        if x.was_hours is not None and x.was_hours != x.hours:
            self._cell("hours", y, hours_on_paper(x.was_hours), 13, struck=True)

    def _cell(
        self, code: str, y: float, text: str, size: float, *, bold: bool = False,
        narrow: bool = False, align: str = "C", white: bool = False, struck: bool = False,
    ) -> None:  # fmt: skip
        col = self.cols[code]
        most = self.high / 5.8 * 14 if self.high < 6.4 else size
        self.canvas.text(col.x, y, col.width, self.high, text, min(size, most), bold=bold,
                         narrow=narrow, align=align, white=white, struck=struck)  # fmt: skip

    def _boxes(self, y: float, rows: int, *, whole: bool) -> None:
        """Rule the cells of a watering; those to write in are as high as all its rows."""
        c, cols = self.canvas, self.cols
        inner = [col.x for code, col in cols.items() if code not in ("day", "valve", *_BOXES)]
        c.rule(inner if whole else inner[:4], y, y + self.high, _FINE)
        end = y + self.high * rows
        c.rule([cols[_BOXES[0]].x], y, end, _STRONG)
        c.rule([cols[code].x for code in _BOXES[1:]], y, end, _PLAIN)

    def _sum(self, y: float) -> float:
        """Draw the sums of the page."""
        c, cols, page = self.canvas, self.cols, self.page
        word = self.words("sum" if page.of == 1 else "sum_page")
        c.text(_LEFT, y, cols["start"].end - _LEFT - 1, _SUM, word, 14, bold=True, align="R")
        hours = hours_on_paper(sum(x.hours for x in page.lines))
        for code, text, align in (("hours", hours, "C"),
                                  ("m3", figure(page.m3, page.decimals), "R")):  # fmt: skip
            col = cols[code]
            c.text(col.x, y, col.width, _SUM, text, 15, bold=True, narrow=True, align=align)
            c.box(col.x, y, col.width, _SUM, _STRONG)
        return y + _SUM

    # -- foot --------------------------------------------------------------------------------

    def _remarks(self, y: float, until: float) -> None:
        """Rule lines to write on down to the foot."""
        c, label = self.canvas, self.words("remarks")
        wide = c.text(_LEFT, y + 1, 60, _REMARK - 1, label, 14, bold=True)
        count = max(1, int((until - 1.5 - y) / _REMARK))
        for k in range(count):
            at = y + (k + 1) * _REMARK - 0.8
            c.line(_LEFT + (wide + 3 if k == 0 else 0), at, _RIGHT, at, _PLAIN)

    def _foot_lines(self) -> list[tuple[str, bool]]:
        """Return key and cautions as lines that fit the page; cautions are bold."""
        words, lines, marks = self.words, self.page.lines, self.page.sheet.marks
        keys = []
        if any(x.in_fill for x in lines):
            keys.append(words("key.fill"))
        if any(x.from_catalogue and x.m3 is not None for x in lines):
            keys.append(words("key.catalogue"))
        if any(x.changed for x in (*lines, *self.page.sheet.dropped)):
            keys.append(words("key.changed"))
        if any(x.m3 is not None for x in lines):
            keys.append(words("key.stop"))
        if any(x.stop.shared for x in lines):
            keys.append(words("key.clock"))
        if any(x.pressure_kpa is not None for x in lines):
            keys.append(words("key.kpa"))
        cautions = [words("caution.pump"), words("caution.pressure")]
        if any(m.kind == fieldwork.SPRAY for m in marks):
            cautions.append(words("caution.spray"))
        told = self.canvas.wrapped(" · ".join(keys), _WIDTH, indent=_MARK) if keys else []
        warned = self.canvas.wrapped(" ".join(cautions), _WIDTH, bold=True)
        return [(t, False) for t in told] + [(t, True) for t in warned]

    def _foot(self, lines: Sequence[tuple[str, bool]], y: float) -> None:
        """Draw the key, the cautions, whom to call and the line to sign."""
        c, words = self.canvas, self.words
        c.line(_LEFT, y, _RIGHT, y, _PLAIN)
        y += 0.8
        for k, (line, bold) in enumerate(lines):
            self._foot_line(y + _TEXT * k, line, bold=bold, first=k == 0)
        y = _BOTTOM - _CALL + 0.5
        c.line(_LEFT, y, _RIGHT, y, _STRONG)
        phone = self.season.orchard.phone_for_trouble or "____________"
        c.text(_LEFT, y + 1, 112, _CALL - 1, words("call", phone=phone), 18, bold=True)
        wide = c.text(_LEFT + 114, y + 1, 24, _CALL - 1, words("signed"), 14, bold=True)
        c.line(_LEFT + 117 + wide, y + _CALL - 1.5, _RIGHT, y + _CALL - 1.5, _PLAIN)

    def _foot_line(self, y: float, line: str, *, bold: bool, first: bool) -> None:
        """Draw a line of the foot; the word for fruit fill stands white on black as above."""
        c, x = self.canvas, _LEFT
        if first and any(x.in_fill for x in self.page.lines):
            c.black(x, y + 0.3, _MARK - 1, _TEXT - 0.6)
            c.text(x, y, _MARK - 1, _TEXT, "V", SMALLEST_PT, bold=True, align="C", white=True)
            x += _MARK
        c.text(x, y, _RIGHT - x, _TEXT, line, SMALLEST_PT, bold=bold, narrow=True)


def _m3(sheet: Sheet, decimals: int) -> float:
    return round(sum(x.m3 or 0.0 for x in sheet.lines), decimals)
