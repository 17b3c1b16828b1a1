"""The head of a block's page: name and facts, neighbours, the alarm, the week's sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from desktop import theme
from desktop.flow import Flow, Part, parts
from desktop.models.block_facts import Alarm
from desktop.pages.block.words import alarm_text, quiet_text
from desktop.widgets import Link, Mark, text
from desktop.wording import day_named, number, tr

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season


class Head(QWidget):
    """Name, alarm and sentence.

    Parameters
    ----------
    on_click : callable
        Gets the key of a link of the sentence.
    on_step : callable
        Gets -1 or 1 for the block before or after.
    """

    def __init__(self, on_click: Callable[[str], object], on_step: Callable[[int], object]) -> None:
        super().__init__()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 2)
        column.setSpacing(2)
        line = QHBoxLayout()
        line.setSpacing(14)
        self.name = text("", theme.TITLE, bold=True)
        self.facts = text("", quiet=True)
        self.before = Link("", lambda: on_step(-1))
        self.after = Link("", lambda: on_step(1))
        self.before.setToolTip(tr("Ctrl+PgUp"))
        self.after.setToolTip(tr("Ctrl+PgDown"))
        line.addWidget(self.name)
        line.addWidget(self.facts, 0, Qt.AlignmentFlag.AlignBottom)
        self.facts.setContentsMargins(0, 0, 0, 5)
        line.addStretch(1)
        line.addWidget(self.before, 0, Qt.AlignmentFlag.AlignBottom)
        line.addWidget(self.after, 0, Qt.AlignmentFlag.AlignBottom)
        column.addLayout(line)
        self.alarm_row = QWidget()
        alarm_line = QHBoxLayout(self.alarm_row)
        alarm_line.setContentsMargins(0, 0, 0, 0)
        alarm_line.setSpacing(8)
        self.mark = Mark("given", 13)
        self.alarm = Flow(on_click, theme.LEAD, bold=True)
        beside = QVBoxLayout()
        beside.addSpacing(6)
        beside.addWidget(self.mark)
        beside.addStretch(1)
        alarm_line.addLayout(beside)
        alarm_line.addWidget(self.alarm, 1)
        column.addWidget(self.alarm_row)
        self.sentence = Flow(on_click)
        column.addWidget(self.sentence)

    def show_nothing(self) -> None:
        """There is no block."""
        self.name.setText(tr("No block yet"))
        self.facts.setText("")
        self.before.hide()
        self.after.hide()
        self.alarm_row.hide()
        self.sentence.set_parts([])

    def show_block(
        self, season: Season, block: BlockSeason, alarm: Alarm | None, sentence: list[Part]
    ) -> None:  # fmt: skip
        """Show a block."""
        self.name.setText(block.block.name)
        self.facts.setText(_facts(season, block))
        self._neighbours(season, block)
        self._show_alarm(season, block, alarm)
        self.sentence.set_parts(sentence)

    def _neighbours(self, season: Season, block: BlockSeason) -> None:
        names = [b.block.name for b in season.blocks]
        at = names.index(block.block.name)
        several = len(names) > 1
        for link, form, step in (
            (self.before, tr("‹ {0}"), -1), (self.after, tr("{0} ›"), 1),
        ):  # fmt: skip
            link.setText(form.format(names[(at + step) % len(names)]))
            link.setVisible(several)
            link.updateGeometry()

    def _show_alarm(self, season: Season, block: BlockSeason, alarm: Alarm | None) -> None:
        words = alarm_text(alarm, season.on) if alarm is not None else quiet_text(season, block)
        self.alarm_row.setVisible(bool(words))
        if not words:
            self.alarm.set_parts([])
            return
        past = alarm is not None and alarm.what in ("past_now", "past_soon")
        stage = season.stage(block)
        if past:
            self.mark.swatch = theme.easy_water(-1.0, stage, False)
        elif alarm is None:
            self.mark.swatch = theme.easy_water(-1.0, "rest", True)
        else:
            self.mark.swatch = None
        self.mark.set_kind("other" if self.mark.swatch is None else "given")
        sentence: list[Part] = [Part(words)]
        if alarm is not None and alarm.cause in ("missed", "no_water"):
            sentence = parts("{0} {1}", {"0": words, "1": Part(tr("Enter what ran"), "go:ran")})
        self.alarm.set_parts(sentence)


def _facts(season: Season, block: BlockSeason) -> str:
    bits = []
    if block.hectares is not None:
        bits.append(tr("{0} ha").format(number(block.hectares, 2)))
    if block.trees is not None:
        bits.append(tr("{0} trees").format(block.trees))
    if block.block.valve:
        bits.append(tr("valve {0}").format(block.block.valve))
    cycle = block.cycle(season.on)
    if cycle is not None:
        pruned = cycle.cycle.pruned_on
        bits.append(tr("pruned {0}, day {1}").format(day_named(pruned), (season.on - pruned).days))
    elif block.block.planted_on is not None:
        bits.append(tr("planted {0}").format(day_named(block.block.planted_on)))
    return "  ·  ".join(bits)
