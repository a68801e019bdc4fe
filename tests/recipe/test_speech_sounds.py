# ruff: noqa: RUF001 - phonetic symbols look like Latin letters
"""Labels name what was said."""

from assistant.recipe.phones import PDF_OF, transition_pdfs, with_positions
from assistant.recipe.speakers import TEST_ONLY_SETS, use_of
from assistant.recipe.speech_sounds import distance, label_codes, to_arpabet


def test_symbols_become_phones() -> None:
    """Kokoro's symbols for a few words read as the ARPABET that a dictionary gives."""
    assert ["P", "AE", "N", "AH", "L"] == to_arpabet("pˈænᵊl")
    assert ["S", "EH", "T"] == to_arpabet("sˈɛt")
    assert ["V", "ER", "IY"] == to_arpabet("vˈɜɹi")


def test_a_lost_r_costs_less_than_another_word() -> None:
    """A British 'water' is nearer to its listing than 'waiter' is."""
    said = to_arpabet("wˈɔːtə")
    assert distance(said, ("W", "AO", "T", "ER")) < distance(said, ("W", "EY", "T", "ER"))


def test_silence_may_stand_only_between_words() -> None:
    """Two words of two phones: silence before, between and after, never inside."""
    codes, silence_after = label_codes([("G", "OW"), ("N", "OW")])
    assert [PDF_OF["G"], PDF_OF["OW"], PDF_OF["N"], PDF_OF["OW"]] == codes
    assert [True, False, True, False, True] == silence_after


def test_positions_mark_word_ends() -> None:
    """First, inner and last phones are told apart, and a lone one is both."""
    assert ["K_B", "AE_I", "T_E"] == with_positions(("K", "AE", "T"))
    assert ["AH_S"] == with_positions(("AH",))


def test_a_phone_fires_once_and_then_blank() -> None:
    """Only silence stays as itself; every phone stays as blank."""
    pairs = transition_pdfs()
    assert (1, 1) == pairs[0] == pairs[-1]
    assert all(stay == 0 and enter > 1 for enter, stay in pairs[1:-1])


def test_a_speaker_is_on_one_side_for_good() -> None:
    """One person has one use in a set, and share-alike or untranscribed sets never train."""
    for number in range(200):
        speaker = f"person{number}"
        assert 1 == len({use_of("gsc_test_v002", f"yes/{take}.flac", speaker) for take in range(3)})
    assert {"test"} == {use_of(name, "a.flac", "x") for name in TEST_ONLY_SETS}
    assert {"train", "tune", "test"} == {use_of("an4", "train/x/a.flac", f"s{n}x") for n in range(200)}
