"""The farm file: one GeoPackage that holds the whole farm, written with sqlite3 alone.

:class:`FarmFile` is the door.  One user action is one transaction, one history row, one step of
the version::

    with FarmFile.open(path) as farm:
        with farm.transaction("block.saved", now=now, block=block.name):
            farm.save_block(block)
        data = farm.read()

Rules kept here: rollback journal, synchronous FULL, foreign keys on, nothing from outside is ever
overwritten, and the open file is never touched by any other library or copied as a file (closing
such a handle drops SQLite's locks, and a second program could write into the middle of a save);
copies are made with :meth:`FarmFile.backup_to`.

Modules: ``schema`` the tables, ``upgrade`` format versions, ``geopackage`` the standard,
``opening`` and ``copying`` files on the disk, ``faults`` what can go wrong, ``base`` transaction
and cache, ``blocks``, ``farm``, ``days``, ``imports``, ``work``, ``readings`` the rows,
``checking`` is it whole.
"""

from waterbudget.store.days import DayVersion
from waterbudget.store.farmfile import FarmFile
from waterbudget.store.imports import StoredFlag, StoredImport
from waterbudget.store.opening import is_farm

__all__ = ["DayVersion", "FarmFile", "StoredFlag", "StoredImport", "is_farm"]
