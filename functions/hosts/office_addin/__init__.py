"""The Excel add-in for Windows, macOS and the web: every cell function, calculated by the server.

Each module is imported by its own name; ``shipped`` holds what runs inside Excel.
"""

__all__: list[str] = []
