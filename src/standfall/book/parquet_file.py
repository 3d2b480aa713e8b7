"""A table as Apache Parquet, typed, with units in the metadata of its fields."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from standfall.book.column import Column, Table

# Rows per row group: small enough for a progress bar, large enough for readers that skip by row group.
_GROUP = 100_000


def write_parquet(table: Table, path: Path, told: Callable[[int], None]) -> None:
    """Write a table.

    Names are dictionary-encoded strings, null for none; numbers keep their full precision and are null only
    in columns that may have gaps. Each field carries ``unit`` (where it has one) and ``about`` in its metadata.

    Args:
        table: what to write.
        path: where to; the file is overwritten.
        told: called with the number of rows written so far.
    """
    # Loading pyarrow takes a good part of a second, so only those wait who want this.
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.schema([_field(pa, column) for column in table.columns])
    with pq.ParquetWriter(path, schema, version="2.6", compression="snappy") as writer:
        for first in range(0, max(len(table), 1), _GROUP):
            told(first)
            part = table.part(first, first + _GROUP)
            arrays = [_array(pa, column) for column in part.columns]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema), row_group_size=_GROUP)
        told(len(table))


def _field(pa: Any, column: Column) -> Any:
    metadata = {"about": column.about} | ({"unit": column.unit} if column.unit else {})
    if column.names is not None:
        return pa.field(column.name, pa.dictionary(pa.int16(), pa.string()), metadata=metadata)
    kind = pa.from_numpy_dtype(column.values.dtype)
    return pa.field(column.name, kind, nullable=column.gaps, metadata=metadata)


def _array(pa: Any, column: Column) -> Any:
    if column.names is None:
        return pa.array(column.values, from_pandas=column.gaps)
    numbers = pa.array(column.values.astype("int16"), mask=column.values < 0)
    return pa.DictionaryArray.from_arrays(numbers, pa.array(column.names, pa.string()))
