"""Repairs that come in several files: which they are, and their rows as one table."""

from collections.abc import Mapping

import pandas as pd

from rca.records.columns import table_of
from rca.records.importing.table_proposal import TableProposal
from rca.records.joining import joined


def files_of_repairs(tables: Mapping[str, TableProposal]) -> tuple[TableProposal, ...]:
    """Return the files of the repairs, the first one first."""
    return tuple(one for name, one in tables.items() if table_of(name) == "repairs")


def all_repairs(tables: Mapping[str, TableProposal]) -> pd.DataFrame | None:
    """Return the repairs of all files, None while one of them cannot be read."""
    checked = [one.checked for one in files_of_repairs(tables)]
    read = [one for one in checked if one is not None]
    return joined(read).frame if len(read) == len(checked) else None
