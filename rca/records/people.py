"""Names of people never leave the records: technicians and drivers become pseudonyms on reading.

A pseudonym is a keyed hash of the name. The key (salt) comes from the variable that fleet.yaml
names under `people: {salt_env: ...}`; without one it is drawn from the earliest repairs
themselves, so that only who has the records could try names against it. Pseudonyms stay the same
from month to month as long as the salt does.
"""

import hashlib
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from rca.errors import Problem, Refused
from rca.records.cells import cell_text
from rca.records.columns import TABLES
from rca.records.tables import CheckedTable

ROLES = ("technician", "driver", "mechanic")
EARLIEST = 50  # repairs from which the salt is drawn
MOST_NAMES = 5000  # looked for in free text; more would make reading slow
_WORDS_OF = {name: {one.name for one in columns} for name, columns in TABLES.items()}


def with_pseudonyms(
    checked: Mapping[str, CheckedTable], *, columns: Iterable[str] = (), salt_env: str = ""
) -> dict[str, CheckedTable]:
    """Return the tables with every name of a person replaced, in its column and in free text.

    Parameters
    ----------
    columns
        Further columns, by their name, that hold names of people. Those with technician, driver
        or mechanic in their name always count.
    salt_env
        Environment variable that holds the salt; "" draws it from the earliest repairs.

    Raises
    ------
    Refused
        The environment variable is not set.
    """
    found = {
        name: [column for column in table.frame if _names_people(name, str(column), columns)]
        for name, table in checked.items()
    }
    if not any(found.values()):
        return dict(checked)
    key = _salt(checked["repairs"].frame, salt_env)
    names = _distinct(checked, found)
    aliases = {name: pseudonym(name, key=key) for name in names}
    spoken = _spoken(aliases)
    return {name: _hidden(table, found[name], aliases, spoken) for name, table in checked.items()}


def pseudonym(name: str, *, key: bytes) -> str:
    """Return the pseudonym of a name; case and spaces make no difference."""
    folded = " ".join(name.split()).casefold()
    return "person-" + hashlib.blake2b(folded.encode(), key=key, digest_size=5).hexdigest()


def _names_people(table: str, column: str, further: Iterable[str]) -> bool:
    if column in further:
        return True
    words = re.split(r"[^a-z]+", column.casefold())  # technician, Driver name, mechanic_2
    own = column in _WORDS_OF.get(table, set())
    return not own and any(word.removesuffix("s") in ROLES for word in words)


def _salt(repairs: pd.DataFrame, salt_env: str) -> bytes:
    if salt_env:
        secret = os.environ.get(salt_env)
        if not secret:
            rule = f"the environment has no {salt_env}, which people: salt_env names"
            step = "set it to any long text and keep it the same every month"
            raise Refused([Problem("fleet.yaml", 0, "people.salt_env", salt_env, rule, step)])
        return hashlib.blake2b(secret.encode()).digest()
    first = repairs.sort_values(["date", "unit", "part"], kind="stable").head(EARLIEST)
    return hashlib.blake2b(first.to_csv(index=False).encode()).digest()


def _distinct(checked: Mapping[str, CheckedTable], found: Mapping[str, list[str]]) -> list[str]:
    """List all names of people, of rows set aside too."""
    names: dict[str, None] = {}
    for name, columns in found.items():
        table = checked[name]
        frames = [table.frame] if table.unused is None else [table.frame, table.unused]
        for frame in frames:
            for column in columns:
                names |= dict.fromkeys(cell_text(one) for one in frame[column].dropna().unique())
    names.pop("", None)
    return list(names)


def _spoken(aliases: Mapping[str, str]) -> tuple[re.Pattern[str], dict[str, str]] | None:
    """Find names of two words or more as they may stand in free text; codes are left alone."""
    longer = [name for name in aliases if len(name.split()) > 1 and re.search(r"[^\W\d]", name)]
    if not longer or len(longer) > MOST_NAMES:
        return None
    ordered = sorted(longer, key=len, reverse=True)
    words = "|".join(r"\s+".join(map(re.escape, name.split())) for name in ordered)
    pattern = re.compile(rf"(?<!\w)(?:{words})(?!\w)", re.IGNORECASE)
    return pattern, {" ".join(name.split()).casefold(): aliases[name] for name in longer}


def _hidden(
    table: CheckedTable,
    columns: list[str],
    aliases: Mapping[str, str],
    spoken: tuple[re.Pattern[str], dict[str, str]] | None,
) -> CheckedTable:
    frame, unused = (
        None if one is None else _without_names(one, table.table, columns, aliases, spoken)
        for one in (table.frame, table.unused)
    )
    aside = table.set_aside
    if spoken is not None and len(aside):
        aside = aside.assign(value=_said(aside["value"], spoken))
    assert frame is not None
    return replace(table, frame=frame, unused=unused, set_aside=aside)


def _without_names(
    frame: pd.DataFrame,
    table: str,
    columns: list[str],
    aliases: Mapping[str, str],
    spoken: tuple[re.Pattern[str], dict[str, str]] | None,
) -> pd.DataFrame:
    new = {}
    for column in columns:
        text = frame[column].map(cell_text)
        plain = np.array([aliases.get(one, "") for one in text], dtype=object)
        categorical = isinstance(frame[column].dtype, pd.CategoricalDtype)
        new[column] = pd.Categorical(plain) if categorical else plain
    if spoken is not None:
        kinds = {one.name: one.kind for one in TABLES[table]}
        free = [
            name for name in frame if name not in columns and kinds.get(str(name), "free") == "free"
        ]
        new |= {name: _said(frame[name], spoken) for name in free}
    return frame.assign(**new)


def _said(column: pd.Series, spoken: tuple[re.Pattern[str], dict[str, str]]) -> pd.Series:
    """Replace names in the distinct texts of a column."""
    if isinstance(column.dtype, pd.CategoricalDtype) or not (
        column.dtype == object or pd.api.types.is_string_dtype(column.dtype)
    ):
        return column
    pattern, known = spoken

    def alias(found: re.Match[str]) -> str:
        return known[" ".join(found.group().split()).casefold()]

    changed = {
        text: pattern.sub(alias, text)
        for text in column.dropna().unique()
        if isinstance(text, str) and pattern.search(text)
    }
    return column.replace(changed) if changed else column
