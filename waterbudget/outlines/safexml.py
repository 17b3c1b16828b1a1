"""XML without its dangers: no document type, so no entities of any kind; no bottomless nesting."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any, Protocol

from waterbudget.errors import Refused

DEEPEST = 100


class Target(Protocol):
    """What receives the elements; tags come without their namespace."""

    def start(self, tag: str, attributes: dict[str, str]) -> Any:
        """Receive the beginning of an element."""

    def end(self, tag: str) -> Any:
        """Receive its end."""

    def data(self, text: str) -> Any:
        """Receive text in between."""


class _Guard:
    def __init__(self, target: Target) -> None:
        self.target, self.depth = target, 0

    def doctype(self, name: str, public: str | None, system: str | None) -> None:
        raise Refused("outlines.xml_doctype")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        if self.depth > DEEPEST:
            raise Refused("outlines.too_deep")
        self.target.start(bare(tag), attributes)

    def end(self, tag: str) -> None:
        self.depth -= 1
        self.target.end(bare(tag))

    def data(self, text: str) -> None:
        self.target.data(text)

    def close(self) -> None:
        return None


def bare(tag: str) -> str:
    """Return a tag without its namespace."""
    return tag.rpartition("}")[2]


def parse(data: bytes, target: Target) -> Refused | None:
    """Feed a document to ``target``; return the refusal where it breaks off, None where whole.

    What came before the break has reached ``target`` by then, so a walk cut off by an empty
    battery can still be used by a caller who says so.

    Raises
    ------
    Refused
        ``outlines.xml_doctype`` for a document type definition, ``outlines.too_deep``.
    """
    parser = ET.XMLParser(target=_Guard(target))
    try:
        for start in range(0, len(data), 65536):
            parser.feed(data[start : start + 65536])
        parser.close()
    except ET.ParseError as problem:
        line, column = problem.position
        return Refused("outlines.bad_xml", line=line, column=column + 1)
    except (LookupError, ValueError):
        return Refused("outlines.bad_xml", line=1, column=1)
    return None
