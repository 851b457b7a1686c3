"""`python -m transcriber` is the same program as `transcriber`."""

import sys

from transcriber.cli import run

if __name__ == "__main__":
    sys.exit(run())
