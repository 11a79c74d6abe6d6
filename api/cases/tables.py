"""The tables of the cases, as SQLAlchemy knows them. Times are milliseconds since 1970 in UTC, by our own clock."""

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    UniqueConstraint,
)

metadata = MetaData()

cases = Table(
    "cases",
    metadata,
    Column("id", String(24), primary_key=True),
    Column("code", String(8), nullable=False, unique=True),  # to read out on the telephone; opens nothing by itself
    Column("owner_hash", String(64), nullable=False, unique=True),  # of the token in the caregiver's address
    Column("language", String(16), nullable=False),
    Column("version", Integer, nullable=False),
    Column("keep_photos", Boolean, nullable=False),
    Column("opened_ms", BigInteger, nullable=False),
    Column("changed_ms", BigInteger, nullable=False),
)

events = Table(
    "events",
    metadata,
    Column("case_id", String(24), ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
    Column("version", Integer, primary_key=True),  # the case's version after this event: two cannot claim one
    Column("at_ms", BigInteger, nullable=False),
    Column("role", String(16), nullable=False),
    Column("actor", String(80), nullable=False),
    Column("kind", String(24), nullable=False),
    Column("said", JSON, nullable=False),
    Column("known", JSON, nullable=False),  # what the case looked like to whoever said it
    Index("events_kind", "kind"),
)

photos = Table(
    "photos",
    metadata,
    Column("id", String(24), primary_key=True),
    Column("case_id", String(24), ForeignKey("cases.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("sha256", String(64), nullable=False),
    Column("received_ms", BigInteger, nullable=False),
    Column("reading", JSON, nullable=False),
    Column("picture", LargeBinary),  # only with consent, and only until keep_until_ms
    Column("keep_until_ms", BigInteger),
    UniqueConstraint("case_id", "sha256"),  # a photo that is sent again is the same photo
)

links = Table(
    "links",
    metadata,
    Column("token_hash", String(64), primary_key=True),
    Column("case_id", String(24), ForeignKey("cases.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("expires_ms", BigInteger, nullable=False),
)

sessions = Table(
    "sessions",
    metadata,
    Column("token_hash", String(64), primary_key=True),
    Column("role", String(16), nullable=False),
    Column("actor", String(80), nullable=False),
    Column("form_key", String(48), nullable=False),
    Column("expires_ms", BigInteger, nullable=False),
)

audit = Table(
    "audit",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("role", String(16), nullable=False),
    Column("actor", String(80), nullable=False),
    Column("address", String(64), nullable=False),
    Column("action", String(32), nullable=False),
    Column("case_id", String(24), nullable=False),  # no reference: the line outlives the case
    Index("audit_case_id", "case_id"),
    Index("audit_at_ms", "at_ms"),
)

taught = Table(
    "taught",
    metadata,
    Column("setting", String(64), primary_key=True),
    Column("fault", String(64), primary_key=True),
    Column("cases", Integer, nullable=False),  # how many closed cases that are deleted by now had confirmed this fault
)
