"""The hosts: what puts the registry's cell functions into spreadsheets and behind a local server."""

__all__: list[str] = []
