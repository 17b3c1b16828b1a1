"""Water budget for grafted guava blocks on hill land: the core, without a window."""

__version__ = "0.1.0"
