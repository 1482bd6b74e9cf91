"""The bench page: a small local web page for the phone or tablet beside the stand.

`desk` holds the current visit (surface, lamp, photographs, readings), `worker` reads in a
process of its own, `answers` puts results into words, `guard` decides which requests are
allowed, `pages` answers requests, and `serve` runs the server. All devices share one desk.
"""
