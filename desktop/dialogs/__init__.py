"""Dialogs: the questions an import may ask, and what came of it."""
