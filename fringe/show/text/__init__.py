"""What the command line prints of a result: one module a result, rows of plain text.

A result's JSON is its own `to_json`; its words are here, and nowhere in a command.
"""
