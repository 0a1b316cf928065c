"""Processing algorithms: parameters in, one call of the engine, layers out."""
