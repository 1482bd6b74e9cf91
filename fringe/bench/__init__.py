"""The bench page: a small local web page for the phone or tablet beside the stand.

`desk` holds what lies on the bench (surface, lamp, photographs, readings), `worker` reads in a
process of its own, `answers` puts results into words, `guard` decides who may ask, `pages`
answers requests, and `serve` opens the door. One bench, one desk: every device that has
joined sees the same.
"""
