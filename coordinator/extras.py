"""Say in one line which optional packages a verb needs, and how to install them."""

from importlib.util import find_spec

EXTRAS = {
    "cluster": ("distributed",),
    "figures": ("matplotlib",),
    "gateway": ("asyncua", "pymodbus"),
    "order": ("ortools",),
    "parquet": ("pyarrow",),
    "server": ("psycopg",),
    "strategies": ("hypothesis",),
}
"""Extras of pyproject.toml but `dev`, and the modules that they bring."""


def missing_extra(extra: str, asked: str) -> str:
    """Return what is missing of an extra and how to install it; empty if nothing is.

    Args:
        extra: One of `EXTRAS`.
        asked: What needs it, as a person asked for it.
    """
    missing = [name for name in EXTRAS[extra] if find_spec(name) is None]
    if not missing:
        return ""
    names = " and ".join(missing)
    return f"{asked} needs {names}, not installed here; run: pip install -e '.[{extra}]'"
