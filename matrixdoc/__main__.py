"""``python -m matrixdoc``: the same as the ``matrixdoc`` command."""

from __future__ import annotations

from matrixdoc.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
