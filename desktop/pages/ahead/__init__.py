"""The coming month through the record's past years, and plans side by side."""

from desktop.pages.ahead.page import AheadPage

__all__ = ["AheadPage"]
