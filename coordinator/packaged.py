"""Read the tables that are shipped beside the code as TOML."""

import tomllib
from importlib.resources import files
from typing import Any


# Any: whoever asks for a table gives its values their types.
def read_tables(package: str, name: str) -> dict[str, Any]:
    """Return the tables of `name`.toml in a package."""
    return tomllib.loads((files(package) / f"{name}.toml").read_text(encoding="utf-8"))
