"""The look: colours, type, hatches; light and dark.

Everything that is drawn asks :func:`colours` when it paints and redraws when ``watch().changed``
is emitted, so a switch between light and dark needs no restart.

The grammar of certainty is the same on every page: solid = given, fine hatch leaning left = from
another source, open = default, dots = missing, cross = came but not used.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import NamedTuple

from PySide6.QtCore import QObject, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontDatabase,
    QGuiApplication,
    QImage,
    QPainter,
    QPainterPath,
    QPalette,
    QPen,
    QPolygonF,
    QTransform,
)
from PySide6.QtWidgets import QApplication

import waterbudget

SMALL, BODY, LARGE, LEAD, TITLE = 12, 13, 15, 17, 26
"""The five sizes of type [px]; nothing is smaller."""

_FONTS = Path(waterbudget.__file__).parent / "fonts"  # one copy, shared with the paper
_FAMILY = "IBM Plex Sans"
_NARROW = "IBM Plex Sans Condensed"


class Colours(NamedTuple):
    """One set of colours, as ``#rrggbb``.

    Attributes
    ----------
    paper, ink, quiet : ground, text, less important text
    bar : head bar and foot
    line : hairlines and frames of plates
    card : ground of a sentence card
    map : ground of the map;  contour : its lines
    row, past, past_row : every second row of a table, the days gone by, both together
    edge : outline of a block;  plate : ground under a block's name on the map
    planned, planned_edge, planned_ink : a planned watering
    link : links and whatever can be clicked
    chosen : a chosen row's ground
    wrong : ink of a refused field, never the only mark
    """

    dark: bool
    paper: str
    ink: str
    quiet: str
    bar: str
    line: str
    card: str
    map: str
    contour: str
    row: str
    past: str
    past_row: str
    edge: str
    plate: str
    planned: str
    planned_edge: str
    planned_ink: str
    link: str
    chosen: str
    wrong: str
    dots: str


LIGHT = Colours(
    dark=False, paper="#F4F1EA", ink="#1B2426", quiet="#5A6668", bar="#E7E2D6", line="#C9C4B8",
    card="#FFFFFF", map="#ECE8DD", contour="#D9D3C4", row="#EFECE2", past="#EEEAE0",
    past_row="#E9E5D8", edge="#1B2426", plate="#F4F1EA", planned="#DCE8F4",
    planned_edge="#1F5FA8", planned_ink="#1B2426", link="#1F5FA8", chosen="#E6E2D5",
    wrong="#5A1F5C", dots="#5A6668",
)  # fmt: skip

DARK = Colours(
    dark=True, paper="#16201F", ink="#E6ECEB", quiet="#93A5A3", bar="#1F2B2A", line="#3A4846",
    card="#1B2625", map="#121A19", contour="#243230", row="#1A2524", past="#1A2524",
    past_row="#1E2A29", edge="#9FB0AE", plate="#16201F", planned="#1E3A55",
    planned_edge="#8FC1E8", planned_ink="#E6ECEB", link="#8FC1E8", chosen="#263432",
    wrong="#E3B6E2", dots="#93A5A3",
)  # fmt: skip

STEPS = ("#0B4A50", "#2F7A7B", "#7FAFA3", "#DCC690")
"""Easy water left, from full to almost none; never faded into each other."""
STEP_FROM = (0.75, 0.50, 0.25, 0.0)
"""Least share of the easy water for each step."""
STEP_TEXT = ("#FFFFFF", "#FFFFFF", "#1B2426", "#1B2426")
PAST_GROUND, PAST_INK = "#F3E4EF", "#5A1F5C"
DRY_INK = "#5A6668"


class Watch(QObject):
    """Tells when the colours have changed."""

    changed = Signal()


class _State:
    colours = LIGHT
    mode = "system"
    family = ""
    watch: Watch | None = None
    following = False


def watch() -> Watch:
    """Return the object whose ``changed`` signal says that colours have changed."""
    if _State.watch is None:
        _State.watch = Watch()
    return _State.watch


def colours() -> Colours:
    """Return the colours in use now."""
    return _State.colours


def mode() -> str:
    """Return what was chosen: ``system``, ``light`` or ``dark``."""
    return _State.mode


def use(app: QApplication, mode: str = "system") -> None:
    """Give the whole program its look.

    Parameters
    ----------
    app : QApplication
    mode : str
        ``light``, ``dark``, or ``system`` to follow the desktop's own setting.
    """
    _State.mode = mode
    hints = QGuiApplication.styleHints()
    if not _State.following:
        hints.colorSchemeChanged.connect(lambda _: _follow())
        _State.following = True
    dark = mode == "dark" or (
        mode == "system" and hints.colorScheme() == Qt.ColorScheme.Dark
    )  # fmt: skip
    _State.colours = DARK if dark else LIGHT
    if not _State.family:
        _load_fonts()
    app.setFont(font())
    app.setPalette(_palette(_State.colours))
    app.setStyleSheet(_sheet(_State.colours))
    watch().changed.emit()


def _follow() -> None:
    app = QApplication.instance()
    if _State.mode == "system" and isinstance(app, QApplication):
        use(app, "system")


def _load_fonts() -> None:
    """Load the two faces of the first page; the others come when they are first asked for."""
    found = [_load("IBMPlexSans-Regular"), _load("IBMPlexSans-SemiBold")]
    _State.family = _FAMILY if all(found) else "DejaVu Sans"


@cache
def _load(name: str) -> bool:
    return QFontDatabase.addApplicationFont(str(_FONTS / f"{name}.ttf")) >= 0


@cache
def _narrow() -> str:
    found = [_load("IBMPlexSansCondensed-Regular"), _load("IBMPlexSansCondensed-SemiBold")]
    return _NARROW if all(found) else "DejaVu Sans Condensed"


def font(
    px: int = BODY, *, bold: bool = False, italic: bool = False, narrow: bool = False
) -> QFont:  # fmt: skip
    """Return the font of a size [px]; figures are all of one width, and so line up."""
    if italic:
        _load("IBMPlexSans-Italic")
    made = QFont()
    made.setFamilies([_narrow() if narrow else _State.family, "DejaVu Sans", "sans-serif"])
    made.setPixelSize(px)
    made.setWeight(QFont.Weight.DemiBold if bold else QFont.Weight.Normal)
    made.setItalic(italic)
    return made


class Swatch(NamedTuple):
    """How a block is filled: ground, hatch (``past``, ``dry``, ``missing`` or none), text."""

    ground: str | None
    hatch: str | None
    text: str


def easy_water(share: float | None, stage: str = "", dry_allowed: bool | None = None) -> Swatch:
    """Return how a block is filled by its easy water.

    Parameters
    ----------
    share : float or None
        Easy water left as a share of all easy water [-]; negative past the limit, None where
        nothing is known.
    stage : str
        Stage code; past the limit in ``rest`` is allowed.
    dry_allowed : bool, optional
        Whether dryness is allowed (default: only in rest).
    """
    if share is None or share != share:
        return Swatch(None, "missing", colours().ink)
    if share < 0:
        allowed = stage == "rest" if dry_allowed is None else dry_allowed
        if allowed:
            return Swatch(None, "dry", colours().ink)
        return Swatch(PAST_GROUND, "past", PAST_INK)
    for ground, least, text in zip(STEPS, STEP_FROM, STEP_TEXT, strict=True):
        if share >= least:
            return Swatch(ground, None, text)
    return Swatch(STEPS[-1], None, STEP_TEXT[-1])


def fill(
    painter: QPainter, area: QRectF | QPainterPath | QPolygonF, swatch: Swatch, dpr: float = 1.0
) -> None:  # fmt: skip
    """Fill an area as the swatch says, without an outline."""
    painter.save()
    painter.setPen(Qt.PenStyle.NoPen)
    for brush in brushes(swatch, dpr):
        painter.setBrush(brush)
        if isinstance(area, QRectF):
            painter.drawRect(area)
        elif isinstance(area, QPolygonF):
            painter.drawPolygon(area)
        else:
            painter.drawPath(area)
    painter.restore()


def brushes(swatch: Swatch, dpr: float = 1.0) -> list[QBrush]:
    """Return the brushes to lay one over the other (usable in any thread)."""
    laid = [QBrush(QColor(swatch.ground))] if swatch.ground else []
    if swatch.hatch:
        laid.append(hatch(swatch.hatch, dpr=dpr))
    return laid


def hatch(kind: str, ink: str | None = None, dpr: float = 1.0) -> QBrush:
    """Return a brush that hatches.

    Parameters
    ----------
    kind : str
        ``past`` (heavy, leaning right), ``dry`` (thin, leaning right), ``other`` (fine, leaning
        left: from another source), ``missing`` (dots).
    ink : str, optional
        Colour; by default the one that belongs to the kind.
    dpr : float
        Device pixels for one pixel, so that lines stay crisp on dense screens.
    """
    if ink is None:
        own = {"past": PAST_INK, "dry": colours().quiet if colours().dark else DRY_INK}
        ink = own.get(kind, colours().quiet if kind == "other" else colours().dots)
    return QBrush(_tile(kind, ink, round(dpr * 4) / 4))


@cache
def _tile(kind: str, ink: str, dpr: float) -> QBrush:
    size, width = {"past": (8, 2.0), "dry": (7, 1.0), "other": (4, 1.0), "missing": (6, 1.5)}[kind]
    side = max(round(size * dpr), 2)
    image = QImage(side, side, QImage.Format.Format_ARGB32_Premultiplied)
    image.fill(0)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    if kind == "missing":
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(ink))
        painter.drawEllipse(QPointF(side / 2, side / 2), width * dpr / 2, width * dpr / 2)
    else:
        step = side  # lines of a tile that repeats must run from corner to corner
        across = width * dpr * (0.75 if kind != "other" else 0.7)
        painter.setPen(QPen(QColor(ink), across))
        for shift in (-step, 0, step):
            if kind == "other":
                painter.drawLine(QPointF(shift - 1, -1), QPointF(shift + step + 1, step + 1))
            else:
                painter.drawLine(QPointF(shift - 1, step + 1), QPointF(shift + step + 1, -1))
    painter.end()
    brush = QBrush()
    brush.setTextureImage(image)
    brush.setTransform(QTransform.fromScale(1 / dpr, 1 / dpr))
    return brush


def paint_cross(painter: QPainter, area: QRectF, ink: str | None = None) -> None:
    """Cross out: came, but is not used; or planned, but did not run."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(ink or colours().ink), 1.5))
    painter.drawLine(area.topLeft(), area.bottomRight())
    painter.drawLine(area.topRight(), area.bottomLeft())
    painter.restore()


def paint_fruit(painter: QPainter, centre: QPointF, size: float, ink: str | None = None) -> None:
    """Draw the small mark of fruit fill: a round fruit with a stalk."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    colour = QColor(ink or colours().ink)
    r = size * 0.40
    painter.setPen(QPen(colour, max(size * 0.14, 1.0)))
    top = centre.y() + size * 0.10 - r
    painter.drawLine(
        QPointF(centre.x(), top + 1), QPointF(centre.x() + size * 0.16, top - size * 0.22)
    )
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawEllipse(QPointF(centre.x(), centre.y() + size * 0.10), r, r)
    painter.restore()


def _palette(c: Colours) -> QPalette:
    palette = QPalette()
    role = QPalette.ColorRole
    for names, colour in (
        ((role.Window, role.Base, role.ToolTipBase), c.paper),
        ((role.AlternateBase,), c.row),
        ((role.Button,), c.bar),
        ((role.WindowText, role.Text, role.ButtonText, role.ToolTipText, role.BrightText), c.ink),
        ((role.PlaceholderText,), c.quiet),
        ((role.Highlight,), c.planned_edge if not c.dark else c.planned),
        ((role.HighlightedText,), "#FFFFFF" if not c.dark else c.ink),
        ((role.Link, role.LinkVisited), c.link),
        ((role.Light, role.Midlight, role.Mid, role.Dark), c.line),
    ):
        for name in names:
            palette.setColor(name, QColor(colour))
    for name in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, name, QColor(c.quiet))
    return palette


def _sheet(c: Colours) -> str:
    return _SHEET.format(**c._asdict()).translate({ord("«"): "{", ord("»"): "}"})


_SHEET = """
QToolTip « background: {card}; color: {ink}; border: 1px solid {line}; padding: 3px 6px; »
QLabel[role="quiet"] « color: {quiet}; »
QLabel[role="wrong"] « color: {wrong}; »
QLabel[role="sample"] « background: {row}; border: 1px solid {line}; border-radius: 3px; »
QWidget[role="bar"] « background: {bar}; »
QFrame[role="plate"] « background: {card}; border: 1px solid {line}; border-radius: 4px; »
QFrame[role="rule"] « background: {line}; border: none; »
QFrame[role="rule-strong"] « background: {ink}; border: none; »
QLineEdit, QComboBox, QPlainTextEdit, QSpinBox, QDateEdit, QTimeEdit «
  background: {card}; color: {ink}; border: 1px solid {line}; border-radius: 3px;
  padding: 2px 6px; min-height: 22px; selection-background-color: {planned_edge};
  selection-color: {paper}; placeholder-text-color: {quiet}; »
QLineEdit:focus, QComboBox:focus, QPlainTextEdit:focus «
  border: 2px solid {link}; padding: 1px 5px; »
QAbstractSpinBox QLineEdit, QAbstractSpinBox QLineEdit:focus «
  background: transparent; border: none; padding: 0 4px; min-height: 0; »
QSpinBox:focus « border: 2px solid {link}; »
QSpinBox::up-button, QSpinBox::down-button « width: 0; border: none; »
QLineEdit[wrong="true"], QComboBox[wrong="true"] « border: 2px solid {wrong}; padding: 1px 5px; »
QLineEdit:disabled, QComboBox:disabled « background: {paper}; color: {quiet}; »
QLineEdit[bare="true"] « background: transparent; border: 1px solid transparent; »
QLineEdit[bare="true"]:hover « border: 1px solid {line}; »
QLineEdit[bare="true"]:focus « border: 2px solid {link}; background: {card}; »
QLineEdit[bare="true"][wrong="true"] « border: 2px solid {wrong}; background: {card}; »
QComboBox::drop-down « border: none; width: 18px; »
QComboBox QAbstractItemView « background: {card}; border: 1px solid {line}; outline: none; »
QPushButton «
  background: {card}; color: {ink}; border: 1px solid {ink}; border-radius: 3px;
  padding: 3px 14px; min-height: 20px; »
QPushButton:hover « background: {row}; »
QPushButton:pressed « background: {chosen}; »
QPushButton:focus « border: 2px solid {link}; padding: 2px 13px; »
QPushButton:disabled « color: {quiet}; border-color: {line}; »
QPushButton[main="true"] « background: {ink}; color: {paper}; »
QPushButton[main="true"]:disabled « background: {line}; color: {quiet}; »
QRadioButton, QCheckBox « spacing: 8px; padding: 2px; border: 2px solid transparent; »
QRadioButton:focus, QCheckBox:focus « border: 2px solid {link}; border-radius: 3px; »
QCheckBox::indicator, QRadioButton::indicator «
  width: 12px; height: 12px; border: 1px solid {quiet}; background: {card}; »
QCheckBox::indicator « border-radius: 2px; »
QCheckBox::indicator:checked « background: {ink}; border-color: {ink}; »
QRadioButton::indicator « border-radius: 7px; »
QRadioButton::indicator:checked «
  width: 6px; height: 6px; border: 4px solid {ink}; background: {card}; »
QTableView, QTreeView, QListView «
  background: {paper}; alternate-background-color: {row}; border: none; gridline-color: {line};
  outline: none; selection-background-color: {chosen}; selection-color: {ink}; »
QHeaderView::section «
  background: {paper}; color: {ink}; border: none; border-bottom: 1px solid {line};
  padding: 4px 6px; font-weight: 600; »
QScrollArea, QScrollArea > QWidget > QWidget « background: transparent; border: none; »
QScrollBar:vertical « background: transparent; width: 10px; margin: 0; »
QScrollBar:horizontal « background: transparent; height: 10px; margin: 0; »
QScrollBar::handle «
  background: {line}; border-radius: 3px; margin: 2px; min-height: 28px; min-width: 28px; »
QScrollBar::handle:hover « background: {quiet}; »
QScrollBar::add-line, QScrollBar::sub-line « width: 0; height: 0; »
QScrollBar::add-page, QScrollBar::sub-page « background: transparent; »
QProgressBar « background: {row}; border: 1px solid {line}; border-radius: 3px; height: 8px; »
QProgressBar::chunk « background: {planned_edge}; »
QMenu « background: {card}; color: {ink}; border: 1px solid {line}; padding: 4px; »
QMenu::item « padding: 4px 18px; »
QMenu::item:selected « background: {chosen}; »
QMenu::item:disabled « color: {quiet}; »
QDialog « background: {paper}; »
"""
