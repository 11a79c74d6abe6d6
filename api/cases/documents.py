"""What programs are given of cases, as the description of the API tells it: anything else would be a fault of ours."""

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.cases.store import CaseRow


class Told(BaseModel):
    """Base of what is told: a field that is not described here is never sent."""

    model_config = ConfigDict(extra="forbid")


class CaseLine(Told):
    """One case in the list. Times are milliseconds since 1970 in UTC."""

    id: str
    code: str = Field(description="to read out on the telephone")
    language: str
    version: int = Field(ge=1, description="how many events it has")
    opened_ms: int
    changed_ms: int
    up_since_ms: int | None = Field(description="since when somebody is up, or may be; null while nobody is")


class KeptPhoto(Told):
    """One photo of a case: what was read in it, and its picture while that is kept."""

    id: str
    sha256: str = Field(pattern="^[0-9a-f]{64}$", description="of the file as it came")
    received_ms: int
    reading: dict[str, Any] = Field(description="as in `photos` of an identification")
    keep_until_ms: int | None = Field(description="when its sender agreed that it is kept")
    learn_since_ms: int | None = Field(description="since when it may be learned from, when its sender agreed to that")
    picture_jpeg_base64: str | None


class AuditEntry(Told):
    """One line of the audit log about this case."""

    at_ms: int
    role: str
    actor: str
    address: str
    action: str
    reason: str = Field(description="what somebody gave for it; mostly none")


class CaseDocument(Told):
    """Everything that is kept of one case."""

    schema_version: Literal["1"]
    case: CaseRow
    to_order: list[dict[str, Any]] = Field(description="the basket: part numbers with their quantities")
    photos: list[KeptPhoto]
    audit: list[AuditEntry]
