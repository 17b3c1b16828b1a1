"""The look: classes stay apart, text can be read, light and dark switch."""

from __future__ import annotations

from typing import Any

import pytest
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QFontInfo, QFontMetrics, QImage, QPainter

from desktop import theme


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    parts = []
    for part in QColor(colour).getRgbF()[:3]:
        parts.append(part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4)
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("c", [theme.LIGHT, theme.DARK], ids=["light", "dark"])
def test_text_can_be_read(c: theme.Colours) -> None:
    grounds = (c.paper, c.bar, c.card, c.row, c.past, c.past_row, c.map, c.chosen)
    for ground in grounds:
        assert contrast(c.ink, ground) >= 7
        assert contrast(c.quiet, ground) >= 4.5
        assert contrast(c.link, ground) >= 4.5
    assert contrast(c.planned_ink, c.planned) >= 7
    assert contrast(c.wrong, c.paper) >= 4.5


def test_steps_carry_their_text_and_stay_apart_in_grey() -> None:
    for ground, text in zip(theme.STEPS, theme.STEP_TEXT, strict=True):
        assert contrast(ground, text) >= 4.5
    grey = [luminance(c) for c in theme.STEPS]
    assert grey == sorted(grey)
    assert all(contrast(a, b) >= 1.35 for a, b in zip(theme.STEPS, theme.STEPS[1:], strict=False))


@pytest.mark.parametrize(
    ("share", "stage", "ground", "hatch"),
    [(1.0, "fill", "#0B4A50", None), (0.75, "fill", "#0B4A50", None),
     (0.74, "fill", "#2F7A7B", None), (0.3, "rest", "#7FAFA3", None),
     (0.0, "set", "#DCC690", None),
     (-0.01, "fill", "#F3E4EF", "past"), (-0.01, "rest", None, "dry"),
     (None, "fill", None, "missing"),
     (float("nan"), "fill", None, "missing")],
)  # fmt: skip
def test_five_steps(share: float | None, stage: str, ground: str | None, hatch: str | None) -> None:
    found = theme.easy_water(share, stage)
    assert (found.ground, found.hatch) == (ground, hatch)


def test_bundled_font_is_used_with_figures_of_one_width(qapp: Any) -> None:
    theme.use(qapp, "light")
    for narrow in (False, True):
        font = theme.font(13, narrow=narrow)
        assert QFontInfo(font).family().startswith("IBM Plex Sans")
        assert len({QFontMetrics(font).horizontalAdvance(d) for d in "0123456789"}) == 1
    plain = QFontMetrics(theme.font(13)).horizontalAdvance("llenado de fruto")
    assert QFontMetrics(theme.font(13, narrow=True)).horizontalAdvance("llenado de fruto") < plain


def test_switch_tells_and_changes_the_palette(qapp: Any) -> None:
    heard: list[bool] = []
    theme.watch().changed.connect(lambda: heard.append(theme.colours().dark))
    theme.use(qapp, "dark")
    assert qapp.palette().window().color() == QColor(theme.DARK.paper)
    theme.use(qapp, "light")
    assert heard == [True, False]


@pytest.mark.parametrize("kind", ["past", "dry", "other", "missing"])
@pytest.mark.parametrize("dpr", [1.0, 1.25, 2.0])
def test_hatches_paint_something_but_not_everything(kind: str, dpr: float, qapp: Any) -> None:
    image = QImage(64, 64, QImage.Format.Format_ARGB32)
    image.fill(QColor("#FFFFFF"))
    painter = QPainter(image)
    painter.fillRect(QRectF(0, 0, 64, 64), theme.hatch(kind, "#000000", dpr))
    painter.end()
    dark = sum(QColor(image.pixel(x, y)).lightness() < 200 for x in range(64) for y in range(64))
    assert 0.01 < dark / 64**2 < 0.7
