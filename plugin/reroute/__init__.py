"""Judging a drawn new pipe between two places: the pipe and not the ground."""
