"""The templates and the stylesheet of all pages, also of one that no server shows."""

from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

HERE = Path(__file__).parent
TEMPLATES, STATIC = HERE / "templates", HERE / "static"
SHEET = STATIC / "hoistlore.css"


@cache
def environment() -> Environment:
    """Templates in which nothing that is missing passes, and what came from outside is no markup; made once."""
    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
