"""The calculation server: cell functions over HTTP on this machine alone, and the page to try them.

Nothing is imported here, so that a worker process does not load the web libraries.
"""

__all__: list[str] = []
