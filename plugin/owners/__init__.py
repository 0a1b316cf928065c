"""Who drains through whom, whom to tell of a plug, and what one owner gets to read."""
