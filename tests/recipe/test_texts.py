"""What the synthetic voices are given to say."""

from assistant.recipe import texts


def test_one_text_in_six_is_a_single_word() -> None:
    """Single words make up a sixth, and most of them are short."""
    single = [text.words for text in texts.draw_texts(2000, 1) if text.kind == "single"]
    assert 0.14 < len(single) / 2000 < 0.18
    assert all(" " not in word for word in single)
    assert sum(len(word) <= 6 for word in single) > 0.6 * len(single)


def test_a_seed_draws_its_own_texts() -> None:
    """The same seed draws the same texts, another one others."""
    first, again, other = (texts.draw_texts(50, seed) for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_shares_are_whole() -> None:
    """The kinds share all that is drawn."""
    assert abs(sum(texts.SHARES.values()) - 1) < 1e-9
