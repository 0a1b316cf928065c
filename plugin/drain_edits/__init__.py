"""Drawn lines mended: turned or cut with the figures of their ends, and noticed where those stayed behind."""
