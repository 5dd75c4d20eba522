"""The colour roles against the contrast that WCAG 2.2 asks for.

Formula: relative luminance and contrast ratio as WCAG 2.2 defines them. Text: 4.5 (SC 1.4.3, AA);
shapes that carry meaning and edges of controls: 3 (SC 1.4.11, AA).
"""

import re
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


def _blocks() -> tuple[dict[str, str], dict[str, str], dict[str, str]]:
    """The light roles, the dark ones of the system, and the dark ones of the switch."""
    light, rest = TOKENS.split("@media (prefers-color-scheme: dark)", 1)
    by_system, by_switch = rest.split(':root[data-theme="dark"]', 1)
    return _roles(light), _roles(by_system), _roles(by_switch)


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


def test_both_ways_to_dark_give_the_same_colours() -> None:
    light, by_system, by_switch = _blocks()
    assert by_system == by_switch
    assert by_system.keys() == light.keys()


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("pair", TEXT, ids="-on-".join)
def test_text_can_be_read(theme: int, pair: tuple[str, str]) -> None:
    roles = _blocks()[theme]
    assert contrast(roles[pair[0]], roles[pair[1]]) >= 4.5


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("pair", SHAPES, ids="-on-".join)
def test_shapes_can_be_told_from_their_ground(theme: int, pair: tuple[str, str]) -> None:
    roles = _blocks()[theme]
    assert contrast(roles[pair[0]], roles[pair[1]]) >= 3
