"""One block."""

from desktop.pages.block.page import BlockPage

__all__ = ["BlockPage"]
