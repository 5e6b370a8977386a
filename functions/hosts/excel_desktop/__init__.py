"""Excel on Windows without a server: the workbook calls Python through xlwings.

Of xlwings only the parts under the BSD licence are used. Each module is imported
by its own name; ``bridge`` needs xlwings, the others do not.
"""

__all__: list[str] = []
