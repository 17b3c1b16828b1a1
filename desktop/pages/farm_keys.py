"""The settings of the farm as lines to type in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QVBoxLayout, QWidget

from desktop import theme
from desktop.labels import label
from desktop.widgets import Choice, Field, text
from desktop.wording import say, tr, word
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import FARM_KEYS, WEEKDAYS, Orchard, write_value

SetFarm = Callable[[dict[str, str], Callable[[WaterBudgetError], None]], None]
LABEL = 150


class Keys(QWidget):
    """Lines for some of the farm's keys."""

    def __init__(self, set_farm: SetFarm) -> None:
        super().__init__()
        self._set_farm = set_farm
        self.fields: dict[str, Field] = {}
        self.flags: dict[str, QCheckBox] = {}
        self.box = QVBoxLayout(self)
        self.box.setContentsMargins(0, 0, 0, 0)
        self.box.setSpacing(6)

    def line(
        self, key: str, unit: str = "", hint: str = "", width: int = 90, placeholder: str = ""
    ) -> Field:  # fmt: skip
        """Add a line for a key; what is typed is stored when it is left."""
        field = Field(label(key, "farm"), unit, width=width, label_width=LABEL, hint=hint,
                      placeholder=placeholder)  # fmt: skip
        field.committed.connect(partial(self._commit, key, field))
        self.fields[key] = field
        self.box.addWidget(field)
        return field

    def flag(self, key: str, hint: str = "") -> QCheckBox:
        """Add a box to tick for a key; a change is stored at once."""
        box = QCheckBox(label(key, "farm"))
        box.setFont(theme.font())
        box.setToolTip(hint)
        box.setAccessibleDescription(hint)
        wrong = text("", theme.SMALL, wrap=True)
        wrong.setProperty("role", "wrong")
        wrong.hide()

        def refused(error: WaterBudgetError) -> None:
            wrong.setText(say(error))
            wrong.show()

        def ticked() -> None:
            wrong.hide()
            self._set_farm({key: "yes" if box.isChecked() else "no"}, refused)

        box.clicked.connect(ticked)
        row = QHBoxLayout()
        row.addSpacing(LABEL + 4)
        row.addWidget(box)
        row.addStretch()
        self.box.addLayout(row)
        self.box.addWidget(wrong)
        self.flags[key] = box
        return box

    def _commit(self, key: str, field: Field, typed: str) -> None:
        self._set_farm({key: typed}, lambda error: field.refuse(say(error)))

    def show_farm(self, orchard: Orchard) -> None:
        """Show what is stored."""
        for name, field in self.fields.items():
            field.set_text(write_value(FARM_KEYS[name], getattr(orchard, name)))
        for name, box in self.flags.items():
            box.setChecked(getattr(orchard, name))


class FarmKeys(Keys):
    """Pump, hours, days off, forecast rain."""

    def __init__(self, set_farm: SetFarm) -> None:
        super().__init__(set_farm)
        self.line("name", width=200)
        self.line("pump_m3_h", "m³/h", placeholder=tr("no limit"))
        self.line("pump_hours", tr("h a day"), placeholder=tr("no limit"))
        self._work()
        self._days_off()
        self.night = self.flag("night_sets")
        self.line(
            "forecast_rain_credit", hint=tr("0 counts on none of it, 1 on all. 0 is the careful "
                                            "choice: rain that does not come cannot be made up."),
        )  # fmt: skip
        self.line("phone_for_trouble", width=160, hint=tr("Printed at the foot of the sheet."))
        self.line("elevation_m", "m")
        self._field_days()

    def _field_days(self) -> None:
        self.line("feed_days", width=120, placeholder="10, 45, 110")
        self.line("spray_days", width=120, placeholder="10, 20, 30",
                  hint=tr("The label and local rules stand above every day set here."))  # fmt: skip
        self.line("dry_before_h", "h")
        self.line("dry_after_h", "h")
        self.line("feed_rain_mm", "mm")
        self.line("stage_order", width=200, placeholder=tr("fruit fill first"))

    def _work(self) -> None:
        begins = self.line("work_from")
        ends = self.line("work_to")
        for field in (begins, ends):
            field.edit.setPlaceholderText("06:00")

    def _days_off(self) -> None:
        row = QHBoxLayout()
        row.setSpacing(8)
        name = text(label("days_off", "farm"))
        name.setFixedWidth(LABEL)
        row.addWidget(name)
        self.days: dict[str, QCheckBox] = {}
        inner = QHBoxLayout()
        inner.setSpacing(2)
        for day in WEEKDAYS:
            box = QCheckBox(word(f"day.{day}")[:2])
            box.setFont(theme.font(theme.SMALL))
            box.setAccessibleName(f"{label('days_off', 'farm')}, {word(f'day.{day}')}")
            box.clicked.connect(self._days)
            self.days[day] = box
            inner.addWidget(box)
        row.addLayout(inner)
        row.addStretch()
        self.box.addLayout(row)
        self.days_wrong = text("", theme.SMALL, wrap=True)
        self.days_wrong.setProperty("role", "wrong")
        self.days_wrong.hide()
        self.box.addWidget(self.days_wrong)

    def _days(self) -> None:
        off = [day for day, box in self.days.items() if box.isChecked()]
        self.days_wrong.hide()
        self._set_farm({"days_off": ",".join(off) or "none"}, self._days_refused)

    def _days_refused(self, error: WaterBudgetError) -> None:
        self.days_wrong.setText(say(error))
        self.days_wrong.show()

    def show_farm(self, orchard: Orchard) -> None:
        """Show what is stored."""
        super().show_farm(orchard)
        for day, box in self.days.items():
            box.setChecked(day in orchard.days_off)


class WeatherKeys(Keys):
    """ET0, wind, time zone, station for blocks that name none."""

    def __init__(self, set_farm: SetFarm) -> None:
        super().__init__(set_farm)
        self.et0 = self._pick("et0", [
            ("computed", tr("worked out from the record")),
            ("given", tr("as it came with the file")),
            ("hourly", tr("summed hour by hour where the file allows")),
        ])  # fmt: skip
        self.station = self._pick("default_station", [])
        self.line("default_wind_m_s", "m/s")
        self.line("krs", placeholder=tr("by place"),
                  hint=tr("Only where the sun is worked out from low and high: about 0.16 inland, "
                          "0.19 by the sea."))  # fmt: skip
        self.flag("neighbour_rain", tr("Where the rain of a station is unknown."))
        self.flag(
            "kc_climate",
            tr(
                "Only where the stage numbers are those of a usual climate: the "
                "guava numbers of the program were measured where it grows."
            ),
        )
        self.flag("sun_on_slope", tr("Needs slope and direction of the blocks."))
        self.line("time_zone", width=180)

    def _pick(self, key: str, options: Sequence[tuple[str, str]]) -> Choice:
        choice = Choice(options, label(key, "farm"))
        choice.setMinimumWidth(200)
        row = QHBoxLayout()
        row.setSpacing(8)
        name = text(label(key, "farm"), wrap=True)
        name.setFixedWidth(LABEL)
        row.addWidget(name)
        row.addWidget(choice)
        row.addStretch()
        wrong = text("", theme.SMALL, wrap=True)
        wrong.setProperty("role", "wrong")
        wrong.hide()
        self.box.addLayout(row)
        self.box.addWidget(wrong)

        def refused(error: WaterBudgetError) -> None:
            wrong.setText(say(error))
            wrong.show()

        def chosen(value: str) -> None:
            wrong.hide()
            self._set_farm({key: value}, refused)

        choice.chosen.connect(chosen)
        return choice

    def show_farm(self, orchard: Orchard) -> None:
        """Show what is stored."""
        super().show_farm(orchard)
        self.et0.set_value(orchard.et0)
        self.station.clear()
        self.station.addItem(tr("the only one") if len(orchard.stations) < 2 else "–", "")
        for station in orchard.stations:
            self.station.addItem(station.name, station.name)
        self.station.set_value(orchard.default_station or "")
