"""The pictures that README.md shows, and the command that makes them."""
