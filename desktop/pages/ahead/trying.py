"""Another plan laid beside the one that stands: a few lines to type, nothing is stored."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from desktop import theme
from desktop.models.ahead import AheadView
from desktop.widgets import Field, Link, text
from desktop.wording import fixed, thousands, tr
from waterbudget.keys import FARM_KEYS, write_value

if TYPE_CHECKING:
    from waterbudget.orchard import Orchard
    from waterbudget.season import BlockSeason

LABEL = 168
ALL_BLOCKS = "all"


class TryPlan(QWidget):
    """Fewer hours, a pump that stands still, another pruning date.

    Parameters
    ----------
    on_try : callable
        Gets the changes as (key, value) pairs.
    on_back : callable
        The plan beside is put away.
    """

    def __init__(
        self, on_try: Callable[[list[tuple[str, str]]], None], on_back: Callable[[], None]
    ) -> None:
        super().__init__()
        self._on_try, self._on_back = on_try, on_back
        self._block: str = ""
        self._stored: dict[str, str] = {}
        self._names: list[str] = []
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(5)
        box.addWidget(text(tr("Try another plan"), bold=True))
        box.addWidget(text(tr("Nothing typed here is stored."), theme.SMALL, quiet=True))
        self.hours = Field(tr("Pump runs at most"), tr("h a day"), width=70, label_width=LABEL)
        self.out_from = Field(tr("Pump stands still from"), width=100, label_width=LABEL,
                              placeholder=tr("yyyy-mm-dd"))  # fmt: skip
        self.out_to = Field(tr("to"), width=100, label_width=LABEL,
                            placeholder=tr("yyyy-mm-dd"))  # fmt: skip
        self.right = Field(tr("Water right, a week"), "m³", width=70, label_width=LABEL)
        self.pruned = Field("", width=100, label_width=LABEL, placeholder=tr("yyyy-mm-dd"))
        self.all_pruned = Field(tr("All blocks pruned on"), width=100, label_width=LABEL,
                                placeholder=tr("yyyy-mm-dd"))  # fmt: skip
        for field in self.fields():
            box.addWidget(field)
        self.wrong = text("", theme.SMALL, wrap=True)
        self.wrong.setProperty("role", "wrong")
        self.wrong.hide()
        box.addWidget(self.wrong)
        row = QHBoxLayout()
        self.go = QPushButton(tr("Lay it beside"))
        self.go.setFont(theme.font())
        self.go.clicked.connect(self._go)
        self.back = Link(tr("put it away"), self._away)
        self.back.hide()
        row.addWidget(self.go)
        row.addWidget(self.back)
        row.addStretch(1)
        box.addLayout(row)
        self.answer = text("", wrap=True)
        self.answer.hide()
        box.addWidget(self.answer)

    def fields(self) -> tuple[Field, ...]:
        """Return the lines to type in."""
        return (self.hours, self.out_from, self.out_to, self.right, self.pruned, self.all_pruned)

    def reset(self, orchard: Orchard, block: BlockSeason | None) -> None:
        """Show what is stored; a plan that was tried is put away."""
        keys = {"pump_hours": self.hours, "pump_out_from": self.out_from,
                "pump_out_to": self.out_to, "right_m3_week": self.right}  # fmt: skip
        self._names = [b.name for b in orchard.blocks]
        for key, field in keys.items():
            self._stored[key] = write_value(FARM_KEYS[key], getattr(orchard, key))
            field.set_text(self._stored[key])
        self.all_pruned.set_text("")
        self.set_block(block)
        self.back.hide()
        self.answer.hide()
        self.wrong.hide()

    def set_block(self, block: BlockSeason | None) -> None:
        """Offer another pruning date for the chosen block."""
        self.pruned.setVisible(block is not None)
        if block is None:
            return
        if self._block != block.block.name:
            self._block = block.block.name
            last = max((c.pruned_on for c in block.block.cycles), default=None)
            self._stored["pruned_on"] = last.isoformat() if last else ""
            self.pruned.set_text(self._stored["pruned_on"])
        self.pruned.label.setText(tr("{0} pruned on").format(self._block))

    def changes(self) -> list[tuple[str, str]]:
        """Return what was typed and differs from what is stored."""
        found = []
        for key, field in (
            ("pump_hours", self.hours), ("pump_out_from", self.out_from),
            ("pump_out_to", self.out_to), ("right_m3_week", self.right),
        ):  # fmt: skip
            if field.text() != self._stored.get(key, ""):
                found.append((key, field.text()))
        if self.all_pruned.text():
            found += [(f"{name}:pruned_on", self.all_pruned.text()) for name in self._names]
        elif self._block and self.pruned.text() != self._stored.get("pruned_on", ""):
            found.append((f"{self._block}:pruned_on", self.pruned.text()))
        return found

    def _go(self) -> None:
        changes = self.changes()
        if not changes:
            self.refuse(tr("Change one of the lines first."))
            return
        self.wrong.hide()
        self.go.setEnabled(False)
        self._on_try(changes)

    def refuse(self, sentence: str) -> None:
        """Say why it cannot be tried."""
        self.go.setEnabled(True)
        self.wrong.setText(sentence)
        self.wrong.show()

    def accept(self, now: AheadView, then: AheadView) -> None:
        """Tell the two plans' sums."""
        self.go.setEnabled(True)
        self.back.show()
        self.answer.setText(
            tr("Solid: as it stands. Outlined: as tried. The week takes {0} h and {1} m³ as it "
               "stands, {2} h and {3} m³ as tried.").format(
                fixed(now.hours, 2), thousands(now.m3), fixed(then.hours, 2), thousands(then.m3))
        )  # fmt: skip
        self.answer.show()

    def _away(self) -> None:
        self.back.hide()
        self.answer.hide()
        self._on_back()
