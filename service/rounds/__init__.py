"""Rounds: where somebody has to go on a day, and what awaits there."""
