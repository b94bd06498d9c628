"""The palette: contrast for everyone, and differences that the common colour-vision deficiencies leave.

Sources:
    WCAG 2.2, success criteria 1.4.3 (text 4.5:1) and 1.4.11 (graphics and controls 3:1).
    G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, A Physiologically-based Model for Simulation of Color Vision
    Deficiency, IEEE TVCG 15 (2009) 1291: matrices for severity 1.0, here from ``colour-science``.
    G. Sharma, W. Wu, E. N. Dalal, The CIEDE2000 Color-Difference Formula, Color Res. Appl. 30 (2005) 21.
    That a difference of 5 is plain at a glance is common practice, no source.
"""

import re
from importlib.resources import files
from itertools import combinations, pairwise

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

CSS = (files("triage.writeup") / "templates" / "night.css").read_text("utf-8")
SCHEMES = ("light", "dark", "paper")
STEPS = ("s1", "s2", "s3", "s4", "s5")
DEFICIENCIES = (None, "Protanomaly", "Deuteranomaly", "Tritanomaly")
PLAIN = 5.0


def colours(scheme: str) -> dict[str, str]:
    """Return the palette of a scheme: names to #rrggbb; paper changes some of the light one."""
    blocks = [
        dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6})\b", block)) for block in re.findall(r":root \{([^}]*)\}", CSS)
    ]
    assert len(blocks) == 3
    palette = blocks[0] | (blocks[SCHEMES.index(scheme)])
    return {
        name: value if len(value) == 7 else "#" + "".join(2 * c for c in value[1:]) for name, value in palette.items()
    }


def linear(colour_: str) -> NDArray[np.float64]:
    channels = np.array([int(colour_[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2.2, 1 to 21."""
    low, high = sorted(float(linear(c) @ (0.2126, 0.7152, 0.0722)) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def distance(one: str, other: str, deficiency: str | None) -> float:
    """Return the CIEDE2000 difference of two colours as seen with a colour-vision deficiency of severity 1."""
    seen = []
    for value in (one, other):
        light = linear(value)
        if deficiency:
            light = np.clip(colour.blindness.matrix_cvd_Machado2009(deficiency, 1.0) @ light, 0, 1)
        seen.append(colour.XYZ_to_Lab(colour.RGB_to_XYZ(light, "sRGB")))
    return float(colour.delta_E(*seen, method="CIE 2000"))


def test_the_arithmetic_is_that_of_the_published_examples() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # WCAG's own example of a near miss
    # Sharma et al. 2005, table 1, pair 1 and pair 19.
    for one, other, wanted in (
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ):
        assert colour.delta_E(one, other, method="CIE 2000") == pytest.approx(wanted, abs=1e-3)
    # Machado et al. 2009, table 1: deuteranomaly of severity 1.0, first row.
    matrix = colour.blindness.matrix_cvd_Machado2009("Deuteranomaly", 1.0)
    assert matrix[0] == pytest.approx([0.367322, 0.860646, -0.227968], abs=1e-6)
    # A red and a green that differ for most people nearly coincide with protanomaly.
    assert distance("#a04000", "#505000", None) > 2 * distance("#a04000", "#505000", "Protanomaly")


@pytest.mark.parametrize("scheme", SCHEMES)
def test_text_and_lines_stand_out_from_what_they_lie_on(scheme: str) -> None:
    palette = colours(scheme)
    for ground in ("paper", "card"):
        for text in ("ink", "soft", "accent"):
            assert contrast(palette[text], palette[ground]) >= 4.5, (text, ground)
    assert contrast(palette["card"], palette["accent"]) >= 4.5  # the stamp of a buy
    for step in STEPS:  # hatching, outlines and the heavy outline of the weak part
        assert contrast(palette["ink"], palette[step]) >= 3, step
    for step in STEPS[:3]:
        assert contrast(palette["accent"], palette[step]) >= 3, step


# For tritanomaly the authors call their own model an approximation, and the library says so.
NEAR = pytest.mark.filterwarnings("ignore:.*simulation of tritanomaly")


@NEAR
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_the_steps_of_shading_are_told_apart_in_order(scheme: str, deficiency: str | None) -> None:
    palette = colours(scheme)
    shades = [palette[step] for step in STEPS]
    lights = [float(linear(shade) @ (0.2126, 0.7152, 0.0722)) for shade in shades]
    assert lights in (sorted(lights), sorted(lights, reverse=True))
    for one, other in pairwise(shades):
        assert distance(one, other, deficiency) >= PLAIN
    for one, other in combinations(shades, 2):
        assert distance(one, other, deficiency) >= PLAIN
    assert distance(shades[0], shades[-1], deficiency) >= 5 * PLAIN


@NEAR
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_what_is_marked_differs_from_what_is_not(scheme: str, deficiency: str | None) -> None:
    # Links, the weak part and the stamp are marked by line, weight or words too; the colour must be seen all the same.
    palette = colours(scheme)
    for other in ("ink", "soft", "card", "paper"):
        assert distance(palette["accent"], palette[other], deficiency) >= PLAIN, other


def test_every_step_has_hatching_of_its_own_and_a_word() -> None:
    shoe = (files("triage.writeup") / "templates" / "shoe.svg").read_text("utf-8")
    hatches = dict(re.findall(r'<pattern id="(h[0-5])"(.*?)</pattern>', shoe))
    assert len(hatches) == len(set(hatches.values())) == 6
