"""Flow in full pipes: numbers in, numbers out, all in SI."""
