"""The week on paper: one A4 page a valve-person, by day and start time, mostly figures.

English and Spanish stand side by side, since the hand that opens the valve may read either.
White ground, black ink: it must survive a poor printer, a phone picture and a wet pocket.  At
most 28 lines stand on a page; fruit-fill valves are white on black; ``~`` stands before a volume
that comes from a catalogue flow.  The waterings are whole quarter hours and add up to the head's
sum.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Sequence
from importlib import resources
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import XPos, YPos

from waterbudget.errors import Refused
from waterbudget.records import GivenWeek
from waterbudget.season import Season
from waterbudget.sheet import Sheet, SheetLine, valve_sheets

MAX_LINES = 28
_DAYS = (("MON", "lun"), ("TUE", "mar"), ("WED", "mié"), ("THU", "jue"), ("FRI", "vie"),
         ("SAT", "sáb"), ("SUN", "dom"))  # fmt: skip
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MARGIN = 10.0
_WIDTH = 190.0
_COLUMNS = (
    ("DAY", "DÍA", 14.0), ("VALVE", "VÁLV.", 17.0), ("BLOCK", "LOTE", 41.0),
    ("START", "INICIO", 18.0), ("HOURS", "HORAS", 20.0), ("m³", "", 17.0),
    ("L / tree", "L/árbol", 16.0),
    ("RAN", "SÍ", 11.0), ("IF NOT: h", "SI NO: h", 18.0), ("NOTE", "NOTA", 18.0),
)  # fmt: skip
_LINE = 7.2
_SANS, _NARROW = "plex", "plexnarrow"


def write_week_pdf(season: Season, path: Path, *, given: GivenWeek | None = None) -> None:
    """Write the sheets of a week, one page (or more) a valve-person.

    Parameters
    ----------
    given : GivenWeek, optional
        A week that was handed out; the proposal where it is left out.

    Raises
    ------
    Refused
        Where the file cannot be written.
    """
    pages = [
        (sheet, part)
        for sheet in valve_sheets(season, given)
        for part in _parts(sheet.lines)
    ]  # fmt: skip
    paper = _Paper(season, len(pages))
    for number, (sheet, part) in enumerate(pages, start=1):
        paper.sheet(sheet, part, number)
    if not pages:
        paper.empty()
    _write(path, bytes(paper.pdf.output()))


def need_place(path: Path) -> None:
    """Refuse a place no sheet can be written to, before anything is stored for it."""
    if path.exists() and not path.is_file():
        if path.is_dir():
            raise Refused("file.is_folder", file=str(path))
        return
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent):
            pass
    except OSError as fault:
        raise Refused("file.cannot_write", file=str(path), why=fault.strerror or "") from None


def _write(path: Path, data: bytes) -> None:
    """Write whole or not at all: a full disk leaves the sheet that was there."""
    need_place(path)
    part = path.with_name(f".{path.name}.part")
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        part.write_bytes(data)
        part.replace(path)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise Refused("file.cannot_write", file=str(path), why=fault.strerror or "") from None


def hours_on_paper(hours: float) -> str:
    """Return hours as they are read at the valve: ``4 h 15``."""
    whole = int(hours)
    return f"{whole} h {round((hours - whole) * 60):02d}"


def _parts(lines: Sequence[SheetLine]) -> list[Sequence[SheetLine]]:
    """Cut a person's week into pages, between days where that is possible."""
    parts: list[list[SheetLine]] = [[]]
    for day in sorted({x.date for x in lines}):
        of_day = [x for x in lines if x.date == day]
        if parts[-1] and len(parts[-1]) + len(of_day) > MAX_LINES:
            parts.append([])
        for x in of_day:
            if len(parts[-1]) == MAX_LINES:
                parts.append([])
            parts[-1].append(x)
    return [p for p in parts if p]


class _Paper:
    def __init__(self, season: Season, pages: int) -> None:
        self.season, self.pages = season, pages
        self.pdf = FPDF(format="A4")
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margins(_MARGIN, _MARGIN)
        self.pdf.set_creation_date(dt.datetime(2000, 1, 1, tzinfo=dt.UTC))
        self.pdf.set_title(f"{season.orchard.name} {season.on.isoformat()}")
        folder = resources.files("waterbudget").joinpath("fonts")
        for family, style, name in (
            (_SANS, "", "IBMPlexSans-Regular"), (_SANS, "B", "IBMPlexSans-SemiBold"),
            (_NARROW, "", "IBMPlexSansCondensed-Regular"),
            (_NARROW, "B", "IBMPlexSansCondensed-SemiBold"),
        ):  # fmt: skip
            self.pdf.add_font(family, style, str(folder.joinpath(f"{name}.ttf")))

    def text(
        self, x: float, y: float, width: float, text: str, size: float, *, bold: bool = False,
        narrow: bool = False, align: str = "L", height: float = 6.0,
    ) -> None:  # fmt: skip
        """Write one line into a box, made smaller where it would not fit."""
        pdf = self.pdf
        family = _NARROW if narrow else _SANS
        pdf.set_font(family, "B" if bold else "", size)
        while size > 7 and pdf.get_string_width(text) > width - 0.8:
            size -= 0.5
            pdf.set_font(family, "B" if bold else "", size)
        pdf.set_xy(x, y)
        pdf.cell(width, height, text, align=align, new_x=XPos.RIGHT, new_y=YPos.TOP)

    def empty(self) -> None:
        """Say on a page that there is nothing to open this week."""
        self.pdf.add_page()
        self.head(None, (), 1)
        self.text(_MARGIN, 50, _WIDTH, "No watering this week · Sin riegos esta semana", 15)

    def sheet(self, sheet: Sheet, lines: Sequence[SheetLine], number: int) -> None:
        """Draw one page."""
        self.pdf.add_page()
        y = self.head(sheet, lines, number)
        y = self.columns(y)
        for day in sorted({x.date for x in lines}):
            y = self.day(y, day, [x for x in lines if x.date == day])
        self.foot(y + 2)

    def head(self, sheet: Sheet | None, lines: Sequence[SheetLine], number: int) -> float:
        """Draw the head and return where the table begins."""
        first = sheet.first if sheet is not None else self.season.on
        last = first + dt.timedelta(days=6)
        self.text(_MARGIN, 9, 80, "WATERINGS", 26, bold=True, height=11)
        self.text(76, 9, 50, "RIEGOS", 26, height=11)
        if self.season.orchard.invented:
            self.pdf.set_line_width(0.5)
            self.pdf.rect(144, 10.5, 56, 8)
            self.text(144, 11.5, 56, "INVENTED · INVENTADO", 12, bold=True, align="C")
        span = f"{_day(first)} to·a {_day(last)} {last.year}"
        self.text(_MARGIN, 21, 110, span, 14, bold=True, height=7)
        if sheet is not None and sheet.number is not None and sheet.given_at is not None:
            status = f"no. {sheet.number} · {sheet.given_at:%Y-%m-%d %H:%M}"
        else:
            status = "proposal · propuesta"
        self.text(110, 21, 90, f"sheet·hoja {number} / {max(1, self.pages)}   {status}", 12,
                  bold=True, align="R", height=7)  # fmt: skip
        person = sheet.person if sheet is not None else ""
        who = f"For·para: {person}" if person else ""
        self.text(_MARGIN, 28, 110, f"{self.season.orchard.name}   {who}", 12, height=7)
        hours = sum(x.hours for x in lines)
        m3 = sum(x.m3 or 0.0 for x in lines)
        total = f"all·todo  {len(lines)} ×  {hours_on_paper(hours)}  {m3:,.0f} m³".replace(",", " ")
        self.text(110, 28, 90, total, 12, align="R", height=7)
        return 37.0

    def columns(self, y: float) -> float:
        """Draw the heads of the columns."""
        x = _MARGIN
        self.pdf.set_line_width(0.7)
        self.pdf.line(_MARGIN, y, _MARGIN + _WIDTH, y)
        for english, spanish, width in _COLUMNS:
            self.text(x, y + 0.6, width, english, 11, bold=True, narrow=True, align="C", height=5)
            self.text(x, y + 5, width, spanish, 11, narrow=True, align="C", height=5)
            x += width
        y += 10.5
        self.pdf.line(_MARGIN, y, _MARGIN + _WIDTH, y)
        return y

    def day(self, y: float, day: dt.date, lines: Sequence[SheetLine]) -> float:
        """Draw the waterings of one day."""
        top = y
        for line in lines:
            self.line(y, line)
            y += _LINE
        short, spanish = _DAYS[day.weekday()]
        width = _COLUMNS[0][2]
        if len(lines) > 1:
            self.text(_MARGIN, top + 0.8, width, short, 12, bold=True, narrow=True, align="C")
            text = f"{spanish} {day.day}" if len(lines) == 2 else spanish
            self.text(_MARGIN, top + 6.6, width, text, 12, narrow=True, align="C")
            if len(lines) > 2:
                self.text(_MARGIN, top + 12.4, width, str(day.day), 15, bold=True, align="C")
        else:
            self.text(_MARGIN, top + 0.6, width, f"{short} {day.day}", 12, bold=True,
                      narrow=True, align="C")  # fmt: skip
        self.pdf.set_line_width(0.7)
        self.pdf.line(_MARGIN, y, _MARGIN + _WIDTH, y)
        self.pdf.set_line_width(0.2)
        x = _MARGIN
        self.pdf.line(x, top, x, y)
        for _, _, width in _COLUMNS:
            x += width
            self.pdf.line(x, top, x, y)
        return y

    def line(self, y: float, line: SheetLine) -> None:
        """Draw one watering."""
        x = _MARGIN + _COLUMNS[0][2]
        tilde = "~" if line.from_catalogue else ""
        cells = [
            (line.valve or "-", 14, True, True, "C"),
            (line.block, 12, False, True, "L"),
            (f"{line.start:%H:%M}", 15, True, False, "C"),
            (hours_on_paper(line.hours), 14, True, False, "C"),
            (f"{tilde}{line.m3:.0f}" if line.m3 is not None else "", 13, False, False, "R"),
            (f"{line.litres_per_tree:.0f}" if line.litres_per_tree is not None else "", 12,
             False, False, "R"),
        ]  # fmt: skip
        for (text, size, bold, narrow, align), (_, _, width) in zip(
            cells, _COLUMNS[1:7], strict=True
        ):
            if line.in_fill and width == _COLUMNS[1][2] and text == cells[0][0]:
                self.pdf.set_fill_color(0, 0, 0)
                self.pdf.rect(x, y, width, _LINE, style="F")
                self.pdf.set_text_color(255, 255, 255)
            self.text(x, y + 0.6, width, text, size, bold=bold, narrow=narrow, align=align)
            self.pdf.set_text_color(0, 0, 0)
            x += width
        self.pdf.set_line_width(0.4)
        self.pdf.rect(x + 3.2, y + 1.5, 4.4, 4.4)
        x += _COLUMNS[7][2]
        self.text(x, y + 0.6, _COLUMNS[8][2], "h", 12, align="R")
        self.pdf.set_line_width(0.2)
        left = _MARGIN + _COLUMNS[0][2]
        self.pdf.line(left, y + _LINE, _MARGIN + _WIDTH, y + _LINE)

    def foot(self, y: float) -> None:
        """Draw the key, the caution and the lines to sign."""
        self.pdf.set_fill_color(0, 0, 0)
        self.pdf.rect(_MARGIN, y + 0.5, 9, 5.4, style="F")
        self.pdf.set_text_color(255, 255, 255)
        self.text(_MARGIN, y + 0.2, 9, "V", 12, bold=True, align="C")
        self.pdf.set_text_color(0, 0, 0)
        key = "fruit fill: never skip · llenado: nunca saltar     ~ not measured · sin medir"
        self.text(_MARGIN + 11, y + 0.2, 170, key, 12)
        for k, caution in enumerate((
            "Electric pump: dry hands, guards on; a fault is for the electrician.",
            "Bomba eléctrica: manos secas, protecciones puestas; una falla, al electricista.",
        )):  # fmt: skip
            self.text(_MARGIN, y + 6.4 + 5.2 * k, _WIDTH, caution, 12)
        phone = self.season.orchard.phone_for_trouble or ""
        self.text(_MARGIN, y + 19, 95, "Signed·firma ______________________", 12)
        self.text(105, y + 19, 95, f"Pump trouble, call·llame {phone or '__________________'}", 12)


def _day(day: dt.date) -> str:
    english, spanish = _DAYS[day.weekday()]
    return f"{english.title()}·{spanish} {day.day} {_MONTHS[day.month - 1]}"
