"""A run line by line: plain text in and out, for a screen reader, a serial terminal or a pipe."""
