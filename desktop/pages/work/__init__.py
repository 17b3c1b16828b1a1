"""Field days: feeding and spraying on one calendar with the water."""

from desktop.pages.work.page import WorkPage

__all__ = ["WorkPage"]
