"""What is to be done: stages, steps, limit sets; TOML in, a flat list of items out."""
