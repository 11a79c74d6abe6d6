"""What servers share for minutes, in PostgreSQL alone. Unlogged: neither its log nor a copy of its files holds it."""

from sqlalchemy import BigInteger, Column, Float, ForeignKey, LargeBinary, MetaData, String, Table

from api.cases.tables import cases

shared = MetaData()

shelf = Table(
    "shelf",
    shared,
    Column("name", String(64), primary_key=True),  # a photo's id, or what a page gave a piece of one
    Column("case_id", String(24), ForeignKey(cases.c.id, ondelete="CASCADE"), nullable=False),
    Column("until_ms", BigInteger, nullable=False),
    Column("picture", LargeBinary, nullable=False),
    prefixes=["UNLOGGED"],
)

rates = Table(
    "rates",
    shared,
    Column("key", String(64), primary_key=True),  # hash of who asks and of the limit that counts them
    Column("requests_left", Float, nullable=False),
    Column("counted_ms", BigInteger, nullable=False),
    prefixes=["UNLOGGED"],
)
