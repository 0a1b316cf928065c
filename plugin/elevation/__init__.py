"""How high the pipe lies, how surely that is known, and what follows: fall, sags, cover."""
