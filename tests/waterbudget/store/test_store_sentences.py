"""Every code the store raises has a sentence, and no sentence is left over."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import waterbudget.store
import waterbudget.tables

FOLDER = Path(waterbudget.store.__file__).parent
TABLE = Path(waterbudget.tables.__file__).parent / "sentences" / "store.csv"


def test_codes_and_sentences_are_the_same_list() -> None:
    raised = set()
    for module in FOLDER.glob("*.py"):
        raised |= set(re.findall(r"\"(farmfile\.\w+)\"", module.read_text(encoding="utf-8")))
    rows = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
    codes = [row["code"] for row in rows]
    assert len(codes) == len(set(codes))
    assert raised == set(codes)
    for row in rows:
        assert row["text"].count(". ") == 0, row["code"]  # one sentence
        assert row["text"].endswith("."), row["code"]
