"""What really ran, one day at a time."""

from desktop.pages.ran.page import RanPage

__all__ = ["RanPage"]
