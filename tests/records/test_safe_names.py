"""Names of files made of names from the records."""

import re

from hypothesis import given
from hypothesis import strategies as st

from rca.records.safe_names import file_name


def test_plain_names_stay_readable_and_reserved_ones_do_not():
    assert file_name("Hill Road") == "hill-road"
    for name in ("con", "NUL", "com1", "latest", "rows"):
        assert file_name(name) != name.lower()


def test_names_cannot_leave_their_folder():
    for name in ("../../etc/passwd", "..", ".", "", "/", "C:\\x", "a\x00b", "a" * 500, "日本"):
        assert re.fullmatch(r"[a-z0-9][a-z0-9-]{0,60}", file_name(name))


@given(st.lists(st.text(max_size=20), unique_by=str.casefold, min_size=2, max_size=6))
def test_different_names_never_clash(names):
    assert len({file_name(name) for name in names}) == len(names)
