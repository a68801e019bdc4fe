"""The card of phrases: one page to print, for the wall, the truck and the first drill."""
