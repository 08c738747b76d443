"""Contrast of the page's colours, by the formulas of WCAG 2.2 (W3C Recommendation)."""

from __future__ import annotations

import re

import pytest

from verify.reports.page_templates import source
from verify.reports.palette import DARK, LIGHT, SHAPES, TEXTS

# Success criterion 1.4.3 (minimum contrast of text) and 1.4.11 (of what is no text), level AA.
TEXT, SHAPE = 4.5, 3.0


def luminance(colour: str) -> float:
    """WCAG 2.2, "relative luminance"; sRGB parts from 0 to 1."""

    def linear(part: float) -> float:
        return part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(int(colour[k : k + 2], 16) / 255) for k in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a: str, b: str) -> float:
    """WCAG 2.2, "contrast ratio"."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_has_its_published_ends() -> None:
    """WCAG 2.2, "contrast ratio": from 1 to 21. #767676 is the lightest grey that passes on white
    (4.54), #777777 fails (4.48): common practice, from memory."""
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#123456", "#123456") == 1
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < TEXT


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_every_text_and_shape_has_enough_contrast(colours: dict[str, str]) -> None:
    # On paper that is printed on, the ground is white.
    papers = [colours] if colours is DARK else [colours, {**colours, "paper": "#ffffff"}]
    for palette in papers:
        for text, ground in TEXTS:
            assert contrast(palette[text], palette[ground]) >= TEXT, (text, ground)
        for shape, ground in SHAPES:
            assert contrast(palette[shape], palette[ground]) >= SHAPE, (shape, ground)


def test_shades_of_the_heat_map_go_one_way() -> None:
    for colours, way in ((LIGHT, -1), (DARK, 1)):
        shades = [luminance(colours[f"shade-{k}"]) for k in range(6)]
        assert shades == sorted(shades, reverse=way < 0)
        assert all(
            contrast(colours[f"shade-{k}"], colours[f"shade-{k + 1}"]) > 1.1 for k in range(5)
        )


def test_the_page_has_no_other_colours() -> None:
    style = re.sub(r"--paper: #ffffff", "", source("report.css"))

    assert LIGHT.keys() == DARK.keys()
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b", style)
    assert {*re.findall(r"var\(--([a-z0-9-]+?)\)", style.replace("{{ k }}", "0"))} <= LIGHT.keys()
