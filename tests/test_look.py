"""The look: contrast computed from the stylesheet's own tokens, nothing inline, small files.

Contrast is WCAG 2.2's relative luminance and ratio (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio); the
formula here is checked against pairs whose ratio the standard's documents state.
"""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
STYLE = ROOT / "config/static/config/app.css"
SCRIPT = ROOT / "config/static/config/app.js"
TEMPLATES = sorted(
    path for app in ("config", "stock", "ponds") for path in (ROOT / app).glob("templates/**/*.html")
)

TEXT_PAIRS = [
    (ink, ground)
    for ground in ("paper", "shade", "warn-shade", "bad-shade")
    for ink in ("ink", "soft", "accent", "warn", "bad", "good")
] + [("on-accent", "accent"), ("ink", "band")]
# Borders of controls, focus and the marks of a chart: WCAG 1.4.11.
MARK_PAIRS = [
    (mark, ground) for mark in ("edge", "focus", "accent", "warn", "ink") for ground in ("paper", "shade")
] + [("ink", "band"), ("accent", "band")]


def luminance(color: str) -> float:
    channels = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def tokens(css: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", css))


def themes() -> dict[str, dict[str, str]]:
    css = STYLE.read_text()
    blocks = {
        condition.strip(): tokens(block)
        for condition, block in re.findall(r"@media ([^{]+)\{\s*:root \{([^}]*)\}", css)
    }
    light = tokens(re.search(r"^:root \{([^}]*)\}", css, re.MULTILINE)[1])
    dark = light | blocks["(prefers-color-scheme: dark)"]
    more = blocks["(prefers-contrast: more)"]
    more_dark = blocks["(prefers-contrast: more) and (prefers-color-scheme: dark)"]
    return {
        "light": light,
        "dark": dark,
        "light, more contrast": light | more,
        "dark, more contrast": dark | more | more_dark,
        "print": light | blocks["print"],
    }


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [("#000000", "#ffffff", 21.0), ("#767676", "#ffffff", 4.54), ("#595959", "#ffffff", 7.0)],
)
def test_the_formula_gives_the_published_ratios(one, other, ratio):
    """Black on white is 21:1; #767676 and #595959 are the greys commonly quoted as the least that pass AA and AAA."""
    assert contrast(one, other) == pytest.approx(ratio, abs=0.01)


@pytest.mark.parametrize("theme", themes())
def test_text_has_a_contrast_of_seven_to_one(theme):
    colors = themes()[theme]
    weak = {pair: round(contrast(colors[pair[0]], colors[pair[1]]), 2) for pair in TEXT_PAIRS}
    assert {pair: ratio for pair, ratio in weak.items() if ratio < 7} == {}


@pytest.mark.parametrize("theme", themes())
def test_marks_and_borders_have_a_contrast_of_three_to_one(theme):
    colors = themes()[theme]
    weak = {pair: round(contrast(colors[pair[0]], colors[pair[1]]), 2) for pair in MARK_PAIRS}
    assert {pair: ratio for pair, ratio in weak.items() if ratio < 3} == {}


def test_the_ground_of_light_is_white_and_of_the_dark_is_dark():
    assert themes()["light"]["paper"] == "#ffffff"
    assert luminance(themes()["dark"]["paper"]) < 0.02


def test_no_color_is_written_outside_the_tokens():
    """A color that is not a token would not follow the themes."""
    css = re.sub(r":root \{[^}]*\}", "", STYLE.read_text())
    assert set(re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[^{]*;)", css)) <= {"#000000"}
    assert re.findall(r"\b(?:rgb|hsl)a?\(", css) == []


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_is_inline(template):
    text = template.read_text()
    assert not re.search(r"""\sstyle\s*=\s*["']""", text), "a style attribute"
    # What stands inside the template's own tags, such as `with one=two`, never reaches the page.
    markup = re.sub(r"\{[%{].*?[%}]\}", " ", text)
    assert not re.search(r"\son[a-z]+\s*=", markup), "an event handler"
    assert not re.search(r"<style\b", text), "a style element"
    assert not re.search(r"<script\b(?![^>]*\bsrc=)", text), "an inline script"
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?:https?:)?//""", text), "an outside address"


def test_the_frame_is_small():
    assert len(STYLE.read_text().splitlines()) < 600
    assert len(STYLE.read_bytes()) < 36_000
    assert len(SCRIPT.read_text().splitlines()) < 200
    assert len(SCRIPT.read_bytes()) < 8_000


def test_the_stylesheet_serves_every_preference():
    css = STYLE.read_text()
    for query in (
        "prefers-color-scheme: dark",
        "prefers-contrast: more",
        "forced-colors: active",
        "prefers-reduced-motion: reduce",
        "@media print",
    ):
        assert query in css
    assert "outline: 3px solid" in css
    assert "outline: 0" not in css
