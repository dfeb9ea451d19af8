"""Values that several outputs of one conversion share are worked out once."""

from __future__ import annotations

from functools import update_wrapper
from typing import TYPE_CHECKING, Concatenate, Generic, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

if TYPE_CHECKING:
    from collections.abc import Callable

    from arranger.conversion import Conversion

Arguments = ParamSpec("Arguments")
Value = TypeVar("Value")


class Remembered(Generic[Arguments, Value]):
    """A function that remembers its last value for each conversion, as long as that one lives.

    The value is shared, so it must be one that nobody can change.
    """

    def __init__(self, function: Callable[Concatenate[Conversion, Arguments], Value]) -> None:
        self._function = function
        self._known: WeakKeyDictionary[Conversion, tuple[object, Value]] = WeakKeyDictionary()
        update_wrapper(self, function)

    def __call__(
        self, conversion: Conversion, /, *args: Arguments.args, **kwargs: Arguments.kwargs
    ) -> Value:
        """Return the value, remembered or found now."""
        asked = (args, kwargs)
        found = self._known.get(conversion)
        if found is None or found[0] != asked:
            found = (asked, self._function(conversion, *args, **kwargs))
            self._known[conversion] = found
        return found[1]


def remembered(
    function: Callable[Concatenate[Conversion, Arguments], Value],
) -> Remembered[Arguments, Value]:
    """Let a function remember its values; see `Remembered`."""
    return Remembered(function)
