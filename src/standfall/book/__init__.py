"""The build file (SQLite) and the tables for other programs (CSV, Parquet); docs/build-file.md."""

from standfall.book.export import export_tables
from standfall.book.fall_reader import read_fall
from standfall.book.fall_writer import write_fall
from standfall.book.reader import read_build
from standfall.book.schema import APPLICATION_ID, FORMAT_VERSION
from standfall.book.stored_fall import StoredFall
from standfall.book.writer import write_build

__all__ = [
    "APPLICATION_ID",
    "FORMAT_VERSION",
    "StoredFall",
    "export_tables",
    "read_build",
    "read_fall",
    "write_build",
    "write_fall",
]
