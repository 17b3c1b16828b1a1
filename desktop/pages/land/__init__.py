"""The land: a whole page of map to draw, cut and plant on."""

from desktop.pages.land.page import LandPage

__all__ = ["LandPage"]
