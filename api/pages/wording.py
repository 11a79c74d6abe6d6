"""How identifiers and probabilities are said to a person."""

OVER, UNDER = "over 99 %", "under 1 %"


def plain(identifier: str) -> str:
    """An identifier of the taxonomy or the catalogue as words."""
    return identifier.replace("_", " ")


def percent(probability: float) -> str:
    """A probability in whole per cent; never 0 or 100, since nothing here is certain."""
    if probability > 0.995:
        return OVER
    return UNDER if probability < 0.005 else f"{probability * 100:.0f} %"
