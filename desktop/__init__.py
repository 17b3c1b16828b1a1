"""The window over the water budget: Qt only, no formula.

Reading order: ``wording`` and ``theme`` (words and look), ``jobs`` (the one worker thread),
``session`` (the open farm), ``commands`` (undo), ``widgets``, then ``pages`` and ``dialogs``,
``main_window`` (wiring) and ``app`` (start).

Rules that are easy to break:

* Nothing computes on the GUI thread.  ``waterbudget.actions``, ``season``, ``sheet``, ``paper``
  and ``demo`` bring pandas and GDAL with them: import them inside the functions handed to
  ``Session.act`` and ``Session.query`` (types under ``TYPE_CHECKING``), never at the top of a
  module, or the first paint pays for it.
* A page is ``XPage(QWidget)`` with ``__init__(self, session, navigate)``; it listens to the
  session's signals, paints with ``theme.colours()`` and redraws on ``theme.watch().changed``.
  ``navigate(page, **what)`` opens another page ("home", "blocks", "block", "weather", "ran",
  "farm"; ``block=id`` chooses the block, the rest goes to the page's ``show_what(**what)`` where
  it has one) or begins an import (``navigate("import", kind="weather")``).
* Pages are thrown away and built again when the language changes: connect the session's signals to
  bound methods (Qt then cuts them with the page), not to lambdas that hold the page.
* Every text on the screen is ``tr("literal")`` or ``say(thing)``; see ``wording``.
"""
