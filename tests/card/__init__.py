"""The card of phrases."""
