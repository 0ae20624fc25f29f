"""How readings are taken: meters, their accuracy, profiles."""
