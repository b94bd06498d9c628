"""The page at home: look, answer, decide. It reads what a night published, and writes the journal and nothing else.

``overnight`` and ``published`` are the night's side of it and need nothing beyond the program itself; the page wants
the extra ``desk``.
"""
