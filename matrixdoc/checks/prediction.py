"""A prediction: outcomes of one look with their probabilities."""

from __future__ import annotations

from matrixdoc.checks.situation import Outcome

Prediction = tuple[tuple[Outcome, float], ...]
"""Pairs of outcome and probability, most probable first; the probabilities sum to 1."""
