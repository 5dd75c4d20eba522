"""What a kind of entry says of itself beside its fields: its sentence in the log, its way in.

    sentence = "{by} topped up {tank}: {volume_l}[to_mark?, to the upper mark]"
    reached = Form(at="tank", task="top-up", link="Top-up")

A kind with a `Form` needs nothing else to have a page: its address, its fields, its link and its
undo follow. A kind with a `Page` is entered on a page that is drawn for it. Pure data: who draws
it is not known here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

PLACES = ("room", "tank", "station", "item", "drum", "instrument")
"""What a form may hang at; all but the room are named by the field of that name."""


@dataclass(frozen=True)
class Form:
    """The form of a kind, as the one page of all such kinds draws it.

    Attributes:
        at: the thing on whose page its link stands, one of `PLACES`.
        task: the last part of its address.
        link: the words of that link; empty where the page of the thing links to it in its own way.
        rank: the order among the links of a thing; what says nothing of it comes last.
        heading: the first line of the form; `{at}` is the name of the thing.
        title: the name of the page, as browsers show it; `{at}` as above.
        about: a sentence below the heading.
        caution: what to take care of, above the fields.
        rows: the fields in their order, those of one row side by side; empty: all, a row each.
        labels: what a field is called here, where that is not its label.
        save: the words of the button.
        only_where: when the link to it is there; empty where it always is.
    """

    at: str
    task: str
    link: str = ""
    rank: int = 100
    heading: str = ""
    title: str = ""
    about: str = ""
    caution: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    save: str = "Save"
    only_where: str = ""


@dataclass(frozen=True)
class Page:
    """A page that is drawn for a kind, alone or with others.

    Attributes:
        path: its address within the room, things in braces.
        only_where: when the link to it is there; empty where it always is.
    """

    path: str
    only_where: str = ""


Way = Form | Page
