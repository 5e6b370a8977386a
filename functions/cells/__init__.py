"""The cell functions by family; importing this package fills the registry, in the order of help."""

from dampcell.functions.cells import plates, stacks, stack_meaning, oils, oil_names  # isort: skip  # in the order of the help pages

__all__ = ["oil_names", "oils", "plates", "stack_meaning", "stacks"]
