"""The bench page: a small local web page for the phone or tablet beside the stand.

`desk` holds the current visit (surface, lamp, photographs in `shots`, readings without one in
`taken`), `kept` keeps it on disk, `worker` reads in a process of its own, `at_hand` puts the visit
together as it is logged, `sight` and `answers` say what is shown of it, `words` says messages of
the library in the page's words, `more` answers for several surfaces, `guard` decides which
requests are allowed, `typed` checks what they say, `pages` answers them, and `serve` runs the
server. All devices share one desk.
"""
