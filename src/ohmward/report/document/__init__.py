"""Documents of a run: report, short form, fault sheet and label, from one model to paper and screen.

`source` reads and assesses a run, `documents` and `label` say what is printed (pure functions of that),
`pdf` and `html` set it. Every word of ours is in ``words/*.toml``.
"""
