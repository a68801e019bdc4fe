"""Writes the complete model directory that the recogniser loads: net, settings and graphs."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assistant.recipe import fst, graph, lexicon
from assistant.recipe.kaldi_model import Storage, model_bytes
from assistant.recipe.phones import PHONE_IDS, word_boundary_lines

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.recipe.phone_net import PhoneNet

MFCC_CONF: Final = """--use-energy=false
--num-mel-bins=40
--num-ceps=40
--low-freq=20
--high-freq=7600
--dither=0
"""


@dataclass(frozen=True, slots=True)
class Decoding:
    """Search and endpoint settings of conf/model.conf, prior scale and storage of the net, and the graph's costs."""

    beam: float = 13.0
    lattice_beam: float = 2.0
    max_active: int = 1500
    min_active: int = 200
    acoustic_scale: float = 1.0
    frames_per_chunk: int = 30
    quiet_s: tuple[float, float, float] = (0.5, 0.75, 1.0)
    prior_scale: float = 0.3
    storage: Storage = 1
    costs: graph.GraphSettings = field(default_factory=graph.GraphSettings)

    def model_conf(self) -> str:
        """The text of conf/model.conf; `quiet_s` are the trailing silences of endpoint rules 2, 3 and 4."""
        rules = "".join(
            f"--endpoint.rule{rule}.min-trailing-silence={quiet}\n" for rule, quiet in enumerate(self.quiet_s, 2)
        )
        return (
            f"--min-active={self.min_active}\n--max-active={self.max_active}\n--beam={self.beam}\n"
            f"--lattice-beam={self.lattice_beam}\n--acoustic-scale={self.acoustic_scale}\n"
            f"--frame-subsampling-factor=3\n--frames-per-chunk={self.frames_per_chunk}\n"
            f"--endpoint.silence-phones=1\n{rules}"
        )


def write_net(net: PhoneNet, out: Path, decoding: Decoding) -> None:
    """Write am/ and conf/."""
    for folder in ("am", "conf"):
        (out / folder).mkdir(parents=True, exist_ok=True)
    (out / "am/final.mdl").write_bytes(model_bytes(net, decoding.prior_scale, decoding.storage))
    (out / "conf/mfcc.conf").write_text(MFCC_CONF, encoding="utf-8")
    (out / "conf/model.conf").write_text(decoding.model_conf(), encoding="utf-8")


def write_graph(built: tuple[fst.Fst, list[str]], out: Path) -> int:
    """Write graph/ from what `graph.build` made; returns how many words it holds, `[unk]` among them."""
    folder = out / "graph"
    (folder / "phones").mkdir(parents=True, exist_ok=True)
    made, symbols = built
    (folder / "HCLr.fst").write_bytes(fst.lookahead_bytes(made, len(symbols) - 1))
    sorted_both = fst.EXPANDED | fst.ACCEPTOR | fst.INPUT_SORTED | fst.OUTPUT_SORTED
    (folder / "Gr.fst").write_bytes(fst.const_bytes(graph.word_loop(symbols), sorted_both, symbols))
    (folder / "disambig_tid.int").write_text(f"{2 * len(PHONE_IDS) + 1}\n", encoding="utf-8")
    phones = ["<eps> 0", *(f"{name} {number}" for name, number in PHONE_IDS.items())]
    (folder / "phones.txt").write_text("\n".join(phones) + "\n", encoding="utf-8")
    boundaries = "\n".join(word_boundary_lines()) + "\n"
    (folder / "phones/word_boundary.int").write_text(boundaries, encoding="utf-8")
    return len(symbols) - 1


def write_model(net: PhoneNet, words: list[str], out: Path, decoding: Decoding) -> int:
    """Write the whole directory, with the lexicon that `phrase_graph` needs; returns how many words it knows."""
    write_net(net, out, decoding)
    count = write_graph(graph.build(words, decoding.costs), out)
    lexicon.write(words, out / lexicon.FILE)
    return count
