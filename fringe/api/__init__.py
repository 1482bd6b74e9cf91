"""The public functions: they take what a person types, and call what the commands call.

`import fringe` gives them, and loads nothing else until one of them is used. A length is text
with its unit (``"150mm"``, ``"6in"``, ``"5 3/4 in"``), a quantity of a library of units that
has ``.to("mm")``, or a number under the name that ends in `_mm`; a bare number is refused.
"""
