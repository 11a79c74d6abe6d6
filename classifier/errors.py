"""Everything that can go wrong, drawn once. Each message says what came, what is wanted and what to do next.

HoistloreError
├── PhotoError                 one photo cannot be used; the others can
│   ├── NotAPhoto              the bytes are no picture format that we read
│   ├── PhotoTooLarge          more bytes or more pixels than the limits allow
│   └── UnreadablePhoto        the right format, but empty, cut off or damaged
├── InputError                 the request as a whole makes no sense
│   ├── NothingToGoOn          neither a photo nor an observation
│   ├── TooManyPhotos          more views of one lift than we read together
│   ├── ObservationError       an observation that the catalogue does not know
│   ├── PoolError              a list of lifts, or a question about them, that cannot be used
│   └── CaseError              a troubleshooting case that the catalogue does not know
│       └── ReadingError       a meter reading that no instrument can give
├── CatalogueError             a catalogue that does not hold together: file, row, reason
├── NetworkError               probabilities that are none, a cycle, evidence that cannot be
├── SettingsError              a setting whose value cannot be used
└── ModelError                 the networks cannot be trusted; nothing starts
    ├── WeightsMissing
    ├── WeightsAltered
    └── WeightsMalformed
"""

from collections.abc import Sequence

from classifier.messages import Message


class HoistloreError(Exception):
    """The root of every failure that this project raises on purpose."""

    @property
    def message(self) -> str:
        """What it says: a `Message` where it was raised with one, so that it can be said in another language."""
        return self.args[0] if self.args and isinstance(self.args[0], Message) else str(self)


class PhotoError(HoistloreError):
    """A photo that cannot be used. `name` is the name under which it came, `reason` the sentence without that name."""

    def __init__(self, name: str, reason: str) -> None:
        super().__init__(f"{name}: {reason}")
        self.name = name
        self.reason = reason


class NotAPhoto(PhotoError):
    """The content is none of the formats that we read, whatever its name or declared type says."""


class PhotoTooLarge(PhotoError):
    """More bytes or more pixels than the limits allow; refused before it is decoded."""


class UnreadablePhoto(PhotoError):
    """A format that we read, but empty, cut off or damaged. A photo is read whole or not at all."""


class InputError(HoistloreError):
    """The request as a whole makes no sense, whatever the photos show."""


class NothingToGoOn(InputError):
    """Neither a photo nor an observation came."""


class TooManyPhotos(InputError):
    """More photos than are read together as views of one lift."""


class ObservationError(InputError):
    """An observation that the catalogue does not know, or one given twice with two answers."""


class PoolError(InputError):
    """A list of lifts, or a question about them, that cannot be used; the message names the line."""


class CaseError(InputError):
    """A troubleshooting case with an id or an outcome that the catalogue does not know."""


class ReadingError(CaseError):
    """A meter reading that no instrument on this pack can give; the message says what is possible.

    `reading`: the field that it came in, and its place among several there, from 0; an empty name where it is of none
    in particular.
    """

    def __init__(self, message: str, reading: tuple[str, int] = ("", 0)) -> None:
        super().__init__(message)
        self.reading = reading


class NetworkError(HoistloreError):
    """A fault network that is none, or evidence that it cannot hold; the message names the node."""


class CatalogueError(HoistloreError):
    """A catalogue that does not hold together. `problems` are the faults found, each with file, row and reason."""

    def __init__(self, problems: Sequence[object]) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = tuple(problems)


class SettingsError(HoistloreError):
    """A setting whose value cannot be used; the message names the setting and what it may be."""


class ModelError(HoistloreError):
    """The networks cannot be trusted as they lie there, so nothing starts."""


class WeightsMissing(ModelError):
    """A file of the model is not there."""


class WeightsAltered(ModelError):
    """A file of the model is not the one that the metadata describes."""


class WeightsMalformed(ModelError):
    """The metadata or a network does not have the shape that the serving code needs."""
