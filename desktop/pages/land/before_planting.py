"""Before planting: from the day in the field back to sowing, amounts, figures, the site."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from desktop import theme
from desktop.session import Session
from desktop.widgets import Field, Link, restyle, text
from desktop.wording import day_year, number, say, thousands, tr, word
from waterbudget.errors import Note, Refused, WaterBudgetError
from waterbudget.orchard import Block, read_date, read_number

if TYPE_CHECKING:
    from waterbudget.nursery import NurseryFigure, NurseryPlan, SiteRange
    from waterbudget.store import FarmFile

LABEL = 136
LEAD_DAYS = 270
"""Suggested day of planting, from today: nursery work takes some eight months and a half."""


class BeforePlanting(QWidget):
    """Dates, amounts, the grower's own figures, and how the site stands.

    Parameters
    ----------
    session : Session
    """

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._session = session
        self._block: Block | None = None
        self._trees: int | None = None
        self._own: dict[str, float] = {}
        self.edits: dict[str, Field] = {}
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(5)
        self.open = Link(tr("Before planting: raise the plants"), self._toggle)
        column.addWidget(self.open)
        self.body = QWidget()
        box = QVBoxLayout(self.body)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(5)
        column.addWidget(self.body)
        self.plant_on = Field(tr("To the field on"), width=96, label_width=LABEL)
        self.trees = Field(tr("Trees wanted"), width=96, label_width=LABEL)
        self.ph = Field(tr("pH of the soil"), width=96, label_width=LABEL)
        for field in (self.plant_on, self.trees, self.ph):
            field.committed.connect(lambda _: self.look())
            box.addWidget(field)
        self.wrong = text("", wrap=True)
        self.wrong.setProperty("role", "wrong")
        box.addWidget(self.wrong)
        self.steps = _Grid()
        self.amounts = text("", wrap=True)
        self.notes = text("", theme.SMALL, wrap=True)
        box.addWidget(self.steps)
        box.addWidget(self.amounts)
        box.addWidget(self.notes)
        box.addWidget(text(tr("The site"), bold=True))
        self.site = _Grid()
        box.addWidget(self.site)
        self.more = Link(tr("Figures of the nursery"), self._toggle_figures)
        box.addWidget(self.more)
        self.figures = QWidget()
        self._figures = QVBoxLayout(self.figures)
        self._figures.setContentsMargins(0, 0, 0, 0)
        self._figures.setSpacing(3)
        box.addWidget(self.figures)
        for widget in (self.body, self.figures, self.wrong):
            widget.hide()

    def show_block(self, block: Block | None) -> None:
        """Turn to a block."""
        self._block, self._trees = block, None
        self.trees.set_text("")
        self.trees.edit.setPlaceholderText("")
        if not self.plant_on.text() and self._session.is_open:
            ahead = self._session.today + dt.timedelta(days=LEAD_DAYS)
            self.plant_on.set_text(ahead.isoformat())

    def set_trees(self, trees: int) -> None:
        """Count on so many trees unless a number is typed."""
        self._trees = trees
        self.trees.edit.setPlaceholderText(str(trees))
        self.look()

    def stored_changed(self) -> None:
        """Look again at the grower's own figures."""
        self.look()

    def _toggle(self) -> None:
        self.body.setVisible(not self.body.isVisible())
        self.look()

    def _toggle_figures(self) -> None:
        self.figures.setVisible(not self.figures.isVisible())
        self.look()

    # -- looking ------------------------------------------------------------------------------

    def look(self) -> None:
        """Work out dates and amounts."""
        block = self._block
        if block is None or not self.body.isVisible() or not self._session.is_open:
            return
        found = self._typed()
        if found is None:
            return
        on, trees, ph = found
        name, today = block.name, self._session.today

        def read(file: FarmFile) -> tuple[Any, ...]:
            from waterbudget import actions, nursery

            data = file.read()
            own, plan = actions.raise_for_block(data, name, on, trees=trees)
            return (plan, actions.site_of(data, own, ph=ph),
                    actions.nursery_notes(plan, own, today), actions.own_figures(data),
                    nursery.figures())  # fmt: skip

        self._session.query(read, lambda made: self._show(*made), self._refuse, key="nursery")

    def _typed(self) -> tuple[dt.date, int | None, float | None] | None:
        try:
            on = read_date(self.plant_on.text())
        except Refused:
            self.plant_on.refuse(tr("Write the day as {0}.").format("2026-11-15"))
            return None
        trees: int | None = self._trees
        if self.trees.text():
            if not self.trees.text().isdecimal():
                self.trees.refuse(tr("{0} is no number.").format(self.trees.text()[:20]))
                return None
            trees = int(self.trees.text())
        ph = None
        if self.ph.text():
            try:
                ph = read_number(self.ph.text())
            except ValueError:
                self.ph.refuse(tr("{0} is no number.").format(self.ph.text()[:20]))
                return None
        return on, trees, ph

    def _refuse(self, error: WaterBudgetError) -> None:
        self.wrong.setText(say(error))
        restyle(self.wrong)
        self.wrong.show()
        for widget in (self.steps, self.amounts, self.notes):
            widget.hide()

    def _show(
        self, plan: NurseryPlan, site: tuple[SiteRange, ...], notes: list[Note],
        own: dict[str, float], figures: dict[str, NurseryFigure],
    ) -> None:  # fmt: skip
        self.wrong.hide()
        words = {"sow": tr("sow"), "prick": tr("prick out"), "graft": tr("graft"),
                 "plant": tr("plant out")}  # fmt: skip
        self.steps.fill([
            ("", tr("on"), tr("between"), tr("plants")),
            *((words[s.name], day_year(s.date), _span(s.earliest, s.latest), thousands(s.plants))
              for s in plan.steps),
        ])  # fmt: skip
        self.amounts.setText(tr(
            "{0} seeds in {1} trays; {2} bags of {3} L: {4} L of soil and {5} L of rice husk; "
            "{6} stakes; {7} m³ of holes."
        ).format(thousands(plan.seeds), thousands(plan.trays), thousands(plan.bags),
                 number(plan.bag_l, 1), thousands(plan.soil_l), thousands(plan.husk_l),
                 thousands(plan.stakes), number(plan.holes_m3, 1)))  # fmt: skip
        self.notes.setText("\n".join(say(n) for n in notes))
        for widget in (self.steps, self.amounts, self.notes):
            widget.show()
        names = site_words()
        self.site.fill([
            ("", tr("here"), tr("range"), ""),
            *((f"{names[r.quantity]}, {say_site(r.note)}",
               "–" if r.value is None else number(r.value, 1),
               f"{number(r.low, 1)}–{number(r.high, 1)} {_unit(r.unit)}".strip(),
               word(f"site.{r.stands}")) for r in site),
        ], tips=["", *(r.source for r in site)])  # fmt: skip
        self._show_figures(own, figures)

    # -- figures ------------------------------------------------------------------------------

    def _show_figures(self, own: dict[str, float], figures: dict[str, NurseryFigure]) -> None:
        self._own = own
        if not self.figures.isVisible():
            return
        names = figure_words()
        for name, f in figures.items():
            if name not in self.edits:
                field = Field(names.get(name, name), _unit_words().get(f.unit, f.unit), width=64,
                              label_width=190)  # fmt: skip
                field.committed.connect(lambda typed, name=name: self.set_figure(name, typed))
                self._figures.addWidget(field)
                self.edits[name] = field
            mine = own.get(name)
            self.edits[name].edit.setPlaceholderText(f"{f.value:g}")
            self.edits[name].set_text("" if mine is None else f"{mine:g}")

    def set_figure(self, name: str, typed: str) -> None:
        """Keep a figure of the grower's own; empty goes back to the usual one."""
        field = self.edits[name]
        value: float | None = None
        if typed.strip():
            try:
                value = read_number(typed)
            except ValueError:
                field.refuse(tr("{0} is no number.").format(typed.strip()[:20]))
                return

        def do(file: FarmFile, now: Any) -> Any:
            from waterbudget import actions

            return actions.set_nursery_figures(file, {name: value}, now=now)

        def undo(file: FarmFile, now: Any, before: dict[str, float]) -> Any:
            from waterbudget import actions

            actions.set_nursery_figures(file, {name: before.get(name)}, now=now)

        label = tr("figure: {0}").format(figure_words().get(name, name))
        self._session.act(label, do, undo, ("farm",), failed=lambda e: field.refuse(say(e)))


class _Grid(QWidget):
    """Rows of words, the first one the head."""

    def __init__(self) -> None:
        super().__init__()
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setHorizontalSpacing(10)
        self._grid.setVerticalSpacing(2)

    def fill(self, rows: list[tuple[str, ...]], tips: list[str] | None = None) -> None:
        """Show rows in place of those there."""
        while (item := self._grid.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.deleteLater()
        for at, row in enumerate(rows):
            for column, words in enumerate(row):
                label = text(words, bold=at > 0 and column == 1, quiet=at == 0 or column == 0,
                             narrow=True, wrap=column == 0)  # fmt: skip
                if tips and tips[at]:
                    label.setToolTip(tips[at])
                if column == len(row) - 1:
                    label.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self._grid.addWidget(label, at, column)
        self._grid.setColumnStretch(0, 1)

    def words(self) -> list[str]:
        """Return what is shown, for a look from outside."""
        found = []
        for i in range(self._grid.count()):
            item = self._grid.itemAt(i)
            widget = item.widget() if item is not None else None
            if widget is not None:
                found.append(widget.text())  # type: ignore[attr-defined]
        return found


def _span(first: dt.date, last: dt.date) -> str:
    if first == last:
        return ""
    return f"{first.day}/{first.month} – {last.day}/{last.month}"


def _unit(unit: str) -> str:
    return {"degC": "°C"}.get(unit, unit)


def say_site(note: str) -> str:
    """Return what a range of the site is for."""
    return {
        "favourable": tr("favourable"), "grown at": tr("grown at"), "best": tr("best"),
        "well suited": tr("well suited"), "can grow": tr("can grow"),
        "best yields": tr("best yields"), "water a year": tr("water a year"),
    }.get(note, tr("favourable") if note.startswith("favourable") else note)  # fmt: skip


def site_words() -> dict[str, str]:
    """Return the names of the site's quantities."""
    return {
        "elevation_m": tr("height"), "ph": tr("pH"), "light_h": tr("sun a day"),
        "mean_c": tr("mean temperature"), "rain_mm": tr("rain of a year"),
    }  # fmt: skip


def _unit_words() -> dict[str, str]:
    return {
        "seeds": tr("seeds"), "cells": tr("cells"), "share": tr("share"), "days": tr("days"),
        "parts": tr("parts"), "stakes": tr("stakes"), "cm": "cm",
    }  # fmt: skip


def figure_words() -> dict[str, str]:
    """Return the names of the nursery's figures."""
    return {
        "seeds_a_cell": tr("Seeds in a cell"), "tray_cells": tr("Cells in a tray"),
        "germination_share": tr("Seeds that come up"), "germination_days": tr("To come up"),
        "pricking_days": tr("Until pricked out"),
        "pricking_share": tr("Alive after pricking out"), "bag_depth_cm": tr("Bag, deep"),
        "bag_width_cm": tr("Bag, wide"), "soil_parts": tr("Soil in the mix"),
        "husk_parts": tr("Rice husk in the mix"), "bag_days": tr("In the bag until grafted"),
        "graft_height_cm": tr("Height to graft at"), "graft_share": tr("Grafts that take"),
        "graft_days": tr("From graft to field"), "field_share": tr("Good enough to plant"),
        "spare_share": tr("Spare for gaps"), "hole_width_cm": tr("Hole, wide"),
        "hole_depth_cm": tr("Hole, deep"), "stakes_a_tree": tr("Stakes a tree"),
    }  # fmt: skip


__all__ = ["BeforePlanting", "figure_words", "say_site", "site_words"]
