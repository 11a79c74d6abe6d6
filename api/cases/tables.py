"""The tables of the cases, as SQLAlchemy knows them. Times are milliseconds since 1970 in UTC, by our own clock."""

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    UniqueConstraint,
    false,
    text,
)

metadata = MetaData()

UNJUDGED = text("judged_version <> version AND (status = 'closed' OR judged_version > 0)")
"""Closed cases that changed since it was written down what they teach, and those that were opened again."""

UNTOLD = text("told_version <> version")
"""Cases whose line in the queue is behind; as text, so that the condition of the index and of a query are one."""

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
    Column("up_since_ms", BigInteger),  # since when somebody is up, or may be; none while nobody is
    # The case's line in the queue, folded from its events up to `told_version` (`api/cases/line.py`).
    Column("told_version", Integer, nullable=False, server_default="0"),
    Column("standing", Integer, nullable=False, server_default="1"),
    Column("status", String(24), nullable=False, server_default="open"),
    Column("occupied", String(8), nullable=False, server_default="unsure"),
    Column("symptom", String(64), nullable=False, server_default=""),
    Column("photo_count", Integer, nullable=False, server_default="0"),
    Column("taken_up", Boolean, nullable=False, server_default=false()),
    Column("assignee", String(80), nullable=False, server_default=""),
    Column("site", String(120), nullable=False, server_default=""),
    Column("asset", String(120), nullable=False, server_default=""),
    # The version of a closed case that was judged and labelled; 0 for a case that is not closed.
    Column("judged_version", Integer, nullable=False, server_default="0"),
    Index("cases_up_since_ms", "up_since_ms"),
    Index("cases_changed_ms", "changed_ms"),
    Index("cases_standing", "standing", "changed_ms", "id"),
    Index("cases_status", "status", "standing", "changed_ms", "id"),
    Index("cases_assignee", "assignee", "standing", "changed_ms", "id"),
    Index(
        "cases_untold",
        "id",
        sqlite_where=UNTOLD,
        postgresql_where=UNTOLD,
    ),
    Index("cases_unjudged", "id", sqlite_where=UNJUDGED, postgresql_where=UNJUDGED),
)

case_words = Table(  # what a case is found by: each word once, lower case and without accents
    "case_words",
    metadata,
    # In PostgreSQL compared letter by letter, as SQLite does, so that words that begin alike stand together.
    Column("word", String(80).with_variant(String(80, collation="C"), "postgresql"), primary_key=True),
    Column("case_id", String(24), ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
    Index("case_words_case_id", "case_id", "word"),
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

looking = Table(  # who has the page of a case open
    "looking",
    metadata,
    Column("case_id", String(24), ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
    Column("actor", String(80), primary_key=True),
    Column("seen_ms", BigInteger, nullable=False),
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

users = Table(  # the staff by name; with a password of ours, or known by another provider's subject
    "users",
    metadata,
    Column("id", String(24), primary_key=True),
    Column("name", String(40), nullable=False, unique=True),  # with which somebody signs in
    Column("called", String(80), nullable=False, unique=True),  # as colleagues see it in a case
    Column("role", String(16), nullable=False),
    Column("password_hash", String(200)),
    Column("issuer", String(300)),
    Column("subject", String(255)),
    Column("made_ms", BigInteger, nullable=False),
    Column("disabled_ms", BigInteger),
    UniqueConstraint("issuer", "subject"),
)

sign_in_tries = Table(  # by address and by name, both hashed; in the database, since several servers may share it
    "sign_in_tries",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("since_ms", BigInteger, nullable=False),
    Column("tries", Integer, nullable=False),
)

openid_tries = Table(  # who was sent to the provider and has not come back yet
    "openid_tries",
    metadata,
    Column("state_hash", String(64), primary_key=True),
    Column("browser_hash", String(64), nullable=False),
    Column("nonce", String(64), nullable=False),
    Column("verifier", String(128), nullable=False),
    Column("goes_to", String(400), nullable=False),
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
    Column("user_id", String(24), ForeignKey("users.id", ondelete="CASCADE")),  # none: by a role's token
)

audit = Table(
    "audit",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("role", String(16), nullable=False),
    Column("actor", String(80), nullable=False),
    Column("address", String(64), nullable=False),
    Column("action", String(80), nullable=False),
    Column("case_id", String(24), nullable=False),  # no reference: the line outlives the case
    Column("reason", String(400), nullable=False, server_default=""),
    Index("audit_case_id", "case_id"),
    Index("audit_at_ms", "at_ms"),
)

case_labels = Table(  # what a closed case teaches: the fields of a `ClosedCase`
    "case_labels",
    metadata,
    Column("case_id", String(24), ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
    Column("setting", String(64), nullable=False),
    Column("fault", String(64), nullable=False),
    Column("generation", String(64), nullable=False),
    Column("symptom", String(64), nullable=False),
    Column("proof", String(16), nullable=False),
    Index("case_labels_label", "setting", "fault", "generation", "symptom", "proof"),
)

taught_labels = Table(  # the fields of a `ClosedCase`, and how many closed cases that are deleted by now were such
    "taught_labels",
    metadata,
    Column("setting", String(64), primary_key=True),
    Column("fault", String(64), primary_key=True),
    Column("generation", String(64), primary_key=True),
    Column("symptom", String(64), primary_key=True),
    Column("proof", String(16), primary_key=True),
    Column("cases", Integer, nullable=False),
)

learning_photos = Table(  # pictures that may be learned from, by a consent of its own
    "learning_photos",
    metadata,
    Column("origin", String(24), primary_key=True),  # random: the name under which a picture is exported
    Column("photo_id", String(24), ForeignKey("photos.id", ondelete="CASCADE"), unique=True),  # none after its case
    Column("case_id", String(24), nullable=False, index=True),  # no reference: a labelled picture outlives its case
    Column("owner_hash", String(64), nullable=False, index=True),  # so that the caregiver's address still withdraws it
    Column("code", String(8), nullable=False),  # and so that the code does
    Column("agreed_ms", BigInteger, nullable=False),
    Column("sent_by", String(16), nullable=False),
    Column("picture", LargeBinary),
    Column("label", JSON(none_as_null=True)),  # what it shows by people's word, once its case is gone
)

learning_origins = Table(  # what was exported; one that no picture has any more was withdrawn
    "learning_origins",
    metadata,
    Column("origin", String(24), primary_key=True),
    Column("exported_ms", BigInteger, nullable=False),
)

learning_lifts = Table(  # which lift is which: by the hash of what names it here, and by a random name outside
    "learning_lifts",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("lift", String(24), nullable=False),
)

surveys = Table(  # walks round a pool; what its owner agreed to holds for every photo of the walk
    "surveys",
    metadata,
    Column("id", String(24), primary_key=True),
    Column("name", String(120), nullable=False),
    Column("learn", Boolean, nullable=False),
    Column("keep", Boolean, nullable=False),
    Column("opened_ms", BigInteger, nullable=False, index=True),
    Column("opened_by", String(80), nullable=False),
)

survey_lifts = Table(
    "survey_lifts",
    metadata,
    Column("survey_id", String(24), ForeignKey("surveys.id", ondelete="CASCADE"), primary_key=True),
    Column("token", String(32), primary_key=True),  # made on the telephone, so that a lift sent twice is one
    # No reference: photos that may be learned from outlive their case, and are still withdrawn with the survey.
    Column("case_id", String(24), nullable=False, index=True),
    Column("number", String(120), nullable=False),  # as people read it; empty until it is known
    Column("key", String(64), nullable=False),  # of what names the lift, as photos are learned from
    Column("joined", Boolean, nullable=False),  # somebody said that it is an earlier lift with the same number
    Column("opened_ms", BigInteger, nullable=False),
    Column("opened_by", String(80), nullable=False),
)

judged_cases = Table(  # what a closed case says of how right we were; it outlives the case, and names nobody
    "judged_cases",
    metadata,
    Column("case_id", String(24), primary_key=True),  # no reference: only a case that is deleted on request goes
    Column("version", Integer, nullable=False),  # the case's version that was judged
    Column("closed_ms", BigInteger, nullable=False),
    Column("checked_ms", BigInteger, nullable=False),  # when the last thing that judges was said
    Column("photos", Integer, nullable=False),
    Column("nothing_found", Boolean, nullable=False),  # photos came, and none showed a part of a lift
    Column("days", Integer, nullable=False),  # on which a technician said something
    Column("ordered", Integer, nullable=False),
    Column("returned", Integer, nullable=False),  # parts that came back because they did not fit
    Index("judged_cases_checked_ms", "checked_ms"),
)

judged_answers = Table(
    "judged_answers",
    metadata,
    Column("case_id", String(24), ForeignKey("judged_cases.case_id", ondelete="CASCADE"), primary_key=True),
    Column("about", String(24), primary_key=True),  # a component's answer, or a concept's reading
    Column("verdict", String(16), nullable=False),
    Column("value", String(64), nullable=False),
    Column("probability", Float),  # as it was stated
    Column("truth", String(64), nullable=False),  # by a technician; empty when that is not known
    Column("is_right", Boolean),  # none while nobody has checked it
    Column("photo_id", String(24), nullable=False),  # of a reading
)

held_back = Table(
    "held_back",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("component", String(16), nullable=False),
    Column("since_ms", BigInteger, nullable=False),
    Column("answers", Integer, nullable=False),  # checked when it was held back, and how many of them were wrong
    Column("wrong", Integer, nullable=False),
    Column("until_ms", BigInteger),  # none while it is held back
    Column("role", String(16), nullable=False),
    Column("actor", String(80), nullable=False),
    Column("reason", String(400), nullable=False),
)
Index(
    "held_back_once",
    held_back.c.component,
    unique=True,
    sqlite_where=held_back.c.until_ms.is_(None),
    postgresql_where=held_back.c.until_ms.is_(None),
)
