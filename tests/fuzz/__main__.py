"""`python -m tests.fuzz TARGET --seconds N`: coverage-guided fuzzing with atheris; ends with the count of executions.

What comes out must be a result or one of the program's own coded errors. Anything else stops the run with a non-zero
status, shows the trace and keeps the input in the folder named by `--keep`. Needs `pip install atheris` (in `.[dev]`).
"""

import argparse
import sys
import tempfile
from pathlib import Path

TARGETS = ("forged", "numbers", "phrases", "procedure", "record", "site", "sound")


def main() -> int:
    """Fuzz one target; libFuzzer ends the process by itself."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()), help="where an input that broke something is kept")
    options = parser.parse_args()
    try:
        import atheris  # noqa: PLC0415  only this command needs it
    except ImportError:
        print("atheris is not installed: pip install -e '.[dev]'", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with atheris.instrument_imports(include=["assistant", "protocol", "tomllib"], enable_loader_override=False):
            from tests.fuzz.targets import prepared  # noqa: PLC0415  the fuzzer watches what is imported here
        run, seeds = prepared(options.target, folder)
        corpus = folder / "corpus"
        corpus.mkdir()
        for number, seed in enumerate(seeds):
            (corpus / str(number)).write_bytes(seed)
        limits = [f"-max_total_time={options.seconds}", "-timeout=20", "-rss_limit_mb=2048", "-print_final_stats=1", "-verbosity=1"]
        most = max(4_096, *(2 * len(seed) for seed in seeds))
        atheris.Setup([sys.argv[0], str(corpus), f"-artifact_prefix={options.keep}/", f"-max_len={most}", *limits], run)
        atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())
