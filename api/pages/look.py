"""The operator's own look: a name, and a colour for each theme that text can still be read in."""

import re
from dataclasses import dataclass

from api.settings import PREFIX, Settings
from classifier.errors import SettingsError

LEAST_CONTRAST = 4.5
"""Of text on its ground: WCAG 2.2, 1.4.3."""

COLOUR = re.compile(r"--([a-z-]+): (#[0-9a-f]{6});")
LIGHT, DARK = "not screen, (prefers-color-scheme: light)", "screen and (prefers-color-scheme: dark)"


@dataclass(frozen=True)
class Look:
    """What an operator gave of it; empty: our own."""

    name: str = ""
    colour: str = ""
    colour_dark: str = ""

    def css(self) -> str:
        """What is added to the stylesheet, whose every other colour stays."""
        given = ((LIGHT, self.colour), (DARK, self.colour_dark))
        return "".join(
            f"\n@media {theme} {{ :root {{ --accent: {c}; --accent-press: {c}; --link: {c}; }} }}\n"
            for theme, c in given
            if c
        )


def look_of(settings: Settings, sheet: str) -> Look:
    """The look that the settings ask for. Raises `SettingsError` for a colour in which text cannot be read."""
    light, dark = themes(sheet)
    for name, ours in (("operator_colour", light), ("operator_colour_dark", dark)):
        if colour := getattr(settings, name).lower():
            _check(name, colour, ours)
    return Look(settings.operator_name, settings.operator_colour.lower(), settings.operator_colour_dark.lower())


def themes(sheet: str) -> tuple[dict[str, str], dict[str, str]]:
    """The colours of the stylesheet by name, in the light theme and in the dark one."""
    light, dark = (dict(COLOUR.findall(part)) for part in re.findall(r":root \{(.*?)\}", sheet, re.DOTALL)[:2])
    return light, light | dark


def contrast(one: str, other: str) -> float:
    """Of two colours written as #rrggbb, from 1 to 21, by the formula of WCAG 2.2."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _check(name: str, colour: str, ours: dict[str, str]) -> None:
    """The colour is text on paper and sheet, and ground under the text of a button."""
    for other in ("paper", "sheet", "on-accent"):
        found = contrast(colour, ours[other])
        if found < LEAST_CONTRAST:
            where = "under the text of a button" if other == "on-accent" else "as text on the page"
            side = "darker" if _luminance(ours["paper"]) > 0.5 else "lighter"
            raise SettingsError(
                f"{PREFIX}{name.upper()} is {colour}: {where} ({ours[other]}) its contrast is {found:.2f} to 1, and "
                f"{LEAST_CONTRAST} to 1 is wanted so that it can be read. Choose a {side} one."
            )
