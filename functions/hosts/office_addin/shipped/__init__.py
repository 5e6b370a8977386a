"""The scripts that run inside Excel's web view; the generator fills in the lists in double braces."""

__all__: list[str] = []
