"""Read what is shipped beside the code: tables as TOML, pages as templates."""

import tomllib
from importlib.resources import files
from typing import Any


# Any: whoever asks for a table gives its values their types.
def read_tables(package: str, name: str) -> dict[str, Any]:
    """Return the tables of `name`.toml in a package."""
    return tomllib.loads((files(package) / f"{name}.toml").read_text(encoding="utf-8"))


def render(package: str, name: str, **values: Any) -> str:
    """Return a page made from the template `name` in the folder `pages` of a package.

    Every value is escaped; a name that the template asks for and nobody gives is an error.
    """
    # Imported here: tables are read wherever figures are, pages are made by a few verbs.
    from jinja2 import Environment, PackageLoader, StrictUndefined

    pages = Environment(
        loader=PackageLoader(package, "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    return pages.get_template(name).render(**values)
