"""Comparing a layout with an archive, and taking it in: what each line is, and what would drain where."""
