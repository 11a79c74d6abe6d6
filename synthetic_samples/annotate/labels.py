"""Labels of pieces: `kind/piece`, or `kind#number/piece` where a picture shows several things of a kind."""


def numbered(label: str, number: int | None) -> str:
    """A label (`kind` or `kind/piece`) that says which of several things it belongs to; unchanged without number."""
    subject, slash, piece = label.partition("/")
    return label if number is None or not label else f"{subject}#{number}{slash}{piece}"


def without_number(label: str) -> tuple[str, int | None]:
    """A label as it is of a thing by itself, and the number of its thing where it has one."""
    subject, slash, piece = label.partition("/")
    kind, _, number = subject.partition("#")
    return f"{kind}{slash}{piece}", int(number) if number else None
