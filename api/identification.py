"""The one way from photos and observations to an answer, for the command line and for every route."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from api.models import Shadow, Told
from api.settings import MOST_PHOTOS, Settings
from classifier.errors import InputError, NothingToGoOn, PhotoError, TooManyPhotos
from classifier.identify import Model, PhotoReading, Quality, read_photo
from classifier.photo import PhotoLimits
from guidance.advise.answer import answer, next_about_box
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.rows import ROLES, Role, nearest
from guidance.documents.answer import Answer, ModelInfo, Next
from guidance.identify.sources import Observed, check_observations


@dataclass(frozen=True)
class NamedPhoto:
    """The name under which a photo came, and how to get its bytes: only the photo that is being read is in memory."""

    name: str
    load: Callable[[], bytes]


@dataclass(frozen=True)
class Resources:
    """What every identification needs, loaded once."""

    model: Model
    catalogue: Catalogue
    limits: PhotoLimits
    shadow: Shadow | None = None

    @classmethod
    def load(cls, settings: Settings) -> "Resources":
        """Load catalogue and networks. Raises a `CatalogueError` or a `ModelError` that says which file is wrong."""
        catalogue = load(Path(settings.catalogue) if settings.catalogue else DEMO_CATALOGUE)
        model = Model.load(Path(settings.weights), settings.threads)
        return cls(model, catalogue, settings.photo_limits)


def read_photos(photos: Sequence[NamedPhoto], resources: Resources) -> tuple[list[PhotoReading], list[PhotoError]]:
    """Read photos as views of one lift: the readings, and the failures of those that cannot be read.

    A photo that is byte for byte an earlier one is named, and counts once.
    """
    readings: list[PhotoReading] = []
    failures: list[PhotoError] = []
    seen: dict[str, PhotoReading] = {}
    for photo in photos:
        data = photo.load()
        key = hashlib.sha256(data).hexdigest()
        if key in seen:
            readings.append(duplicate_of(seen[key], photo.name))
            continue
        try:
            seen[key] = read_photo(data, photo.name, resources.model, resources.limits)
            if resources.shadow:
                resources.shadow.offer(data, seen[key], resources.model)
            readings.append(seen[key])
        except PhotoError as error:
            failures.append(error)
    return readings, failures


def duplicate_of(first: PhotoReading, name: str) -> PhotoReading:
    """What is said of a photo that is byte for byte an earlier one of the same lift."""
    return PhotoReading(name, first.width, first.height, Quality(False, ("duplicate",)), ())


def check_request(photo_count: int, observations: Sequence[Observed], role: str, resources: Resources) -> None:
    """Refuse a request that cannot have an answer, before any photo is read."""
    if photo_count > MOST_PHOTOS:
        raise TooManyPhotos(
            f"{photo_count} photos came, at most {MOST_PHOTOS} views of one lift are read together. Send the best ones."
        )
    if photo_count == 0 and not observations:
        raise NothingToGoOn("Neither a photo nor an observation came. Send at least one of either.")
    if role not in ROLES:
        raise InputError(f"Role {role!r} came, one of {', '.join(ROLES)} is wanted{nearest(role, ROLES)}")
    check_observations(observations, resources.catalogue)


def told_alone(reading: PhotoReading, resources: Resources) -> Told:
    """What would be answered from this reading alone, of box and actuator: decision, favourite, its probability."""
    found = answer_for([reading], [], "caregiver", resources)
    parts = {"control_box": found.control_box, "actuator": found.actuator}
    return {
        name: {
            "decision": part.decision,
            "value": part.favourite,
            "probability": round(part.probabilities.get(part.favourite, 0.0), 4),
        }
        for name, part in parts.items()
    }


def answer_for(
    readings: Sequence[PhotoReading], observations: Sequence[Observed], role: Role, resources: Resources
) -> Answer:
    """The answer document for what was read and what was observed, in the words for this role."""
    model = resources.model
    info = ModelInfo.model_validate(asdict(model.info))
    return answer(readings, observations, resources.catalogue, info, model.facts, role)


def next_about_box_for(
    readings: Sequence[PhotoReading], observations: Sequence[Observed], role: Role, resources: Resources
) -> Next | None:
    """What settles the control box best, whatever is open of the mechanism."""
    model = resources.model
    return next_about_box(readings, observations, resources.catalogue, model.info.coverage, model.facts, role)
