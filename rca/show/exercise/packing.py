"""Zip files that are the same byte by byte whenever and wherever they are made."""

import io
import zipfile
from collections.abc import Mapping

FIXED_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can hold; tells nothing


def packed(held: Mapping[str, bytes]) -> bytes:
    """Return a zip of named contents, in order of name, with one fixed date and fixed rights.

    Nothing is compressed: packed bytes would hang on the version of the library.
    """
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(held):
            entry = zipfile.ZipInfo(name, FIXED_DATE)
            entry.create_system = 3
            entry.external_attr = 0o100644 << 16
            archive.writestr(entry, held[name])
    return stream.getvalue()
