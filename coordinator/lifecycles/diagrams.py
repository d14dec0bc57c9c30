"""Draw a lifecycle as a Mermaid state diagram, from the declaration that is also run."""

from coordinator.lifecycles.table import Lifecycle


def to_mermaid(lifecycle: Lifecycle) -> str:
    """Return the diagram, rows in the order of the declaration.

    Args:
        lifecycle: Any declared lifecycle.

    Returns:
        Mermaid text without a fence and without a line break at its end; a state that nothing
        leads out of is drawn as an end.
    """
    sources = [source for _, source, _ in lifecycle.rows]
    lines = ["stateDiagram-v2", f"    [*] --> {lifecycle.initial}"]
    lines += [f"    {source} --> {target}: {trigger}" for trigger, source, target in lifecycle.rows]
    lines += [f"    {state} --> [*]" for state in lifecycle.states if state not in sources]
    return "\n".join(lines)
