"""Look up, by the fault that shows, what may be behind it: signs and ways on of the catalogue."""

from collections.abc import Mapping

from sim_arms.catalogue import CATALOGUE, CauseKind

Signs = Mapping[str, tuple[Mapping[str, str], ...]]
"""Fault kind -> what may be behind it, in the order of the catalogue."""


def signs_by_fault(catalogue: Mapping[str, CauseKind] = CATALOGUE) -> Signs:
    """Return what the catalogue says of the causes that may show as each fault."""
    found: dict[str, list[Mapping[str, str]]] = {}
    for name, kind in catalogue.items():
        told = {
            "code": kind.code,
            "cause": name.replace("_", " "),
            "text": kind.text,
            "signature": kind.signature,
            "recovery": kind.recovery,
            "retried": "may be tried again" if kind.retried else "never tried again",
        }
        for fault in kind.shows_as:
            found.setdefault(fault, []).append(told)
    return {fault: tuple(causes) for fault, causes in found.items()}
