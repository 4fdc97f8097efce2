"""Parses a report into a tree of elements, as a browser would, with helpers to check it."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"meta", "link", "br", "hr", "img", "input", "col"})


@dataclass
class Element:
    """An element of the page."""

    tag: str
    attributes: dict[str, str]
    children: list[Element] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    def all(self, *tags: str) -> list[Element]:
        """Every descendant with one of these tags, in order."""
        found = []
        for child in self.children:
            if child.tag in tags or not tags:
                found.append(child)
            found += child.all(*tags)
        return found

    @property
    def text(self) -> str:
        """All text inside, in one line."""
        return " ".join("".join(self.texts).split())

    def has(self, css_class: str) -> bool:
        """Whether it has a class."""
        return css_class in self.attributes.get("class", "").split()


class Page(HTMLParser):
    """A parsed page; complains about tags that do not match."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("", {})
        self._open = [self.root]
        self.wrong: list[str] = []
        self.feed(html)
        self.close()
        self.wrong += [f"<{e.tag}> is never closed" for e in self._open[1:]]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self._open[-1].children.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._open[-1].children.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if self._open[-1].tag == tag:
            self._open.pop()
        else:
            self.wrong.append(f"</{tag}> closes <{self._open[-1].tag}>")

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element.texts.append(data)


def grid(table: Element) -> list[list[Element]]:
    """The cells of a table by row and column; a cell that spans several appears in each."""
    rows = table.all("tr")
    places: dict[tuple[int, int], Element] = {}
    for n, row in enumerate(rows):
        column = 0
        for cell in row.children:
            while (n, column) in places:
                column += 1
            for down in range(int(cell.attributes.get("rowspan", "1"))):
                for across in range(int(cell.attributes.get("colspan", "1"))):
                    assert (n + down, column + across) not in places
                    places[n + down, column + across] = cell
    width = 1 + max(column for _, column in places)
    return [[places[n, column] for column in range(width)] for n in range(len(rows))]
