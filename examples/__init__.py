"""The shipped scenario and its photographs; read them with :mod:`importlib.resources`."""
