"""All blocks as a table."""

from desktop.pages.blocks.page import BlocksPage

__all__ = ["BlocksPage"]
