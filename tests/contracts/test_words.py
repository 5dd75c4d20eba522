"""Every sentence that people read sounds like a shift lead (docs/words.md, banned.py).

Read are the words of templates and all text of the program that is longer than a name. Rules and
reasons that only programs and developers see are text as well, and kept to the same words.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.domain.harm.faults import FAULTS, Fault
from app.domain.incidents.guides import GUIDES, Guide
from app.domain.roomlog.kinds import KINDS
from tests.contracts.banned import BANNED

ROOT = Path(__file__).parent.parent.parent
SOURCES = sorted(
    path.relative_to(ROOT).as_posix()
    for folder, kind in (("app", "*.py"), ("templates", "*.html"), ("static/js", "*.js"))
    for path in (ROOT / folder).rglob(kind)
    if not {"vendor", "migrations"} & set(path.parts)
)
NOT_READ = {
    "the names of rules, which tests and modules ask by": (
        "is told in litres|is not corrected|a fault is mended|a name stands under a hold"
    ),
}
HOLE = "\x00"  # stands for a value that is filled in
CUT = "\x01"  # between pieces that do not follow each other
MARKUP = re.compile(r"<(?:\"[^\"]*\"|'[^']*'|[^<>\"'])*>", re.DOTALL)
JINJA = re.compile(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
QUOTED = re.compile(r"\"((?:[^\"\\\n]|\\.)*)\"|'((?:[^'\\\n]|\\.)*)'|`((?:[^`\\]|\\.)*)`")
COUNTED = (
    "answers|baths|containers|cures|days|drums|entries|hours|items|lamps|lots|minutes|months|"
    "parts|people|photos|readings|rejects|rooms|stations|swaps|tanks|tries|washes|weeks|years"
)
TYPED = (  # how a text is typed, whatever it says
    (rf"(?<![\d.,:/×-])1 (?:{COUNTED})\b", "one stays one"),
    (r"\w’\w", "the apostrophe is '"),
    (r"(?<!=)\"[^\"“]*“|“[^”]*”[^\"]*(?<!=)\"", "quotes of two sorts in one text"),
    (r"\A[^\n]*[a-z,;]  (?=[A-Za-z])[^\n]*\Z", "two spaces"),
    (r"(?<![\w.:-])\d+(?:°C|kg|mL|mJ|mW|nm|ppm)\b|\b\d+%(?=[\s.,;)]|$)", "a space before a unit"),
    (r"\b\d+ [CF](?=[\s.,;)?]|$)", "a degree sign"),
)
MORE_THAN_ONE = {  # so many bare plurals of each page, and why there are never fewer
    "templates/spend/week.html": 2,  # 13 or 52 weeks
    "templates/part_lots/recall.html": 1,  # the lots of a full page
}
REFUSING = {"FieldError": 1, "NotFound": 0, "Conflict": 0}  # which argument is the message
SPOKEN = re.compile(r"aria-label|title|placeholder|alt|data-\w+")


def words_of_python(source: str) -> Iterator[tuple[int, str]]:
    """Each text with its line, values as holes; no docstring, no statement for the database."""
    tree = ast.parse(source)
    inside = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr | ast.Expr)
        for part in (node.values if isinstance(node, ast.JoinedStr) else [node.value])
    }
    for node in ast.walk(tree):
        text = ""
        if isinstance(node, ast.JoinedStr):
            text = "".join(
                str(part.value) if isinstance(part, ast.Constant) else HOLE for part in node.values
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = "" if id(node) in inside else node.value
        if len(text.split()) > 1 and not re.match(r"\s*(select|with|insert|pragma)\b", text, re.I):
            yield getattr(node, "lineno", 0), re.sub(r"\{[^{}]*\}", HOLE, text)


def words_of_markup(source: str) -> Iterator[tuple[int, str]]:
    """What stands between tags, in attributes that are read aloud, and in texts inside Jinja."""
    for part in JINJA.finditer(source):
        if not part.group().startswith("{#"):
            yield from _quoted(part.group(), source.count("\n", 0, part.start()) + 1)
    plain = JINJA.sub(
        lambda part: (HOLE if part.group()[1] == "{" else CUT) + "\n" * part.group().count("\n"),
        source,
    )
    for tag in MARKUP.finditer(plain):
        line = plain.count("\n", 0, tag.start()) + 1
        for name, text in re.findall(r"([\w-]+)=\"([^\"]*)\"", tag.group()):
            if SPOKEN.fullmatch(name):
                yield line, text
    filled = re.sub(r"<span[^<>]*></span>", HOLE, plain)
    inline = re.sub(r"</?(?:a|b|strong|em|small|span|code)\b[^<>]*>", "", filled)
    for line, text in enumerate(MARKUP.sub(CUT, inline).split("\n"), 1):
        yield from ((line, piece) for piece in text.split(CUT) if piece.strip())


def _quoted(source: str, line: int) -> Iterator[tuple[int, str]]:
    for found in QUOTED.finditer(source):
        text = next(filter(None, found.groups()), "")
        if " " in text.strip():
            yield line + source.count("\n", 0, found.start()), re.sub(r"\$\{[^}]*\}", HOLE, text)


def words_of(name: str) -> Iterator[tuple[int, str]]:
    """All that people may read of one source."""
    source = (ROOT / name).read_text(encoding="utf-8")
    if name.endswith(".py"):
        return words_of_python(source)
    return words_of_markup(source) if name.endswith(".html") else _quoted(source, 1)


def faults_of(text: str) -> Iterator[str]:
    """What is wrong with one text."""
    shown = text.replace(HOLE, "…")
    for pattern, instead in BANNED:
        if found := re.search(pattern, shown, re.IGNORECASE):
            yield f"“{found.group()}”: {instead}"
    for sentence in re.split(r"(?<=[.!?])\s|\n", shown):
        if len(re.findall(r"(?<=[^\s…]): (?=\w)", sentence)) > 1:
            yield f"two colons in one sentence: {sentence.strip()}"
    if re.search(r"\w +[.,;:](?=\s|$)", shown):
        yield "a space before a stop"
    for pattern, fault in TYPED:
        if found := re.search(pattern, shown):
            yield f"{fault}: {found.group()}"


def messages_of(source: str) -> Iterator[tuple[int, str]]:
    """The messages that are written out where somebody is refused, with their lines."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        place = REFUSING.get(node.func.id)
        if place is None or len(node.args) <= place:
            continue
        message = node.args[place]
        parts = message.values if isinstance(message, ast.JoinedStr) else [message]
        if parts and isinstance(parts[-1], ast.Constant) and isinstance(parts[-1].value, str):
            yield node.lineno, parts[-1].value


@pytest.mark.parametrize("name", SOURCES)
def test_its_sentences_are_ones_that_a_shift_lead_would_say(name: str) -> None:
    allowed = re.compile("|".join(NOT_READ.values()))
    faults = [
        f"{name}:{line}: {fault}: {text.strip()[:90]}"
        for line, text in words_of(name)
        for fault in faults_of(allowed.sub("", text))
    ]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    "text, fault",
    [
        ("A reading is held against the log.", "“is held against”: compare with"),
        (
            "First shortage: Alder: drums.",
            "two colons in one sentence: First shortage: Alder: drums.",
        ),
        ("Take a reading .", "a space before a stop"),
        ("Take a reading at 07:40: the bath is fresh.", ""),
        ("Nothing was stored. Enter the day.", ""),
        ("There is 1 drums in it.", "one stays one: 1 drums"),
        ("Room for 21 drums, 0.1 days.", ""),
        ("Compare it with the contractor’s scale.", "the apostrophe is ': r’s"),
        ("Take  a reading.", "two spaces: Take  a reading."),
        ("Warm it to 20°C.", "a space before a unit: 20°C"),
        ("Bring it to 20 C.", "a degree sign: 20 C"),
        ("Fill it to 90%.", "a space before a unit: 90%"),
    ],
)
def test_a_fault_is_seen(text: str, fault: str) -> None:
    assert list(faults_of(text)) == ([fault] if fault else [])


def test_words_are_found_wherever_they_hide() -> None:
    page = (
        '<p class="so much">Say <b>first</b>.</p>\n'
        '<i aria-label="all the same">{{ "x" ~ f("fetched here") }}'
    )
    assert {text for _, text in words_of_markup(page)} >= {
        "Say first.",
        "all the same",
        "fetched here",
    }
    code = '"""held against"""\nx = f"{a} is told of {b}"\ny = ("one two "\n"three")\n'
    assert list(words_of_python(code)) == [(2, "\0 is told of \0"), (3, "one two three")]


@pytest.mark.parametrize("name", [name for name in SOURCES if name.endswith(".html")])
def test_a_count_of_a_page_agrees_with_its_noun(name: str) -> None:
    """A count before a plural is the filter's, `counted`; more than one for certain are few."""
    source = (ROOT / name).read_text(encoding="utf-8")
    bare = re.findall(rf"\|(?:number\(0\)|length|thousands) *}}}} (?:{COUNTED})\b", source)
    assert len(bare) <= MORE_THAN_ONE.get(name, 0), bare


@pytest.mark.parametrize("name", [name for name in SOURCES if name.endswith(".py")])
def test_a_message_is_a_sentence_with_its_stop(name: str) -> None:
    source = (ROOT / name).read_text(encoding="utf-8")
    faults = [
        f"{name}:{line}: {text}"
        for line, text in messages_of(source)
        if not text.rstrip("”").endswith((".", "?"))
    ]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize("guide", GUIDES.values(), ids=GUIDES)
def test_a_caution_and_a_thing_to_do_are_whole_sentences(guide: Guide) -> None:
    for caution in guide.cautions:
        assert caution.text.endswith((".", ".)")), caution.text


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_fault_says_its_harm_and_the_way_out_in_sentences(fault: Fault) -> None:
    assert fault.harm.endswith("."), fault.harm
    assert fault.way.endswith("."), fault.way


@pytest.mark.parametrize("kind", KINDS)
def test_labels_and_help_of_a_kind_have_no_stray_spaces(kind: str) -> None:
    way = KINDS[kind].reached
    shown = [KINDS[kind].summary, *(v for v in vars(way).values() if isinstance(v, str))]
    for spec in KINDS[kind].specs().values():
        shown += [spec.label, spec.help]
    for text in shown:
        assert text == " ".join(text.split()), repr(text)
    for spec in KINDS[kind].specs().values():
        assert not spec.help or spec.help.endswith((".", "?")), spec.help
        assert not spec.label.endswith("."), spec.label
