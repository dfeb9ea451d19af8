"""The error family: one line that says file, place, what and what to do."""

from __future__ import annotations

import pickle

import pytest

from arranger.errors import ArrangerError, OutputError, SheetError, SongError, one_line


def test_message_names_file_place_and_remedy_in_one_line() -> None:
    error = SheetError("no such pitch", file="a\nb.duet", place="line 3", remedy="write C4")
    assert str(error) == "a\\nb.duet: line 3: no such pitch; write C4"


@pytest.mark.parametrize(("leaf", "builtin"), [(SongError, ValueError), (OutputError, OSError)])
def test_leaves_are_also_the_fitting_builtin(
    leaf: type[ArrangerError], builtin: type[Exception]
) -> None:
    with pytest.raises(builtin, match="broken"):
        raise leaf("broken")


def test_errors_come_back_whole_from_another_process() -> None:
    error = SongError("broken", file="x.mid", place="byte 3", remedy="mend it")
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is SongError
    assert str(again) == str(error)


def test_control_and_direction_characters_become_visible() -> None:
    assert one_line("a\x1b[31m\u202eb") == "a\\x1b[31m\\u202eb"
