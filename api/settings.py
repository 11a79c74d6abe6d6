"""Every setting in one table: name, default, help. Each is read from the environment variable HOISTLORE_<NAME>."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches

from classifier.errors import SettingsError
from classifier.identify import WEIGHTS_DIR
from classifier.photo import PhotoLimits

PREFIX = "HOISTLORE_"
MOST_PHOTOS = 6
"""Photos that are read together as views of one lift; part of the contract, so no setting."""


def _setting(default: object, help_: str, least: int | None = None):
    return field(default=default, metadata={"help": help_, "least": least})


@dataclass(frozen=True)
class Settings:
    """How this installation runs. Nothing else is configurable."""

    catalogue: str = _setting("", "catalogue file of your own pool; empty: the invented demo pool")
    weights: str = _setting(str(WEIGHTS_DIR), "directory with model.json and the two networks")
    database: str = _setting("sqlite:///hoistlore.db", "where cases are kept: sqlite:///FILE or postgresql://…")
    host: str = _setting("127.0.0.1", "address that `hoistlore serve` listens on")
    port: int = _setting(8000, "port that `hoistlore serve` listens on", 0)
    max_photo_mib: int = _setting(25, "largest photo, in MiB", 1)
    max_request_mib: int = _setting(80, "largest request with all its photos, in MiB", 1)
    max_megapixels: int = _setting(64, "most pixels of a photo, in millions, judged before it is decoded", 1)
    threads: int = _setting(1, "processor threads that one photo may use in the networks", 1)
    slots: int = _setting(2, "photos that the server reads at the same time", 1)
    queue: int = _setting(16, "requests that may wait for a slot; more are told 503 and when to come again", 0)
    requests_per_minute: int = _setting(240, "requests a minute from one address; more are told 429; 0: no limit", 0)
    requests_per_minute_per_case: int = _setting(120, "requests a minute for one case; 0: no limit", 0)
    agent_token: str = _setting("", "with which agents sign in; empty: nobody can")
    technician_token: str = _setting("", "with which technicians sign in; empty: nobody can")
    administrator_token: str = _setting("", "with which administrators sign in; empty: nobody can")
    photo_days: int = _setting(30, "days that a photo is kept when its sender agreed", 1)
    case_days: int = _setting(180, "days after its last change that a closed or never taken up case is deleted", 1)

    @property
    def photo_limits(self) -> PhotoLimits:
        return PhotoLimits(self.max_photo_mib * 2**20, self.max_megapixels * 1_000_000)

    @classmethod
    def from_environment(cls, environ: Mapping[str, str], **overrides: object) -> "Settings":
        """Settings from HOISTLORE_* variables, then from `overrides` that are not None. Raises `SettingsError`."""
        known = {PREFIX + f.name.upper(): f for f in fields(cls)}
        for name in sorted(set(environ) - set(known)):
            meant = get_close_matches(name, known, n=1, cutoff=0.9) if name.startswith(PREFIX) else []
            if meant:
                raise SettingsError(f"{name} is no setting; did you mean {meant[0]}?")
        values = {f.name: environ[name] for name, f in known.items() if environ.get(name)}
        values |= {name: value for name, value in overrides.items() if value is not None}
        return cls(**{f.name: _parsed(f, values[f.name]) for f in fields(cls) if f.name in values})


def _parsed(setting, came: object) -> object:
    if setting.type is not int:
        return str(came)
    least = setting.metadata["least"]
    try:
        value = int(came)
    except (TypeError, ValueError):
        value = None
    if value is None or value < least:
        raise SettingsError(
            f"{PREFIX}{setting.name.upper()} is {came!r}; a whole number of at least {least} is wanted "
            f"({setting.metadata['help']})."
        )
    return value
