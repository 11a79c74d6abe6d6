"""The tables of an audit as Parquet: their columns, and files that are written whole or not at all."""

from __future__ import annotations

import io
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pyarrow as pa
from pyarrow import parquet

from classifier.errors import InputError

_PROBABILITIES = pa.map_(pa.string(), pa.float64())
_CONCEPT = pa.struct([("concept", pa.string()), ("probabilities", _PROBABILITIES), ("set", pa.list_(pa.string()))])
_SUBJECT = pa.struct(
    [
        ("kind", pa.string()),
        ("box", pa.list_(pa.float64())),
        ("probability", pa.float64()),
        ("concepts", pa.list_(_CONCEPT)),
    ]
)
_READ = [
    ("failure", pa.string()),
    ("reason", pa.string()),
    ("width", pa.int32()),
    ("height", pa.int32()),
    ("usable", pa.bool_()),
    ("problems", pa.list_(pa.string())),
    ("label", pa.string()),
    ("subjects", pa.list_(_SUBJECT)),
]
READ = pa.schema(
    [
        ("number", pa.int64()),
        ("sha256", pa.string()),
        ("taken_s", pa.float64()),
        ("latitude", pa.float64()),
        ("longitude", pa.float64()),
        *_READ,
    ]
)
"""A piece of photos as they were read; taken and place stay empty unless the owner allows them, and go no further."""

PHOTOS = pa.schema(
    [("lift", pa.string()), ("photo", pa.string()), ("view", pa.int32()), ("unused", pa.string()), *_READ]
)
"""`view`: which photo of the lift's answer it is, from 1; empty when `unused` says why it is none."""

_COMPONENT = pa.struct(
    [
        ("decision", pa.string()),
        ("favourite", pa.string()),
        ("probabilities", _PROBABILITIES),
        ("set", pa.list_(pa.string())),
        ("contradictions", pa.list_(pa.string())),
    ]
)
_NEXT = pa.struct(
    [
        ("kind", pa.string()),
        ("id", pa.string()),
        ("ask", pa.string()),
        ("why", pa.string()),
        ("gain_bits", pa.float64()),
    ]
)
LIFTS = pa.schema(
    [
        ("lift", pa.string()),
        ("grouped_by", pa.list_(pa.string())),
        ("grouping_doubts", pa.list_(pa.string())),
        ("photos", pa.int32()),
        ("views", pa.int32()),
        ("chosen", pa.string()),
        ("catalogue", pa.struct([("id", pa.string()), ("version", pa.string())])),
        ("model", pa.string()),
        ("control_box", _COMPONENT),
        ("actuator", _COMPONENT),
        ("missing", pa.list_(pa.string())),
        ("next", _NEXT),
        ("doubt_bits", pa.float64()),
    ]
)
"""One row a lift; `control_box`, `actuator` and `catalogue` as in the answer document, so that `pool` reads them."""

ROWS_A_GROUP = 1024
"""Of a row group, at least: of each one a writer keeps some kilobytes until the file is closed."""


def encoded(rows: list[dict[str, Any]], schema: pa.Schema) -> bytes:
    """Rows as the bytes of a Parquet file."""
    buffer = io.BytesIO()
    parquet.write_table(pa.Table.from_pylist(rows, schema), buffer, compression="zstd")
    return buffer.getvalue()


def rows_of(path: Path, columns: list[str] | None = None) -> list[dict[str, Any]]:
    """The rows of a Parquet file, maps as objects."""
    return _read(path, columns).to_pylist(maps_as_pydicts="strict")


def _read(path: Path, columns: list[str] | None = None) -> pa.Table:
    # Not by `read_table`, which is made for folders of files, and loads pandas where that is installed.
    with parquet.ParquetFile(path, memory_map=False) as file:
        return file.read(columns, use_threads=False)


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A name to write under; what was written gets `path` for its name when all of it lies on the disk, else goes.

    Raises `InputError` when the disk is full or does not take it.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        yield part
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as problem:
        raise InputError(
            f"{path} could not be written ({problem.strerror or problem}). Make room, or the right to write, and start "
            "the same command again: it goes on from here."
        ) from problem
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all. Raises `InputError` when the disk does not take it."""
    with whole(path) as part:
        part.write_bytes(data)


def join(pieces: Iterable[Path], path: Path, schema: pa.Schema) -> None:
    """Pieces as one Parquet file, the rows of one row group in memory at a time."""
    waiting: list[pa.Table] = []
    with whole(path) as part, parquet.ParquetWriter(part, schema, compression="zstd") as writer:
        for piece in pieces:
            waiting.append(_read(piece))
            if sum(map(len, waiting)) >= ROWS_A_GROUP:
                writer.write_table(pa.concat_tables(waiting))
                waiting.clear()
        if waiting:
            writer.write_table(pa.concat_tables(waiting))
