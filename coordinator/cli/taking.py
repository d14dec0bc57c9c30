"""Let a verb take the options that something else declares, so that each is declared once."""

from collections.abc import Callable
from inspect import Parameter, Signature, signature
from typing import Annotated, Any, get_args, get_origin

Verb = Callable[..., None]


def taking(made: Callable[..., Any]) -> Callable[[Verb], Verb]:
    """Give a verb the parameters of `made` as options; it gets what `made` returns as `asked`.

    A parameter that is a tuple is an option that may be repeated.
    """
    declared = signature(made, eval_str=True).parameters
    repeated = [name for name, one in declared.items() if _is_repeated(one)]

    def spliced(verb: Verb) -> Verb:
        def run(**given: Any) -> None:
            values = {name: given.pop(name) for name in declared}
            values |= {name: tuple(values[name] or ()) for name in repeated}
            verb(asked=made(**values), **given)

        parameters: list[Parameter] = []
        for own in signature(verb, eval_str=True).parameters.values():
            parameters += map(_option, declared.values()) if own.name == "asked" else [own]
        # The command line reads the signature; it calls by name, so that the order is free.
        run.__signature__ = Signature(  # type: ignore[attr-defined]  # read by `inspect`
            [one.replace(kind=Parameter.KEYWORD_ONLY) for one in parameters]
        )
        run.__name__, run.__doc__, run.__annotations__ = verb.__name__, verb.__doc__, {}
        return run

    return spliced


def _is_repeated(parameter: Parameter) -> bool:
    return get_origin(get_args(parameter.annotation)[0]) is tuple


def _option(parameter: Parameter) -> Parameter:
    """Return a parameter in the form in which the command line knows repeated options."""
    if not _is_repeated(parameter):
        return parameter
    kind, option = get_args(parameter.annotation)
    several: Any = list.__class_getitem__(get_args(kind)[0])
    return parameter.replace(annotation=Annotated[several | None, option], default=None)
