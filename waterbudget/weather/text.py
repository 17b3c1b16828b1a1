"""Bytes to text, and what kind of file it is when it is no text at all.

Rules: a byte order mark decides; without one UTF-16 is known by its zero bytes, then UTF-8 is
tried strictly, then the one-byte code (western, or of old systems) that its letters speak for.
Line ends are CR, LF or both.  What is no
text (workbook, web page, PDF, archive, picture ...) is refused by its name, never guessed at.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from waterbudget.errors import Refused

_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"\xd0\xcf\x11\xe0", "old workbook"),
    (b"%PDF", "PDF page"),
    (b"\x1f\x8b", "compressed file"),
    (b"BZh", "compressed file"),
    (b"7z\xbc\xaf", "compressed file"),
    (b"Rar!", "compressed file"),
    (b"\x89PNG", "picture"),
    (b"\xff\xd8\xff", "picture"),
    (b"GIF8", "picture"),
    (b"SQLite format 3", "database"),
)
_WORKBOOK_MARKS = (b"xl/", b"[Content_Types].xml", b"opendocument.spreadsheet")
_LINE_END = re.compile(r"\r\n|\n|\r")
_AS_TEXT = re.compile(r'(?<![^,;\t|\r\n])"?="{1,2}([^"\r\n]*)"{1,3}(?=[,;\t|\r\n]|$)')
_CONTROL = re.compile(r"[\x01-\x08\x0e-\x1a\x1c-\x1f]")


class Text(NamedTuple):
    """A file as lines of text.

    Attributes
    ----------
    lines : list of str
        Without their ends.
    whole : bool
        The last line ended with a line end (so it was not cut off).
    """

    lines: list[str]
    whole: bool


def is_zip(data: bytes) -> bool:
    """Tell whether the bytes are a zip archive (a workbook is one)."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def refuse_what_is_no_text(data: bytes, name: str) -> None:
    """Raise ``Refused`` with the kind of file for what is known to be no text."""
    if not data.strip(b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"):
        raise Refused("weather.empty", name=name)
    if is_zip(data):
        if any(mark in data for mark in _WORKBOOK_MARKS):
            raise Refused("weather.workbook", name=name)
        raise Refused("weather.not_text", name=name, kind="compressed file")
    for magic, kind in _MAGIC:
        if data.startswith(magic):
            code = "weather.workbook" if kind == "old workbook" else "weather.not_text"
            raise Refused(code, name=name, kind=kind)


def decode(data: bytes, name: str) -> str:
    """Return the text of a file.

    Raises
    ------
    Refused
        ``weather.not_text`` for bytes that are no text in any of the codes tried.
    """
    if data.startswith(b"\xef\xbb\xbf"):
        return data[3:].decode("utf-8", errors="replace")
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return data.decode("utf-32", errors="replace")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data[: len(data) // 2 * 2].decode("utf-16", errors="replace")
    head = data[:4000]
    if head.count(0) > len(head) // 4:
        odd = head[1::2].count(0)
        code = "utf-16-le" if odd > head[0::2].count(0) else "utf-16-be"
        text = data[: len(data) // 2 * 2].decode(code, errors="replace")
        if text[:2000].count("�") + text[:2000].count("\x00") > 20:
            raise Refused("weather.not_text", name=name, kind="file of numbers no text")
        return text
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode(_one_byte_code(data), errors="replace")
    text = text.replace("\x00", "")
    if len(_CONTROL.findall(text[:4000])) > 20:
        raise Refused("weather.not_text", name=name, kind="program's own form")
    return text


def _one_byte_code(data: bytes) -> str:
    """Return the western one-byte code, or that of old systems where its letters prevail."""
    high = [b for b in data[:200_000] if b >= 0x80]
    old = sum(b <= 0xA5 or b == 0xF8 for b in high)
    return "cp850" if old > len(high) - old else "cp1252"


def refuse_markup(text: str, name: str) -> None:
    """Raise ``Refused`` for a web page, XML or JSON under whatever name."""
    head = text[:3000].lstrip().lower()
    if head.startswith(("<!doctype html", "<html")) or ("<table" in head and "<t" in head[:400]):
        raise Refused("weather.web_page", name=name)
    if head.startswith("<?xml") or (head.startswith("<") and "</" in head):
        raise Refused("weather.not_text", name=name, kind="XML page")
    if head.startswith("{\\rtf"):
        raise Refused("weather.not_text", name=name, kind="word processor's page")
    if head.startswith("{") or re.match(r"\[\s*[{\[]", head):
        raise Refused("weather.not_text", name=name, kind="JSON answer of a program")


def to_lines(data: bytes, name: str) -> Text:
    """Return the lines of a file, or refuse what is no table of text.

    Raises
    ------
    Refused
        ``weather.empty``, ``weather.workbook``, ``weather.web_page`` or ``weather.not_text``.
    """
    refuse_what_is_no_text(data, name)
    text = decode(data, name)
    refuse_markup(text, name)
    text = text.lstrip("\ufeff").rstrip("\x1a")
    if '="' in text:  # a value kept as text for a spreadsheet: ="29.0"
        text = _AS_TEXT.sub(r"\1", text)
    lines = _LINE_END.split(text)
    whole = lines[-1].strip() == ""
    while lines and not lines[-1].strip():
        lines.pop()
    if not lines:
        raise Refused("weather.empty", name=name)
    return Text(lines, whole)
