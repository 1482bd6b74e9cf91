"""Simulated shops, to see what comes of doing whatever the next step says.

Their laws of wear are not those that the judging learns by: removal and its scatter are
lognormal, rates wander, pads wear, instruments have offsets, people make mistakes.
"""
