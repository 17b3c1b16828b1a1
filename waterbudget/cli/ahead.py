"""The coming month through past years: risk."""

from __future__ import annotations

from typing import Any


def options(command: Any, kinds: Any) -> None:
    """Add the commands of this module to the parser."""
