"""What goes into the extension as it is: for the Python of LibreOffice, standard library only."""

__all__: list[str] = []
