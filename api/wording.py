"""How identifiers and probabilities are said to a person."""


def plain(identifier: str) -> str:
    """An identifier of the taxonomy or the catalogue as words."""
    return identifier.replace("_", " ")


def percent(probability: float) -> str:
    """A probability in whole per cent; never 0 or 100, since nothing here is certain."""
    if probability > 0.995:
        return "over 99 %"
    return "under 1 %" if probability < 0.005 else f"{probability * 100:.0f} %"
