"""Data tables with their sources; read them with :mod:`importlib.resources`."""
