"""The LibreOffice extension: every cell function in Calc, with its help, calculated by the server.

Each module is imported by its own name; ``shipped`` holds what runs inside LibreOffice.
"""

__all__: list[str] = []
