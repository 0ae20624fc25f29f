"""The unit under test: design sheet model, TOML in and out, findings on the design itself."""
