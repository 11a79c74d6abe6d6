"""Where the photos of an audit come from: a folder, a table of addresses, an object store; all through fsspec."""

from __future__ import annotations

import csv
import io
import posixpath
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from classifier.errors import InputError, PhotoTooLarge, UnreadablePhoto

PHOTO, LIFT = "photo", "lift"
"""Columns of a table of addresses; others may stand there and are not read."""

PATIENCE_S = 600.0
"""How long a store that does not answer is asked again."""

LONGEST_PAUSE_S = 20.0

NEVER_COMES = (FileNotFoundError, PermissionError, IsADirectoryError, NotADirectoryError, ValueError)
"""What asking again would not mend; everything else that a store raises may pass."""


class StoreUnreachable(InputError):
    """The store does not answer, or lets nobody in: nothing is said of its photos, and the audit can go on later."""


@dataclass(frozen=True)
class Listed:
    """A photo before anybody looked at it. `size` in bytes, None where unknown; `lift` when a table names it."""

    name: str
    folder: str
    size: int | None
    lift: str | None = None


@dataclass(frozen=True)
class Store:
    """Photos by name: below `root`, a folder or an address such as s3://bucket/folder, or by a whole address."""

    root: str
    patience_s: float = PATIENCE_S

    def load(self, name: str, size: int | None, most_bytes: int) -> bytes:
        """The bytes of a photo. Raises a `PhotoError` of this photo, or `StoreUnreachable`."""
        address = name if "://" in name or name.startswith("/") else f"{self.root.rstrip('/')}/{name}"
        ends, pause_s = time.monotonic() + self.patience_s, 0.5
        while True:
            try:
                return self._loaded(address, name, size, most_bytes)
            except PermissionError as problem:
                raise NotLetIn(name, "nobody is let in to read it. Ask for the right to read.") from problem
            except NEVER_COMES as problem:
                raise UnreadablePhoto(name, f"it is not there ({_why(problem)}). Check the address.") from problem
            except (UnreadablePhoto, PhotoTooLarge):
                raise
            except Exception as problem:  # each library of a store has errors of its own
                if "://" not in address:
                    raise UnreadablePhoto(name, f"the disk does not give it ({_why(problem)}).") from problem
                if time.monotonic() + pause_s > ends:
                    raise StoreUnreachable(
                        f"{address} was asked for during {self.patience_s:.0f} s and does not come ({_why(problem)}). "
                        "Start the same command again when the store answers: it goes on from here."
                    ) from problem
                time.sleep(pause_s)
                pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    def _loaded(self, address: str, name: str, size: int | None, most_bytes: int) -> bytes:
        fs, path = file_system(address)
        if size is None:
            told = fs.info(path)
            if told["type"] != "file":
                raise UnreadablePhoto(name, "it is no file. Give the address of a photo.")
            size = told["size"] or 0
        if size > most_bytes:
            told = f"{size / 2**20:.1f} MiB, at most {most_bytes / 2**20:.0f} MiB are read. Send it in a smaller size."
            raise PhotoTooLarge(name, told)
        return fs.cat_file(path) if size else b""


class NotLetIn(UnreadablePhoto):
    """Nobody is let in to read this photo."""


def file_system(address: str) -> tuple[Any, str]:
    """The file system of an address, and the path in it. Raises `InputError` where the address means none."""
    from fsspec.core import url_to_fs  # an extra that only an audit needs

    try:
        return url_to_fs(address, use_listings_cache=False)
    except (ValueError, ImportError) as problem:
        raise InputError(
            f"{address}: {_why(problem)}. A folder, a .csv or .parquet file, or an address that fsspec knows, such as "
            "s3://bucket/folder, is wanted."
        ) from None


def is_table(source: str) -> bool:
    """Whether a source is a table of addresses, by its suffix."""
    return source.lower().endswith((".csv", ".parquet"))


def store_of(source: str) -> Store:
    """Where the photos of a source lie: the folder itself, or that of the table."""
    if "://" in source:
        return Store(posixpath.dirname(source) if is_table(source) else source)
    path = Path(source).absolute()
    return Store(str(path.parent if is_table(source) else path))


def listed(source: str) -> Iterator[Listed]:
    """Every file of a source, whatever it holds. Raises `InputError` where the source cannot be read."""
    try:
        yield from _from_table(source) if is_table(source) else _from_folder(source)
    except FileNotFoundError:
        raise InputError(f"{source} is not there. Name a folder, a table or an address that is.") from None
    except PermissionError as problem:
        raise InputError(
            f"{source}: nobody is let in ({_why(problem)}). Ask for the right to list and to read."
        ) from None
    except InputError:
        raise
    except Exception as problem:  # each library of a store has errors of its own
        raise StoreUnreachable(f"{source} does not answer ({_why(problem)}). Try again when it does.") from problem


def _from_folder(source: str) -> Iterator[Listed]:
    fs, root = file_system(source)
    root = root.rstrip("/")
    if fs.info(root)["type"] == "file":  # says what is wrong, where `exists` only says no
        raise InputError(f"{source} is a file. A folder of photos, or a .csv or .parquet table, is wanted.")
    for folder, _, files in fs.walk(root, detail=True, on_error="raise"):
        below = folder.strip("/")[len(root.strip("/")) :].strip("/")
        for name, told in sorted(files.items()):
            if name:
                size = told.get("size") if told.get("type") == "file" else None
                yield Listed(posixpath.join(below, name), below, size)


def _from_table(source: str) -> Iterator[Listed]:
    fs, path = file_system(source)
    with fs.open(path, "rb") as file:
        rows = _parquet_rows(file, source) if source.lower().endswith(".parquet") else _csv_rows(file, source)
        for where, name, lift in rows:
            if not name:
                raise InputError(f"{source}, {where}: no address stands in {PHOTO!r}. One photo a line is wanted.")
            yield Listed(name, "", None, lift or None)


def _csv_rows(file: Any, source: str) -> Iterator[tuple[str, str, str]]:
    reader = csv.DictReader(io.TextIOWrapper(file, encoding="utf-8-sig", newline=""))
    try:
        _check_columns(reader.fieldnames or [], source)
        for row in reader:
            yield f"line {reader.line_num}", (row[PHOTO] or "").strip(), (row.get(LIFT) or "").strip()
    except (UnicodeDecodeError, csv.Error) as problem:
        raise InputError(f"{source}: no table in UTF-8 ({problem}). Save it as CSV in UTF-8.") from None


def _parquet_rows(file: Any, source: str) -> Iterator[tuple[str, str, str]]:
    from pyarrow import ArrowException, parquet, types

    try:
        table = parquet.ParquetFile(file)
    except (ArrowException, OSError) as problem:
        raise InputError(f"{source} is no whole Parquet file ({_why(problem)}). Write it again.") from None
    _check_columns(table.schema_arrow.names, source)
    wanted = [name for name in (PHOTO, LIFT) if name in table.schema_arrow.names]
    for name in wanted:
        kind = table.schema_arrow.field(name).type
        if not (types.is_string(kind) or types.is_large_string(kind)):
            raise InputError(f"{source}: column {name!r} holds {kind}, and text is wanted. Write it as strings.")
    number = 0
    for batch in table.iter_batches(columns=wanted):
        for row in batch.to_pylist():
            number += 1
            yield f"row {number}", (row[PHOTO] or "").strip(), (row.get(LIFT) or "").strip()


def _check_columns(names: list[str], source: str) -> None:
    if PHOTO not in names:
        came = ", ".join(names[:8]) or "none"
        raise InputError(
            f"{source}: no column {PHOTO!r} stands there; there are: {came}. Wanted are {PHOTO!r} (an address, or a "
            f"path from the table's folder) and, where known, {LIFT!r} (the lift's name)."
        )


def _why(problem: BaseException) -> str:
    said = problem.strerror if isinstance(problem, OSError) and problem.strerror else str(problem)
    return " ".join(str(said).split())[:200] or type(problem).__name__
