"""The base of what ``--json`` prints."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Result(BaseModel):
    """Base of all results."""

    model_config = ConfigDict(frozen=True, extra="forbid")


Outcome = list[str] | float | str
"""References that read (or coils that are pulled in), a reading, or a word."""
