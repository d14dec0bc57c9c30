"""The verb `schema`: the JSON Schema of each kind of file, for editors with a YAML server."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from coordinator.cli.documents.declared import VERBS, schema_of_document
from coordinator.cli.output import Exit, Output
from coordinator.rehearse.catalogue import CATALOGUE
from coordinator.sequence.models.schema import KINDS, schema_of


def write_schemas(
    output: Output, kind: str | None, out: Path | None, *, of_documents: bool = False
) -> Exit:
    """Print one schema, or all of them in one document; with `out` write files instead."""
    kinds: Iterable[str] = VERBS if of_documents else KINDS
    if kind is not None and kind not in kinds:
        what = f"kind is {kind!r}, must be one of {', '.join(kinds)}"
        return output.refuse(f"{what}; choose one of them")
    make = schema_of_document if of_documents else made_schema
    made = {one.replace(" ", "_"): make(one) for one in kinds if kind in (None, one)}
    if out is None:
        print(text_of(made if kind is None else made[kind.replace(" ", "_")]), end="")
        return Exit.GOOD
    out.mkdir(parents=True, exist_ok=True)
    for name, content in made.items():
        (out / f"{name}.json").write_text(text_of(content), encoding="utf-8")
        output.say(f"wrote {out / name}.json")
    output.document(ok=True, written=[f"{out / name}.json" for name in made])
    return Exit.GOOD


def made_schema(kind: str) -> dict[str, Any]:
    """Return the schema of a kind, with the causes of the simulated world."""
    causes = {
        name: (one.text, {key: str(value.dimension) for key, value in one.parameters.items()})
        for name, one in CATALOGUE.items()
    }
    return schema_of(kind, causes)


def text_of(content: dict[str, Any]) -> str:
    """Return a schema as it stands in a file."""
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"
