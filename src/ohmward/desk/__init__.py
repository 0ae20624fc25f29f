"""Conversations at the bench, whatever shows them: what is asked, told and said; no screen, no line."""
