"""Values that several outputs of one conversion share are worked out once."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

if TYPE_CHECKING:
    from collections.abc import Callable

    from arranger.conversion import Conversion

Arguments = ParamSpec("Arguments")
Value = TypeVar("Value")


def remembered(
    function: Callable[Concatenate[Conversion, Arguments], Value],
) -> Callable[Concatenate[Conversion, Arguments], Value]:
    """Let a function remember its last value for each conversion, as long as that one lives.

    The value is shared, so it must be one that nobody can change.
    """
    known: WeakKeyDictionary[Conversion, tuple[object, Value]] = WeakKeyDictionary()

    @wraps(function)
    def recalled(
        conversion: Conversion, /, *args: Arguments.args, **kwargs: Arguments.kwargs
    ) -> Value:
        asked = (args, kwargs)
        found = known.get(conversion)
        if found is None or found[0] != asked:
            found = known[conversion] = (asked, function(conversion, *args, **kwargs))
        return found[1]

    return recalled
