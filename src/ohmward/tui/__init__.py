"""The terminal UI: Textual screens and widgets, one module a screen."""
