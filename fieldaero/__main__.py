"""``python -m fieldaero`` is the command line."""

from __future__ import annotations

from fieldaero.cli import main

if __name__ == "__main__":
    main()
