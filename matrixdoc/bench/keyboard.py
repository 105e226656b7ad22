"""Keys in the order in which they were pressed, however fast, and never for a window that is gone.

Textual hands a key to the widget in focus and works on it later; a window opened or closed by one
key would so get, or lose, the keys that were meant for another. Here a key goes nowhere before the
window that it is for can take it: keys for a window that is opening wait, keys for one that is
closing are dropped.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from textual import events
    from textual.screen import Screen

MOST_WAITING = 400


class Keyboard:
    """Which keys wait for a window, and which window each key that is on its way was for."""

    def __init__(self) -> None:
        self.opening: Screen[Any] | None = None
        self.closing: Screen[Any] | None = None
        self._waiting: list[events.Key] = []
        self._sent: deque[tuple[events.Key, Screen[Any]]] = deque(maxlen=MOST_WAITING)

    def opens(self, screen: Screen[Any]) -> None:
        """A window was asked for: keys wait until it says that it is ready."""
        self.opening = screen
        self._waiting.clear()

    def waits(self, event: events.Key) -> bool:
        """Whether the key is kept for the window that is opening."""
        if self.opening is None:
            return False
        # A doubled Enter is a bounce of the key that opened the window, and no answer to it.
        if (self._waiting or event.key != "enter") and len(self._waiting) < MOST_WAITING:
            self._waiting.append(event)
        return True

    def ready(self, screen: Screen[Any]) -> list[events.Key]:
        """The window can take keys: those that waited, in order."""
        if self.opening is not screen:
            return []
        self.opening = None
        waited, self._waiting = self._waiting, []
        return waited

    def closes(self, screen: Screen[Any]) -> None:
        """A window gave its answer: keys are dropped until the answer was taken."""
        self.closing = screen
        if self.opening is screen:
            self.opening = None
            self._waiting.clear()

    def closed(self, screen: Screen[Any]) -> None:
        """The answer was taken."""
        if self.closing is screen:
            self.closing = None

    def sends(self, event: events.Key, screen: Screen[Any]) -> None:
        """The key goes to ``screen``."""
        self._sent.append((event, screen))

    def late(self, event: events.Key, screen: Screen[Any]) -> bool:
        """Whether a key that comes back unused was for another window than the one on top now."""
        for sent, aimed in reversed(self._sent):
            if sent is event:
                return aimed is not screen
        return False
