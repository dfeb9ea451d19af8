"""Part names as people write them, in several languages (common practice, no source)."""

import pytest

from arranger.reduce.worth.name_words import name_vote


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("MELODY", "tune"),
        ("Mélodie", "tune"),
        ("Melodía principal", "tune"),
        ("Gesang", "tune"),
        ("Vocals (main)", "tune"),
        ("Soprano", "tune"),
        ("Violin I", "tune"),
        ("Flöte", "tune"),
        ("主旋律", "tune"),
        ("Мелодия", "tune"),
        ("voice 1", "tune"),
        ("Voice 2", "bass"),
        ("Fingered Bass", "bass"),
        ("Kontrabaß", "bass"),
        ("Violoncello", "bass"),
        ("Left hand", "bass"),
        ("Бас", "bass"),
        ("ベース", "bass"),
        ("String Pad", "harmony"),
        ("Backing Vocals", "harmony"),
        ("Begleitung", "harmony"),
        ("Bass Drum", None),
        ("Track 4", None),
        ("", None),
        ("Bassoon", "bass"),
        ("Ballast", None),
    ],
)
def test_names_say_what_people_mean(name, role):
    vote = name_vote(name)
    assert (None if vote is None else vote.role) == role


def test_a_plain_word_outweighs_an_instrument_name():
    sure, likely = name_vote("Bass"), name_vote("Cello")
    assert sure is not None
    assert likely is not None
    assert sure.weight > likely.weight


def test_the_surer_word_of_a_name_counts():
    vote = name_vote("Guitar solo")
    assert vote is not None
    assert vote.role == "tune"
