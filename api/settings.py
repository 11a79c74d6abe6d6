"""Every setting in one table: name, default, help. Each is read from the environment variable HOISTLORE_<NAME>."""

import logging
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches

from classifier.errors import SettingsError
from classifier.identify import WEIGHTS_DIR
from classifier.photo import PhotoLimits

PREFIX = "HOISTLORE_"
MOST_PHOTOS = 6
"""Photos that are read together as views of one lift; part of the contract, so no setting."""


LOG = logging.getLogger("hoistlore")

PHONE = re.compile(r"\+?[0-9][0-9 ()./-]{1,28}")
NAME = re.compile(r"[^\x00-\x1f\x7f<>{}\\]{1,60}")
COLOUR = re.compile(r"#[0-9A-Fa-f]{6}")
PUBLIC_ADDRESS = re.compile(r"https?://[A-Za-z0-9.-]+(:[0-9]{1,5})?/?")


def _setting(default: object, help_: str, least: int | None = None, form: re.Pattern | None = None, wanted: str = ""):
    """`least`: of a whole number. `form`: what a text that is not empty looks like, `wanted` in words."""
    return field(default=default, metadata={"help": help_, "least": least, "form": form, "wanted": wanted})


@dataclass(frozen=True)
class Settings:
    """How this installation runs. Nothing else is configurable."""

    catalogue: str = _setting("", "catalogue file of your own pool; empty: the invented demo pool")
    languages: str = _setting("", "folder with further languages of the pages, such as ar.po; empty: ours alone")
    weights: str = _setting(str(WEIGHTS_DIR), "directory with model.json and the two networks")
    shadow: str = _setting("", "directory of a model that is tried on live photos and shown to nobody; empty: none")
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
    agent_token: str = _setting("", "of programs that act as agent; empty: none can")
    technician_token: str = _setting("", "of programs that act as technician; empty: none can")
    administrator_token: str = _setting("", "of programs that act as administrator; empty: none can")
    service_phone: str = _setting(
        "",
        "telephone of your service, to tap on every page; empty: the pages say “your service”",
        form=PHONE,
        wanted="a telephone number such as +49 30 1234567",
    )
    emergency_phone: str = _setting(
        "",
        "emergency number, to tap while somebody is up; empty: the pages name none",
        form=PHONE,
        wanted="a telephone number such as 112",
    )
    public_address: str = _setting(
        "",
        "address under which telephones reach this server, for links and codes; empty: the one asked, if it is ours",
        form=PUBLIC_ADDRESS,
        wanted="an address such as https://lifts.example.org, without a path",
    )
    operator_name: str = _setting(
        "",
        "name of whoever runs this, on every page; empty: none",
        form=NAME,
        wanted="a name of at most 60 letters, digits and signs",
    )
    operator_colour: str = _setting("", "colour of buttons and links", form=COLOUR, wanted="a colour such as #0a4a45")
    operator_colour_dark: str = _setting(
        "", "the same in the dark theme", form=COLOUR, wanted="a colour such as #a5e0d6"
    )
    metrics_token: str = _setting("", "of the program that reads /metrics, and may do nothing else; empty: none")
    openid_issuer: str = _setting("", "address of the OpenID provider that staff sign in through; empty: none")
    openid_client_id: str = _setting("", "how the provider calls this server")
    openid_client_secret: str = _setting(
        "", "with which this server proves itself to the provider; empty: by PKCE alone"
    )
    openid_role_claim: str = _setting("role", "claim with the role, a word or a list of words; dots lead into a claim")
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


def warn_of_missing(settings: Settings) -> None:
    """Say in the log what whoever stands beside a person in the air will not find on the pages."""
    for name in ("service_phone", "emergency_phone", "public_address"):
        if not getattr(settings, name):
            help_ = next(f.metadata["help"] for f in fields(Settings) if f.name == name)
            LOG.warning("%s%s is not set (%s).", PREFIX, name.upper(), help_)


def _parsed(setting, came: object) -> object:
    if setting.type is not int:
        return _text(setting, str(came).strip())
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


def _text(setting, came: str) -> str:
    form = setting.metadata["form"]
    if came and form is not None and not form.fullmatch(came):
        name = PREFIX + setting.name.upper()
        raise SettingsError(f"{name} is {came!r}; {setting.metadata['wanted']} is wanted, or nothing.")
    return came
