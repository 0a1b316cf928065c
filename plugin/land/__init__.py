"""Land and people: which land each pipe serves, whose it is, and who must be told."""
