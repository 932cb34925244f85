"""Names from the records as names of files: they can neither leave their folder nor clash."""

import hashlib
import re
import unicodedata
from collections.abc import Iterable

LONGEST = 40
_RESERVED = {"con", "prn", "aux", "nul", "latest", "failed", "rows"} | {
    f"{port}{number}" for port in ("com", "lpt") for number in range(10)
}  # no file of such a name can be made on some systems, or the kit uses it itself


def file_name(name: str) -> str:
    """Return a name of small letters, digits and hyphens, told apart by a hash where needed.

    Names that differ by more than case, which the records do not tell apart either, give
    different results.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:LONGEST].strip("-")
    if plain and plain.replace("-", " ") == name.casefold() and plain not in _RESERVED:
        return plain
    mark = hashlib.sha256(name.casefold().encode("utf-8", "surrogatepass")).hexdigest()[:6]
    return f"{plain}-{mark}" if plain else mark


def file_names(names: Iterable[str]) -> dict[str, str]:
    """Return the file name of each name."""
    return {name: file_name(name) for name in names}
