"""Pressure and flow over a block on a hill: what each place gets, and what belongs on one pump.

From the pressure at the valve every place has, by its height above the valve and by the friction
on the way, its own pressure and so its own flow (q = k P^x).  Rows are fed from a header that
crosses them at the valve (in the middle of the block where the valve's place is not known); the
friction of the header itself is not counted.  A row pipe gives its water off evenly:
Hazen-Williams times the factor for outlets, and at a share s of its length 1 - (1 - s)^2.852 of
that.  The pipe to the valve counts only where the pressure at the valve is not known.

A flow that was measured always wins over the catalogue: then the map only shares it out.

Sources: those of :mod:`waterbudget.hydraulics`; rules of who goes on one pump (10 m, 15 %) own
estimate, as a trade habit.
"""

from waterbudget.pressure.outlets import Outlets, outlets_of
from waterbudget.pressure.over import BlockFlow, block_flow
from waterbudget.pressure.pairs import Apart, Lie, apart, together

__all__ = [
    "Apart", "BlockFlow", "Lie", "Outlets", "apart", "block_flow", "outlets_of", "together",
]  # fmt: skip
