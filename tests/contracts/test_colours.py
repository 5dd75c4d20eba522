"""The colour roles against the contrast that WCAG 2.2 asks for.

Formula: relative luminance and contrast ratio as WCAG 2.2 defines them. Text: 4.5 (SC 1.4.3, AA);
shapes that carry meaning and edges of controls: 3 (SC 1.4.11, AA). For a tablet in the sun: text 7
(SC 1.4.6, AAA), shapes 4.5 (common practice, no source).
"""

import re
from itertools import pairwise
from pathlib import Path

import pytest

TOKENS = (Path(__file__).parent.parent.parent / "static" / "css" / "tokens.css").read_text("utf-8")
TEXT = (
    ("ink", "field"), ("ink", "plate"), ("ink", "void"), ("ink2", "field"), ("ink2", "plate"),
    ("fluid-ink", "fluid"), ("action-ink", "action"), ("action", "field"), ("action", "plate"),
    ("ink", "soon-back"), ("over-ink", "over"), ("over", "field"), ("over", "plate"),
    ("ink", "work-back"),
)  # fmt: skip
SHAPES = (
    ("fluid", "void"), ("over", "void"), ("soon", "field"), ("soon", "soon-back"),
    ("edge", "field"), ("edge", "plate"), ("work", "work-back"), ("work", "plate"),
    ("focus", "field"), ("focus", "plate"),
)  # fmt: skip


def _roles(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", block))


STARTS = (
    ":root {", "@media (prefers-color-scheme: dark)", ':root[data-theme="dark"]',
    "@media (prefers-contrast: more)", ':root[data-theme="sun"]',
)  # fmt: skip


def _blocks() -> tuple[dict[str, str], ...]:
    """The light roles, the dark ones, those for the sun; the last two by system and by choice."""
    places = [TOKENS.index(start) for start in STARTS] + [len(TOKENS)]
    assert places == sorted(places)
    return tuple(_roles(TOKENS[one:end]) for one, end in pairwise(places))


def luminance(colour: str) -> float:
    """Relative luminance of a #rrggbb colour."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_ends_of_its_scale() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # from memory


def test_chosen_or_asked_for_by_the_system_the_colours_are_the_same() -> None:
    light, dark_by_system, dark, sun_by_system, sun = _blocks()
    assert dark_by_system == dark
    assert sun_by_system == sun
    assert light.keys() == dark.keys() == sun.keys()


THEMES = {"light": (0, 4.5, 3.0), "dark": (2, 4.5, 3.0), "sun": (4, 7.0, 4.5)}


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("pair", TEXT, ids="-on-".join)
def test_text_can_be_read(theme: str, pair: tuple[str, str]) -> None:
    place, least, _ = THEMES[theme]
    roles = _blocks()[place]
    assert contrast(roles[pair[0]], roles[pair[1]]) >= least


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("pair", SHAPES, ids="-on-".join)
def test_shapes_can_be_told_from_their_ground(theme: str, pair: tuple[str, str]) -> None:
    place, _, least = THEMES[theme]
    roles = _blocks()[place]
    assert contrast(roles[pair[0]], roles[pair[1]]) >= least
