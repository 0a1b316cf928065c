"""Panels and map tools of the desktop. Nothing here computes; answers come from the engine, loaded when asked."""
