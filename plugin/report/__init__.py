"""Pages and drawings for people: they order and show what was computed elsewhere, and compute nothing about drains."""
