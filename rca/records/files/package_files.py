"""Files that travel with the package."""

import importlib.resources
import json
from pathlib import Path
from typing import Any

from rca.errors import RcaError


def shipped(name: str) -> Path:
    """Find `workbooks` or `data_demo`: beside the package in a checkout, inside it in a wheel."""
    package = Path(str(importlib.resources.files("rca")))
    for place in (package / "_shipped" / name, package.parent / name):
        if place.is_dir():
            return place
    raise RcaError(f"the folder {name} is not part of this installation", next_step="reinstall")


def package_json(name: str) -> Any:
    """Read a JSON file that travels inside the package, such as `records/fleet.schema.json`."""
    text = importlib.resources.files("rca").joinpath(name).read_text(encoding="utf-8")
    return json.loads(text)
