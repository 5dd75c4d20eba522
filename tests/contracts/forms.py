"""The forms of a page, as a browser without scripts would send them."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

TYPED = ("text", "search", "textarea")


@dataclass
class Form:
    """One form: where it goes, and the fields with what stands in them.

    Attributes:
        fields: name, value and type of input, in the order of the page.
        buttons: the attributes of each button that sends it, in the order of the page.
    """

    action: str
    method: str
    is_multipart: bool
    fields: list[tuple[str, str, str]] = field(default_factory=list)
    buttons: list[dict[str, str]] = field(default_factory=list)

    @property
    def likeness(self) -> tuple[str, str, frozenset[str]]:
        """What makes two forms the same for a test."""
        return self.method, urlsplit(self.action).path, frozenset(name for name, *_ in self.fields)

    def sent(self, changes: dict[str, str]) -> dict[str, list[str]]:
        """What the browser sends after some fields were changed."""
        values: dict[str, list[str]] = {}
        for name, value, kind in self.fields:
            if kind != "file":
                values.setdefault(name, []).append(value)
        return values | {name: [value] for name, value in changes.items()}


class _Reader(HTMLParser):
    def __init__(self, address: str) -> None:
        super().__init__()
        self.address = address
        self.forms: list[Form] = []
        self.open: Form | None = None
        self.choice: str | None = None
        self.area: str | None = None

    def handle_starttag(self, tag: str, given: list[tuple[str, str | None]]) -> None:
        attrs = {name: value or "" for name, value in given}
        if tag == "form":
            self.open = Form(
                urljoin(self.address, attrs.get("hx-post") or attrs.get("action", "")),
                "post" if "hx-post" in attrs else attrs.get("method", "get").lower(),
                attrs.get("enctype") == "multipart/form-data",
            )
            self.forms.append(self.open)
        if self.open is None:
            return
        name = attrs.get("name", "")
        if tag == "button" and attrs.get("type", "submit") == "submit":
            self.open.buttons.append(attrs)
        elif tag == "input" and name and attrs.get("type") != "submit":
            kind = attrs.get("type", "text")
            if kind not in ("radio", "checkbox") or "checked" in attrs:
                self.open.fields.append((name, attrs.get("value", "on"), kind))
        elif tag == "select" and name:
            self.choice = name
        elif tag == "option" and self.choice is not None:
            is_first = all(name != self.choice for name, *_ in self.open.fields)
            if is_first or "selected" in attrs:
                self.open.fields = [one for one in self.open.fields if one[0] != self.choice]
                self.open.fields.append((self.choice, attrs.get("value", ""), "select"))
        elif tag == "textarea" and name:
            self.area = name
            self.open.fields.append((name, "", "textarea"))

    def handle_data(self, data: str) -> None:
        if self.area is not None and self.open is not None:
            name, value, kind = self.open.fields[-1]
            self.open.fields[-1] = (name, value + data, kind)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None
        elif tag == "select":
            self.choice = None
        elif tag == "textarea":
            self.area = None


def forms_of(page: str, address: str) -> list[Form]:
    """The forms of a page that stands at an address."""
    reader = _Reader(address)
    reader.feed(page)
    return reader.forms
