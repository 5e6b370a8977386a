"""The template workbooks, generated from the field table and the registry."""

__all__: list[str] = []
