"""Parts of a page that stayed English, for want of a translation: they say so, for voices and for their direction."""

import re

from api.pages.languages import SOURCE, Language

BEGIN, END = "\ue000", "\ue001"
"""Round such a part while a page is made. They are of the private use area, and no page shows them."""

BARE = re.compile(r"<(title|textarea)\b.*?</\1>|<[^>]*>", re.DOTALL)
"""Where no element can stand: inside a tag, and in what holds text alone."""


class Words:
    """A language's words for a template, with what it lacks between marks."""

    def __init__(self, language: Language) -> None:
        self._language = language

    def say(self, message: str) -> str:
        """As `Language.say`."""
        return self._marked(message, self._language.say(message))

    def fill(self, message: str, **values: object) -> str:
        """As `Language.fill`."""
        return self._marked(message, self._language.fill(message, **values))

    def _marked(self, message: str, words: str) -> str:
        known = self._language.tag == SOURCE or message in self._language.messages
        return words if known or not words else f"{BEGIN}{words}{END}"


def with_parts(page: str) -> str:
    """The page with an element instead of each pair of marks; without any where no element can stand."""
    if BEGIN not in page:
        return page
    page = BARE.sub(lambda bare: bare[0].replace(BEGIN, "").replace(END, ""), page)
    return page.replace(BEGIN, f'<span lang="{SOURCE}" dir="ltr">').replace(END, "</span>")
