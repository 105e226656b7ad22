"""An advisory lock on an open file: one writer at a time, on either family of systems."""

from __future__ import annotations

import os
import sys

if sys.platform == "win32":
    import msvcrt

    _FAR_AWAY = 1 << 40
    """Locked bytes cannot be read by others there, so a byte beyond every case is taken."""

    def lock_file(descriptor: int) -> None:
        """Take the lock, or raise OSError at once if another process has it."""
        os.lseek(descriptor, _FAR_AWAY, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def lock_file(descriptor: int) -> None:
        """Take the lock, or raise OSError at once if another process has it."""
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
