"""A page of HTML as a tree, for tests of what it says."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "img", "circle", "rect", "path", "br", "link", "input"}


@dataclass
class Element:
    """An element with its attributes, text and children."""

    tag: str
    attributes: dict[str, str | None]
    parent: Element | None = None
    content: list[Element | str] = field(default_factory=list)

    @property
    def children(self) -> list[Element]:
        return [one for one in self.content if isinstance(one, Element)]

    @property
    def text(self) -> str:
        own = " ".join(one if isinstance(one, str) else one.text for one in self.content)
        return " ".join(own.replace("\N{NO-BREAK SPACE}", " ").split())

    def all(self, tag: str) -> list[Element]:
        found = [self] if self.tag == tag else []
        return found + [one for child in self.children for one in child.all(tag)]


class Page(HTMLParser):
    """A page as a tree; every element must be closed where it was opened."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.root = self.here = Element("page", {})
        self.feed(html)
        self.close()
        assert self.here is self.root, f"<{self.here.tag}> is left open"

    def handle_starttag(self, tag, attrs):
        assert len(dict(attrs)) == len(attrs), f"<{tag}> repeats an attribute"
        one = Element(tag, dict(attrs), self.here)
        self.here.content.append(one)
        if tag not in VOID:
            self.here = one

    def handle_startendtag(self, tag, attrs):
        self.here.content.append(Element(tag, dict(attrs), self.here))

    def handle_endtag(self, tag):
        assert tag == self.here.tag, f"</{tag}> closes <{self.here.tag}>"
        self.here = self.here.parent

    def handle_data(self, data):
        self.here.content.append(data)
