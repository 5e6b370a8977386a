"""The cell functions by family. Importing this package fills the registry, in the order in which help lists them."""

# The order of these lines is the order of the families in help, so the sorter must leave them alone.
# isort: off
from dampcell.functions.cells import plates
from dampcell.functions.cells import oils
from dampcell.functions.cells import oil_names

__all__ = ["oil_names", "oils", "plates"]
