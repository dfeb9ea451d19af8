"""The schema that a musician's own engine file is held to, made from the annotations of `profile`.

Built only when it is needed: the engines that come with the program are known to keep to it.
"""

from __future__ import annotations

from functools import cache
from typing import Any, get_type_hints

from pydantic import BaseModel, ConfigDict, Field, create_model

from arranger.engine.profile import TABLES, Profile

_STRICT = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


@cache
def profile_schema() -> type[BaseModel]:
    """Return the model of a whole file."""
    known: dict[str, Any] = {"Field": Field, "Mapping": dict}
    tables: list[type[Any]] = [*dict.fromkeys(TABLES.values()), Profile]
    for table in tables:
        hints = get_type_hints(table, localns=known, include_extras=True)
        defaults = table._field_defaults
        wanted: dict[str, Any] = {
            name: (hint, defaults.get(name, ...)) for name, hint in hints.items()
        }
        known[table.__name__] = create_model(table.__name__, __config__=_STRICT, **wanted)
    model: type[BaseModel] = known[Profile.__name__]
    return model
