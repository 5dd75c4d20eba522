"""Style sheets: each component in one place, a scale of spacing, four breakpoints, none dead."""

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.web.assets import SHEETS

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "static" / "css"
TEXTS = {
    name: re.sub(r"/\*.*?\*/", "", (FOLDER / f"{name}.css").read_text("utf-8"), flags=re.DOTALL)
    for name in SHEETS
}
COMPONENTS = ("button", "tag", "tile", "tile-button", "notice", "caution", "switch", "check")
HOME = "components"
WIDTHS = {"max-width: 500px", "max-width: 700px", "max-width: 900px", "min-width: 1101px"}
BEYOND = {"min-width: 701px", "min-width: 901px"}
"""The other side of two of the four."""
MEDIUM = ("@media print", "@media (forced-colors: active)")
"""Where sheets say what paper or forced colours make of a component."""
OFF_SCALE = 100
"""Distances that keep a length of their own today; no more may come."""
SPACED = re.compile(r"(?<![\w-])(?:row-gap|column-gap|gap|padding[\w-]*|margin[\w-]*):\s*([^;}]+)")
REM = re.compile(r"(?<![\w.])-?\d*\.?\d+rem")


def rules(text: str) -> Iterator[tuple[str, str, str]]:
    """Each rule of a sheet: the media it stands in, its selector, its declarations."""
    around: list[str] = []
    seen = ""
    for sign in text:
        if sign == "{":
            around.append(" ".join(seen.split()))
            seen = ""
        elif sign == "}":
            selector = around.pop()
            if not selector.startswith("@"):
                yield " ".join(around), selector, seen.strip()
            seen = ""
        else:
            seen += sign


def every() -> Iterator[tuple[str, str, str, str]]:
    """Each rule of all sheets, with its sheet before it."""
    for sheet, text in TEXTS.items():
        yield from ((sheet, *rule) for rule in rules(text))


def test_the_sheets_are_read_as_a_browser_reads_them() -> None:
    assert list(rules("a { b: c; } @media x { d, e { f: g } }")) == [
        ("", "a", "b: c;"), ("@media x", "d, e", "f: g"),
    ]  # fmt: skip
    assert {path.stem for path in FOLDER.glob("*.css")} == set(SHEETS)


def test_each_component_has_one_place() -> None:
    starts = re.compile(rf"\.({'|'.join(COMPONENTS)}|(tag|notice)-\w+)([.:\[ >+~].*)?")
    elsewhere = [
        f"{sheet}: {one.strip()}"
        for sheet, around, selector, _ in every()
        for one in selector.split(",")
        if sheet != HOME and around not in MEDIUM and starts.fullmatch(one.strip())
    ]
    # Words break anywhere: said once for all that holds text, headings and cells with them.
    assert elsewhere == ["base: .button", "base: .tile > span"]


def test_nothing_is_said_in_two_places() -> None:
    told = Counter((around, selector) for _, around, selector, _ in every())
    assert [key for key, times in told.items() if times > 1] == []


def test_there_are_four_breakpoints() -> None:
    asked = {
        width
        for text in TEXTS.values()
        for media in re.findall(r"@media[^{]*", text)
        for width in re.findall(r"(?:min|max)-width: \w+", media)
    }
    assert asked - BEYOND == WIDTHS


def _defined() -> dict[str, str]:
    return dict(re.findall(r"(--[\w-]+):\s*([^;}]+)", " ".join(TEXTS.values())))


def test_the_scale_of_spacing_rises_and_is_used() -> None:
    steps = [value for name, value in _defined().items() if name.startswith("--space-")]
    lengths = [float(value.removesuffix("rem")) for value in steps]
    assert lengths == sorted(set(lengths))
    own: list[str] = []
    for sheet, text in TEXTS.items():
        if sheet != "tokens":
            own += [rem for value in SPACED.findall(text) for rem in REM.findall(value)]
    assert not set(own) & {value for value in steps if value != "1rem"}, "use its token"
    assert len(own) <= OFF_SCALE


def test_every_token_is_defined_and_used() -> None:
    used = set(re.findall(r"var\((--[\w-]+)", " ".join(TEXTS.values())))
    in_pages = " ".join(path.read_text("utf-8") for path in (ROOT / "templates").rglob("*.html"))
    assert used <= set(_defined())
    assert {name for name in _defined() if name not in used and name not in in_pages} == set()


@pytest.fixture(scope="module")
def sources() -> str:
    """Everything that names a class: templates, scripts, and what builds their words."""
    folders = (ROOT / "templates", ROOT / "app" / "web", ROOT / "static" / "js")
    files = [path for folder in folders for path in folder.rglob("*")]
    return "\n".join(p.read_text("utf-8") for p in files if p.suffix in (".html", ".py", ".js"))


def test_no_selector_is_of_a_class_that_no_page_has(sources: str) -> None:
    words = set(re.findall(r"[\w-]+", sources))
    joined = tuple(set(re.findall(r"""([a-z][\w-]*-)(?:\{|["'] ?[~+])""", sources)))
    classes = {
        name
        for _, _, selector, _ in every()
        for name in re.findall(r"\.([a-zA-Z][\w-]*)", re.sub(r'"[^"]*"', "", selector))
    }
    assert len(classes) > 300
    assert [name for name in classes if name not in words and not name.startswith(joined)] == []
