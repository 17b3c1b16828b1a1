"""Outlines from a file into blocks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from waterbudget import outlines
from waterbudget.actions.files import read_file
from waterbudget.errors import Note, Refused
from waterbudget.orchard import Block, fold
from waterbudget.outlines import Outline, Skipped
from waterbudget.store import FarmFile


@dataclass(frozen=True)
class OutlinesDone:
    """What an outline import did."""

    blocks: tuple[Outline, ...]
    skipped: tuple[Skipped, ...]
    notes: tuple[Note, ...]
    warnings: tuple[Note, ...]


def import_outlines(
    file: FarmFile, path: Path, *, layer: str | None = None, name_column: str | None = None,
    crs: str | None = None, answers: Mapping[str, str] | None = None, look: bool = False,
    now: dt.datetime,
) -> OutlinesDone:  # fmt: skip
    """Read outlines and store them as blocks: new ones, or new outlines of known ones.

    Parameters
    ----------
    look : bool
        Only tell what would be stored and what was repaired.

    Raises
    ------
    AnswersNeeded, Refused
        With nothing stored.
    """
    if not path.exists():
        raise Refused("file.missing", file=str(path))
    orchard = file.read().orchard
    existing = {b.name: b.outline for b in orchard.blocks}
    found = outlines.read_outlines(
        path, epsg=orchard.epsg, near=(orchard.lat, orchard.lon), layer=layer,
        name_column=name_column, crs=crs, answers=answers or {}, existing=existing,
    )  # fmt: skip
    done = OutlinesDone(found.outlines, found.skipped, found.notes, found.warnings)
    if look:
        return done
    known = {fold(b.name): b for b in orchard.blocks}
    original = read_file(path) if path.is_file() else b""
    with file.transaction("outlines.imported", now=now, file=path.name,
                          blocks=[o.name for o in found.outlines]) as open_file:  # fmt: skip
        if original:
            open_file.add_import("outlines", path.name, original, answers=found.answers)
        for outline in found.outlines:
            block = known.get(fold(outline.name)) or Block(name=outline.name)
            open_file.save_block(replace(block, outline=outline.shape, outline_ha=None))
    return done
