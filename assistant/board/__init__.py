"""The officer's board: one look from outside tells all. A web page that the program serves; read-only without a PIN."""

from assistant.board.board import Board
from assistant.board.drawing import BinShape, bin_shape
from assistant.board.settings import DEFAULT_PORT, Settings, settings_for

__all__ = ["DEFAULT_PORT", "BinShape", "Board", "Settings", "bin_shape", "settings_for"]
