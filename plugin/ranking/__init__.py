"""Which pipes to look at first: what a plug would cost, and how likely one is."""
