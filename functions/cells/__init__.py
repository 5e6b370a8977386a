"""The cell functions by family; importing this package fills the registry, in the order of help."""

# The order of these lines is the order of the families in help, so the sorter must leave them alone.
# isort: off
from dampcell.functions.cells import plates
from dampcell.functions.cells import stacks
from dampcell.functions.cells import stack_meaning
from dampcell.functions.cells import builds
from dampcell.functions.cells import damping
from dampcell.functions.cells import damping_compare
from dampcell.functions.cells import matching
from dampcell.functions.cells import oils
from dampcell.functions.cells import oil_names
from dampcell.functions.cells import fills
from dampcell.functions.cells import gases
from dampcell.functions.cells import workshop
from dampcell.functions.cells import ledger
from dampcell.functions.cells import ledger_ahead

__all__ = [
    "builds",
    "damping",
    "damping_compare",
    "fills",
    "gases",
    "ledger",
    "ledger_ahead",
    "matching",
    "oil_names",
    "oils",
    "plates",
    "stack_meaning",
    "stacks",
    "workshop",
]
