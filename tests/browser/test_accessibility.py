"""Accessibility: the rules of axe-core, and the contrast of pictures' text, which it leaves out."""

from base64 import b64encode
from pathlib import Path
from typing import Any

import pytest

from tests.browser.pages import every_page
from tests.browser.places import LAY_BARS_DOWN

pytestmark = pytest.mark.browser

AXE = Path(__file__).parent / "vendor/axe-core-4.14.1/axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]
LEAST_CONTRAST = 4.5
"""WCAG 2.2, success criterion 1.4.3 (Contrast, Minimum), text of usual size."""
RUN = """async (rules) => {
  const result = await axe.run(document, { runOnly: rules, resultTypes: ['violations'] });
  return result.violations.map((v) => [v.id, v.nodes.map((n) => n.target.join(' ')).join(', '),
    v.nodes[0].failureSummary]);
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_breaks_a_rule(new_page: Any, demo: str, scheme: str) -> None:
    page = new_page(color_scheme=scheme)
    source = AXE.read_text("utf-8")
    for name, address in every_page(page, demo).items():
        page.goto(address)
        page.evaluate(source)
        page.evaluate(LAY_BARS_DOWN)
        assert page.evaluate(RUN, RULES) == [], name


# Text of pictures: its colour, and its box in the page.
SVG_TEXTS = """() => [...document.querySelectorAll('svg text')].map((text) => {
  const { left, top, width, height } = text.getBoundingClientRect();
  const style = getComputedStyle(text);
  return { words: text.textContent, fill: style.fill, opacity: style.opacity,
    box: [left + scrollX, top + scrollY, width, height].map(Math.round) };
}).filter(({ box }) => box[2] > 0)"""

# The commonest colour within each box of a picture, and each box's share of it.
COMMONEST = """async ([png, boxes]) => {
  const image = new Image();
  image.src = 'data:image/png;base64,' + png;
  await image.decode();
  const canvas = new OffscreenCanvas(image.width, image.height);
  const context = canvas.getContext('2d');
  context.drawImage(image, 0, 0);
  return boxes.map(([left, top, width, height]) => {
    const { data } = context.getImageData(left, top, Math.max(width, 1), Math.max(height, 1));
    const counts = new Map();
    for (let i = 0; i < data.length; i += 4) {
      const colour = `${data[i]},${data[i + 1]},${data[i + 2]}`;
      counts.set(colour, (counts.get(colour) || 0) + 1);
    }
    return [...counts].sort((a, b) => b[1] - a[1])[0][0].split(',').map(Number);
  });
}"""


def luminance(colour: list[float]) -> float:
    """Relative luminance of an sRGB colour of 0 to 255 (WCAG 2.2, definition)."""
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in (value / 255 for value in colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: list[float], other: list[float]) -> float:
    """Contrast ratio of two colours (WCAG 2.2, definition)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_worked_out_as_the_standard_says() -> None:
    """WCAG 2.2: black on white 21:1. The W3C's technique G18 gives #767676 on white as 4.54:1."""
    assert contrast([0, 0, 0], [255, 255, 255]) == pytest.approx(21)
    assert contrast([0x76] * 3, [255] * 3) == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", ["", "/tanks/alder", "/tanks/birch"])
def test_text_in_pictures_can_be_read(new_page: Any, demo: str, path: str, scheme: str) -> None:
    page = new_page(color_scheme=scheme)
    page.goto(demo + path)
    texts = page.evaluate(SVG_TEXTS)
    page.evaluate("for (const t of document.querySelectorAll('svg text')) t.style.opacity = 0")
    picture = b64encode(page.screenshot(full_page=True)).decode()
    backs = page.evaluate(COMMONEST, [picture, [text["box"] for text in texts]])
    for text, back in zip(texts, backs, strict=True):
        ink = [float(part) for part in text["fill"].removeprefix("rgb(").rstrip(")").split(",")]
        assert text["opacity"] == "1"
        assert contrast(ink, back) >= LEAST_CONTRAST, (text, back)
    assert texts
