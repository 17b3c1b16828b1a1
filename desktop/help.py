"""What F1 says of each page: short, plain, in the order of the page."""

from __future__ import annotations

from desktop.wording import tr


def help_for(page: str) -> tuple[str, str]:
    """Return title and text for a page."""
    texts = _first_texts() | _further_texts()
    return texts.get(page, texts["home"])


def _first_texts() -> dict[str, tuple[str, str]]:
    return {
        "welcome": (
            tr("Three ways to begin"),
            tr("1 opens the demo: an invented farm to look around in. Change what you like.\n\n"
               "2 begins your own orchard. Its name and its place are enough; outlines, weather, "
               "pruning dates and flow can come later, in any order.\n\n"
               "3 opens a farm file from this computer or from a stick.\n\n"
               "Or drop a file anywhere: a walk, outlines, a weather file, a farm."),
        ),
        "home": (
            tr("Map and week"),
            tr("Left the blocks, right their week; choosing a block in one chooses it in the "
               "other. Fruit fill stands first.\n\n"
               "The bar shows the easy water left, the number beside it how many days that lasts "
               "if nothing runs. A block past its limit is hatched.\n\n"
               "Type rain over the row Rain (R), low and high above it (L). Type hours into a day "
               "to pin a watering there, or drag it to another day; Delete keeps the day dry. P "
               "takes the pin away and the plan chooses again.\n\n"
               "A double click on a name opens the block, on a past day what ran.\n\n"
               "The slider looks back: arrow keys a day, PgUp and PgDn a week, T today."),
        ),
        "blocks": (
            tr("Blocks"),
            tr("Everything the program knows of each block, one row a block; what is missing "
               "stands out. Type over any cell.\n\n"
               "Enter opens the block. Everything that can be done on the map can be done here."),
        ),
        "block": (
            tr("One block"),
            tr("The curve is the water the roots have left; the band is the part they get easily. "
               "Under the band the trees are past their limit.\n\n"
               "Solid is the past, dashed the coming days as planned. Every number of the "
               "sentence on top opens where it comes from."),
        ),
    }  # fmt: skip


def _further_texts() -> dict[str, tuple[str, str]]:
    return {
        "weather": (
            tr("Weather"),
            tr("The record of each station, its gaps, and how each day's ET0 was made. Days that "
               "need a look are ranked by the water they would move.\n\n"
               "Add records brings in a station file; days that are there already stay."),
        ),
        "ran": (
            tr("What ran"),
            tr("One pass a day: Enter takes the planned hours, a number types others, 0 means it "
               "did not run. What is not entered counts as run and is marked not confirmed.\n\n"
               "Right arrow: what the meter shows after the water of the day. The difference to "
               "the reading before is shared by the waterings since then, and the balance "
               "follows it."),
        ),
        "work": (
            tr("Field days"),
            tr("Feeding and spraying of every block, counted from its pruning, on one calendar "
               "with the water. Move a day, mark it done, leave it out.\n\n"
               "The label of the product and local rules stand above every day shown here."),
        ),
        "ahead": (
            tr("Ahead"),
            tr("The next 30 days as the past years of the record would have made them, from "
               "today's state: how likely a block is to run dry in fruit fill, and how much water "
               "most years would ask for. Two plans can be laid side by side."),
        ),
        "land": (
            tr("Land"),
            tr("A whole page of map: draw, split, join, cut out and measure; heights, flow by "
               "height, planting. Everything done by hand can be typed too.\n\n"
               "With the map in front: D draws, C moves corners, S splits, J joins, K cuts out, "
               "F follows a neighbour's edge, M measures; Space sets a corner in the middle of "
               "the map, Backspace takes it back, Enter finishes, Esc puts a tool down."),
        ),
        "farm": (
            tr("Farm"),
            tr("The numbers of the whole farm: pump, hours, days off, stations, and the table of "
               "stages every block starts from.\n\n"
               "Whatever you type is stored when you leave the line; Ctrl+Z takes it back.\n\n"
               "A copy on a stick is dated and checked; make one every week."),
        ),
    }  # fmt: skip


def keys_text() -> str:
    """Return the keys that work on every page."""
    return tr("Alt+1 to Alt+8 open the pages, Ctrl+Z takes back, Ctrl+Shift+Z does it again, "
              "Ctrl+O brings in a file, Esc closes this.")  # fmt: skip
