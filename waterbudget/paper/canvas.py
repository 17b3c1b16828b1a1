"""An A4 page to write on: one line into one box, never smaller than 12 points, never over it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources

from fpdf import FPDF
from fpdf.enums import XPos, YPos

SMALLEST_PT = 12.0
POINT_MM = 25.4 / 72
_SANS, _NARROW = "plex", "plexnarrow"
_PAD = 0.8  # kept free at both sides of a box [mm]


@dataclass(frozen=True)
class Placed:
    """One line as it was set: its box and the width of its letters [mm]."""

    page: int
    x: float
    y: float
    width: float
    height: float
    letters: float
    size: float
    text: str
    white: bool = False


class Canvas:
    """Pages of one document; remembers where every line was set."""

    def __init__(self, title: str, margin: float) -> None:
        self.placed: list[Placed] = []
        self._cut = False
        self.pdf = FPDF(format="A4")
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margins(margin, margin)
        self.pdf.c_margin = 0
        self.pdf.set_creation_date(dt.datetime(2000, 1, 1, tzinfo=dt.UTC))
        self.pdf.set_title(title)
        folder = resources.files("waterbudget").joinpath("fonts")
        for family, style, name in (
            (_SANS, "", "IBMPlexSans-Regular"), (_SANS, "B", "IBMPlexSans-SemiBold"),
            (_NARROW, "", "IBMPlexSansCondensed-Regular"),
            (_NARROW, "B", "IBMPlexSansCondensed-SemiBold"),
        ):  # fmt: skip
            self.pdf.add_font(family, style, str(folder.joinpath(f"{name}.ttf")))

    def add_page(self) -> None:
        """Begin a page."""
        self.pdf.add_page()

    def output(self) -> bytes:
        """Return the document."""
        return bytes(self.pdf.output())

    def letters(
        self, text: str, size: float, *, bold: bool = False, narrow: bool = False
    ) -> float:  # fmt: skip
        """Return how wide a line is [mm]."""
        self.pdf.set_font(_NARROW if narrow else _SANS, "B" if bold else "", size)
        return float(self.pdf.get_string_width(text))

    def text(
        self, x: float, y: float, width: float, height: float, text: str, size: float, *,
        bold: bool = False, narrow: bool = False, align: str = "L", white: bool = False,
        struck: bool = False,
    ) -> float:  # fmt: skip
        """Set one line into a box and return its width [mm].

        Where it does not fit it is set smaller, then in the condensed face, at last cut with dots.
        """
        if not text:
            return 0.0
        room = width - 2 * _PAD
        text, size, narrow = self._fitted(text, size, room, bold, narrow)
        letters = self.letters(text, size, bold=bold, narrow=narrow)
        self.pdf.set_text_color(*((255,) * 3 if white else (0,) * 3))
        self.pdf.set_xy(x + _PAD, y)
        self.pdf.cell(room, height, text, align=align, new_x=XPos.RIGHT, new_y=YPos.TOP)
        if struck:
            free = {"L": 0.0, "R": room - letters, "C": (room - letters) / 2}[align]
            self.line(x + _PAD + free, y + height / 2, x + _PAD + free + letters, y + height / 2,
                      0.45)  # fmt: skip
        self.placed.append(Placed(self.pdf.page, x, y, width, height, letters, size, text, white))
        return letters

    def _fitted(
        self, text: str, size: float, room: float, bold: bool, narrow: bool
    ) -> tuple[str, float, bool]:  # fmt: skip
        for face in (narrow, True):
            tried = size
            while tried >= SMALLEST_PT:
                if self.letters(text, tried, bold=bold, narrow=face) <= room:
                    return text, tried, face
                tried -= 0.5
        while (
            len(text) > 1 and self.letters(f"{text}…", SMALLEST_PT, bold=bold, narrow=True) > room
        ):
            text = text[:-1].rstrip()
        return f"{text}…", SMALLEST_PT, True

    def wrapped(
        self, text: str, width: float, *, bold: bool = False, indent: float = 0.0
    ) -> list[str]:  # fmt: skip
        """Return a text as lines that fit a width at 12 points in the condensed face.

        Parameters
        ----------
        indent : float
            What the first line leaves free [mm].
        """
        lines: list[str] = []
        for word in text.split(" "):
            longer = f"{lines[-1]} {word}" if lines else word
            room = width - 2 * _PAD - (indent if len(lines) == 1 else 0.0)
            if lines and self.letters(longer, SMALLEST_PT, bold=bold, narrow=True) <= room:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines

    def line(self, x1: float, y1: float, x2: float, y2: float, thick: float) -> None:
        """Draw a line [mm]."""
        self.pdf.set_line_width(thick)
        self.pdf.line(x1, y1, x2, y2)

    def rule(self, xs: Sequence[float], top: float, bottom: float, thick: float) -> None:
        """Draw upright lines [mm]."""
        for x in xs:
            self.line(x, top, x, bottom, thick)

    def box(self, x: float, y: float, width: float, height: float, thick: float) -> None:
        """Draw an empty box [mm]."""
        self.pdf.set_line_width(thick)
        self.pdf.rect(x, y, width, height)

    def black(self, x: float, y: float, width: float, height: float) -> None:
        """Fill a box [mm]."""
        self.pdf.set_fill_color(0, 0, 0)
        self.pdf.rect(x, y, width, height, style="F")
