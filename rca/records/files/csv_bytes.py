"""A table as the bytes of a CSV file, written column by column."""

import io
from typing import Any

import pandas as pd
import pyarrow as pa
from pyarrow import compute, csv


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """Return a table as UTF-8 CSV: words in quotes, days as ISO dates, what is unknown as blank.

    By Arrow's writer, which is some eight times as fast as pandas'.
    """
    columns = [_column(frame.iloc[:, place]) for place in range(frame.shape[1])]
    stream = io.BytesIO()
    csv.write_csv(pa.table(columns, names=[str(name) for name in frame.columns]), stream)
    return stream.getvalue()


def _column(column: pd.Series) -> Any:
    kind = column.dtype
    if pd.api.types.is_datetime64_any_dtype(kind):
        days = bool((column.dropna() == column.dropna().dt.normalize()).all())
        return pa.array(column.astype("datetime64[s]")).cast(pa.date32() if days else pa.string())
    if pd.api.types.is_bool_dtype(kind):
        return compute.if_else(pa.array(column), "True", "False")
    try:
        return pa.array(column, from_pandas=True)
    except (pa.ArrowInvalid, pa.ArrowTypeError):  # cells of several kinds
        return pa.array([None if one is None or one != one else str(one) for one in column])
