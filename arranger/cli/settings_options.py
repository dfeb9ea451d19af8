"""Gives a command all options of `arranger.options.OPTIONS` and hands it one `Settings` value."""

from __future__ import annotations

import functools
import inspect
from typing import TYPE_CHECKING, Any, TypeVar

import typer

from arranger.options import OPTIONS, Option, build_settings

if TYPE_CHECKING:
    from collections.abc import Callable

Command = TypeVar("Command", bound="Callable[..., None]")

_PANELS = {
    "": "Engine",
    "read": "Reading the song",
    "grid": "Steps, tempo and bars",
    "reduce": "What is played",
}


def with_settings(*stages: str) -> Callable[[Command], Command]:
    """Return a decorator: the command's ``settings`` parameter becomes the options of the stages.

    ``stages``: of `Option.stage`, or names of single options; none means all.
    """
    chosen = tuple(
        option for option in OPTIONS if not stages or {option.stage, option.name} & {*stages}
    )

    def decorate(command: Command) -> Command:
        @functools.wraps(command)
        def run(**given: Any) -> None:
            words = {option.name: _asked(given.pop(_identifier(option))) for option in chosen}
            command(**given, settings=build_settings(words))

        own = inspect.signature(command, eval_str=True).parameters
        added = [_parameter(option) for option in chosen]
        parameters = [entry for entry in own.values() if entry.name != "settings"] + added
        run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
        run.__annotations__ = {entry.name: entry.annotation for entry in parameters}
        del run.__wrapped__
        return run  # type: ignore[return-value]

    return decorate


def _asked(value: Any) -> Any:
    """Return what was given: an option that is absent from the command line asks for nothing."""
    return None if value is False or value == [] else value


def _identifier(option: Option) -> str:
    return option.name.replace("-", "_")


def _parameter(option: Option) -> inspect.Parameter:
    flag = option.kind == "flag"
    shown: Any = typer.Option(
        False if flag else None,
        f"--{option.name}",
        metavar=None if flag else option.metavar,
        help=option.help,
        show_default=False,
        rich_help_panel=_PANELS[option.stage],
    )
    kinds: dict[str, Any] = {"flag": bool, "many": list[str] | None, "one": str | None}
    return inspect.Parameter(
        _identifier(option),
        inspect.Parameter.KEYWORD_ONLY,
        default=shown,
        annotation=kinds[option.kind],
    )
