"""Surfaces and sessions on disk, in a form that outlives this program.

The format is described name by name in `fringe/help/record.md`; that one text is what
`fringe help record` shows, and a copy of it lies in every archive, in README.txt. A test holds
it against a real file.
"""
