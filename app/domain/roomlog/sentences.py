"""An entry as one sentence: the template of its kind, filled with words.

A template is text with these marks:

- `{name}`: what the field says, in words; `{a|b}`: those of several that are given, with commas;
- `{rest}`: every field given that no other mark names, each with its label;
- `[text]`: left out where a field in it says nothing;
- `[name?text]`, `[name!text]`: there only where the field is given, or only where it is not.

`{by}` at the beginning is who entered it. Where nobody said, the sentence begins with its verb.
"""

import re
from collections.abc import Callable, Mapping

BY, REST, VALUES = "by", "rest", "values"
NOT_FIELDS = (BY, REST, VALUES)
"""Marks that stand for no field: who, all else, and what an instrument showed."""
_PART = re.compile(r"\[(?:(\w+)([?!]))?([^\[\]]*)\]")
_MARK = re.compile(r"\{([\w|]+)\}")
_GAPS = re.compile(r"\s+")
_NAMED_SO = re.compile(r"\bthe (?P<sort>\w+) \(((?i:(?P=sort))\b[^()]*)\)")
"""An instrument called after what it is."""
_BEFORE_COMMA = re.compile(r"\s+([,:])")

SINGULARS: Mapping[str, str] = {
    "parts": "part", "days": "day", "washes": "wash", "swaps": "swap", "pieces": "piece",
    "more days": "more day", "times": "time", "working days": "working day",
}  # fmt: skip
"""Units that are counted, and what one of them is called."""


def beside(figure: str, unit: str) -> str:
    """A figure with its unit, in the singular beside a one.

    >>> beside("1", "parts"), beside("14", "parts"), beside("3.0", "L"), beside("4", "")
    ('1 part', '14 parts', '3.0 L', '4')
    """
    return f"{figure} {SINGULARS.get(unit, unit) if figure in ('1', '1.0') else unit}".strip()


def marks(template: str) -> frozenset[str]:
    """The names that a template asks for.

    >>> sorted(marks("{by} found {a|b}[flag?, odd][: {rest}]"))
    ['a', 'b', 'by', 'flag', 'rest']
    """
    named = {name for found in _MARK.findall(template) for name in found.split("|")}
    return frozenset(named | {asked for asked, _, _ in _PART.findall(template) if asked})


def tell(template: str, words: Mapping[str, str]) -> str:
    """The sentence; a name without words says nothing.

    >>> tell("{by} topped up {tank}[: {volume_l}]", {"by": "Wren", "tank": "Alder"})
    'Wren topped up Alder'
    >>> tell("{by} topped up {tank}[: {volume_l}]", {"tank": "Alder", "volume_l": "3.0 L"})
    'Topped up Alder: 3.0 L'
    >>> tell("read with the {method}[ ({a})]", {"method": "hydrometer", "a": "Hydrometer 1"})
    'Read with Hydrometer 1'
    """

    def part(found: re.Match[str]) -> str:
        asked, sign, text = found.groups()
        if asked is not None:
            is_there = bool(words.get(asked))
            return _filled(text, words) if is_there == (sign == "?") else ""
        is_whole = all(_said(mark, words) for mark in _MARK.findall(text))
        return _filled(text, words) if is_whole else ""

    whole = _NAMED_SO.sub(r"\2", _GAPS.sub(" ", _whole(template, words, part)))
    told = _BEFORE_COMMA.sub(r"\1", whole).strip(" ,:")
    return told[:1].upper() + told[1:]


def _whole(template: str, words: Mapping[str, str], part: Callable[[re.Match[str]], str]) -> str:
    """The parts between brackets by `part`, the text between them filled in."""
    found, at = [], 0
    for match in _PART.finditer(template):
        found += [_filled(template[at : match.start()], words), part(match)]
        at = match.end()
    return "".join([*found, _filled(template[at:], words)])


def _filled(text: str, words: Mapping[str, str]) -> str:
    return _MARK.sub(lambda found: _said(found[1], words), text)


def _said(mark: str, words: Mapping[str, str]) -> str:
    return ", ".join(words[name] for name in mark.split("|") if words.get(name))
