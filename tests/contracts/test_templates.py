"""Templates keep to the strict content security policy, and all of them compile."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from app.web.render import ENVIRONMENT

ROOT = Path(__file__).parent.parent.parent
FOLDER = ROOT / "templates"
TEMPLATES = sorted(path.relative_to(FOLDER).as_posix() for path in FOLDER.rglob("*.html"))
JINJA = re.compile(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
BRACKETED = re.compile(r"\[[^\]]*\]")
ADDRESSES = {"href", "src", "action", "formaction"}


class Page(HTMLParser):
    """The tags of a template, with what breaks the policy."""

    def __init__(self) -> None:
        super().__init__()
        self.faults: list[str] = []
        self._open = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._open = tag
        if tag == "style":
            self.faults.append("a style block")
        if tag == "script" and "src" not in dict(attrs):
            self.faults.append("a script block")
        for name, value in attrs:
            self.faults += _attribute_faults(name, value or "")

    def handle_endtag(self, _tag: str) -> None:
        self._open = ""

    def handle_data(self, data: str) -> None:
        if self._open == "script" and data.strip():
            self.faults.append("text in a script")


def _attribute_faults(name: str, value: str) -> list[str]:
    faults = []
    if name == "style":
        faults.append("a style attribute")
    if name.startswith("on"):
        faults.append(f"a handler in {name}")
    if name.startswith(("hx-on", "data-hx-on")):
        faults.append(f"a script in {name}")
    if re.match(r"\s*(js|javascript):", value):
        faults.append(f"a script in {name}")
    if name == "hx-trigger" and BRACKETED.search(value):
        faults.append("a filter in hx-trigger, which is a script")
    if name in ADDRESSES and value.startswith(("//", "http:", "https:", "data:")):
        faults.append(f"something from elsewhere in {name}")
    return faults


def faults_of(source: str) -> list[str]:
    """What in a template the policy would block; expressions of the template are left out."""
    page = Page()
    page.feed(JINJA.sub("", source))
    page.close()
    return page.faults


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_template_compiles(template: str) -> None:
    assert ENVIRONMENT.get_template(template)


@pytest.mark.parametrize("template", TEMPLATES)
def test_a_template_holds_no_script_and_no_style(template: str) -> None:
    assert faults_of((FOLDER / template).read_text("utf-8")) == []


@pytest.mark.parametrize(
    "source",
    [
        "<p style='color:red'>",
        "<style>p{}</style>",
        "<script>run()</script>",
        "<button onclick='run()'>",
        "<div hx-on:click='run()'>",
        "<div hx-vals='js:{a: 1}'>",
        "<a href='javascript:run()'>",
        "<a href='https://elsewhere.test/'>",
        "<input hx-trigger='keyup[ctrlKey]'>",
        "<p {% if x %}style='color:red'{% endif %}>",
    ],
)
def test_the_check_finds_what_it_looks_for(source: str) -> None:
    assert faults_of(source)


def test_text_is_escaped_and_unknown_names_are_refused() -> None:
    assert ENVIRONMENT.autoescape is True
    assert ENVIRONMENT.undefined.__name__ == "StrictUndefined"


def test_no_template_switches_escaping_off() -> None:
    for template in TEMPLATES:
        text = (FOLDER / template).read_text("utf-8")
        assert not re.search(r"\|\s*safe\b|autoescape\s+false", text), template
