"""The tables of an audit: many small pieces become one file of few row groups, and no row is lost or moved."""

from pathlib import Path

from pyarrow import parquet

from api.audit.tables import PHOTOS, ROWS_A_GROUP, encoded, join, rows_of


def test_pieces_come_together_in_their_order_and_in_few_row_groups(tmp_path: Path) -> None:
    pieces = []
    for number in range(5):  # the third one fills a group, the last two are what is left
        rows = [{"photo": f"{number}/{row}.jpg", "problems": ["dark"]} for row in range(ROWS_A_GROUP // 3 + 1)]
        pieces.append(tmp_path / f"{number}.parquet")
        pieces[-1].write_bytes(encoded(rows, PHOTOS))
    join(pieces, tmp_path / "all.parquet", PHOTOS)
    assert rows_of(tmp_path / "all.parquet") == [row for piece in pieces for row in rows_of(piece)]
    assert parquet.ParquetFile(tmp_path / "all.parquet").num_row_groups == 2


def test_no_piece_makes_an_empty_table(tmp_path: Path) -> None:
    join([], tmp_path / "none.parquet", PHOTOS)
    assert rows_of(tmp_path / "none.parquet") == []
    assert parquet.ParquetFile(tmp_path / "none.parquet").schema_arrow.names == PHOTOS.names
